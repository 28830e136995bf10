"""Charts drawn by hand as SVG: dot plot, coverage strips, bar grid.

Hand-made, since a plotting library takes longer to import than a whole search. The
charts use the classes of the engraved pictures, so a page colours both alike, and
say by shape or hatching what they say by colour.

Conventions: sizes in CSS pixels. Every chart has a title and a description; ids
get a prefix.

Contents: BarCell, dot_plot, coverage_strips, bar_grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

from melodex.melody import Melody, degree_name, pitch_class_name
from melodex.presentation.doors import doors_open
from melodex.presentation.engraving.marks import INK, RELATION_SHAPES, draw_shape
from melodex.presentation.engraving.words import with_signs
from melodex.presentation.xml_text import xml_text

__all__ = ["BarCell", "bar_grid", "coverage_strips", "dot_plot"]

SVG = "http://www.w3.org/2000/svg"
FONT = "'Liberation Sans', Arial, sans-serif"
LARGEST_PLOT = 480
"""Width of a plot, in units of its SVG."""
LARGEST_CELL = 22
"""Width of a cell for one note, in the same units."""
SMALLEST_LABELLED = 11
"""Width from which a cell has room for its name, in the same units."""
STRIP_WIDTH, STRIP_HEIGHT = 900, 26  # in the same units


@dataclass(frozen=True, slots=True)
class BarCell:
    """One bar of a grid: its number, a section that starts there, and some words."""

    number: int
    section: str = ""
    text: str = ""
    shaded: bool = False


def chart(width: float, height: float, prefix: str, title: str, text: str) -> Element:
    """An empty chart."""
    root = Element(
        "svg",
        {
            "xmlns": SVG,
            "class": "chart",
            "role": "img",
            "aria-labelledby": f"{prefix}title {prefix}desc",
            "viewBox": f"0 0 {width:g} {height:g}",
            "width": f"{width:g}",
            "height": f"{height:g}",
            "color": INK,
            "font-family": FONT,
        },
    )
    SubElement(root, "title", {"id": f"{prefix}title"}).text = title
    SubElement(root, "desc", {"id": f"{prefix}desc"}).text = text
    return root


def label(
    home: Element, x: float, y: float, text: str, anchor: str = "middle", size: float = 12
) -> Element:
    """A short text."""
    element = SubElement(
        home,
        "text",
        {
            "x": f"{x:.1f}",
            "y": f"{y:.1f}",
            "text-anchor": anchor,
            "font-size": f"{size:g}",
            "fill": "currentColor",
        },
    )
    element.text = text
    return element


# Dot plot


def dot_plot(
    a: Melody,
    b: Melody,
    pairs: Sequence[tuple[int, int]],
    *,
    shift_fifths: int,
    degrees: Sequence[Sequence[int | None]] = ((), ()),
    prefix: str = "dot",
) -> str:
    """Draw every note of one melody against every note of another.

    A square is the same note, B moved onto A, filled where it is the same degree of the
    keys that hold there; an open diamond is the same step with another inflection; the
    line runs through the partners, so a stretch in common is a
    diagonal and a repeated figure a second one beside it.

    Parameters
    ----------
    a, b : Melody
        A runs downwards, B to the right.
    pairs : sequence of (int, int)
        Partners.
    shift_fifths : int
        From A to B on the line of fifths.
    degrees : two sequences of (int or None)
        What to write at the edges; note names where there is none.
    prefix : str
        Put before ids.
    """
    cell = min(LARGEST_CELL, LARGEST_PLOT / max(len(a), len(b), 1))
    labelled = cell >= SMALLEST_LABELLED
    margin = 44 if labelled else 22
    width, height = margin + cell * len(b) + 6, margin + cell * len(a) + 6
    root = chart(
        width,
        height,
        prefix,
        "Every note of A against every note of B",
        f"{len(pairs)} partners lie on the line; A runs downwards, B to the right.",
    )
    SubElement(
        root,
        "rect",
        {
            "x": f"{margin}",
            "y": f"{margin}",
            "width": f"{cell * len(b):.1f}",
            "height": f"{cell * len(a):.1f}",
            "fill": "none",
            "stroke": "currentColor",
            "stroke-opacity": "0.4",
        },
    )
    bar_rules(root, a, b, margin, cell)
    trail(root, pairs, margin, cell)
    dots(root, a, b, shift_fifths, margin, cell)
    label(root, margin - 30 if labelled else 9, margin + 12, "A", size=13)
    label(root, margin + 6, 13, "B", size=13)
    if labelled:
        for side, melody in enumerate((a, b)):
            for place, text in enumerate(edge_labels(melody, degrees[side])):
                middle = margin + (place + 0.5) * cell
                if side:
                    label(root, middle, margin - 7, text, size=11)
                else:
                    label(root, margin - 6, middle + 4, text, "end", 11)
    return xml_text(root)


def edge_labels(melody: Melody, degrees: Sequence[int | None]) -> list[str]:
    """Degree or name of each note."""
    return [
        with_signs(degree_name(degree))
        if index < len(degrees) and (degree := degrees[index]) is not None
        else pitch_class_name(fifths)
        for index, fifths in enumerate(melody.fifths)
    ]


def bar_rules(root: Element, a: Melody, b: Melody, margin: float, cell: float) -> None:
    """Thin lines where bars begin."""
    path = ""
    right, bottom = margin + cell * len(b), margin + cell * len(a)
    for place in range(1, len(a)):
        if a.bar[place] != a.bar[place - 1]:
            path += f"M{margin} {margin + place * cell:.1f}H{right:.1f}"
    for place in range(1, len(b)):
        if b.bar[place] != b.bar[place - 1]:
            path += f"M{margin + place * cell:.1f} {margin}V{bottom:.1f}"
    if path:
        SubElement(
            root, "path", {"d": path, "stroke": "currentColor", "stroke-opacity": "0.16"}
        )


def trail(
    root: Element, pairs: Sequence[tuple[int, int]], margin: float, cell: float
) -> None:
    """The line through the partners."""
    points = " ".join(
        f"{margin + (j + 0.5) * cell:.1f},{margin + (i + 0.5) * cell:.1f}" for i, j in pairs
    )
    SubElement(
        root,
        "polyline",
        {
            "points": points,
            "fill": "none",
            "stroke": "currentColor",
            "stroke-opacity": "0.3",
            "stroke-width": f"{max(2.0, cell * 0.34):.1f}",
            "stroke-linejoin": "round",
            "stroke-linecap": "round",
        },
    )


def dots(
    root: Element, a: Melody, b: Melody, shift: int, margin: float, cell: float
) -> None:
    """Squares and diamonds, each kind as one path."""
    squares = open_squares = diamonds = ""
    half = cell * 0.31
    degrees_b = b.degrees()
    for i, (fifths_a, degree_a) in enumerate(zip(a.fifths, a.degrees(), strict=True)):
        for j, fifths_b in enumerate(b.fifths):
            apart = fifths_b - fifths_a - shift
            x, y = margin + (j + 0.5) * cell, margin + (i + 0.5) * cell
            if apart == 0:
                side = f"{2 * half:.1f}"
                square = f"M{x - half:.1f} {y - half:.1f}h{side}v{side}h-{side}z"
                if degree_a is not None and degree_a == degrees_b[j]:
                    squares += square
                else:
                    open_squares += square
            elif apart % 7 == 0:
                diamonds += (
                    f"M{x:.1f} {y - half:.1f}l{half:.1f} {half:.1f}"
                    f"l{-half:.1f} {half:.1f}l{-half:.1f} {-half:.1f}z"
                )
    for name, path in (("same", squares), ("shape", open_squares), ("inflected", diamonds)):
        shape = next(s for s in RELATION_SHAPES.values() if s.name == name)
        solid = name == "same"
        if path:
            SubElement(
                root,
                "path",
                {
                    "class": f"{'rel ' if solid else ''}rel-{name}",
                    "d": path,
                    "fill": shape.colour if solid else "none",
                    "stroke": shape.colour,
                    "stroke-width": "1.4",
                },
            )


# Coverage


def coverage_strips(
    melodies: Sequence[Melody],
    relations: Sequence[Sequence[str]],
    *,
    names: Sequence[str] = ("A", "B"),
    prefix: str = "cov",
) -> str:
    """Draw how much of each melody is covered: a strip of notes, as long as they last.

    Parameters
    ----------
    melodies : sequence of Melody
        One strip each.
    relations : sequence of (sequence of str)
        What each note is to its partner.
    names : sequence of str
        What stands before each strip.
    prefix : str
        Put before ids.
    """
    step = STRIP_HEIGHT + 30
    height = step * len(melodies) + 4
    counts = [sum(r not in {"", "no partner"} for r in row) for row in relations]
    told = "; ".join(
        f"{name}: {count} of {len(row)} notes have a partner"
        for name, count, row in zip(names, counts, relations, strict=False)
    )
    root = chart(STRIP_WIDTH + 30, height, prefix, "What is covered", f"{told}.")
    for index, (melody, row) in enumerate(zip(melodies, relations, strict=True)):
        top = 4 + index * step
        label(root, 4, top + STRIP_HEIGHT * 0.7, names[index], "start", 14)
        strip(root, melody, row, top)
    return xml_text(root)


def strip(root: Element, melody: Melody, row: Sequence[str], top: float) -> None:
    """One strip with a sign under each note that is wide enough."""
    start = melody.onset_ticks[0]
    end = melody.onset_ticks[-1] + melody.duration_ticks[-1]
    scale = STRIP_WIDTH / max(end - start, 1)
    for index, (onset, length) in enumerate(
        zip(melody.onset_ticks, melody.duration_ticks, strict=True)
    ):
        x, width = 28 + (onset - start) * scale, max(length * scale - 1.5, 0.8)
        shape = RELATION_SHAPES.get(row[index])
        colour = shape.colour if shape else INK
        filled = shape is not None and shape.form in {"ring", "diamond", "square"}
        strength = {"ring": "0.85", "diamond": "0.42", "square": "0.62"}
        SubElement(
            root,
            "rect",
            {
                "class": f"{'rel ' if filled else ''}rel-{shape.name if shape else 'none'}",
                "x": f"{x:.1f}",
                "y": f"{top}",
                "width": f"{width:.1f}",
                "height": f"{STRIP_HEIGHT}",
                "fill": colour if filled else "none",
                "fill-opacity": strength.get(shape.form, "1") if shape else "1",
                "stroke": colour,
                "stroke-width": "1",
            },
        )
        if shape and width >= 9:
            group = SubElement(
                root,
                "g",
                {
                    "transform": f"translate({x + width / 2:.1f} {top + STRIP_HEIGHT + 11})"
                    "scale(0.026)"
                },
            )
            draw_shape(group, shape, 0, 0, 215, heavy=True)


# Bars


def bar_grid(cells: Sequence[BarCell], *, per_row: int = 8, prefix: str = "grid") -> str:
    """Draw a piece as rows of bars, with sections and a few words in each bar.

    Parameters
    ----------
    cells : sequence of BarCell
        In order.
    per_row : int
        Bars in a row; a section that starts begins a new row.
    prefix : str
        Put before ids.
    """
    rows: list[list[BarCell]] = []
    for cell in cells:
        if not rows or cell.section or len(rows[-1]) == per_row:
            rows.append([])
        rows[-1].append(cell)
    wide, high, left = 108, 52, 54
    root = chart(
        left + wide * per_row + 4,
        high * len(rows) + 8,
        prefix,
        f"{len(cells)} bars",
        "; ".join(
            f"section {cell.section} from bar {cell.number}"
            for cell in cells
            if cell.section
        )
        or "no sections",
    )
    if doors_open():
        # It holds links, so it is no single picture to those who hear it.
        root.set("role", "group")
    for place, row in enumerate(rows):
        top = 4 + place * high
        # Rows are cut apart as systems are, so that they flow over pages.
        edges = {"data-top": f"{top - 4:g}", "data-bottom": f"{top + high - 4:g}"}
        home = SubElement(root, "g", {"class": "system", **edges})
        if row[0].section:
            label(home, left - 12, top + 28, row[0].section[:8], "end", 17).set(
                "font-weight", "bold"
            )
        for column, cell in enumerate(row):
            draw_cell(home, cell, left + column * wide, top, wide, high)
    return xml_text(root)


def draw_cell(
    home: Element, cell: BarCell, x: float, top: float, wide: float, high: float
) -> None:
    """One bar of a grid, which leads to its music where there is a page of it."""
    if doors := doors_open():
        home = SubElement(
            home, "a", {"href": doors.bar(cell.number), "class": "door", "tabindex": "-1"}
        )
        SubElement(home, "title").text = f"bar {cell.number}: its music"
    SubElement(
        home,
        "rect",
        {
            "x": f"{x:g}",
            "y": f"{top:g}",
            "width": f"{wide:g}",
            "height": f"{high - 8:g}",
            "fill": "currentColor",
            "fill-opacity": "0.12" if cell.shaded else "0",
            "stroke": "currentColor",
            "stroke-opacity": "0.45",
        },
    )
    label(home, x + 5, top + 12, str(cell.number), "start", 10)
    shown = cell.text if len(cell.text) <= 15 else cell.text[:14] + "…"
    label(home, x + wide / 2, top + 31, shown, size=14 if len(shown) < 12 else 12)
