"""Engraving: melodies as a picture of staves, with what they share drawn in.

What the engraver returns is checked: every note of every melody must be in the picture.

Conventions: ``layout`` is ``time`` (bars as written, over one another) or
``columns`` (partners in columns, without rhythm). Same input, same bytes.

Contents: EngravedSvg, engrave, engrave_melody, engrave_score, engrave_sheet,
engrave_comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.errors import PresentationError
from melodex.melody import Melody
from melodex.presentation.engraving.drawing import Drawing
from melodex.presentation.engraving.engraver import allowed_width, rendered
from melodex.presentation.engraving.layout import (
    Measure,
    StaffPart,
    good_breaks,
    in_columns,
    in_score,
    in_time,
)
from melodex.presentation.engraving.long_bars import parted
from melodex.presentation.engraving.marks import RELATION_SHAPES, reach_of
from melodex.presentation.engraving.mei import mei_of
from melodex.presentation.engraving.mei_texts import EMPTY_BOX, SIGNED
from melodex.presentation.engraving.sheet import MeasurePlace, NotePlace, Sheet
from melodex.presentation.engraving.sides import (
    key_names,
    parts_of,
    shown_degrees,
)
from melodex.presentation.engraving.words import described, note_title

if TYPE_CHECKING:
    from melodex.tasks.compare.compare import Comparison

__all__ = [
    "EngravedSvg",
    "StaffPart",
    "engrave",
    "engrave_comparison",
    "engrave_melody",
    "engrave_score",
    "engrave_sheet",
]

UNITS_PER_PIXEL = 21.0
"""A staff space of 180 units comes out at 8.6 CSS pixels."""

PAGE_UNITS = 21000
COLUMN_UNITS = 1000
MARGIN_COLUMNS = 3
"""Width of a page; about that of a column; and the columns that clef, signature and name
take: in units of which 21 are a pixel; measured on pictures, our choice."""

BLANK_DROP, BOX_RISE = 430.0, 400.0
"""How much lower a row of blanks hangs, and how much higher stands what is above a row of
boxes."""


@dataclass(frozen=True, slots=True)
class EngravedSvg:
    """A finished picture.

    Parameters
    ----------
    svg : str
        One ``svg`` element, without scripts, styles or outside references.
    width, height : float
        Natural size in CSS pixels.
    notes : tuple of NotePlace
        Where each note stands.
    note_count : int
        Notes in the picture, pieces tied on and grace notes not counted.
    bars : tuple of (int, MeasurePlace)
        Number and place of each bar of the first part, in the order of time.
    """

    svg: str
    width: float
    height: float
    notes: tuple[NotePlace, ...]
    note_count: int
    bars: tuple[tuple[int, MeasurePlace], ...] = ()


def engrave(
    parts: Sequence[StaffPart],
    *,
    pairs: Sequence[tuple[int, int]] = (),
    layout: str = "time",
    prefix: str = "m",
    width: int = PAGE_UNITS // 10,
    title: str = "",
    description: str = "",
) -> EngravedSvg:
    """Engrave one or two melodies, or with ``score`` the lines of a piece.

    Parameters
    ----------
    parts : sequence of StaffPart
        One or two; of a score any number.
    pairs : sequence of (int, int)
        Notes of the first and second part that are partners, from 0.
    layout : str
        ``time``, ``columns`` or ``score``.
    prefix : str
        Put before every id, so that several pictures can share a page.
    width : int
        Widest system, in tenths of the picture's units; 2100 fits a page.
    title, description : str
        For those who do not see the picture.

    Raises
    ------
    PresentationError
        If a melody cannot be written (see
        :func:`melodex.presentation.notation.writing.write_out`), or the engraver leaves a
        note out.
    """
    width = allowed_width(width)
    if layout == "columns":
        per_system = max(4, (width * 10) // COLUMN_UNITS - MARGIN_COLUMNS)
        measures = in_columns(parts, pairs, per_system)
    elif layout == "score":
        measures = list(parted(in_score(parts)))
    else:
        measures = list(parted(in_time(parts, pairs, drawn=True)))
    mei = mei_of(parts, measures, prefix)
    pages = rendered(
        mei,
        layout,
        width,
        rows_between(parts),
        parts[0].melody.title,
        blanks=written_on(parts),
    )
    left_out = ("mNum",) if len(parts) > 1 or layout == "columns" else ()
    # In columns no stem keeps the degrees away from the shapes around the heads.
    reach = {
        (index, note): reach_of(relation)
        for index, part in enumerate(parts)
        for note, relation in enumerate(part.relations)
    }
    row_drop = 90.0 if layout == "columns" else 0
    below, above = written_on(parts)
    if below:
        row_drop = BLANK_DROP
    rise = BOX_RISE if above else 0.0
    sheet = Sheet(pages, prefix, left_out, row_drop, reach, rise=rise)
    expected = notes_in(measures)
    if len(sheet.notes) != expected:
        raise PresentationError(
            f"the picture holds {len(sheet.notes)} of {expected} notes",
            where=parts[0].melody.title,
            hint="please report this tune as a fault of melodex",
        )
    drawing = Drawing(sheet)
    decorate(drawing, parts, pairs)
    names = title or "; ".join(part.melody.title for part in parts)
    text = drawing.svg(names, description or described(parts), UNITS_PER_PIXEL)
    return EngravedSvg(
        text,
        sheet.width / UNITS_PER_PIXEL,
        sheet.height / UNITS_PER_PIXEL,
        tuple(sheet.notes[key] for key in sorted(sheet.notes)),
        len(sheet.notes),
        tuple(zip(numbers_of(measures), sheet.measures, strict=False)),
    )


def written_on(parts: Sequence[StaffPart]) -> tuple[bool, bool]:
    """Whether the reader is to write below notes, and above chord symbols."""
    boxes = any(text == EMPTY_BOX for part in parts for _, text in part.numerals)
    return any(part.hidden for part in parts), boxes


def numbers_of(measures: Sequence[Measure]) -> list[int]:
    """The number of each measure's bar, of the part that has one there."""
    return [next((b.bar.number for b in m.bars if b is not None), 0) for m in measures]


def notes_in(measures: Sequence[Measure]) -> int:
    """How many notes there are to be drawn: those of bars that can be shown."""
    return len(
        {
            (part, event.note)
            for measure in measures
            for part, bar in enumerate(measure.bars)
            for event in (bar.events if bar else ())
            if event.note is not None
        }
    )


def rows_between(parts: Sequence[StaffPart]) -> int:
    """How many rows of text stand between two staves."""
    if len(parts) < 2:
        return 0
    if len(parts) > 2:
        return sum(any(part.lyrics and part.melody.lyrics for part in parts) for _ in "ab")
    upper, lower = parts
    rows = [upper.degrees, SIGNED & set(upper.relations), lower.numerals, lower.key_names]
    return sum(map(bool, rows)) + bool(lower.chords and lower.melody.chords)


def decorate(
    drawing: Drawing, parts: Sequence[StaffPart], pairs: Sequence[tuple[int, int]]
) -> None:
    """Draw links, shapes and titles."""
    for a, b in pairs:
        relation = parts[0].relations[a] if parts[0].relations else ""
        if relation and RELATION_SHAPES[relation].form != "cross":
            drawing.link((0, a), (1, b), relation)
    if pairs:
        drawing.mask_texts()
    titles = {}
    for index, part in enumerate(parts):
        if part.label and (index == 0 or len(parts) == 2):
            drawing.number_bars(index, part.melody.bar)
        for note in part.boxed:
            drawing.box_note(index, note)
        for note in range(len(part.melody)):
            if part.relations and part.relations[note]:
                drawing.mark(index, note, part.relations[note])
            titles[index, note] = note_title(part, note)
    drawing.title_notes(titles)


# From a task's result


def engrave_score(
    parts: Sequence[StaffPart], *, prefix: str = "m", title: str = ""
) -> EngravedSvg:
    """Engrave the lines of one piece over one another, named in front.

    Parameters
    ----------
    parts : sequence of StaffPart
        From the top; at least one has notes, each the same bars.
    prefix, title
        As for :func:`engrave`.

    Raises
    ------
    PresentationError
        As :func:`engrave`.
    """
    return engrave(parts, layout="score", prefix=prefix, title=title)


def engrave_melody(
    melody: Melody,
    *,
    numerals: Sequence[tuple[int, str]] = (),
    degrees: Sequence[int | None] | None = None,
    excerpt: bool = False,
    prefix: str = "m",
    width: int = PAGE_UNITS // 10,
    title: str = "",
) -> EngravedSvg:
    """Engrave one melody with its scale degrees and chord symbols.

    Parameters
    ----------
    melody : Melody
        A whole tune, or with ``excerpt`` a part of one.
    numerals : sequence of (int, str)
        Onset in ticks and Roman numeral.
    degrees : sequence of (int or None), of shape (n,), optional
        Fifths from the tonic; by default from the printed keys.
    prefix, width, title
        As for :func:`engrave`.

    Raises
    ------
    PresentationError
        As :func:`engrave`.
    """
    part = StaffPart(
        melody,
        degrees=shown_degrees(melody, degrees),
        numerals=tuple(numerals),
        excerpt=excerpt,
        key_names=key_names(melody),
    )
    return engrave([part], prefix=prefix, width=width, title=title)


def engrave_sheet(
    melody: Melody, *, excerpt: bool = False, degrees: bool = False, prefix: str = "m"
) -> EngravedSvg:
    """Engrave a tune to be played or sung from: chords, words, bar numbers, sections.

    Parameters
    ----------
    melody : Melody
        A whole tune, or with ``excerpt`` a part of one.
    degrees : bool
        Whether scale degrees stand below the notes.
    prefix
        As for :func:`engrave`.

    Raises
    ------
    PresentationError
        As :func:`engrave`.
    """
    part = StaffPart(
        melody,
        degrees=shown_degrees(melody) if degrees else (),
        excerpt=excerpt,
        key_names=key_names(melody),
        lyrics=True,
        breaks=good_breaks(melody),
    )
    return engrave([part], prefix=prefix, title=melody.title)


def engrave_comparison(
    comparison: Comparison,
    *,
    layout: str = "time",
    key: str = "common",
    prefix: str = "m",
    width: int = PAGE_UNITS // 10,
    numerals: Sequence[Sequence[tuple[int, str]]] = ((), ()),
) -> EngravedSvg:
    """Engrave two compared passages over one another.

    Parameters
    ----------
    comparison : Comparison
        From :func:`melodex.tasks.compare.compare.compare`.
    layout, prefix, width
        As for :func:`engrave`.
    key, numerals
        As for :func:`parts_of`.

    Raises
    ------
    PresentationError
        As :func:`engrave`.
    """
    parts, pairs = parts_of(
        comparison.a.melody,
        comparison.b.melody,
        comparison.likeness,
        key=key,
        numerals=numerals,
    )
    return engrave(
        parts,
        pairs=pairs,
        layout=layout,
        prefix=prefix,
        width=width,
        title=f"{comparison.a.label} and {comparison.b.label}",
        description=" ".join((described(parts), *comparison.summary)),
    )
