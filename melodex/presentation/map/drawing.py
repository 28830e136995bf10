"""The map of a piece as a picture.

Conventions: one SVG whose strips are groups of class ``system``, each with the place of
its upper and lower edge, so that paper can be cut between them. Finds are links to
``#find-N``, the row that tells sentence N; all else is told by the description that the
picture carries and by the words beside it.

Contents: map_svg, map_caption, drawn_map.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from melodex.presentation.map.activity import activity_lane
from melodex.presentation.map.content import PieceMap, piece_map
from melodex.presentation.map.contour import melody_lane
from melodex.presentation.map.curves import curve_lanes, curve_words
from melodex.presentation.map.finds import MOST_KINDS, find_lane, kinds_of
from melodex.presentation.map.lanes import (
    chord_lane,
    form_lane,
    key_lane,
    phrase_lane,
)
from melodex.presentation.map.pens import put, signed
from melodex.presentation.map.strips import WIDTH, Ruler, ruled_strips
from melodex.presentation.report.charts import chart
from melodex.presentation.xml_text import xml_text
from melodex.tasks.describe.describe import Description

__all__ = ["drawn_map", "map_caption", "map_svg"]

PAGE_WIDTH = 986
"""CSS pixels: as wide as a full system of music."""
BETWEEN_STRIPS = 16
HATCHES = ("", "M-1 7L7 -1M-1 13L13 -1", "M-1 -1L13 13M5 -1L13 7", "M3 0V12M9 0V12",
           "M0 4H12M0 10H12", "M2.4 3h1.4M8.4 3h1.4M5.4 9h1.4")  # fmt: skip
"""A pattern for each tint but the first: strokes one way and the other, upright, lying,
and dots."""


def map_svg(found: Description, prefix: str = "map") -> str:
    """Draw the map of a piece.

    Parameters
    ----------
    found : Description
        Of the describe task.
    prefix : str
        Put before every id of the picture.

    Returns
    -------
    str
        SVG, the same for the same piece.
    """
    return drawn_map(piece_map(found), prefix)


def drawn_map(piece: PieceMap, prefix: str = "map") -> str:
    """Draw what is laid out in time."""
    rulers = ruled_strips(piece)
    root = chart(WIDTH, 10, prefix, f"The map of {piece.title}", told(piece))
    root.set("class", "chart map")
    # It holds links, so it is no single picture to those who hear it.
    root.set("role", "group")
    hatches(root, prefix, {span.tint for span in piece.keys})
    top = 0
    for ruler in rulers:
        home = put(root, "g", class_="system", data_top=str(top))
        bottom = draw_strip(home, piece, ruler, float(top), prefix)
        top = int(bottom) + BETWEEN_STRIPS
        home.set("data-bottom", str(top - BETWEEN_STRIPS // 2))
    tall = top - BETWEEN_STRIPS + 4
    root.set("viewBox", f"0 0 {WIDTH} {tall}")
    root.set("width", f"{PAGE_WIDTH}")
    root.set("height", f"{tall * PAGE_WIDTH / WIDTH:.1f}")
    return xml_text(root)


def draw_strip(
    home: Element, piece: PieceMap, ruler: Ruler, top: float, prefix: str
) -> float:
    """All lanes of a strip, one below the other; where it ends."""
    drawn = put(home, "g", aria_hidden="true")
    top = form_lane(drawn, piece, ruler, top + 4)
    top = key_lane(drawn, piece, ruler, top + 2, prefix)
    top = melody_lane(drawn, piece, ruler, top + 2)
    top = chord_lane(drawn, piece, ruler, top + 2)
    top = curve_lanes(drawn, piece.curves, ruler, top + 4)
    top = activity_lane(drawn, piece.lines, ruler, top + 4)
    top = phrase_lane(drawn, piece, ruler, top + 3)
    return find_lane(home, piece, ruler, top + 3)


def hatches(root: Element, prefix: str, tints: set[int]) -> None:
    """The patterns that are needed."""
    home = put(root, "defs")
    for place, path in enumerate(HATCHES):
        if place and any(t == place or t >= len(HATCHES) for t in tints):
            pattern = put(
                home, "pattern", id=f"{prefix}hatch{place}", width="12", height="12",
                patternUnits="userSpaceOnUse",
            )  # fmt: skip
            put(
                pattern, "path", d=path, fill="none", stroke="currentColor",
                stroke_opacity="0.34", stroke_width="1",
            )  # fmt: skip


def told(piece: PieceMap) -> str:
    """The map in words, for those who do not see it."""
    parts = []
    if piece.sections:
        forms = (f"{part.words} {part.aside}" for part in piece.sections)
        parts.append(f"Sections in bars: {', '.join(forms)}.")
    if piece.keys:
        keys = (signed(str(span.key)) for span in piece.keys)
        parts.append(f"Key centres: {', '.join(keys)}.")
    if piece.phrases:
        phrases = (f"{p.letter} from bar {p.first_bar}" for p in piece.phrases)
        parts.append(f"Phrases: {', '.join(phrases)}.")
    if piece.peak is not None:
        reach = f"{signed(piece.lowest_name)} to {signed(piece.peak_name)}"
        parts.append(f"The melody goes from {reach}.")
    if piece.finds:
        parts.append("The numbered marks lead to what is told of their bars.")
    return " ".join(parts)


def map_caption(piece: PieceMap) -> str:
    """What the strokes mean, of those that are drawn, and what is left out."""
    said = [*stroke_words(piece), *key_words(piece), *curve_words(piece.curves)]
    return " ".join([*said, *left_out(piece)])


def stroke_words(piece: PieceMap) -> Sequence[str]:
    """What the arcs mean."""
    names = {
        "same": "a plain arc, note for note",
        "varied": "a dashed arc, varied",
        "moved": "a dotted arc, moved to other steps",
    }
    drawn = {phrase.how for phrase in piece.phrases if phrase.of is not None}
    said = [words for how, words in names.items() if how in drawn]
    return [f"A phrase returns: {'; '.join(said)}."] if said else []


def key_words(piece: PieceMap) -> Sequence[str]:
    """What a question mark at a key means, and italics of chords."""
    doubted = any(not span.sure for span in piece.keys)
    said = ["A key with a question mark is uncertain."] if doubted else []
    if piece.worked_out and piece.chords:
        said.append("Chords in italics are not printed but worked out from the notes.")
    return said


def left_out(piece: PieceMap) -> Sequence[str]:
    """How many kinds of finds are listed and not drawn."""
    more = len(kinds_of(piece)) - MOST_KINDS
    if more <= 0:
        return []
    return [f"{more} more kind{'' if more == 1 else 's'} of finds are in the list alone."]
