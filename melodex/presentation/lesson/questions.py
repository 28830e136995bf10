"""How each kind of question is printed, and how it is answered.

Conventions: what is asked for stands neither in the picture nor in the words that go
with it for those who do not see it. A passage is named by title and maker.

Contents: Asked, ask, answer, picture, spelled, maker_of, source_of.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import singledispatch
from typing import NamedTuple

from melodex.errors import PresentationError
from melodex.melody import Melody, degree_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.mei import with_signs
from melodex.presentation.engraving.pictures import engrave
from melodex.presentation.engraving.sides import parts_of
from melodex.presentation.lesson.setting import SetPassage, SheetSetting, set_passage
from melodex.presentation.report.blocks import solo_player
from melodex.presentation.report.page import Blanks, Block, Legend, Picture
from melodex.tasks.compare import OTHER_RHYTHM, RELATIONS
from melodex.tasks.lesson.questions import (
    ChordsQuestion,
    DegreesQuestion,
    KeyChangeQuestion,
    RelativeQuestion,
    SharedQuestion,
)
from melodex.tasks.lesson.sets import LessonExample

__all__ = ["Asked", "answer", "ask", "maker_of", "picture", "source_of", "spelled"]

CHORD_BLANK = "[____]"
"""The brackets keep room above the chord symbol to write in."""


def maker_of(melody: Melody) -> str:
    """Composer and year; what is not known is said."""
    made = melody.credits
    maker = made.composer or "composer not known"
    return f"{maker}, {made.year}" if made.year is not None else maker


def source_of(melody: Melody) -> str:
    """Collection and number in it."""
    made = melody.credits
    number = f"no. {made.number}" if made.number else ""
    return ", ".join(part for part in (made.collection, number) if part) or "not known"


ACCIDENTAL = re.compile(
    r"\b([A-G])(b+|#+)(?![a-z])|\b([A-G])(b+|#+)(?=m|dim|sus|aug|add)"
    r"|(?<![A-Za-z])()(b+|#+)(?=[IViv\d])"
)


def spelled(text: str) -> str:
    """A text in which names of notes and numerals have real accidentals."""

    def signed(found: re.Match[str]) -> str:
        letter, signs = (part for part in found.groups() if part is not None)
        return letter + with_signs(signs)

    return ACCIDENTAL.sub(signed, text)


def picture(
    parts: Sequence[StaffPart],
    prefix: str,
    title: str,
    *,
    pairs: Sequence[tuple[int, int]] = (),
    description: str = "",
    caption: str = "",
) -> Picture:
    """An engraved picture."""
    drawn = engrave(parts, pairs=pairs, prefix=prefix, title=title, description=description)
    return Picture(drawn.svg, f"Notes: {title}", caption)


# Questions.


class Asked(NamedTuple):
    """A question as it is printed: heading, task, source, blocks, and the same answered."""

    heading: str
    task: str
    source: str
    blocks: tuple[Block, ...]


@singledispatch
def ask(question: object, setting: SheetSetting, name: str) -> Asked:
    """A question as it is printed."""
    raise PresentationError(f"a {type(question).__name__} cannot be printed")


@singledispatch
def answer(question: object, setting: SheetSetting, name: str) -> Asked:
    """The same with its answer."""
    raise PresentationError(f"a {type(question).__name__} cannot be printed")


def of_example(example: LessonExample) -> str:
    """Title, bars and maker of a passage."""
    return f"{example.title}. {maker_of(example.excerpt)}"


def solo(
    here: SetPassage, part: StaffPart, example: LessonExample, name: str
) -> tuple[Block, ...]:
    """One passage with what is played of it."""
    return (
        picture([part], name, example.title),
        solo_player(here.melody, f"l{name}", name, example.title),
    )


@ask.register
def ask_degrees(question: DegreesQuestion, setting: SheetSetting, name: str) -> Asked:
    """Notes with blanks below them."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    hidden = frozenset(range(len(example.excerpt))) - question.given
    part = replace(here.part(numerals=False), hidden=hidden)
    task = "Write the scale degree below each note. The first is given."
    source = of_example(example)
    return Asked("Write the degrees", task, source, solo(here, part, example, name))


@answer.register
def answer_degrees(question: DegreesQuestion, setting: SheetSetting, name: str) -> Asked:
    """Notes with their degrees."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    degrees = [
        "–" if degree is None else with_signs(degree_name(degree))
        for degree in question.answer
    ]
    keys = " then ".join(spelled(here.key_name(key.key)) for key in here.labels.keys)
    task = f"In {keys}: {' '.join(degrees)}"
    blocks = solo(here, here.part(numerals=False), example, name)
    return Asked("The degrees", task, of_example(example), blocks)


@ask.register
def ask_chords(question: ChordsQuestion, setting: SheetSetting, name: str) -> Asked:
    """Chord symbols with blanks above them."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    blanks = tuple((onset, CHORD_BLANK) for onset, _ in here.numerals)
    part = replace(here.part(degrees=False), numerals=blanks)
    task = "Write the Roman numeral of each chord on the line above it."
    source = of_example(example)
    return Asked("Name the chords", task, source, solo(here, part, example, name))


@answer.register
def answer_chords(question: ChordsQuestion, setting: SheetSetting, name: str) -> Asked:
    """Chord symbols with their numerals."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    symbols = [here.melody.chords[place].text for place in question.asked]
    pairs = zip(symbols, question.answer, strict=True)
    task = "; ".join(f"{spelled(symbol)} is {spelled(text)}" for symbol, text in pairs)
    blocks = solo(here, here.part(degrees=False), example, name)
    return Asked("The chords", f"{task}.", of_example(example), blocks)


@ask.register
def ask_key_change(question: KeyChangeQuestion, setting: SheetSetting, name: str) -> Asked:
    """Notes and chord symbols alone."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    part = here.part(degrees=False, numerals=False)
    changes = len(question.answer) - 1
    task = "The key changes here. In which bar does the new key begin, and which is it?"
    words: tuple[str, ...] = ("From which key, to which, in which bar:",)
    if changes > 1:
        task = f"The key changes {changes} times here. In which bars, and to which keys?"
        words = tuple(f"Change {number}:" for number in range(1, changes + 1))
    blocks = (*solo(here, part, example, name), Blanks(words))
    return Asked("Where does the key change?", task, of_example(example), blocks)


@answer.register
def answer_key_change(
    question: KeyChangeQuestion, setting: SheetSetting, name: str
) -> Asked:
    """Bars and keys, and the degrees under the keys that hold."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    first, *others = question.answer
    told = [f"It starts in {spelled(here.key_name(first.key))}."]
    for key in others:
        # A chord that is named in the reason is that of the source.
        how = key.how.partition(",")[0] if here.fifths else key.how
        told.append(f"In bar {key.bar}: {spelled(here.key_name(key.key))}, {spelled(how)}.")
    blocks = solo(here, here.part(), example, name)
    return Asked("The change of key", " ".join(told), of_example(example), blocks)


@ask.register
def ask_shared(question: SharedQuestion, setting: SheetSetting, name: str) -> Asked:
    """Two passages over one another, without what they share."""
    parts, pairs = shared_parts(question, setting)
    bare = [replace(part, relations=(), degrees=(), numerals=()) for part in parts]
    title = f"A: {question.one.title}; B: {question.other.title}"
    task = (
        "Move B in your mind so that it meets A. Mark the notes that both share, and "
        "say what was changed in the others."
    )
    blocks = (picture(bare, name, title, pairs=pairs), Blanks(("What was changed:", "")))
    return Asked("Mark the shared notes", task, shared_source(question), blocks)


@answer.register
def answer_shared(question: SharedQuestion, setting: SheetSetting, name: str) -> Asked:
    """The same with all that compare says."""
    parts, pairs = shared_parts(question, setting)
    seen = {relation for part in parts for relation in part.relations}
    legend = Legend(tuple(relation for relation in RELATIONS if relation in seen))
    title = f"A: {question.one.title}; B: {question.other.title}"
    # Later sentences name keys, which are those of the sources.
    told = list(question.comparison.summary[:2])
    if changed := question.comparison.likeness.count(OTHER_RHYTHM):
        stand = "stands" if changed == 1 else "stand"
        told.append(f"{changed} of the same degree {stand} in another rhythm.")
    task = " ".join(told)
    blocks = (legend, picture(parts, name, title, pairs=pairs))
    return Asked("The shared notes", task, shared_source(question), blocks)


def shared_source(question: SharedQuestion) -> str:
    """Both passages and their makers."""
    return f"A: {of_example(question.one)}. B: {of_example(question.other)}"


def shared_parts(
    question: SharedQuestion, setting: SheetSetting
) -> tuple[tuple[StaffPart, StaffPart], tuple[tuple[int, int], ...]]:
    """Two staves, each passage as it is set, and their partners."""
    here = [
        set_passage(example.excerpt, example.labels, setting)
        for example in (question.one, question.other)
    ]
    parts, pairs = parts_of(
        here[0].melody, here[1].melody, question.comparison.likeness, key="own"
    )
    a, b = (
        replace(
            part,
            degrees=each.part().degrees,
            numerals=each.numerals,
            clef=each.clef,
        )
        for part, each in zip(parts, here, strict=True)
    )
    return (a, b), pairs


@ask.register
def ask_relative(question: RelativeQuestion, setting: SheetSetting, name: str) -> Asked:
    """A phrase and three passages without titles."""
    task = (
        "One of A, B and C is a relative of the phrase: the same tune varied, in another "
        "key or rhythm perhaps. Which one, and by what do you know it?"
    )
    blocks = (
        *relative_blocks(question, setting, name, reveal=False),
        Blanks(("It is", "I know it by")),
    )
    source = of_example(question.example)
    return Asked("Which of these three is the relative?", task, source, blocks)


@answer.register
def answer_relative(question: RelativeQuestion, setting: SheetSetting, name: str) -> Asked:
    """The letter, and what each passage shares with the phrase."""
    told = [f"It is {question.answer}."]
    for choice in question.choices:
        found = choice.comparison.likeness
        told.append(
            f"{choice.letter} is {choice.passage.label}: {found.agreeing} of "
            f"{len(question.example.excerpt)} notes of the phrase have their like in it."
        )
    chosen = next(c for c in question.choices if c.letter == question.answer)
    comparison = chosen.comparison
    parts, pairs = parts_of(
        question.example.excerpt, chosen.passage.melody, comparison.likeness
    )
    title = f"A: the phrase; B: {chosen.passage.label}"
    seen = {relation for part in parts for relation in part.relations}
    blocks: tuple[Block, ...] = (
        Legend(tuple(relation for relation in RELATIONS if relation in seen)),
        picture(
            [replace(parts[0], label="Phrase"), replace(parts[1], label=question.answer)],
            name,
            title,
            pairs=pairs,
            caption="Both at the pitch of the phrase in its source.",
        ),
    )
    source = of_example(question.example)
    return Asked("The relative", " ".join(told), source, blocks)


def relative_blocks(
    question: RelativeQuestion, setting: SheetSetting, name: str, *, reveal: bool
) -> Iterator[Block]:
    """The phrase and its choices, drawn and played."""
    example = question.example
    here = set_passage(example.excerpt, example.labels, setting)
    part = here.part(degrees=reveal, numerals=False, label="Phrase")
    yield picture([part], f"{name}o", "The phrase", description="The phrase.")
    yield solo_player(here.melody, f"l{name}o", f"{name}o", "the phrase")
    for choice in question.choices:
        each = set_passage(choice.passage.melody, choice.labels, setting)
        part = each.part(degrees=reveal, numerals=False, label=choice.letter)
        prefix = f"{name}{choice.letter.lower()}"
        title = f"Passage {choice.letter}"
        # A title would tell where to look the answer up.
        yield picture([part], prefix, title, description=f"{title}.")
        yield solo_player(each.melody, f"l{prefix}", prefix, title)
