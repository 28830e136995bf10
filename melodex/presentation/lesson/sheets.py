"""Sheets for a class: the handout of a teaching set, its worksheet and answer key.

Conventions: on the worksheet nothing that is asked for stands in the picture, nor in
the words that go with it for those who do not see it. Answers stand on pages of their
own. Every excerpt carries its maker, its source and its rights; where no rights are
known, that is said.

Contents: CAUTIONS, ANSWERS, handout_page, worksheet_page, example_section.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from melodex.errors import REMEDIES, PresentationError
from melodex.melody import Melody
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.lesson.questions import (
    PAPER_SIZES,
    answer,
    ask,
    onset_in,
    picture,
)
from melodex.presentation.lesson.setting import SetPassage, SheetSetting, set_passage
from melodex.presentation.lesson.words import maker_of, said, source_of, spelled
from melodex.presentation.report.blocks import rights_lines, solo_player
from melodex.presentation.report.page import (
    Answering,
    Blanks,
    Block,
    Caution,
    Facts,
    Page,
    Section,
    Text,
)
from melodex.tasks.lesson.asking.focus import Focus, focus_of, note_wish
from melodex.tasks.lesson.asking.parts import why_note
from melodex.tasks.lesson.asking.records import Shown
from melodex.tasks.lesson.questions import Question, Worksheet
from melodex.tasks.lesson.sets import Lesson, LessonExample
from melodex.tasks.lesson.state import AS_KEPT

__all__ = ["ANSWERS", "CAUTIONS", "example_section", "handout_page", "worksheet_page"]

CAUTIONS = (
    "Check the rights of what you print or share: each excerpt says what its source "
    "says of them. Where that is nothing, its rights are not known, which does not mean "
    "that it is free.",
    "What may be copied for a class differs from country to country.",
)
ANSWERS = ("with", "without", "only", "checked")
"""Whether a worksheet comes with its answers."""

MOST_NOTES_WHOLE = 90
"""Notes up to which a section is kept on one page; some five systems."""


def handout_page(lesson: Lesson, setting: SheetSetting | None = None) -> Page:
    """Return the handout of a set: each passage with its labels, maker and rights.

    Parameters
    ----------
    lesson : Lesson
        As opened.
    setting : SheetSetting, optional
        Key, instrument and clef; as in the sources by default.

    Raises
    ------
    PresentationError
        If the set is empty, or a passage cannot be engraved.
    """
    refuse_empty(lesson)
    setting = setting or SheetSetting()
    sections = [example_section(example, setting) for example in lesson.examples]
    return Page(
        lesson.row.name,
        "handout",
        (*about(lesson, setting), *lesson.remarks),
        (*sections, Section("Before you copy", (Caution(CAUTIONS),))),
        rights_of([example.excerpt for example in lesson.examples]),
    )


def worksheet_page(
    sheet: Worksheet,
    setting: SheetSetting | None = None,
    *,
    answers: str = "with",
    size: str = "usual",
) -> Page:
    """Return a worksheet, with its answer key on pages of its own.

    Parameters
    ----------
    sheet : Worksheet
        Its questions.
    setting : SheetSetting, optional
        Key, instrument and clef; as in the sources by default.
    answers : str
        ``with``, ``without`` or ``only``; or ``checked``, for a page that a pupil types
        answers into and that checks them itself.
    size : str
        How large it is printed: one of ``questions.PAPER_SIZES``.

    Raises
    ------
    PresentationError
        If a passage cannot be engraved, or ``answers`` or ``size`` is no choice.
    """
    for chosen, known in ((answers, ANSWERS), (size, tuple(PAPER_SIZES))):
        if chosen not in known:
            raise PresentationError(f"{chosen!r} is no choice", hint=", ".join(known))
    setting = setting or SheetSetting()
    sections: list[Section] = []
    if answers != "only":
        sections += asked_sections(sheet, setting, answers, PAPER_SIZES[size])
    if answers in {"without", "checked"}:
        sections.append(Section("", (Caution(CAUTIONS),)))
    else:
        sections += answer_sections(sheet, setting, new_page=answers == "with")
    melodies = [
        shown.excerpt for question in sheet.questions for shown in question.passages
    ]
    name = sheet.lesson.row.name
    title = f"{name}: answers" if answers == "only" else name
    kicker = "answer key" if answers == "only" else "worksheet"
    lesson = without_given_topic(sheet.lesson)
    summary = about(lesson, setting, notes=False)
    return Page(title, kicker, summary, tuple(sections), rights_of(melodies))


def refuse_empty(lesson: Lesson) -> None:
    """Refuse to print nothing."""
    if not lesson.examples:
        raise PresentationError(
            "the set has no passages yet",
            where=lesson.row.name,
            hint=REMEDIES["keep passages"],
        )


def without_given_topic(lesson: Lesson) -> Lesson:
    """The set without a topic that gathering gave it: it would tell the answers."""
    given = {e.labels.topic.heading for e in lesson.examples if e.labels.topic}
    if lesson.row.topic not in given:
        return lesson
    return replace(lesson, row=replace(lesson.row, topic=""))


def about(lesson: Lesson, setting: SheetSetting, *, notes: bool = True) -> tuple[str, ...]:
    """Topic, level, notes and setting, as far as they are told."""
    row = lesson.row
    told = [spelled(row.topic), row.level and f"For: {row.level}.", notes and row.notes]
    return tuple(text for text in (*told, setting.words) if text)


def rights_of(melodies: Sequence[Melody]) -> tuple[str, ...]:
    """Title, maker, source and rights of each tune, unknown rights said."""
    known = [
        melody.with_credits(rights=melody.credits.rights or "Rights not known")
        for melody in melodies
    ]
    return rights_lines(*known)


# The handout.


def example_section(example: LessonExample, setting: SheetSetting) -> Section:
    """One passage of a handout."""
    here = set_passage(example.excerpt, example.labels, setting)
    shown = Shown(example.excerpt, example.labels, example.row.tune_id)
    meant = focus_of(shown)
    name = f"e{example.position}"
    blocks: list[Block] = []
    if example.row.note:
        blocks.append(Text(tuple(example.row.note.splitlines())))
    blocks += [
        picture([with_focus(here, meant)], name, example.title),
        solo_player(here.melody, f"l{example.position}", name, example.title),
        Facts((*shows(shown, meant, here), *facts_of(example, here))),
    ]
    if example.state.kind != AS_KEPT:
        blocks.append(Caution((f"This passage: {example.state.sentence}.",)))
    return Section(
        f"{example.position}. {example.title}",
        tuple(blocks),
        note=maker_of(example.excerpt),
        whole=len(example.excerpt) <= MOST_NOTES_WHOLE,
    )


def with_focus(here: SetPassage, meant: Focus) -> StaffPart:
    """The stave of a passage with a box about the notes and chords that are meant."""
    return replace(
        here.part(),
        boxed=frozenset(note for note, _ in meant.hits),
        boxed_chords=frozenset(onset_in(here.melody, place) for place in meant.chords),
    )


def shows(shown: Shown, meant: Focus, here: SetPassage) -> Iterator[tuple[str, str]]:
    """What the note in the box is on its chord."""
    topic = shown.labels.topic
    wish = note_wish(topic.asked) if topic else None
    if wish is None:
        return
    for note, place in meant.hits[:1]:
        words = said(why_note(shown, note, place, wish.degree), [here])
        yield "In the box", f"bar {shown.excerpt.bar[note]}, {words}"


def facts_of(example: LessonExample, here: SetPassage) -> Iterator[tuple[str, str]]:
    """What is told below a passage."""
    keys = here.labels.keys
    if keys:
        yield "Key", "; ".join(spelled(here.key_name(key.key)) for key in keys)
    if example.row.reason:
        where = " (in the original key)" if here.fifths else ""
        yield f"Kept for{where}", spelled(example.row.reason)
    yield "Source", source_of(example.excerpt)
    yield "Rights", example.rights.removeprefix("rights ")


# The worksheet.


def asked_sections(
    sheet: Worksheet, setting: SheetSetting, answers: str, staff_mm: float
) -> Iterator[Section]:
    """The questions, numbered."""
    checked = answers == "checked"
    if checked:
        words = "Type your answers; the page checks them. Nothing leaves this page."
        yield Section("", (Text((words,)),))
    else:
        head = ("Name", "Date", f"Points (of {sheet.points})")
        yield Section("", (Blanks(head, in_row=True),))
    if sheet.words:
        yield Section("", (Text(sheet.words),))
    unwanted = Blanks if checked else Answering
    for number, question in enumerate(sheet.questions, start=1):
        asked = ask(question, setting, f"q{number}", staff_mm=staff_mm)
        yield Section(
            f"{number}. {asked.heading}",
            tuple(block for block in asked.blocks if not isinstance(block, unwanted)),
            note=asked.note,
            whole=fits(question),
        )


def answer_sections(
    sheet: Worksheet, setting: SheetSetting, *, new_page: bool
) -> Iterator[Section]:
    """The answers under the same numbers."""
    told = (
        "Every answer was reached in two ways. Other spellings that are right stand "
        "behind it in brackets.",
        *sheet.remarks,
    )
    blocks = (Text(told), Caution(CAUTIONS))
    yield Section(
        "Answers",
        blocks,
        note="for the teacher",
        new_page=new_page,
        numbered_apart="Answers",
    )
    for number, question in enumerate(sheet.questions, start=1):
        made = answer(question, setting, f"a{number}")
        yield Section(
            f"{number}. {made.heading}", made.blocks, note=made.note, whole=fits(question)
        )


def fits(question: Question) -> bool:
    """Whether a question is short enough to stay on one page."""
    notes = sum(len(shown.excerpt) for shown in question.passages)
    return notes <= MOST_NOTES_WHOLE
