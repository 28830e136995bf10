"""The engraver's pages, tidied: one coordinate system, and where everything stands.

The engraver's SVG is flattened, its style sheet is turned into attributes (a strict
content policy and a PDF both need that), ids get a prefix, and systems are told apart.

Conventions: places are in the picture's own units, 180 to a staff space, y down.

Contents: NotePlace, MeasurePlace, Sheet, System, rectangle.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement, fromstring

from melodex.presentation.engraving.italics import ACCIDENTALS, placed_runs
from melodex.presentation.engraving.marks import SVG, number
from melodex.presentation.engraving.runs import TEXT_SIZE, flat, stacked, text_runs

__all__ = ["FROM_THE_NOTE", "MeasurePlace", "NotePlace", "Sheet", "System", "rectangle"]

HEAD_HALF_WIDTH = {"E0A2": 152, "E0A0": 215, "E0A1": 215}
USUAL_HEAD_HALF_WIDTH = 113
STAFF_SPACE = 180
NUMBER = r"-?\d+(?:\.\d+)?"
MARGIN = 20
FROM_THE_NOTE = {"key", "section", "signpost"}
"""Texts that begin at their note, where others stand about its middle."""

BOXED = {"section", "boxed"}
"""Texts that stand in a box."""

BLANK_WIDTH, BOX_WIDTH, BLANK_HEIGHT = 800, 1200, 800
"""What is written on: 8 mm, 12 mm and 8 mm where a stave is 7.25 mm high."""

TEXT_STYLE = {
    "worked": {"font-style": "italic"},
    "key": {"font-style": "italic"},
    "signpost": {"font-style": "italic"},
    "section": {"font-weight": "bold"},
    "numeral": {"fill-opacity": "0.72"},
}
ACCIDENTAL_ROOM = 150
"""How far from the middle of a head its accidental begins."""


@dataclass(frozen=True, slots=True)
class NotePlace:
    """Where the head of a note came to stand."""

    part: int
    note: int
    x: float
    y: float
    system: int


@dataclass(frozen=True, slots=True)
class MeasurePlace:
    """From where to where a measure reaches in its system, by its staff lines."""

    system: int
    left: float
    right: float


class Sheet:
    """The engraver's pages as one tidy sheet, and where everything stands on it.

    Parameters
    ----------
    pages : sequence of str
        SVG of each page as the engraver wrote it.
    prefix : str
        Put before every id.
    left_out : sequence of str
        Classes of the engraver's groups that are not wanted.
    row_drop : float
        How much lower than the engraver's place the rows below a stave are put.
    reach : mapping
        Part and note -> how far what is drawn about its head reaches to the left.
    rise : float
        How much higher the names of keys and sections are put: boxes stand below them.
    """

    def __init__(
        self,
        pages: Sequence[str],
        prefix: str,
        left_out: Sequence[str] = (),
        row_drop: float = 0,
        reach: Mapping[tuple[int, int], float] | None = None,
        *,
        rise: float = 0,
    ) -> None:
        self.rise = rise
        self.prefix = prefix
        self.reach = reach or {}
        self.accidental_shift = 0.0
        self.extent = self.limit = 0.0
        self.row_drop = row_drop
        self.left_out = left_out
        self.width = self.height = 0.0
        self.defs: dict[str, Element] = {}
        self.systems: list[System] = []
        self.notes: dict[tuple[int, int], NotePlace] = {}
        self.measures: list[MeasurePlace] = []
        self.texts: list[tuple[str, float, float, float, int]] = []
        self.degrees: dict[tuple[int, int], tuple[float, float]] = {}
        self.signs: dict[tuple[int, int], tuple[float, float]] = {}
        self.labels: dict[int, list[tuple[float, float]]] = {}
        for page in pages:
            self.add_page(page)

    @property
    def system(self) -> int:
        """Index of the system that is being copied."""
        return len(self.systems) - 1

    def reaches(self, *heights: float) -> None:
        """Note that the system that is being copied reaches some heights."""
        if self.systems:
            self.systems[-1].heights += heights

    def add_page(self, page: str) -> None:
        """Flatten one page below those that are there."""
        root = fromstring(page)
        for glyph in root.iterfind(f".//{{{SVG}}}defs/{{{SVG}}}g"):
            self.defs.setdefault(glyph.get("id", "").split("-")[0], glyph)
        inner = root.find(f"{{{SVG}}}svg")
        if inner is None:
            return
        _, _, width, height = (float(v) for v in inner.get("viewBox", "0 0 0 0").split())
        self.limit = width
        margin = inner.find(f"{{{SVG}}}g")
        if margin is not None:
            left, top = translation(margin.get("transform", ""))
            self.copy(margin, Element("g"), left, top + self.height)
        # A system that is not spread to the full width takes no more than it needs.
        self.width = max(self.width, min(width, self.extent + 2 * MARGIN))
        self.height += height

    def copy(self, source: Element, home: Element, dx: float, dy: float) -> None:
        """Copy an element's children into a home, moved, without what is not drawn."""
        for child in source:
            tag = child.tag.split("}")[1]
            kinds = child.get("class", "").split()
            if tag == "g":
                self.copy_group(child, kinds, home, dx, dy)
            elif tag == "text":
                self.copy_text(child, home, dx, dy)
            elif tag == "use":
                self.copy_use(child, home, dx, dy)
            elif tag in {"path", "polygon", "polyline", "rect", "ellipse"}:
                self.copy_line(child, tag, home, dx, dy)

    def copy_group(
        self, child: Element, kinds: list[str], home: Element, dx: float, dy: float
    ) -> None:
        """Copy one group; notes keep their id, other groups only what they hold."""
        if {"placeholder", "pageMilestone", *self.left_out} & set(kinds):
            return
        if "system" in kinds:
            self.systems.append(System())
            home = self.systems[-1].music
        moved = translation(child.get("transform", ""))
        dx, dy = dx + moved[0], dy + moved[1]
        if "measure" in kinds:
            self.note_measure(child, dx)
        if "note" in kinds:
            home = SubElement(home, "g", {"class": "note"})
            self.name_note(child, home, dx, dy)
        elif "accid" in kinds:
            dx -= self.accidental_shift
        elif {"mNum", "ending", "dir"} & set(kinds):
            italic = {"mNum", "dir"} & set(kinds)
            style = {"font-style": "italic"} if italic else {"font-weight": "bold"}
            home = SubElement(home, "g", {"class": kinds[0], **style})
            dy -= self.rise if "ending" in kinds else 0
        elif {"label", "labelAbbr"} & set(kinds):
            self.note_label(child, dx, dy)
        elif "harm" in kinds:
            dy += self.row_drop if kinds[-1] in {"degree", "sign"} else 0
            dy -= self.rise if kinds[-1] in FROM_THE_NOTE else 0
            if self.note_text(child, dx, dy) == "s":
                return
            style = TEXT_STYLE.get(kinds[-1], {})
            home = SubElement(home, "g", {"class": kinds[-1], **style})
        self.copy(child, home, dx, dy)

    def note_text(self, child: Element, dx: float, dy: float) -> str:
        """Note where a degree stands (``d``), or where a sign is to be drawn (``s``)."""
        found = re.fullmatch(
            re.escape(self.prefix) + r"p(\d+)([ds])(\d+)", child.get("id", "")
        )
        text = child.find(f"{{{SVG}}}text")
        if not found or text is None:
            return ""
        place = (float(text.get("x", 0)) + dx, float(text.get("y", 0)) + dy)
        places = self.degrees if found[2] == "d" else self.signs
        places[int(found[1]), int(found[3])] = place
        return found[2]

    def note_measure(self, child: Element, dx: float) -> None:
        """Note from where to where a measure reaches: barline to barline."""
        line = child.find(f"{{{SVG}}}g[@class='staff']/{{{SVG}}}path")
        if line is not None:
            places = [float(place) for place in re.findall(NUMBER, line.get("d", ""))]
            left, right = min(places[::2]) + dx, max(places[::2]) + dx
            self.measures.append(MeasurePlace(self.system, left, right))

    def note_label(self, child: Element, dx: float, dy: float) -> None:
        """Note where the name of a stave stands."""
        text = child.find(f"{{{SVG}}}text")
        if text is not None:
            place = (float(text.get("x", 0)) + dx, float(text.get("y", 0)) + dy)
            self.labels.setdefault(self.system, []).append(place)

    def name_note(self, child: Element, home: Element, dx: float, dy: float) -> None:
        """Note where the head of a note stands, and keep its id."""
        name = child.get("id", "")
        home.set("id", name)
        self.accidental_shift = 0.0
        found = re.fullmatch(re.escape(self.prefix) + r"p(\d+)n(\d+)", name)
        head = child.find(f"{{{SVG}}}g[@class='notehead']/{{{SVG}}}use")
        if not found or head is None:
            return
        x, y = translation(head.get("transform", ""))
        glyph = head.get("href", "").lstrip("#").split("-")[0]
        half = HEAD_HALF_WIDTH.get(glyph, USUAL_HEAD_HALF_WIDTH)
        key = (int(found[1]), int(found[2]))
        self.notes[key] = NotePlace(*key, x + half + dx, y + dy, self.system)
        self.accidental_shift = max(0.0, self.reach.get(key, 0.0) - ACCIDENTAL_ROOM)

    def copy_use(self, child: Element, home: Element, dx: float, dy: float) -> None:
        """A glyph at its place."""
        x, y = translation(child.get("transform", ""))
        scale = re.search(r"scale\(([-\d.]+)", child.get("transform", ""))
        glyph = child.get("href", "").lstrip("#").split("-")[0]
        # No glyph of the music font reaches further than a clef does.
        self.reaches(y + dy - 2 * STAFF_SPACE, y + dy + 2 * STAFF_SPACE)
        SubElement(
            home,
            "use",
            {
                "href": f"#{self.prefix}{glyph}",
                "transform": f"translate({number(x + dx)} {number(y + dy)})"
                f"scale({scale[1] if scale else 1})",
            },
        )

    def copy_line(
        self, child: Element, tag: str, home: Element, dx: float, dy: float
    ) -> None:
        """A line or area, with its stroke as attributes."""
        keep = {k: v for k, v in child.attrib.items() if k not in {"id", "class"}}
        for name, moved in (("d", moved_path), ("points", moved_points)):
            if name in keep:
                keep[name] = moved(keep[name], dx, dy)
                places = [float(place) for place in re.findall(NUMBER, keep[name])]
                self.reaches(*places[1::2])
                self.extent = max(self.extent, *places[::2])
        for name, shift in (("x", dx), ("y", dy), ("cx", dx), ("cy", dy)):
            if name in keep:
                keep[name] = number(float(keep[name]) + shift)
        keep.setdefault("stroke", "currentColor")
        before = home[-1] if len(home) else None
        alike = before is not None and without_course(before.attrib) == without_course(keep)
        if before is not None and alike and before.tag == tag == "path":
            # The lines of a staff come one by one; together they are one path.
            before.set("d", before.get("d", "") + keep["d"])
        else:
            SubElement(home, tag, keep)

    def copy_text(self, child: Element, home: Element, dx: float, dy: float) -> None:
        """A text as one element with runs, signs as Unicode."""
        x, y = float(child.get("x", 0)) + dx, float(child.get("y", 0)) + dy
        runs = list(text_runs(child, ""))
        if not runs:
            return
        kind, anchor = home.get("class", ""), child.get("text-anchor", "start")
        width = sum(0.56 * len(words) * (size or TEXT_SIZE) for words, _, size in runs)
        if kind in FROM_THE_NOTE:
            anchor = "start"
            x = max(0.0, min(x - USUAL_HEAD_HALF_WIDTH, self.limit - width - STAFF_SPACE))
        if set(runs[0][0]) == {"_"}:
            self.draw_blank(home, kind, x, y)
            return
        if kind in BOXED:
            start = x - (width / 2 if anchor == "middle" else 0)
            box_around(home, start, y, width)
        text = SubElement(
            home,
            "text",
            {
                "x": number(x),
                "y": number(y),
                "font-size": str(TEXT_SIZE),
                "text-anchor": anchor,
            },
        )
        laid = list(stacked(runs) if kind == "numeral" else flat(runs))
        places = [""] * len(laid)
        if "font-style" in home.attrib and any(set(ACCIDENTALS) & set(r[0]) for r in runs):
            placed = placed_runs(runs, x, anchor, TEXT_SIZE)
            laid = list(flat([run for run, _ in placed]))
            places = [number(at) for _, at in placed]
            text.set("text-anchor", "start")
        for (words, down, size, back), at in zip(laid, places, strict=True):
            run = SubElement(text, "tspan", {"x": at} if at else {})
            run.text = words
            if back:
                run.set("dx", number(-back))
            if down:
                run.set("dy", down)
            if size and round(size) != TEXT_SIZE:
                run.set("font-size", number(size))
        if len(laid) == 1:
            text.text = laid[0][0]
            size = laid[0][2]
            if size and round(size) != TEXT_SIZE:
                text.set("font-size", number(size))
            text.remove(text[0])
        left = x - {"middle": 0.5, "end": 1.0}.get(anchor, 0.0) * width
        self.texts.append((kind, left, y, width, self.system))
        self.extent = max(self.extent, left + width)
        self.reaches(y - TEXT_SIZE, y + TEXT_SIZE / 2)

    def draw_blank(self, home: Element, kind: str, x: float, y: float) -> None:
        """What the reader writes on: a line below a note, a box above a chord."""
        if kind == "numeral":
            top = y + 90 - BLANK_HEIGHT
            box = rectangle(x - BOX_WIDTH / 2, top, BOX_WIDTH, BLANK_HEIGHT)
            SubElement(home, "rect", {"class": "write", **box})
            width = BOX_WIDTH
        else:
            top, width = y - BLANK_HEIGHT, BLANK_WIDTH
            start = f"M{number(x - width / 2)} {number(y)}"
            line = {"d": f"{start}h{width}", "stroke": "currentColor", "fill": "none"}
            SubElement(home, "path", {"class": "write", "stroke-width": "22", **line})
        self.texts.append((kind, x - width / 2, y, width, self.system))
        self.extent = max(self.extent, x + width / 2)
        self.reaches(top - 60, y + 150)


class System:
    """One system: what lies under its notes, the notes, and what lies over them."""

    def __init__(self) -> None:
        self.under = Element("g", {"class": "under"})
        self.music = Element("g", {"fill": "currentColor", "stroke": "none"})
        self.over = Element("g", {"class": "over", "font-size": "260"})
        self.heights: list[float] = []

    def element(self, top: float, bottom: float) -> Element:
        """The system as a group that knows where it begins and ends."""
        group = Element(
            "g", {"class": "system", "data-top": number(top), "data-bottom": number(bottom)}
        )
        group.extend([self.under, self.music, self.over])
        return without_empty(group)


def box_around(home: Element, x: float, y: float, width: float) -> None:
    """A box around a text that is about to be written."""
    SubElement(home, "rect", rectangle(x - 80, y - 350, 1.25 * width + 160, 430))


def rectangle(x: float, y: float, width: float, height: float) -> dict[str, str]:
    """An open box as attributes."""
    return {
        "x": number(x),
        "y": number(y),
        "width": number(width),
        "height": number(height),
        "fill": "none",
        "stroke": "currentColor",
        "stroke-width": "22",
    }


def without_course(attributes: Mapping[str, str]) -> dict[str, str]:
    """How a path is drawn, without where."""
    return {name: value for name, value in attributes.items() if name != "d"}


def translation(transform: str) -> tuple[float, float]:
    """The x and y of ``translate(x, y)``."""
    found = re.search(r"translate\(\s*([-\d.]+)[ ,]+([-\d.]+)", transform)
    return (float(found[1]), float(found[2])) if found else (0.0, 0.0)


def moved_path(path: str, dx: float, dy: float) -> str:
    """An absolute path, moved."""
    places = iter((dx, dy) * (len(path) + 1))
    return re.sub(NUMBER, lambda m: number(float(m[0]) + next(places)), path)


def moved_points(points: str, dx: float, dy: float) -> str:
    """A list of points, moved."""
    return moved_path(points, dx, dy)


def without_empty(element: Element) -> Element:
    """The element without groups that hold nothing."""
    for child in list(element):
        without_empty(child)
        if child.tag == "g" and len(child) == 0:
            element.remove(child)
    return element
