"""Handouts: a page as a PDF to print, through typst, which has its home here.

The PDF is tagged and meets PDF/UA-1; a text with a sign that no font has fails that
check and is reported. The fonts are those inside typst, so that the same input
gives the same bytes on any machine; where they lack a sign, the machine's own fonts
are tried.

Contents: PAPERS, handout_pdf, page_pdf, picture_png.
"""

from __future__ import annotations

import json
import re
from importlib import resources
from typing import Any

from melodex.errors import PresentationError
from melodex.presentation.engraving.marks import (
    RELATION_SHAPES,
    relation_sign,
    system_slices,
)
from melodex.presentation.report.forms import page_of
from melodex.presentation.report.page import (
    Blanks,
    Block,
    Caution,
    Facts,
    Fold,
    Legend,
    Page,
    Picture,
    Section,
    Table,
    Text,
    with_key_signs,
    with_partial_remark,
)

__all__ = ["PAPERS", "handout_pdf", "page_pdf", "picture_png"]

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Names of paper sizes here -> in typst."""


def handout_pdf(result: object, *, paper: str = "a4") -> bytes:
    """Return the result of a task as a PDF.

    Parameters
    ----------
    result : Comparison, Resemblance, Audit or Page
        What a task returned, or a page made of it.
    paper : str
        ``a4`` or ``letter``.

    Raises
    ------
    PresentationError
        If there is no handout for such a result, the paper is unknown, or no font
        has a sign that a text needs.
    """
    return page_pdf(page_of(result), paper=paper)


def page_pdf(page: Page, *, paper: str = "a4") -> bytes:
    """Return a page as a tagged PDF; what can only be heard or clicked is left out.

    Raises
    ------
    PresentationError
        As :func:`handout_pdf`.

    References
    ----------
    ISO 14289-1 (PDF/UA-1): tags, alternative texts, title, no missing glyphs.
    """
    if paper not in PAPERS:
        raise PresentationError(f"{paper!r} is no paper size here", hint="a4 or letter")
    data = json.dumps(
        without_controls(page_data(with_partial_remark(page))), sort_keys=True
    )
    inputs = {"page": data, "paper": PAPERS[paper]}
    import typst

    source = (
        resources.files("melodex.presentation") / "templates" / "handout.typ"
    ).read_bytes()
    failure = ""
    for embedded_only in (True, False):
        try:
            made = typst.compile(
                source,
                format="pdf",
                sys_inputs=inputs,
                ignore_system_fonts=embedded_only,
                pdf_standards=["ua-1"],
                timestamp=0,
            )
        except typst.TypstError as error:
            failure = str(error)
            continue
        return bytes(made)
    missing = re.search(r"the text (.+?) could not be displayed", failure)
    if missing:
        raise PresentationError(
            f"no font on this machine has a sign for {missing[1]}",
            where=page.title,
            hint="install a font that has it, or make an HTML page instead",
        )
    raise PresentationError(f"the PDF could not be made: {failure}", where=page.title)


PNG_SOURCE = b"""#set page(width: auto, height: auto, margin: 6mm)
#set text(font: ("Libertinus Serif", "Liberation Serif", "DejaVu Sans"))
#image(bytes(sys.inputs.drawing), format: "svg", width: 180mm)
"""
PIXELS_PER_INCH = 200  # sharp on paper and on screens


def picture_png(svg: str) -> bytes:
    """Return a picture of ours in pixels, 180 mm wide at 200 to the inch.

    Raises
    ------
    PresentationError
        If it cannot be drawn.
    """
    import typst

    try:
        made = typst.compile(
            PNG_SOURCE, format="png", ppi=PIXELS_PER_INCH, sys_inputs={"drawing": svg}
        )
    except typst.TypstError as error:
        raise PresentationError(f"the picture could not be made: {error}") from error
    return bytes(made)


CONTROLS = dict.fromkeys([*range(0x20), *range(0x7F, 0xA0), 0xFFFE, 0xFFFF])
CONTROLS |= {0x09: " ", 0x0A: "\n"}
"""Signs that steer a device and print as nothing (ISO 6429), and what is no character
(Unicode 15, section 23.7)."""


def without_controls(data: Any) -> Any:
    """Plain data whose texts hold no sign that no font can have."""
    if isinstance(data, str):
        return data.translate(CONTROLS)
    if isinstance(data, list):
        return [without_controls(each) for each in data]
    if isinstance(data, dict):
        return {name: without_controls(value) for name, value in data.items()}
    return data


def page_data(page: Page) -> dict[str, Any]:
    """A page as plain data for the typesetter."""
    return {
        "title": page.title,
        "kicker": page.kicker,
        "summary": [with_key_signs(sentence) for sentence in page.summary],
        "rights": list(page.rights),
        "signs": {name: relation_sign(name) for name in RELATION_SHAPES},
        "sections": [
            section_data(section) for section in page.sections if on_paper(section)
        ],
    }


def on_paper(section: Section) -> bool:
    """Whether there is anything of a section that paper can show."""
    return any(block_data(block) for block in section.blocks)


def section_data(section: Section) -> dict[str, Any]:
    """A section as plain data."""
    return {
        "heading": section.heading,
        "note": section.note,
        "new_page": section.new_page,
        "whole": section.whole,
        "apart": section.numbered_apart,
        "blocks": [data for block in section.blocks for data in block_data(block)],
    }


def block_data(block: Block) -> list[dict[str, Any]]:
    """A block as plain data; a fold lies open, players and files are left out."""
    if isinstance(block, Text | Caution):
        words = [with_key_signs(paragraph) for paragraph in block.paragraphs]
        return [{"kind": block.kind, "paragraphs": words}]
    if isinstance(block, Facts):
        return [{"kind": block.kind, "rows": [list(row) for row in block.rows]}]
    if isinstance(block, Table):
        rows = [list(row) for row in block.rows]
        head = list(block.head)
        return [{"kind": block.kind, "caption": block.caption, "head": head, "rows": rows}]
    if isinstance(block, Blanks):
        return [{"kind": block.kind, "words": list(block.words), "row": block.in_row}]
    if isinstance(block, Legend):
        return [{"kind": block.kind, "relations": list(block.relations)}]
    if isinstance(block, Picture):
        return [picture_data(block)]
    if isinstance(block, Fold) and block.on_paper:
        inner = [data for each in block.blocks for data in block_data(each)]
        return [{"kind": "heading", "text": block.heading}, *inner]
    return []


def picture_data(picture: Picture) -> dict[str, Any]:
    """A picture cut into its systems, each with its width in pixels."""
    slices = system_slices(picture.svg)
    return {
        "kind": picture.kind,
        "label": picture.label,
        "caption": with_key_signs(picture.caption),
        "size": picture.mm_a_pixel,
        "slices": slices,
        "widths": [width_of(each) for each in slices],
    }


def width_of(svg: str) -> float:
    """The width that a picture of ours states."""
    found = re.search(r'\bwidth="([\d.]+)"', svg)
    return float(found[1]) if found else 100.0
