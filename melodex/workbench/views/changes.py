"""Changing teaching sets: words, order, what is in them, and what they are called.

Conventions: the page of a set is one form, so that every button carries all words that
stand on the page: they are written first, whatever else was asked for. A passage goes by
its key and not by its place, so that a page that is older than the set still changes
what it means. Only what rests on the whole set, its order or its end, carries a mark of
all that it held.

Contents: new, unpack, change.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.errors import REMEDIES, LessonError
from melodex.tasks.lesson import sets as lessons
from melodex.tasks.lesson.file import unpack_set
from melodex.tasks.lesson.keeping import take_nearest
from melodex.tasks.lesson.order import apply_arrangement, arrange
from melodex.tasks.lesson.sets import Lesson, open_lesson
from melodex.tasks.lesson.undoing import Undoing, put_in, put_in_order, put_instead
from melodex.tasks.lesson.words import (
    Said,
    Written,
    mark_of_text,
    passage_keys,
    texts_in,
    write_words,
)
from melodex.workbench.asking import Ask, address
from melodex.workbench.bench import Stop
from melodex.workbench.deeds import Doing, changing, deleting
from melodex.workbench.views.sets import mark_of, shown

__all__ = ["change", "new", "unpack"]

WORDS = "words"


def new(ask: Ask) -> Response:
    """Make an empty set."""
    texts = {name: ask.said(name) for name in ("topic", "level", "notes")}
    path = ask.bench.corpus_path
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        row = lessons.new_lesson(path, ask.said("name"), **texts)
        made(ask, doing, row.name, f"Made the set {row.name}.")
    return RedirectResponse(after(doing), 303)


def unpack(ask: Ask) -> Response:
    """Put a packed set into the corpus."""
    files = ask.uploads("file")
    if not files:
        raise LessonError("no file was sent", hint="choose a packed set")
    data, source = files[0].file.read(), files[0].filename or "the file"
    path = ask.bench.corpus_path
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        row, _ = unpack_set(path, data, source, name=ask.said("name"))
        made(ask, doing, row.name, f"Unpacked the set {row.name}.")
    return RedirectResponse(after(doing), 303)


def made(ask: Ask, doing: Doing, name: str, words: str) -> None:
    """Note that a set was made: it is undone by deleting it."""
    path = ask.bench.corpus_path
    doing.words, doing.back, doing.kind = words, address("/set", name=name), "made"
    doing.undoing = deleting(path, [name])


def after(doing: Doing) -> str:
    """The address to go to, which says what was done."""
    if doing.deed is None:
        return doing.back
    place, mark, fragment = doing.back.partition("#")
    return f"{place}{'&' if '?' in place else '?'}did={doing.deed.id}{mark}{fragment}"


def change(ask: Ask) -> Response:
    """Write the words of a page, then change the set as its button says."""
    what, _, key = ask.said("do").partition(" ")
    act = CHANGES.get(what)
    if act is None or bool(key) != (what in WITH_KEY):
        raise LessonError(f"a set cannot be changed by {ask.said('do')!r}")
    bench = ask.bench
    with bench.changing:
        name, seen = set_called(ask)
        with changing(bench.corpus_path, bench.deeds) as doing:
            written = words_written(ask, name, doing)
        if written.refused:
            raise written.refused
        if what == WORDS:
            return told(ask, written, doing)
        with bench.open_corpus(Stop()) as corpus:
            lesson = open_lesson(corpus, written.name)
        is_old = what in WITH_MARK and seen != ask.said("mark")
        is_gone = bool(key) and key not in passage_keys(lesson.rows)
        if written.lost or is_old or is_gone:
            return clashing(ask, written)
        with changing(bench.corpus_path, bench.deeds) as doing:
            doing.back = address("/set", name=lesson.row.name)
            act(ask, doing, lesson, key)
    return RedirectResponse(after(doing), 303)


def set_called(ask: Ask) -> tuple[str, str]:
    """The name that the set of a page has now, and its mark; else its words are held."""
    words = ask.bench.words
    try:
        with ask.bench.open_corpus(Stop()) as corpus:
            name = words.name_now(corpus, ask.said("name"))
            return name, mark_of(open_lesson(corpus, name))
    except LessonError as error:
        said = words_said(ask)
        if not said:
            raise
        words.hold(ask.bench.corpus_path, ask.said("name"), ask.said("page"), said)
        raise LessonError(
            f"the set {ask.said('name')} is not there any more; what you wrote is kept, "
            "and stands in it again when that is undone",
            hint=REMEDIES["list changes"],
        ) from error


def words_said(ask: Ask) -> dict[str, Said]:
    """All words that the form carries; fields are called ``words:KEY:MARK``."""
    said = {}
    for field, text in ask.fields.items():
        kind, _, rest = field.partition(":")
        if kind == WORDS:
            key, _, seen = rest.rpartition(":")
            said[key] = Said(text.replace("\r\n", "\n"), seen)
    page, turn = ask.said("page"), ask.number("turn", 0, least=0, most=999_999)
    return ask.bench.words.in_time(page, turn, said)


def words_written(ask: Ask, name: str, doing: Doing) -> Written:
    """Write all words that the form carries, and hold those that have no place."""
    said, words = words_said(ask), ask.bench.words
    written = write_words(ask.bench.corpus_path, name, said)
    words.note_name(written.name, written.set_id)
    own = {k: m for k, m in written.marks.items() if k not in written.joined}
    words.note_marks(ask.said("page"), own)
    lost = {key: said[key] for key in written.lost}
    words.hold(ask.bench.corpus_path, written.name, ask.said("page"), lost)
    if written.changed:
        is_new = written.name != name
        if is_new:
            words.note_name(name, written.set_id)
        doing.kind = "name" if is_new else WORDS
        doing.words = (
            f"Renamed {name} to {written.name}." if is_new else f"Wrote words in {name}."
        )
        doing.back = address("/set", name=written.name)
        doing.texts = (written.set_id, written.before, written.after)
    return written


def told(ask: Ask, written: Written, doing: Doing) -> Response:
    """What a page has to know once its words are written."""
    if not ask.wants_data:
        doing.back = address("/set", name=written.name)
        return RedirectResponse(after(doing), 303)
    with ask.bench.open_corpus(Stop()) as corpus:
        lesson = open_lesson(corpus, written.name)
    texts = texts_in(lesson.row, lesson.rows)
    marks = {key: mark_of_text(text) for key, text in texts.items()}
    said = {
        "name": lesson.row.name,
        "mark": mark_of(lesson),
        "marks": {**written.marks, **marks},
        "own": written.marks,
        "joined": {key: texts[key] for key in written.joined},
        "held": bool(written.lost),
    }
    return JSONResponse(said)


def clashing(ask: Ask, written: Written) -> Response:
    """The set as it is now, and the words that have no place in it."""
    lesson = open_lesson(ask.corpus(), written.name, offer_nearest=True)
    kept = [
        text
        for field, text in ask.fields.items()
        if field.partition(":")[2].rpartition(":")[0] in written.lost and text.strip()
    ]
    return shown(ask, lesson, status=409, clash=kept)


# What the buttons do

Change = Callable[[Ask, Doing, Lesson, str], None]


def place_of(lesson: Lesson, key: str) -> int:
    """Where a passage stands, from 1."""
    return passage_keys(lesson.rows).index(key) + 1


def order_of(ask: Ask, lesson: Lesson) -> Undoing:
    """What puts the passages of a set in the order that they have now."""
    keys = passage_keys(lesson.rows)
    return partial(put_in_order, ask.bench.corpus_path, lesson.row.id, keys)


def nothing(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Nothing but the words."""


def move(by: int) -> Change:
    """What moves a passage up or down."""

    def moved(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
        position = place_of(lesson, key)
        to = max(1, min(len(lesson.examples), position + by))
        lessons.move(ask.bench.corpus_path, lesson.row.name, position, to)
        title = lesson.examples[position - 1].title
        doing.words = f"Moved {title} to place {to}."
        doing.undoing = order_of(ask, lesson)
        doing.back += f"#passage-{to}"

    return moved


def drop(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Take a passage out."""
    position = place_of(lesson, key)
    lessons.drop(ask.bench.corpus_path, lesson.row.name, [position])
    doing.words = f"Took out {lesson.examples[position - 1].title}."
    row = lesson.rows[position - 1]
    doing.undoing = partial(put_in, ask.bench.corpus_path, lesson.row.id, [(position, row)])
    left = len(lesson.examples) - 1
    doing.back += f"#passage-{min(position, left)}" if left else ""


def mend(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Take what is offered in place of a passage."""
    position, path = place_of(lesson, key), ask.bench.corpus_path
    mended = take_nearest(path, lesson.row.name, [position])
    doing.words = f"Took the nearest passage in place {position}."
    came, gone = passage_keys(mended.rows)[position - 1], lesson.rows[position - 1]
    doing.undoing = partial(put_instead, path, lesson.row.id, came, gone)
    doing.back += f"#passage-{position}"


def copy(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Make another set of the same passages."""
    path = ask.bench.corpus_path
    row = lessons.copy_lesson(path, lesson.row.name, ask.said("copy-name"))
    made(ask, doing, row.name, f"Copied {lesson.row.name} to {row.name}.")


def delete(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Delete a set, if that was ticked too."""
    if not ask.said("sure"):
        raise LessonError("nothing was deleted", hint="tick the box to confirm")
    lessons.remove_lesson(ask.bench.corpus_path, lesson.row.name)
    doing.words, doing.back = f"Deleted the set {lesson.row.name}.", "/sets"


def arranged(ask: Ask, doing: Doing, lesson: Lesson, key: str) -> None:
    """Put a set into the suggested order."""
    apply_arrangement(ask.bench.corpus_path, arrange(lesson))
    doing.words = f"Put {lesson.row.name} in order, from easy to hard."
    doing.undoing = order_of(ask, lesson)


CHANGES: dict[str, Change] = {
    WORDS: nothing,
    "up": move(-1),
    "down": move(1),
    "drop": drop,
    "mend": mend,
    "copy": copy,
    "delete": delete,
    "order": arranged,
}
"""What the buttons of a set's page do."""

WITH_KEY = {"up", "down", "drop", "mend"}
WITH_MARK = {"delete", "order"}
