"""Teaching sets: kept, annotated, put in order, printed, packed.

Conventions: every form that changes a set carries a mark of what the set held when the
form was made. If the set holds something else by then, another page has changed it:
nothing is changed, and the answer says so and shows both.

Contents: sets, one_set, passage, order, sheet, packed, keep, new, unpack, change, mark_of.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from markupsafe import Markup
from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.errors import LessonError
from melodex.tasks.lesson import sets as lessons
from melodex.tasks.lesson.file import unpack_set
from melodex.tasks.lesson.keeping import (
    Found,
    KeepReport,
    finds_of,
    found_by_hand,
    take_nearest,
)
from melodex.tasks.lesson.keeping import (
    keep as keep_found,
)
from melodex.tasks.lesson.order import apply_arrangement, arrange
from melodex.tasks.lesson.questions import KINDS, worksheet
from melodex.tasks.lesson.sets import Lesson, open_lesson
from melodex.workbench.asking import Ask, address, many, rendered_page
from melodex.workbench.bench import Stop
from melodex.workbench.files import named_file
from melodex.workbench.views.find import searched
from melodex.workbench.views.gather import gathered
from melodex.workbench.views.own import audited

__all__ = [
    "change",
    "keep",
    "mark_of",
    "new",
    "one_set",
    "order",
    "packed",
    "passage",
    "sets",
    "sheet",
    "unpack",
]


def sets(ask: Ask) -> Response:
    """All teaching sets."""
    corpus = ask.corpus()
    return rendered_page(
        ask, "sets.html", "Teaching sets", lines=lessons.list_lessons(corpus)
    )


def one_set(ask: Ask) -> Response:
    """One set with its passages."""
    lesson = open_lesson(ask.corpus(), ask.said("name"), offer_nearest=True)
    return shown(ask, lesson)


def shown(
    ask: Ask, lesson: Lesson, *, status: int = 200, clash: dict[str, str] | None = None
) -> Response:
    """The page of a set; with what could not be written, if that is so."""
    from melodex.presentation.lesson.words import maker_of, source_of
    from melodex.tasks.lesson.measures import measures_of

    rows = [
        (
            example,
            maker_of(example.excerpt),
            measures_of(example).words,
            source_of(example.excerpt),
        )
        for example in lesson.examples
    ]
    return rendered_page(
        ask,
        "set.html",
        lesson.row.name,
        status=status,
        lesson=lesson,
        rows=rows,
        mark=mark_of(lesson),
        kinds=KINDS,
        clash=clash,
        first_notes=first_passage(lesson),
    )


def first_passage(lesson: Lesson) -> Markup | None:
    """The notes of the first passage, which lie open."""
    return passage_html(lesson, 1) if lesson.examples else None


def passage_html(lesson: Lesson, position: int) -> Markup:
    """The notes of a passage as the handout shows them."""
    from melodex.presentation.engraving.fragments import evidence_html
    from melodex.presentation.lesson.setting import SheetSetting
    from melodex.presentation.lesson.sheets import example_section

    if not 1 <= position <= len(lesson.examples):
        raise LessonError(f"the set has no passage {position}")
    section = example_section(lesson.examples[position - 1], SheetSetting())
    return Markup(evidence_html(section))


def passage(ask: Ask) -> Response:
    """The notes of one passage, for a script that opens it."""
    lesson = open_lesson(ask.corpus(), ask.said("name"))
    html = passage_html(lesson, ask.number("position", 1, least=0, most=999))
    if ask.wants_data:
        return JSONResponse({"html": str(html)})
    return rendered_page(ask, "passage.html", lesson.row.name, passage=None, evidence=html)


def order(ask: Ask) -> Response:
    """A suggested order with its reasons."""
    lesson = open_lesson(ask.corpus(), ask.said("name"))
    return rendered_page(
        ask,
        "order.html",
        f"{lesson.row.name}: from easy to hard",
        found=arrange(lesson),
        lesson=lesson,
        mark=mark_of(lesson),
    )


def sheet(ask: Ask) -> Response:
    """A handout or a worksheet, as a file."""
    from melodex.presentation.lesson.printing import printed
    from melodex.presentation.lesson.setting import SheetSetting

    corpus = ask.corpus()
    lesson = open_lesson(corpus, ask.said("name"))
    form = ask.said("form") or "pdf"
    if form not in {"pdf", "html", "midi", "json"}:
        raise LessonError(f"there is no {form} of a set", hint="pdf, html, midi or json")
    setting = SheetSetting(
        ask.said("key") or "own", ask.said("for") or "concert", ask.said("clef") or "own"
    )
    asked = None
    is_worksheet = ask.said("sheet") == "worksheet"
    if is_worksheet and form != "midi":
        kinds = [kind for kind in KINDS if ask.said(f"ask-{kind.replace(' ', '-')}")]
        asked = worksheet(corpus, lesson, kinds, level=ask.said("level") or "third")
    answers = ask.said("answers") or "with"
    paper = "letter" if ask.said("paper") == "letter" else "a4"
    size = ask.said("size") or "usual"
    content = printed(
        lesson, asked, form, setting=setting, answers=answers, paper=paper, size=size
    )
    what = "worksheet" if is_worksheet else "handout"
    return named_file(content, form, f"{lesson.row.name}, {what}")


def packed(ask: Ask) -> Response:
    """A set as one file to take along."""
    from melodex.presentation.lesson.pack import packed_set

    lesson = open_lesson(ask.corpus(), ask.said("name"))
    return named_file(packed_set(lesson), "zip", lesson.row.name)


# Keeping what was found


def keep(ask: Ask) -> Response:
    """Keep passages in a set: what was chosen of a result, or bars of a tune."""
    name = ask.said("into")
    if not name:
        raise LessonError("no set is named", hint="write a name; a new one makes a new set")
    found = kept_from(ask)
    if not found:
        raise LessonError("nothing was chosen", hint="tick what is to be kept")
    ask.close()
    with ask.bench.changing:
        report = keep_found(ask.bench.corpus_path, name, found, create=True)
    if ask.wants_data:
        told = {"said": kept_words(report), "address": address("/set", name=report.name)}
        return JSONResponse(told)
    return RedirectResponse(
        address("/set", name=report.name, kept=len(report.kept), had=len(report.already)),
        303,
    )


def kept_words(report: KeepReport) -> str:
    """What was kept, in a sentence."""
    where = "the new set" if report.made else "the set"
    text = f"Kept {many(len(report.kept), 'passage')} in {where} {report.name}."
    if report.already:
        text += f" {many(len(report.already), 'passage')} stood in it already."
    return text


def kept_from(ask: Ask) -> list[Found]:
    """The passages that are to be kept."""
    corpus = ask.corpus()
    chosen = {int(text) for text in ask.every("chosen") if text.isdecimal()}
    source = ask.said("source")
    if source == "find":
        found = searched(ask, corpus)
        matches = tuple(match for match in found.matches if match.rank in chosen)
        return finds_of(corpus, replace(found, matches=matches))
    if source == "own":
        audit = audited(ask, corpus)
        findings = tuple(each for each in audit.findings if each.rank in chosen)
        return finds_of(corpus, replace(audit, findings=findings))
    if source == "gather":
        result = gathered(ask, corpus)
        examples = tuple(e for i, e in enumerate(result.examples, 1) if i in chosen)
        return finds_of(corpus, replace(result, examples=examples))
    return [
        found_by_hand(corpus, tune, bars=bars or None, reason=ask.said("why"))
        for tune, bars in zip(ask.every("tune"), ask.every("bars"), strict=False)
        if tune
    ]


# Changing sets


def mark_of(lesson: Lesson) -> str:
    """A mark of all that a set holds."""
    held = repr((lesson.row, lesson.rows))
    return hashlib.sha256(held.encode("utf-8", "replace")).hexdigest()[:16]


def new(ask: Ask) -> Response:
    """Make an empty set."""
    texts = {name: ask.said(name) for name in ("topic", "level", "notes")}
    with ask.bench.changing:
        row = lessons.new_lesson(ask.bench.corpus_path, ask.said("name"), **texts)
    return RedirectResponse(address("/set", name=row.name), 303)


def unpack(ask: Ask) -> Response:
    """Put a packed set into the corpus."""
    files = ask.uploads("file")
    if not files:
        raise LessonError("no file was sent", hint="choose a packed set")
    data, source = files[0].file.read(), files[0].filename or "the file"
    with ask.bench.changing:
        row, _ = unpack_set(ask.bench.corpus_path, data, source, name=ask.said("name"))
    return RedirectResponse(address("/set", name=row.name), 303)


def change(ask: Ask) -> Response:
    """Change a set as a button of its page says, unless another page has changed it."""
    what, _, position = ask.said("do").partition(" ")
    name = ask.said("name")
    doing = CHANGES.get(what)
    if doing is None or (position and not position.isdecimal()):
        raise LessonError(f"a set cannot be changed by {what!r}")
    with ask.bench.changing:
        with ask.bench.open_corpus(Stop()) as corpus:
            lesson = open_lesson(corpus, name)
        if mark_of(lesson) != ask.said("mark"):
            return clashing(ask)
        to = doing(ask, lesson, int(position or 0))
    return RedirectResponse(to, 303)


def clashing(ask: Ask) -> Response:
    """The set as it is now, and the words that were not written."""
    lesson = open_lesson(ask.corpus(), ask.said("name"), offer_nearest=True)
    texts = {
        name: ask.said(name)
        for name in ("new-name", "topic", "level", "notes", "note")
        if ask.said(name)
    }
    if ask.wants_data:
        said = "The set has been changed on another page. Nothing was changed here."
        advice = "Load this page again to go on."
        return JSONResponse({"fault": {"what": said, "where": "", "advice": advice}}, 409)
    return shown(ask, lesson, status=409, clash=texts)


Change = Callable[[Ask, Lesson, int], str]


def back(lesson: Lesson, position: int = 0) -> str:
    """The address of a set, at one of its passages."""
    place = f"#passage-{position}" if position else ""
    return address("/set", name=lesson.row.name) + place


def note(ask: Ask, lesson: Lesson, position: int) -> str:
    """Write words beside a passage."""
    lessons.annotate(
        ask.bench.corpus_path, lesson.row.name, position, ask.fields.get("note", "")
    )
    return back(lesson, position)


def move(ask: Ask, lesson: Lesson, position: int, by: int) -> str:
    """Move a passage up or down."""
    to = max(1, min(len(lesson.examples), position + by))
    lessons.move(ask.bench.corpus_path, lesson.row.name, position, to)
    return back(lesson, to)


def drop(ask: Ask, lesson: Lesson, position: int) -> str:
    """Take a passage out."""
    lessons.drop(ask.bench.corpus_path, lesson.row.name, [position])
    return back(lesson)


def mend(ask: Ask, lesson: Lesson, position: int) -> str:
    """Take what is offered in place of a passage."""
    take_nearest(ask.bench.corpus_path, lesson.row.name, [position] if position else [])
    return back(lesson, position)


def texts(ask: Ask, lesson: Lesson, position: int) -> str:
    """Change what a set is called and for."""
    changed: dict[str, Any] = {
        name: ask.fields[name] for name in ("topic", "level", "notes") if name in ask.fields
    }
    row = lessons.alter_lesson(
        ask.bench.corpus_path,
        lesson.row.name,
        new_name=ask.said("new-name") or None,
        **changed,
    )
    return address("/set", name=row.name)


def copy(ask: Ask, lesson: Lesson, position: int) -> str:
    """Make another set of the same passages."""
    row = lessons.copy_lesson(ask.bench.corpus_path, lesson.row.name, ask.said("copy-name"))
    return address("/set", name=row.name)


def delete(ask: Ask, lesson: Lesson, position: int) -> str:
    """Delete a set, if that was ticked too."""
    if not ask.said("sure"):
        raise LessonError("nothing was deleted", hint="tick the box to confirm")
    lessons.remove_lesson(ask.bench.corpus_path, lesson.row.name)
    return "/sets"


def arranged(ask: Ask, lesson: Lesson, position: int) -> str:
    """Put a set into the suggested order."""
    apply_arrangement(ask.bench.corpus_path, arrange(lesson))
    return back(lesson)


CHANGES: dict[str, Change] = {
    "note": note,
    "up": lambda ask, lesson, position: move(ask, lesson, position, -1),
    "down": lambda ask, lesson, position: move(ask, lesson, position, 1),
    "drop": drop,
    "mend": mend,
    "texts": texts,
    "copy": copy,
    "delete": delete,
    "order": arranged,
}
"""What the buttons of a set's page do."""
