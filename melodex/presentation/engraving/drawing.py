"""What is drawn onto the engraver's picture.

Links between partners and the shapes of the five relations are laid under the notes,
tokens around their degrees, and every note gets a title.

Conventions: places are in the picture's own units, 180 to a staff space, y down.

Contents: Drawing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement

from melodex.presentation.engraving.marks import (
    INK,
    RELATION_SHAPES,
    SVG,
    draw_shape,
    number,
)
from melodex.presentation.engraving.sheet import FROM_THE_NOTE, Sheet, rectangle
from melodex.presentation.xml_text import xml_text

__all__ = ["Drawing"]

PAPER = "#ffffff"
MASKED = {"degree", "chord", "boxed", "worked", "numeral", *FROM_THE_NOTE}
"""Texts that links run under."""


class Drawing:
    """A sheet that is drawn on.

    Parameters
    ----------
    sheet : Sheet
        Its systems take what is drawn.
    """

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def box_note(self, part: int, note: int) -> None:
        """Draw a box about the head of a note."""
        place = self.sheet.notes.get((part, note))
        if place is not None:
            half = 250.0
            box = rectangle(place.x - half, place.y - half, 2 * half, 2 * half)
            SubElement(
                self.sheet.systems[place.system].over, "rect", {"class": "meant", **box}
            )

    def title_notes(self, titles: Mapping[tuple[int, int], str]) -> None:
        """Give notes a title, which is read out and shown when pointed at."""
        groups = (
            group for system in self.sheet.systems for group in system.music.iter("g")
        )
        for group in groups:
            found = re.fullmatch(
                re.escape(self.sheet.prefix) + r"p(\d+)n(\d+)(c\d+)?", group.get("id", "")
            )
            if found and not found[3]:
                title = Element("title")
                title.text = titles.get((int(found[1]), int(found[2])), "")
                group.insert(0, title)

    def mark(self, part: int, note: int, relation: str) -> None:
        """Draw a relation's shape behind a head, or its sign below the degree."""
        shape = RELATION_SHAPES.get(relation)
        place = self.sheet.notes.get((part, note))
        if place is None or shape is None:
            return
        if shape.form not in {"cross", "dash"}:
            draw_shape(self.sheet.systems[place.system].under, shape, place.x, place.y, 215)
        elif (part, note) in self.sheet.signs:
            x, y = self.sheet.signs[part, note]
            draw_shape(self.sheet.systems[place.system].over, shape, x, y - 130, 170)

    def link(self, a: tuple[int, int], b: tuple[int, int], relation: str) -> None:
        """Draw a line from a note's degree down to its partner in the same system."""
        upper, lower = self.sheet.notes.get(a), self.sheet.notes.get(b)
        if upper is None or lower is None or upper.system != lower.system:
            return
        shape = RELATION_SHAPES[relation]
        x, y = self.sheet.degrees.get(a, (upper.x, upper.y + 215))
        start = y + (110 if a in self.sheet.degrees else 0)
        end = f"{number(lower.x)} {number(lower.y - 215)}"
        SubElement(
            self.sheet.systems[upper.system].under,
            "path",
            {
                "class": f"link rel-{shape.name}",
                "d": f"M{number(x)} {number(start)}L{end}",
                "fill": "none",
                "stroke": shape.colour,
                "stroke-width": "20",
                "stroke-opacity": "0.55",
                **({"stroke-dasharray": shape.dashes} if shape.dashes else {}),
            },
        )

    def number_bars(self, part: int, bars: Sequence[int]) -> None:
        """Write below a stave's name the bar of its first note in each system."""
        first: dict[int, int] = {}
        for (home, note), place in sorted(self.sheet.notes.items()):
            if home == part:
                first.setdefault(place.system, bars[note])
        for system, bar in first.items():
            labels = self.sheet.labels.get(system, [])
            if part < len(labels):
                x, y = labels[part]
                text = SubElement(
                    self.sheet.systems[system].over,
                    "text",
                    {
                        "class": "bar-number",
                        "x": number(x),
                        "y": number(y + 300),
                        "text-anchor": "end",
                        "font-style": "italic",
                        "fill": "currentColor",
                        "fill-opacity": "0.72",
                    },
                )
                text.text = str(bar)

    def mask_texts(self) -> None:
        """Put paper behind the texts that links run under."""
        for place, system in enumerate(self.sheet.systems):
            boxes = [
                f"M{x - 30:.0f} {y - 330:.0f}h{width + 60:.0f}v390h-{width + 60:.0f}z"
                for kind, x, y, width, home in self.sheet.texts
                if home == place and kind in MASKED
            ]
            if boxes:
                paper = {"class": "paper", "d": "".join(boxes), "fill": PAPER}
                SubElement(system.under, "path", paper)

    def svg(self, title: str, description: str, units_per_pixel: float) -> str:
        """The finished picture."""
        root = Element(
            "svg",
            {
                "xmlns": SVG,
                "class": "music",
                "role": "img",
                "aria-labelledby": f"{self.sheet.prefix}title {self.sheet.prefix}desc",
                "viewBox": f"0 0 {number(self.sheet.width)} {number(self.sheet.height)}",
                "width": number(self.sheet.width / units_per_pixel),
                "height": number(self.sheet.height / units_per_pixel),
                "color": INK,
                "font-family": "'Libertinus Serif', 'Liberation Serif', "
                "'Times New Roman', Times, serif",
            },
        )
        SubElement(root, "title", {"id": f"{self.sheet.prefix}title"}).text = title
        SubElement(root, "desc", {"id": f"{self.sheet.prefix}desc"}).text = description
        defs = SubElement(root, "defs")
        for name, glyph in sorted(self.sheet.defs.items()):
            path = glyph.find(f"{{{SVG}}}path")
            if path is not None:
                SubElement(
                    defs,
                    "path",
                    {
                        "id": f"{self.sheet.prefix}{name}",
                        "d": path.get("d", ""),
                        "transform": path.get("transform", "scale(1,-1)"),
                    },
                )
        tops = self.tops()
        for place, system in enumerate(self.sheet.systems):
            bottom = tops[place + 1] if place + 1 < len(tops) else self.sheet.height
            root.append(system.element(tops[place], bottom))
        return xml_text(root)

    def tops(self) -> list[float]:
        """Where each system begins: half way from what is above it."""
        tops = [0.0]
        for above, below in pairwise(self.sheet.systems):
            tops.append((max(above.heights) + min(below.heights)) / 2)
        return tops
