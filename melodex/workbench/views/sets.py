"""Teaching sets: kept, annotated, put in order, printed, packed.

What changes a set is in ``changes``.

Contents: sets, one_set, passage, order, sheet, packed, keep, mark_of, set_of, shown.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from markupsafe import Markup
from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.corpus.lessons import example_rows, find_lesson
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError, UnknownTuneError
from melodex.presentation.text.words import many
from melodex.tasks.gather.gather import Example
from melodex.tasks.lesson import sets as lessons
from melodex.tasks.lesson.choosing import choice_of
from melodex.tasks.lesson.keeping import (
    Found,
    KeepReport,
    finds_of,
    found_by_hand,
)
from melodex.tasks.lesson.keeping import (
    keep as keep_found,
)
from melodex.tasks.lesson.order import arrange
from melodex.tasks.lesson.questions import KINDS, worksheet
from melodex.tasks.lesson.sets import Lesson, open_lesson
from melodex.tasks.lesson.undoing import Undoing, take_out
from melodex.tasks.lesson.words import mark_of_text, passage_keys
from melodex.workbench.asking import Ask, address, rendered_page
from melodex.workbench.deeds import changing, deleting
from melodex.workbench.files import named_file
from melodex.workbench.ticked import Row, found_again, row_of
from melodex.workbench.views.find import match_place, searched
from melodex.workbench.views.gather import gathered
from melodex.workbench.views.own import audited, finding_place

__all__ = [
    "keep",
    "mark_of",
    "one_set",
    "order",
    "packed",
    "passage",
    "set_of",
    "sets",
    "sheet",
    "shown",
]

Shown = TypeVar("Shown")


def sets(ask: Ask) -> Response:
    """All teaching sets."""
    corpus = ask.corpus()
    return rendered_page(
        ask, "sets.html", "Teaching sets", lines=lessons.list_lessons(corpus)
    )


def set_of(ask: Ask, corpus: Corpus, *, offer_nearest: bool = False) -> Lesson:
    """The set that is asked for, by the name that it has or had in this run."""
    name = ask.bench.words.name_now(corpus, ask.said("name"))
    return open_lesson(corpus, name, offer_nearest=offer_nearest)


def one_set(ask: Ask) -> Response:
    """One set with its passages."""
    lesson = set_of(ask, ask.corpus(), offer_nearest=True)
    return shown(ask, lesson)


def shown(
    ask: Ask,
    lesson: Lesson,
    *,
    status: int = 200,
    clash: list[str] | None = None,
) -> Response:
    """The page of a set; with what could not be written, if that is so."""
    from melodex.presentation.lesson.words import maker_of, source_of
    from melodex.tasks.lesson.measures import measures_of

    rows = [
        (
            example,
            key,
            maker_of(example.excerpt),
            measures_of(example).words,
            source_of(example.excerpt),
        )
        for key, example in zip(passage_keys(lesson.rows), lesson.examples, strict=True)
    ]
    return rendered_page(
        ask,
        "set.html",
        lesson.row.name,
        status=status,
        lesson=lesson,
        rows=rows,
        mark=mark_of(lesson),
        mark_of_text=mark_of_text,
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
    lesson = set_of(ask, ask.corpus())
    html = passage_html(lesson, ask.number("position", 1, least=0, most=999))
    if ask.wants_data:
        return JSONResponse({"html": str(html)})
    return rendered_page(ask, "passage.html", lesson.row.name, passage=None, evidence=html)


def order(ask: Ask) -> Response:
    """A suggested order with its reasons."""
    lesson = set_of(ask, ask.corpus())
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
    lesson = set_of(ask, corpus)
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
        if ask.said("chosen") == "yes" and not kinds:
            asked = choice_of(corpus, lesson).sheet
        else:
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

    lesson = set_of(ask, ask.corpus())
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
    path = ask.bench.corpus_path
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        report = keep_found(path, name, found, create=True)
        ask.bench.words.put_back(path)
        doing.back = address("/set", name=report.name)
        doing.undoing, doing.kind = undoing_of(path, report)
        if report.kept:
            doing.words = kept_words(report)
    to = doing.back
    if ask.wants_data:
        deed = doing.deed.id if doing.deed else None
        return JSONResponse({"said": kept_words(report), "address": to, "deed": deed})
    did = doing.deed.id if doing.deed else ""
    kept = {"kept": len(report.kept), "had": len(report.already), "did": did}
    return RedirectResponse(address("/set", name=report.name, **kept), 303)


def undoing_of(path: Path, report: KeepReport) -> tuple[Undoing | None, str]:
    """What undoes keeping: the new set is deleted, or the new passages are taken out."""
    if report.made:
        return deleting(path, [report.name]), "made"
    if not report.kept:
        return None, ""
    with Corpus.open(path) as corpus:
        row = find_lesson(corpus, report.name)
        keys = passage_keys(example_rows(corpus, row.id))
    # They were put behind those that were there.
    return partial(take_out, path, row.id, keys[-len(report.kept) :]), ""


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
    source = ask.said("source")
    if source == "find":
        found = searched(ask, corpus)
        matches, gone = ticked(ask, found.matches, match_place)
        kept = finds_of(corpus, replace(found, matches=matches))
    elif source == "own":
        audit = audited(ask, corpus)
        findings, gone = ticked(ask, audit.findings, finding_place)
        kept = finds_of(corpus, replace(audit, findings=findings))
    elif source == "gather":
        gathering = gathered(ask, corpus)
        examples, gone = ticked(ask, gathering.examples, example_place)
        kept = finds_of(corpus, replace(gathering, examples=examples))
    else:
        return [
            found_by_hand(corpus, tune, bars=bars or None, reason=ask.said("why"))
            for tune, bars in zip(ask.every("tune"), ask.every("bars"), strict=False)
            if tune
        ]
    # It was ticked where it stood: what came since may have pushed it out of the result.
    return [*kept, *(still_there(corpus, row) for row in gone)]


def still_there(corpus: Corpus, row: Row) -> Found:
    """A passage that was ticked, if the corpus still has its tune."""
    try:
        return found_by_hand(corpus, row.tune, bars=row.bars)
    except UnknownTuneError as error:
        raise LessonError(
            f"the tune of {row.rank} is no longer in the corpus",
            hint="untick it, or undo what took it out; then keep the others again",
        ) from error


def ticked(
    ask: Ask, result: Sequence[Shown], place_of: Callable[[Shown], tuple[str, str]]
) -> tuple[tuple[Shown, ...], list[Row]]:
    """What was ticked of a result, in its order, and rows that are in it no more."""
    rows = [row for text in ask.every("chosen") if (row := row_of(text))]
    again = [found_again(row, result, place_of) for row in rows]
    gone = [r for r, found in zip(rows, again, strict=True) if found is None and r.tune]
    chosen = {id(found) for found in again if found is not None}
    return tuple(each for each in result if id(each) in chosen), gone


def example_place(example: Example) -> tuple[str, str]:
    """Tune and bars of a passage that was gathered, as its page tells them."""
    return example.tune_id, f"{example.first_bar}-{example.last_bar}"


def mark_of(lesson: Lesson) -> str:
    """A mark of all that a set holds."""
    held = repr((lesson.row, lesson.rows))
    return hashlib.sha256(held.encode("utf-8", "replace")).hexdigest()[:16]
