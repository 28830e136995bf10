"""The shapes of the relations, and what our pictures have in common.

Conventions: places are in a picture's own units, y down. The shapes are ours: a
solid ring, a dashed diamond, a dotted square, a cross, a dash; a broken ring, square or
diamond where notes agree in shape and not in degree; colour only repeats what the shape
says.

Contents: Shape, RELATION_SHAPES, reach_of, relation_sign, draw_shape, system_slices,
shared_signs, shared_glyphs, number.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement, fromstring

from melodex.presentation.xml_text import xml_text

__all__ = [
    "INK",
    "RELATION_SHAPES",
    "SVG",
    "Shape",
    "draw_shape",
    "number",
    "reach_of",
    "relation_sign",
    "shared_glyphs",
    "shared_signs",
    "system_slices",
]

SVG = "http://www.w3.org/2000/svg"
INK = "#101418"


@dataclass(frozen=True, slots=True)
class Shape:
    """How one relation is drawn: its name in classes, form, dashes and colour."""

    name: str
    form: str
    dashes: str
    colour: str


RELATION_SHAPES = {
    "same degree and time": Shape("same", "ring", "", "#1b5aa6"),
    "same step, other inflection": Shape("inflected", "diamond", "90 55", "#b3440b"),
    "same degree, other rhythm": Shape("shifted", "square", "28 42", "#6d3a86"),
    "same degree": Shape("same", "ring", "", "#1b5aa6"),
    "different degree": Shape("different", "cross", "", "#4a4f55"),
    "same shape and length": Shape("shape", "ring", "150 75", "#1b5aa6"),
    "same shape, other length": Shape("shape_shifted", "square", "130 60", "#6d3a86"),
    "same shape, other inflection": Shape(
        "shape_inflected", "diamond", "150 45", "#b3440b"
    ),
    "same shape": Shape("shape", "ring", "150 75", "#1b5aa6"),
    "other shape": Shape("different", "cross", "", "#4a4f55"),
    "no partner": Shape("alone", "dash", "", "#4a4f55"),
    "same direction": Shape("same", "ring", "", "#1b5aa6"),
    "other direction": Shape("different", "cross", "", "#4a4f55"),
    "same length": Shape("same", "ring", "", "#1b5aa6"),
    "other length": Shape("different", "cross", "", "#4a4f55"),
    "as asked": Shape("same", "ring", "", "#1b5aa6"),
    "not asked": Shape("alone", "dash", "", "#4a4f55"),
}
"""The relations of degrees, those of shape, that which stands where no rhythm is known,
those of a contour, a rhythm and notes of which not all are known.

The three colours differ in lightness and stay apart under the common kinds of colour
blindness; the shapes do without them."""


HEAD_SIZE = 215
"""Half the width of what is drawn around a head."""


def reach_of(relation: str) -> float:
    """How far the shape of a relation reaches from the middle of a head."""
    form = RELATION_SHAPES[relation].form if relation in RELATION_SHAPES else ""
    return {"ring": 1.0, "diamond": 1.28, "square": 0.92}.get(form, 0.0) * HEAD_SIZE + 20


def relation_sign(relation: str, size: float = 16) -> str:
    """Return a small stand-alone SVG of a relation's shape, for legends and tables.

    It is decoration: the name of the relation must stand beside it.

    Examples
    --------
    >>> relation_sign("no partner")[-20:]
    '58 0L158 0" /></svg>'
    """
    shape = RELATION_SHAPES[relation]
    root = Element(
        "svg",
        {
            "xmlns": SVG,
            "class": "sign",
            "width": f"{size:g}",
            "height": f"{size:g}",
            "viewBox": "-300 -300 600 600",
            "aria-hidden": "true",
            "focusable": "false",
        },
    )
    draw_shape(root, shape, 0, 0, 225, heavy=True)
    return xml_text(root)


def draw_shape(
    home: Element, shape: Shape, x: float, y: float, size: float, *, heavy: bool = False
) -> Element:
    """Draw one relation's shape around a place; size is half its width."""
    attributes = {
        "class": f"rel rel-{shape.name}",
        "fill": shape.colour,
        "fill-opacity": "0.13",
        "stroke": shape.colour,
        "stroke-width": "46" if heavy else "24",
    }
    if shape.dashes:
        attributes["stroke-dasharray"] = shape.dashes
    if shape.form == "ring":
        place = {"cx": number(x), "cy": number(y), "r": number(size)}
        return SubElement(home, "circle", attributes | place)
    if shape.form in {"diamond", "square"}:
        reach = size * (1.28 if shape.form == "diamond" else 0.92)
        corners = (
            [(0, -reach), (reach, 0), (0, reach), (-reach, 0)]
            if shape.form == "diamond"
            else [(-reach, -reach), (reach, -reach), (reach, reach), (-reach, reach)]
        )
        points = " ".join(f"{number(x + dx)},{number(y + dy)}" for dx, dy in corners)
        if shape.form == "square":
            attributes |= {
                "stroke-linecap": "butt",
                "stroke-width": "60" if heavy else "36",
            }
        return SubElement(home, "polygon", attributes | {"points": points})
    reach = size * 0.5
    lines = (
        f"M{number(x - reach)} {number(y - reach)}L{number(x + reach)} {number(y + reach)}"
        f"M{number(x - reach)} {number(y + reach)}L{number(x + reach)} {number(y - reach)}"
        if shape.form == "cross"
        else f"M{number(x - size * 0.7)} {number(y)}L{number(x + size * 0.7)} {number(y)}"
    )
    attributes |= {"d": lines, "fill": "none", "stroke-width": "60" if heavy else "36"}
    return SubElement(home, "path", attributes)


def number(value: float) -> str:
    """A coordinate without needless digits."""
    return f"{value:.0f}"


def system_slices(svg: str) -> list[str]:
    """Cut a picture of ours into one picture for each system.

    A page can then break between systems. What is no engraving comes back whole.
    """
    # Without its namespace the tree is written as it was read, with plain names.
    root = fromstring(svg.replace(f' xmlns="{SVG}"', "", 1))
    systems = [g for g in root if g.get("class") == "system"]
    if len(systems) < 2:
        return [svg]
    root.set("xmlns", SVG)
    _, _, width, _ = root.get("viewBox", "0 0 0 0").split()
    scale = float(root.get("width", "1")) / float(width)
    out = []
    for system in systems:
        for other in root.findall("g[@class='system']"):
            root.remove(other)
        root.append(system)
        top, bottom = (int(system.get(f"data-{edge}", "0")) for edge in ("top", "bottom"))
        root.set("viewBox", f"0 {top} {width} {bottom - top}")
        root.set("height", number((bottom - top) * scale))
        out.append(xml_text(root))
    return out


def shared_signs() -> tuple[dict[str, str], str]:
    """Let all signs on one page use one set of shapes.

    Returns
    -------
    dict of str to str
        Relation -> its sign, which refers to a shape.
    str
        The shapes, to be put among the definitions of the page.
    """
    view = 'viewBox="-300 -300 600 600" width="16" height="16" aria-hidden="true"'
    signs = {
        relation: f'<svg class="sign" {view}><use href="#sign-{shape.name}"/></svg>'
        for relation, shape in RELATION_SHAPES.items()
    }
    shapes: dict[str, str] = {}
    for shape in RELATION_SHAPES.values():
        group = Element("g", {"id": f"sign-{shape.name}"})
        draw_shape(group, shape, 0, 0, 225, heavy=True)
        shapes[shape.name] = xml_text(group)
    return signs, "".join(shapes.values())


def shared_glyphs(pictures: Sequence[str]) -> tuple[list[str], str]:
    """Let several pictures on one page use one set of glyphs.

    Returns
    -------
    list of str
        The pictures without glyphs of their own.
    str
        The glyphs, to be put among the definitions of the page.
    """
    glyphs: dict[str, str] = {}
    glyph = re.compile(r'<path id="\w*(E[0-9A-F]{3})" ([^>]*/>)')

    def taken(found: re.Match[str]) -> str:
        for name, outline in glyph.findall(found[1]):
            glyphs[name] = outline
        return ""

    out = []
    for picture in pictures:
        bare = re.sub(r"<defs>(.*?)</defs>", taken, picture, flags=re.DOTALL)
        out.append(re.sub(r'href="#\w*(E[0-9A-F]{3})"', r'href="#glyph-\1"', bare))
    paths = "".join(f'<path id="glyph-{name}" {glyphs[name]}' for name in sorted(glyphs))
    return out, paths
