"""A reduction on two staves: as a picture, a page, paper, or MusicXML.

Contents: reduction_svg, reduction_page, reduction_musicxml.
"""

from __future__ import annotations

from melodex.presentation.engraving.layout import StaffPart, good_breaks
from melodex.presentation.engraving.pictures import engrave
from melodex.presentation.report.blocks import rights_lines, shown_title
from melodex.presentation.report.page import Page, Picture, Section
from melodex.tasks.describe.reduction import Reduction

__all__ = ["reduction_musicxml", "reduction_page", "reduction_svg"]

BASS_CLEF = ("F", 4, 0)
"""Letter, line and octaves of a clef."""


def staves(reduction: Reduction) -> list[StaffPart]:
    """The tune with its chords, and the bass with numerals over it."""
    tune = StaffPart(
        reduction.tune,
        excerpt=False,
        breaks=good_breaks(reduction.tune),
        lyrics=bool(reduction.tune.lyrics),
    )
    bass = StaffPart(
        reduction.bass,
        excerpt=False,
        chords=False,
        numerals=reduction.numerals,
        clef=BASS_CLEF,
    )
    return [tune, bass]


def reduction_svg(reduction: Reduction, prefix: str = "reduction") -> str:
    """Two staves as SVG."""
    title = f"{reduction.tune.title}, reduced to tune and bass"
    return engrave(staves(reduction), prefix=prefix, title=title).svg


def reduction_page(reduction: Reduction) -> Page:
    """Two staves as a page."""
    title = shown_title(reduction.tune)
    caption = "The tune, and the bass of its chords with numerals."
    if reduction.worked_out:
        caption += " The chords are not printed in the source: they were worked out."
    picture = Picture(reduction_svg(reduction), f"Notes: {title}, reduced", caption)
    made = reduction.tune.credits
    summary = tuple(filter(None, (made.composer,)))
    return Page(
        title,
        "reduction",
        summary,
        (Section("", (picture,)),),
        rights_lines(reduction.tune),
    )


def reduction_musicxml(reduction: Reduction) -> str:
    """Two parts as MusicXML, the numerals as words under the bass."""
    from melodex.presentation.notation.musicxml.document import document

    return document(
        staves(reduction), (), f"{reduction.tune.title}, reduced", ("Tune", "Bass")
    )
