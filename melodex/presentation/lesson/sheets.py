"""Sheets for a class: the handout of a teaching set, its worksheet and answer key.

Conventions: on the worksheet nothing that is asked for stands in the picture, nor in
the words that go with it for those who do not see it. Answers stand on pages of their
own. Every excerpt carries its maker, its source and its rights; where no rights are
known, that is said.

Contents: CAUTIONS, ANSWERS, handout_page, worksheet_page, example_section.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from melodex.errors import REMEDIES, PresentationError
from melodex.melody import Melody
from melodex.presentation.lesson.questions import (
    answer,
    ask,
    maker_of,
    picture,
    source_of,
    spelled,
)
from melodex.presentation.lesson.setting import SetPassage, SheetSetting, set_passage
from melodex.presentation.report.blocks import rights_lines, solo_player
from melodex.presentation.report.page import (
    Blanks,
    Block,
    Caution,
    Facts,
    Page,
    Section,
    Text,
)
from melodex.tasks.lesson.questions import (
    Question,
    RelativeQuestion,
    SharedQuestion,
    Worksheet,
)
from melodex.tasks.lesson.sets import Lesson, LessonExample
from melodex.tasks.lesson.state import AS_KEPT

__all__ = ["ANSWERS", "CAUTIONS", "example_section", "handout_page", "worksheet_page"]

CAUTIONS = (
    "Check the rights of what you print or share: each excerpt says what its source "
    "says of them. Where that is nothing, its rights are not known, which does not mean "
    "that it is free.",
    "What may be copied for a class differs from country to country.",
)
ANSWERS = ("with", "without", "only")
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
    sheet: Worksheet, setting: SheetSetting | None = None, *, answers: str = "with"
) -> Page:
    """Return a worksheet, with its answer key on pages of its own.

    Parameters
    ----------
    sheet : Worksheet
        Its questions.
    setting : SheetSetting, optional
        Key, instrument and clef; as in the sources by default.
    answers : str
        ``with``, ``without`` or ``only``.

    Raises
    ------
    PresentationError
        If a passage cannot be engraved, or ``answers`` is none of the three.
    """
    if answers not in ANSWERS:
        raise PresentationError(f"{answers!r} is no choice", hint=", ".join(ANSWERS))
    setting = setting or SheetSetting()
    sections: list[Section] = []
    if answers != "only":
        sections += asked_sections(sheet.questions, setting)
    if answers == "without":
        sections.append(Section("", (Caution(CAUTIONS),)))
    else:
        sections += answer_sections(sheet, setting, new_page=answers == "with")
    melodies = [melody for question in sheet.questions for melody in shown(question)]
    name = sheet.lesson.row.name
    title = f"{name}: answers" if answers == "only" else name
    kicker = "answer key" if answers == "only" else "worksheet"
    summary = about(sheet.lesson, setting, notes=False)
    return Page(title, kicker, summary, tuple(sections), rights_of(melodies))


def refuse_empty(lesson: Lesson) -> None:
    """Refuse to print nothing."""
    if not lesson.examples:
        raise PresentationError(
            "the set has no passages yet",
            where=lesson.row.name,
            hint=REMEDIES["keep passages"],
        )


def about(lesson: Lesson, setting: SheetSetting, *, notes: bool = True) -> tuple[str, ...]:
    """Topic, level, notes and setting, as far as they are told."""
    row = lesson.row
    told = [row.topic, row.level and f"For: {row.level}.", notes and row.notes]
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
    name = f"e{example.position}"
    blocks: list[Block] = []
    if example.row.note:
        blocks.append(Text(tuple(example.row.note.splitlines())))
    blocks += [
        picture([here.part()], name, example.title),
        solo_player(here.melody, f"l{example.position}", name, example.title),
        Facts(tuple(facts_of(example, here))),
    ]
    if example.state.kind != AS_KEPT:
        blocks.append(Caution((f"This passage: {example.state.sentence}.",)))
    return Section(
        f"{example.position}. {example.title}",
        tuple(blocks),
        note=maker_of(example.excerpt),
        whole=len(example.excerpt) <= MOST_NOTES_WHOLE,
    )


def facts_of(example: LessonExample, here: SetPassage) -> Iterator[tuple[str, str]]:
    """What is told below a passage."""
    keys = here.labels.keys
    if keys:
        yield "Key", "; ".join(spelled(here.key_name(key.key)) for key in keys)
    if example.row.reason:
        where = " (in the original key)" if here.fifths else ""
        yield f"Kept for{where}", spelled(example.row.reason)
    yield "Source", source_of(example.excerpt)
    yield "Rights", example.rights


# The worksheet.


def asked_sections(
    questions: Sequence[Question], setting: SheetSetting
) -> Iterator[Section]:
    """The questions, numbered."""
    yield Section("", (Blanks(("Name",)),))
    for number, question in enumerate(questions, start=1):
        asked = ask(question, setting, f"q{number}")
        yield Section(
            f"{number}. {asked.heading}",
            (Text((asked.task,)), *asked.blocks),
            note=asked.source,
            whole=fits(question),
        )


def answer_sections(
    sheet: Worksheet, setting: SheetSetting, *, new_page: bool
) -> Iterator[Section]:
    """The answers under the same numbers."""
    head = "Answers"
    told = (
        "Degrees, numerals and keys are those that describe finds, shared notes those "
        "that compare finds.",
        *sheet.remarks,
    )
    blocks = (Text(told), Caution(CAUTIONS))
    yield Section(head, blocks, note="for the teacher", new_page=new_page)
    for number, question in enumerate(sheet.questions, start=1):
        made = answer(question, setting, f"a{number}")
        yield Section(
            f"{number}. {made.heading}",
            (*made.blocks, Text((made.task,))),
            note=made.source,
            whole=fits(question),
        )


def shown(question: Question) -> list[Melody]:
    """The melodies that a question shows."""
    if isinstance(question, SharedQuestion):
        return [question.one.excerpt, question.other.excerpt]
    if isinstance(question, RelativeQuestion):
        choices = [choice.passage.melody for choice in question.choices]
        return [question.example.excerpt, *choices]
    return [question.example.excerpt]


def fits(question: Question) -> bool:
    """Whether a question is short enough to stay on one page."""
    return sum(map(len, shown(question))) <= MOST_NOTES_WHOLE
