"""Parts of a page for a door that has a page of its own: sections, staves, bars.

The blocks and the template are those of the reports, so that the workbench shows what
a report shows. Each picture carries its own glyphs; the signs of the relations refer to
shapes that the surrounding page has to hold once
(:func:`melodex.presentation.engraving.marks.shared_signs`).

Conventions: areas are shares of a picture's width and height, from its upper left.

Contents: sections_html, evidence_html, phrase_picture, tune_picture, BarArea,
bar_areas, EvidenceNote, evidence_line, texts_of.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from melodex.melody import Melody, Phrase, degree_name, note_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.mei import with_signs
from melodex.presentation.engraving.pictures import (
    UNITS_PER_PIXEL,
    EngravedSvg,
    engrave,
    engrave_melody,
)
from melodex.presentation.engraving.sides import shown_degrees
from melodex.presentation.engraving.svg import NotePlace
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
from melodex.tasks.compare import Likeness

__all__ = [
    "BarArea",
    "EvidenceNote",
    "bar_areas",
    "evidence_html",
    "evidence_line",
    "phrase_picture",
    "sections_html",
    "texts_of",
    "tune_picture",
]

STAVE_WIDTH = 1900
BEFORE_HEAD_UNITS = 330
"""How far before the first head of a bar its area begins: room for an accidental."""


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


@dataclass(frozen=True, slots=True)
class BarArea:
    """Where a bar, or the part of it in one system, lies in a picture."""

    bar: int
    left: float
    top: float
    width: float
    height: float


def bar_areas(drawn: EngravedSvg, melody: Melody) -> tuple[BarArea, ...]:
    """Where the bars of a tune lie in its picture, in the order of time.

    Parameters
    ----------
    drawn : EngravedSvg
        Of one melody.
    melody : Melody
        The melody that was drawn, whole.
    """
    width, height = drawn.width * UNITS_PER_PIXEL, drawn.height * UNITS_PER_PIXEL
    edges = [
        (float(top), float(bottom))
        for top, bottom in re.findall(
            r'data-top="(-?\d+)" data-bottom="(-?\d+)"', drawn.svg
        )
    ]
    # Of each system: as far as its staff lines go.
    ends = [
        max(float(x) for _, x in re.findall(r"M\d+ (\d+) L(\d+) \1\b", system))
        for system in drawn.svg.split('<g class="system"')[1:]
    ]
    runs = [
        (system, bar, min(place.x for place in places))
        for (system, bar), places in grouped(drawn, melody)
    ]
    areas = []
    for place, (system, bar, x) in enumerate(runs):
        following = runs[place + 1] if place + 1 < len(runs) else None
        here = following is not None and following[0] == system
        right = following[2] - BEFORE_HEAD_UNITS if following and here else ends[system]
        left = max(0.0, x - BEFORE_HEAD_UNITS)
        top, bottom = edges[system]
        areas.append(
            BarArea(
                bar,
                round(left / width, 4),
                round(top / height, 4),
                round((right - left) / width, 4),
                round((bottom - top) / height, 4),
            )
        )
    return tuple(areas)


def grouped(
    drawn: EngravedSvg, melody: Melody
) -> list[tuple[tuple[int, int], list[NotePlace]]]:
    """The notes of a picture by system and bar."""

    def home(place: NotePlace) -> tuple[int, int]:
        return place.system, melody.bar[place.note]

    return [(key, list(places)) for key, places in groupby(drawn.notes, key=home)]


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
