"""Undoing one change of a set and leaving what was done to it since.

Conventions: sets go by their row number, since a name may change, and passages by their
keys (see ``words``). Each call undoes something in the set as it is now, and returns what
undoes that in turn.

Contents: Undoing, row_now, put_in, take_out, put_in_order, put_instead, put_texts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from melodex.corpus.lessons import ExampleRow, LessonRow, example_rows, numbered_lesson
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.lesson_changes import taken_back
from melodex.errors import LessonError
from melodex.tasks.lesson.sets import rewritten
from melodex.tasks.lesson.words import (
    Said,
    mark_of_text,
    passage_keys,
    texts_in,
    write_words,
)

__all__ = [
    "Undoing",
    "put_in",
    "put_in_order",
    "put_instead",
    "put_texts",
    "row_now",
    "take_out",
]

Undoing = Callable[[], "Undoing | None"]


def set_now(corpus_path: Path, set_id: int) -> tuple[LessonRow, list[ExampleRow]]:
    """A set and its passages as they are now."""
    with Corpus.open(corpus_path) as corpus:
        return row_now(corpus, set_id), example_rows(corpus, set_id)


def row_now(corpus: Corpus, set_id: int) -> LessonRow:
    """A set as it is now.

    Raises
    ------
    LessonError
        If it is gone.
    """
    row = numbered_lesson(corpus, set_id)
    if row is None:
        raise LessonError("the set was deleted meanwhile", hint="undo that first")
    return row


def put_in(
    corpus_path: Path, set_id: int, gone: Sequence[tuple[int, ExampleRow]]
) -> Undoing:
    """Put passages back where each stood, or at the end of a set that is shorter now."""
    found, rows = set_now(corpus_path, set_id)
    placed: list[ExampleRow] = list(rows)
    for position, row in sorted(gone, key=lambda each: each[0]):
        placed.insert(min(position - 1, len(placed)), row)
    lesson = rewritten(corpus_path, found.name, lambda _: placed)
    came = {id(row) for _, row in gone}
    keyed = zip(passage_keys(lesson.rows), placed, strict=True)
    keys = [key for key, row in keyed if id(row) in came]
    return partial(take_out, corpus_path, set_id, keys)


def take_out(corpus_path: Path, set_id: int, keys: Sequence[str]) -> Undoing:
    """Take out passages that were put in, with what was written beside them."""
    found, rows = set_now(corpus_path, set_id)
    keyed = list(zip(passage_keys(rows), rows, strict=True))
    gone = [(p, row) for p, (key, row) in enumerate(keyed, 1) if key in keys]
    if not gone:
        raise LessonError("those passages are not in the set any more")
    left = [row for key, row in keyed if key not in keys]
    rewritten(corpus_path, found.name, lambda _: left)
    return partial(put_in, corpus_path, set_id, gone)


def put_in_order(corpus_path: Path, set_id: int, keys: Sequence[str]) -> Undoing:
    """Put passages in the order of some keys; what has come since stays behind them."""
    found, rows = set_now(corpus_path, set_id)
    before = passage_keys(rows)
    places = {key: place for place, key in enumerate(keys)}
    keyed = zip(before, rows, strict=True)
    ordered = sorted(keyed, key=lambda each: places.get(each[0], len(places)))
    rewritten(corpus_path, found.name, lambda _: [row for _, row in ordered])
    return partial(put_in_order, corpus_path, set_id, before)


def put_instead(corpus_path: Path, set_id: int, key: str, row: ExampleRow) -> Undoing:
    """Put a passage in the place of another; what is written beside that stays."""
    found, rows = set_now(corpus_path, set_id)
    keys = passage_keys(rows)
    if key not in keys:
        raise LessonError("that passage is not in the set any more")
    place = keys.index(key)
    there = rows[place]
    rows[place] = replace(row, note=there.note)
    lesson = rewritten(corpus_path, found.name, lambda _: rows)
    return partial(
        put_instead, corpus_path, set_id, passage_keys(lesson.rows)[place], there
    )


def put_texts(
    corpus_path: Path, set_id: int, before: Mapping[str, str], after: Mapping[str, str]
) -> Undoing:
    """Put texts back as they were before words were written, and leave what came since.

    Parameters
    ----------
    before, after : mapping of str to str
        By key, what stood there before and once they were written.

    Raises
    ------
    LessonError
        If the set is gone, or none of those words stand there as they were written.
    """
    found, rows = set_now(corpus_path, set_id)
    there = texts_in(found, rows)
    wanted = {}
    for key, text in before.items():
        now = there.get(key)
        if now is None:
            continue
        back = taken_back(now, text, after[key], is_whole=key == "name")
        if back is not None:
            wanted[key] = Said(back, mark_of_text(now))
    if not wanted:
        raise LessonError(
            "those words do not stand there any more as they were written",
            hint="what was written since can be undone first",
        )
    written = write_words(corpus_path, found.name, wanted)
    return partial(put_texts, corpus_path, set_id, written.before, written.after)
