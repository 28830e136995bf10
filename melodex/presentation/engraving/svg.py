"""What is drawn onto the engraver's picture, and how that picture is tidied.

The engraver's SVG is flattened to one coordinate system, its style sheet is
turned into attributes (a strict content policy and a PDF both need that), its
private-use signs in text become Unicode, ids get a prefix, and every note gets a
title. Then links between partners and the shapes of the five relations are laid
under the notes, and tokens around their degrees.

Conventions: places are in the picture's own units, 180 to a staff space, y down.

Contents: NotePlace, MeasurePlace, Drawing, System.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

from melodex.presentation.engraving.italics import ACCIDENTALS, placed_runs
from melodex.presentation.engraving.marks import (
    INK,
    RELATION_SHAPES,
    SVG,
    draw_shape,
    number,
)

__all__ = ["Drawing", "MeasurePlace", "NotePlace", "System"]

PRIVATE_SIGNS = {
    0xE260: "♭",
    0xE261: "♮",
    0xE262: "♯",
    0xE263: "𝄪",
    0xE264: "𝄫",
    0xEA63: "𝄫",
    0xEA64: "♭",
    0xEA65: "♮",
    0xEA66: "♯",
    0xEA67: "𝄪",
}
"""SMuFL code points that the engraver puts into text -> Unicode."""

HEAD_HALF_WIDTH = {"E0A2": 152, "E0A0": 215, "E0A1": 215}
USUAL_HEAD_HALF_WIDTH = 113
STAFF_SPACE = 180
NUMBER = r"-?\d+(?:\.\d+)?"
TEXT_SIZE = 405
MARGIN = 20
PAPER = "#ffffff"
FROM_THE_NOTE = {"key", "section", "signpost"}
"""Texts that begin at their note, where others stand about its middle."""

BOXED = {"section", "boxed"}
"""Texts that stand in a box."""

BLANK_WIDTH, BOX_WIDTH, BLANK_HEIGHT = 800, 1200, 800
"""What is written on: 8 mm, 12 mm and 8 mm where a stave is 7.25 mm high."""

MASKED = {"degree", "chord", "boxed", "worked", "numeral", *FROM_THE_NOTE}
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


class Drawing:
    """The engraver's pages as one tidy drawing that can be drawn on.

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

    # Tidying

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

    # Drawing on it

    def box_note(self, part: int, note: int) -> None:
        """Draw a box about the head of a note."""
        place = self.notes.get((part, note))
        if place is not None:
            half = 250.0
            box = rectangle(place.x - half, place.y - half, 2 * half, 2 * half)
            SubElement(self.systems[place.system].over, "rect", {"class": "meant", **box})

    def title_notes(self, titles: Mapping[tuple[int, int], str]) -> None:
        """Give notes a title, which is read out and shown when pointed at."""
        groups = (group for system in self.systems for group in system.music.iter("g"))
        for group in groups:
            found = re.fullmatch(
                re.escape(self.prefix) + r"p(\d+)n(\d+)(c\d+)?", group.get("id", "")
            )
            if found and not found[3]:
                title = Element("title")
                title.text = titles.get((int(found[1]), int(found[2])), "")
                group.insert(0, title)

    def mark(self, part: int, note: int, relation: str) -> None:
        """Draw a relation's shape behind a head, or its sign below the degree."""
        shape = RELATION_SHAPES.get(relation)
        place = self.notes.get((part, note))
        if place is None or shape is None:
            return
        if shape.form not in {"cross", "dash"}:
            draw_shape(self.systems[place.system].under, shape, place.x, place.y, 215)
        elif (part, note) in self.signs:
            x, y = self.signs[part, note]
            draw_shape(self.systems[place.system].over, shape, x, y - 130, 170)

    def link(self, a: tuple[int, int], b: tuple[int, int], relation: str) -> None:
        """Draw a line from a note's degree down to its partner in the same system."""
        upper, lower = self.notes.get(a), self.notes.get(b)
        if upper is None or lower is None or upper.system != lower.system:
            return
        shape = RELATION_SHAPES[relation]
        x, y = self.degrees.get(a, (upper.x, upper.y + 215))
        start = y + (110 if a in self.degrees else 0)
        end = f"{number(lower.x)} {number(lower.y - 215)}"
        SubElement(
            self.systems[upper.system].under,
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
        for (home, note), place in sorted(self.notes.items()):
            if home == part:
                first.setdefault(place.system, bars[note])
        for system, bar in first.items():
            labels = self.labels.get(system, [])
            if part < len(labels):
                x, y = labels[part]
                text = SubElement(
                    self.systems[system].over,
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
        for place, system in enumerate(self.systems):
            boxes = [
                f"M{x - 30:.0f} {y - 330:.0f}h{width + 60:.0f}v390h-{width + 60:.0f}z"
                for kind, x, y, width, home in self.texts
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
                "aria-labelledby": f"{self.prefix}title {self.prefix}desc",
                "viewBox": f"0 0 {number(self.width)} {number(self.height)}",
                "width": number(self.width / units_per_pixel),
                "height": number(self.height / units_per_pixel),
                "color": INK,
                "font-family": "'Libertinus Serif', 'Liberation Serif', "
                "'Times New Roman', Times, serif",
            },
        )
        SubElement(root, "title", {"id": f"{self.prefix}title"}).text = title
        SubElement(root, "desc", {"id": f"{self.prefix}desc"}).text = description
        defs = SubElement(root, "defs")
        for name, glyph in sorted(self.defs.items()):
            path = glyph.find(f"{{{SVG}}}path")
            if path is not None:
                SubElement(
                    defs,
                    "path",
                    {
                        "id": f"{self.prefix}{name}",
                        "d": path.get("d", ""),
                        "transform": path.get("transform", "scale(1,-1)"),
                    },
                )
        tops = self.tops()
        for place, system in enumerate(self.systems):
            bottom = tops[place + 1] if place + 1 < len(tops) else self.height
            root.append(system.element(tops[place], bottom))
        return tostring(root, encoding="unicode")

    def tops(self) -> list[float]:
        """Where each system begins: half way from what is above it."""
        tops = [0.0]
        for above, below in pairwise(self.systems):
            tops.append((max(above.heights) + min(below.heights)) / 2)
        return tops


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


def text_runs(element: Element, down: str) -> Iterator[tuple[str, str, float]]:
    """Runs of an engraver's text: words, how far down from the last run, size."""
    down = element.get("dy", down)
    words = (element.text or "").strip("\n")
    if words.strip() and len(element) == 0:
        size = float(element.get("font-size", "0").removesuffix("px") or 0)
        if any(0xE000 <= ord(c) <= 0xF8FF for c in words):
            # Signs come in the music font at its own size; in text they are text.
            size = size * TEXT_SIZE / 720
        yield words.translate(PRIVATE_SIGNS).strip("\u00a0"), down, size
    for child in element:
        yield from text_runs(child, down)
        # What is moved stays moved: only the first run of a group says so.
        down = ""


STACK = re.compile(r"(.*?)(65|64|43|42)")
STACK_RISE, STACK_DROP, DIGIT_WIDTH = 0.3, 0.78, 0.5
"""How much higher the upper of two figures stands, how far the lower hangs below it, and
how wide a figure is, in sizes of their type."""

Run = tuple[str, str, float, float]


def flat(runs: Sequence[tuple[str, str, float]]) -> Iterator[Run]:
    """Runs of a text as they come, none of them set back."""
    for words, down, size in runs:
        yield words, down, size, 0.0


def stacked(runs: Sequence[tuple[str, str, float]]) -> Iterator[Run]:
    """Runs of a numeral with its figures over one another, as they are written by hand.

    Each run is words, how far down from the last, size, and how far it is set back.
    """
    owed = 0.0
    for words, down, size in runs:
        found = STACK.fullmatch(words)
        if found is None or not 0 < size < TEXT_SIZE:
            yield words, lowered(down, owed), size, 0.0
            owed = 0.0
            continue
        kind, upper, lower = found[1], found[2][0], found[2][1]
        if kind:
            yield kind, lowered(down, owed), size, 0.0
            down, owed = "", 0.0
        yield upper, lowered(down, owed - STACK_RISE * size), size, 0.0
        yield lower, lowered("", STACK_DROP * size), size, DIGIT_WIDTH * size
        owed = (STACK_RISE - STACK_DROP) * size


def lowered(down: str, more: float) -> str:
    """How far down a run stands, and so much more."""
    if not more:
        return down
    return number(float(down.removesuffix("px") or 0) + more)


def without_empty(element: Element) -> Element:
    """The element without groups that hold nothing."""
    for child in list(element):
        without_empty(child)
        if child.tag == "g" and len(child) == 0:
            element.remove(child)
    return element
