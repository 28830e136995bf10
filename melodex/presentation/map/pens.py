"""The pens that every lane of a map is drawn with.

Conventions: places in units of the picture, rounded to a tenth, so that the same map
gives the same bytes.

Contents: put, write, door, lane_name, rect_path, signed, QUIET, SMALL.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement

from melodex.presentation.map.strips import LEFT
from melodex.presentation.text.style import Style

__all__ = ["QUIET", "SMALL", "door", "lane_name", "put", "rect_path", "signed", "write"]

SMALL = 9.5
"""Size of the smallest words: 5.6 points on paper, 11 pixels on a page."""
QUIET = "0.78"
"""Opacity of what stands back; on both papers still above the contrast of WCAG 2.2, AA."""


def put(home: Element, tag: str, /, **attributes: str | float) -> Element:
    """A new element; underlines in names of attributes stand for hyphens."""
    written = {
        name.rstrip("_").replace("_", "-"): value
        if isinstance(value, str)
        else f"{value:.1f}".removesuffix(".0")
        for name, value in attributes.items()
    }
    return SubElement(home, tag, written)


def write(
    home: Element,
    x: float,
    y: float,
    text: str,
    *,
    size: float = 10.0,
    anchor: str = "start",
    bold: bool = False,
    quiet: bool = False,
) -> Element:
    """A text on the map."""
    drawn = put(
        home, "text", x=x, y=y, text_anchor=anchor, font_size=size, fill="currentColor"
    )
    if bold:
        drawn.set("font-weight", "bold")
    if quiet:
        drawn.set("fill-opacity", QUIET)
    drawn.text = text
    return drawn


def door(home: Element, address: str) -> Element:
    """What a word is put into so that it leads to an address, if there is one.

    It is passed over by the keyboard: a map of 300 bars would take as many steps to leave,
    and the page leads to the same music beside it.
    """
    if not address:
        return home
    return put(home, "a", href=address, class_="door", tabindex="-1")


def lane_name(home: Element, y: float, text: str) -> None:
    """What a lane is called, to its left."""
    write(home, LEFT - 26, y, text, size=SMALL, anchor="end", quiet=True)


def rect_path(x: float, y: float, width: float, height: float) -> str:
    """A rectangle as part of a path."""
    return f"M{x:.1f} {y:.1f}h{width:.1f}v{height:.1f}h-{width:.1f}z"


def signed(text: str) -> str:
    """Names of keys, chords and numerals with real accidentals."""
    return Style().spelled_key(text)
