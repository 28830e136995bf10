"""The lanes of a map that go up and down: voices, rich chords, loudness.

Conventions: a lane is a hill over a ground line; what its top and its ground stand for is
written left of it.

Contents: curve_lanes, curve_words.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from xml.etree.ElementTree import Element

from melodex.presentation.map.levels import Curve
from melodex.presentation.map.pens import lane_name, put, write
from melodex.presentation.map.strips import LEFT, Ruler

__all__ = ["curve_lanes", "curve_words"]

TALL, APART = 22.0, 9.0
"""Height of a lane, and room under it."""


def curve_lanes(
    home: Element, curves: tuple[Curve, ...], ruler: Ruler, top: float
) -> float:
    """All lanes, one below the other; where they end."""
    for curve in curves:
        pieces = list(pieces_of(curve, ruler))
        if not pieces:
            continue
        ground = top + TALL
        lane_name(home, top + TALL / 2 + 3, curve.name)
        for y, words in ((top + 6, curve.top), (ground, curve.ground)):
            write(home, LEFT - 4, y, words, size=6.5, anchor="end", quiet=True)
        put(
            home, "path", d=f"M{LEFT:.1f} {ground:.1f}H{ruler.right:.1f}",
            stroke="currentColor", stroke_opacity="0.3",
        )  # fmt: skip
        draw_pieces(home, curve, pieces, ground)
        top = ground + APART
    return top


Piece = tuple[float, float, float, float, str]
"""From where to where, how high at either end, and what it says."""


def pieces_of(curve: Curve, ruler: Ruler) -> Iterator[Piece]:
    """The parts of a lane that lie on a strip."""
    for (start, height, words), (end, later, _) in pairwise(curve.points):
        if not words or end <= start or not ruler.meets(start, end):
            continue
        after = later if curve.is_line else height
        slope = (after - height) / (end - start)
        inside = max(start, ruler.strip.start), min(end, ruler.strip.end)
        left, right = (height + slope * (place - start) for place in inside)
        yield ruler.x(inside[0]), ruler.x(inside[1]), left, right, words


def draw_pieces(home: Element, curve: Curve, pieces: list[Piece], ground: float) -> None:
    """The hill, and its upper edge."""
    hill, edge, pen = "", "", "M"
    last = None
    for x, until, left, right, _ in pieces:
        a, b = ground - left * TALL, ground - right * TALL
        hill += f"M{x:.1f} {ground:.1f}V{a:.1f}L{until:.1f} {b:.1f}V{ground:.1f}z"
        pen = "L" if last == round(x, 1) else "M"
        edge += f"{pen}{x:.1f} {a:.1f}L{until:.1f} {b:.1f}"
        last = round(until, 1)
    drawn = put(
        home, "path", class_="hill", d=hill, fill="currentColor", fill_opacity="0.16"
    )
    put(drawn, "title").text = f"{curve.name}, from {curve.ground} to {curve.top}"
    put(
        home, "path", d=edge, fill="none", stroke="currentColor", stroke_width=1,
        stroke_opacity="0.75",
    )  # fmt: skip


def curve_words(curves: tuple[Curve, ...]) -> Iterator[str]:
    """What the lanes mean, for a caption."""
    told = {
        "Voices": "Voices: notes that sound at once, on average.",
        "Rich chords": "Rich chords: share of each bar over chords of four notes or more.",
        "Loudness": "Loudness: as printed.",
        "Recording": "Recording: loudness of each bar between the points that were given.",
    }
    for curve in curves:
        yield told[curve.name]
