"""Parts of a page for a door that has a page of its own: sections, staves, bars.

The blocks and the template are those of the reports, so that the workbench shows what
a report shows. Each picture carries its own glyphs; the signs of the relations refer to
shapes that the surrounding page has to hold once
(:func:`melodex.presentation.engraving.marks.shared_signs`).

Conventions: areas are shares of a picture's width and height, from its upper left.

Contents: sections_html, evidence_html, phrase_picture, tune_picture,
small_picture, BarArea,
bar_areas, EvidenceNote, evidence_line, texts_of.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from melodex.melody import Melody, Phrase, degree_name, note_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.pictures import (
    UNITS_PER_PIXEL,
    EngravedSvg,
    engrave,
    engrave_melody,
)
from melodex.presentation.engraving.sides import shown_degrees
from melodex.presentation.engraving.words import with_signs
from melodex.presentation.report.blocks import numerals_of
from melodex.presentation.report.page import (
    Facts,
    Picture,
    Player,
    Section,
    blocks_in,
    inert_json,
    template,
    unbroken,
    with_key_signs,
)
from melodex.tasks.compare.likeness import Likeness

__all__ = [
    "BarArea",
    "EvidenceNote",
    "bar_areas",
    "evidence_html",
    "evidence_line",
    "phrase_picture",
    "sections_html",
    "small_picture",
    "texts_of",
    "tune_picture",
]

STAVE_WIDTH = 1900
"""Width of a single stave of the page, in the engraver's units; our choice."""


def sections_html(sections: Sequence[Section], *, level: int = 2) -> str:
    """Return sections as markup to be put into a page.

    Parameters
    ----------
    sections : sequence of Section
        Of a report's page.
    level : int
        Of their headings.
    """
    blocks = blocks_in(sections)
    players = {b.name: b.data for b in blocks if isinstance(b, Player)}
    pictures = [block.svg for block in blocks if isinstance(block, Picture)]
    text: str = template("fragment.html.j2").render(
        sections=sections,
        level=level,
        drawn={picture: picture for picture in pictures},
        players=inert_json(players) if players else "",
    )
    return text


def evidence_html(section: Section) -> str:
    """Return what a section shows, without what a list around it says already.

    Parameters
    ----------
    section : Section
        Its heading, the note beside it, and its facts are left out.
    """
    blocks = tuple(block for block in section.blocks if not isinstance(block, Facts))
    return sections_html([replace(section, heading="", note="", blocks=blocks)], level=3)


def texts_of(sentences: Sequence[str]) -> tuple[str, ...]:
    """Sentences with real signs in the names of keys, bars kept on one line."""
    return tuple(unbroken(with_key_signs(sentence)) for sentence in sentences)


# Staves


def phrase_picture(phrase: Phrase, prefix: str = "q") -> EngravedSvg | None:
    """Draw a phrase as it is understood; a contour has no notes to draw.

    Parameters
    ----------
    phrase : Phrase
        At least one note.
    prefix : str
        Put before every id of the picture.

    Raises
    ------
    PresentationError
        If it cannot be engraved.
    """
    if not phrase.has_notes:
        return None
    part = StaffPart(phrase.melody, degrees=shown_degrees(phrase.melody))
    layout = "time" if phrase.has_rhythm else "columns"
    return engrave(
        [part], layout=layout, prefix=prefix, width=STAVE_WIDTH, title="The phrase"
    )


def tune_picture(melody: Melody, prefix: str = "tune") -> EngravedSvg:
    """Draw a whole tune with degrees, chord symbols and numerals.

    Raises
    ------
    PresentationError
        If it cannot be engraved.
    """
    return engrave_melody(
        melody, numerals=numerals_of(melody), prefix=prefix, title=melody.title
    )


def small_picture(melody: Melody, prefix: str, title: str) -> EngravedSvg:
    """Draw a passage for a list: notes and chord symbols alone.

    Raises
    ------
    PresentationError
        If it cannot be engraved.
    """
    part = StaffPart(melody, excerpt=True)
    return engrave([part], prefix=prefix, width=STAVE_WIDTH, title=title)


@dataclass(frozen=True, slots=True)
class BarArea:
    """Where a bar, or the part of it in one system, lies in a picture."""

    bar: int
    left: float
    top: float
    width: float
    height: float


def bar_areas(drawn: EngravedSvg) -> tuple[BarArea, ...]:
    """Where the bars of a tune lie in its picture, in the order of time.

    From barline to barline: a bar that holds a rest or a note tied over has its own.

    Parameters
    ----------
    drawn : EngravedSvg
        Of one melody.
    """
    width, height = drawn.width * UNITS_PER_PIXEL, drawn.height * UNITS_PER_PIXEL
    edges = [
        (float(top), float(bottom))
        for top, bottom in re.findall(
            r'data-top="(-?\d+)" data-bottom="(-?\d+)"', drawn.svg
        )
    ]
    return tuple(
        BarArea(
            bar,
            round(place.left / width, 4),
            round(edges[place.system][0] / height, 4),
            round((place.right - place.left) / width, 4),
            round((edges[place.system][1] - edges[place.system][0]) / height, 4),
        )
        for bar, place in drawn.bars
    )


# Evidence in a line


@dataclass(frozen=True, slots=True)
class EvidenceNote:
    """Two notes that are laid together: what each is called, and their relation."""

    phrase: str
    tune: str
    relation: str


def evidence_line(
    phrase: Melody, tune: Melody, likeness: Likeness, first_note: int = 0
) -> tuple[EvidenceNote, ...]:
    """Return the notes of two passages in a line, by their degrees.

    Parameters
    ----------
    phrase, tune : Melody
        The two passages.
    likeness : Likeness
        Note against note.
    first_note : int
        What to take from the ``tune`` indexes of the pairs.
    """
    names = [called(phrase), called(tune)]
    return tuple(
        EvidenceNote(
            "" if pair.query is None else names[0][pair.query],
            "" if pair.tune is None else names[1][pair.tune - first_note],
            pair.relation,
        )
        for pair in likeness.pairs
    )


def called(melody: Melody) -> list[str]:
    """Degrees of the notes, names where there is no key."""
    return [
        with_signs(degree_name(degree))
        if degree is not None
        else note_name(midi, fifths)[:1] + with_signs(note_name(midi, fifths)[1:])
        for degree, midi, fifths in zip(
            melody.degrees(), melody.midi, melody.fifths, strict=True
        )
    ]
