"""How a question is printed, and how it is answered.

Conventions: what is asked for stands neither in the picture nor in the words that go
with it for those who do not see it. A passage is named by title and maker, unless that
would tell where to look the answer up.

Contents: Asked, PAPER_SIZES, ask, answer, picture, passages_of, right_text.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from melodex.melody import Melody
from melodex.presentation.engraving.engraver import no_wider_than
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.mei_texts import EMPTY_BOX
from melodex.presentation.engraving.pictures import engrave
from melodex.presentation.lesson.setting import SetPassage, SheetSetting, set_passage
from melodex.presentation.lesson.words import maker_of, said
from melodex.presentation.report.blocks import solo_player
from melodex.presentation.report.page import Answering, Blanks, Block, Picture, Text
from melodex.tasks.lesson.asking.records import Field, Part, Question, Shown

__all__ = ["PAPER_SIZES", "Asked", "answer", "ask", "picture", "right_text"]

PAPER_SIZES = {"usual": 7.25, "large": 8.0}
"""How high a stave of a worksheet is, in millimetres."""

FULL_WIDTH = 174.0
"""Millimetres between the margins of A4, the narrower of the two papers."""

STAFF_PIXELS = 4 * 180 / 21
UNITS_OF_WIDTH = 2.1
"""Tenths of the engraver's units to a pixel, as :func:`engrave` counts widths."""


class Asked(NamedTuple):
    """A question as it is printed: heading, note beside it, and blocks."""

    heading: str
    note: str
    blocks: tuple[Block, ...]


def picture(
    parts: Sequence[StaffPart],
    prefix: str,
    title: str,
    *,
    description: str = "",
    caption: str = "",
    staff_mm: float = 0.0,
    layout: str = "time",
) -> Picture:
    """An engraved picture; with ``staff_mm``, of staves so high on paper."""
    widest = None
    if staff_mm:
        widest = int(FULL_WIDTH * STAFF_PIXELS / staff_mm * UNITS_OF_WIDTH)
    with no_wider_than(widest):
        drawn = engrave(
            parts,
            layout=layout,
            prefix=prefix,
            title=title,
            description=description,
        )
    size = staff_mm / STAFF_PIXELS
    return Picture(drawn.svg, f"Notes: {title}", caption, mm_a_pixel=size)


# Passages.


def passages_of(question: Question, setting: SheetSetting) -> list[SetPassage]:
    """The passages of a question as they are printed."""
    return [set_passage(each.excerpt, each.labels, setting) for each in question.passages]


def onset_in(melody: Melody, place: int) -> int:
    """Where a chord symbol stands in a passage; one that holds already, at its start."""
    return max(melody.chords[place].onset_ticks, melody.onset_ticks[0])


def staff_of(shown: Shown, here: SetPassage, *, is_answered: bool) -> StaffPart:
    """The stave of a passage, with blanks or with what belongs in them."""
    melody, labels = here.melody, here.labels
    if shown.unwritten and not is_answered:
        return replace(
            bare_part(shown, here), melody=as_printed(shown, melody), has_room=True
        )
    with_degree = shown.asked_notes | shown.given_notes
    degrees = tuple(
        degree if note in with_degree else None
        for note, degree in enumerate(labels.degrees)
    )
    numerals = [
        (onset_in(melody, place), labels.numerals[place] if is_answered else EMPTY_BOX)
        for place in sorted(shown.asked_chords)
    ]
    names = tuple((key.onset_ticks, here.key_name(key.key)) for key in labels.keys)
    return StaffPart(
        rhythm_alone(melody) if shown.heard == "rhythm" and not is_answered else melody,
        label=shown.letter,
        degrees=degrees if with_degree else (),
        numerals=tuple(numerals),
        hidden=frozenset() if is_answered else shown.asked_notes,
        clef=here.clef,
        key_names=names if shown.has_key_names else (),
        boxed=shown.marked_notes | (shown.answer_notes if is_answered else frozenset()),
        boxed_chords=frozenset(onset_in(melody, place) for place in shown.marked_chords),
    )


def bare_part(shown: Shown, here: SetPassage) -> StaffPart:
    """The stave of a passage under which nothing is written."""
    names = tuple((k.onset_ticks, here.key_name(k.key)) for k in here.labels.keys)
    return StaffPart(
        here.melody,
        label=shown.letter,
        clef=here.clef,
        key_names=names if shown.has_key_names else (),
    )


def as_printed(shown: Shown, melody: Melody) -> Melody:
    """A passage without the notes that a pupil is to write; its bars stay."""
    if not shown.unwritten:
        return melody
    return replace(melody.excerpt(0, min(shown.unwritten) - 1), bars=melody.bars)


def rhythm_alone(melody: Melody) -> Melody:
    """The rhythm of a passage on one line: every note as high as the first."""
    count = len(melody)
    return replace(
        melody,
        midi=(melody.midi[0],) * count,
        fifths=(melody.fifths[0],) * count,
        chords=(),
        lyrics=(),
    )


def drawn(
    question: Question,
    here: Sequence[SetPassage],
    name: str,
    *,
    is_answered: bool,
    staff_mm: float,
) -> Iterator[Block]:
    """The passages of a question, drawn and played."""
    for shown, passage in zip(question.passages, here, strict=True):
        part = staff_of(shown, passage, is_answered=is_answered)
        is_named = shown.is_named or is_answered
        title = shown.title if is_named else f"Passage {shown.letter}"
        prefix = f"{name}{shown.letter.lower()[:1]}"
        if is_answered or shown.heard != "nothing":
            yield picture(
                [part],
                prefix,
                title,
                description="" if is_named else f"{title}.",
                staff_mm=staff_mm,
                layout="time" if is_answered or shown.heard != "pitches" else "columns",
            )
        heard = passage.melody if is_answered else as_printed(shown, passage.melody)
        yield solo_player(heard, f"l{prefix}", prefix, title)


def source_words(question: Question, *, is_answered: bool) -> str:
    """Titles and makers, and where the same music stands too."""
    told = [
        f"{shown.letter}: {text}" if shown.letter else text
        for shown in question.passages
        if shown.is_named or is_answered
        for text in (f"{shown.title}. {maker_of(shown.excerpt)}",)
    ]
    if question.also:
        told.append(f"also in {', '.join(question.also)}")
    return "; ".join(told)


# Asking.


def points_text(points: int) -> str:
    """How many points there are."""
    return f"{points} point{'s' if points != 1 else ''}"


def lettered(parts: Sequence[Part], place: int) -> str:
    """The letter of a part, where there are several."""
    return f"({'abcdefgh'[place]}) " if len(parts) > 1 else ""


def choices_text(part: Part) -> str:
    """What there is to choose from."""
    return f" ({', '.join(part.choices)})" if part.choices else ""


def ask(
    question: Question, setting: SheetSetting, name: str, *, staff_mm: float = 0.0
) -> Asked:
    """A question as it is printed."""
    here = passages_of(question, setting)
    blocks: list[Block] = []
    if question.note:
        blocks.append(Text(tuple(question.note.splitlines())))
    blocks += drawn(question, here, name, is_answered=False, staff_mm=staff_mm)
    for place, part in enumerate(question.parts):
        task = lettered(question.parts, place) + said(part.task, here) + choices_text(part)
        blocks.append(Text((task,)))
        lines = tuple(said(f.label, here) for f in part.fields if f.at == "line")
        if lines and part.kind != "sing":
            blocks.append(Blanks(lines, in_row=not part.is_open))
        if part.is_open and part.kind != "sing":
            blocks.append(Blanks(("",)))
        blocks.append(answering(part, here, f"{name}p{place}"))
    source = source_words(question, is_answered=False)
    note = "; ".join(text for text in (source, points_text(question.points)) if text)
    return Asked(question.heading, note, tuple(blocks))


def answering(part: Part, here: Sequence[SetPassage], name: str) -> Answering:
    """What the page needs to check an answer that is typed into it."""
    fields = tuple(
        (
            field_label(field, here, place, len(part.fields)),
            tuple(dict.fromkeys(said(words, here) for words in field.accepted)),
        )
        for place, field in enumerate(part.fields)
    )
    return Answering(name, fields, part.choices, said(part.why, here), part.is_open)


def field_label(field: Field, here: Sequence[SetPassage], place: int, count: int) -> str:
    """What is typed where, in words."""
    if field.at == "chord":
        symbol = said(field.label, here)
        return f"{symbol} in bar {here[0].melody.chords[field.index].bar}"
    if field.at == "note":
        return f"blank {place + 1} of {count}"
    return said(field.label, here) or "answer"


# Answering.


def right_text(part: Part, here: Sequence[SetPassage]) -> str:
    """What is right, with all that is accepted."""
    if all(field.at == "note" for field in part.fields):
        return " ".join(said(field.accepted[0], here) for field in part.fields)
    told = []
    for field in part.fields:
        label = said(field.label, here)
        first, *others = dict.fromkeys(said(words, here) for words in field.accepted)
        also = f" (or {', '.join(others)})" if others else ""
        # A question needs no colon before its answer.
        joined = "" if not label or label.endswith("?") else ":"
        told.append(
            f"{label}{' is' if field.at == 'chord' else joined} {first}{also}".strip()
        )
    return "; ".join(told)


def answer(question: Question, setting: SheetSetting, name: str) -> Asked:
    """The same with its answer and one sentence of why."""
    here = passages_of(question, setting)
    blocks: list[Block] = []
    blocks += drawn(question, here, name, is_answered=True, staff_mm=0.0)
    told = []
    for place, part in enumerate(question.parts):
        right = right_text(part, here)
        why = "" if part.is_open else f" {said(part.why, here)}"
        closed = right if right.endswith((".", "!", "?")) else f"{right}."
        told.append(f"{lettered(question.parts, place)}{closed}{why}")
    blocks.append(Text(tuple(told)))
    source = source_words(question, is_answered=True)
    return Asked(question.heading, source, tuple(blocks))
