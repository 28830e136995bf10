"""Text of a description: sentences, the map, the grid of bars, the finds.

Contents: description_text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from melodex.analysis.piece import DOUBTED
from melodex.presentation.map.content import NumberedFind, numbered, piece_map
from melodex.presentation.map.terminal import map_lines
from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.describe.describe import Description
from melodex.tasks.describe.finds import Find
from melodex.tasks.describe.grid import GridBar

__all__ = ["description_text"]

BARS_IN_A_ROW = 4
"""Bars of the grid side by side, as chord charts are written: common practice, no
source."""
LEAST_CELL, WIDEST_CELL = 14, 36
MOST_OF_A_KIND = 6
"""Finds of one kind that are listed; the rest are counted."""
FIGURES = frozenset({"sequence", "repetition", "inversion"})


def description_text(found: Description, style: Style) -> str:
    """Write what is in a piece as text.

    Parameters
    ----------
    found : Description
        Of the describe task.
    style : Style
        What the terminal can show.
    """
    whose = found.passage.whole.credits
    maker = f", {whose.composer}" if whose.composer else ""
    year = f", {whose.year}" if whose.year else ""
    lines = [style.strong(shown(f"{found.passage.heading}{maker}{year}")), ""]
    lines += paragraphs(map(style.spelled_key, found.summary), style)
    told = told_finds(numbered(found.finds))
    seen = {find.number for finds in told.values() for find in finds[:MOST_OF_A_KIND]}
    lines += ["", *map_lines(piece_map(found), style, seen)]
    lines += ["", *grid_lines(found.grid, style), ""]
    if found.finds:
        lines += [style.strong(finds_heading(found)), *find_lines(told, style), ""]
    lines += paragraphs(map(style.spelled_key, found.unsaid), style)
    if whose.rights:
        lines += paragraphs([shown(f"Rights: {whose.rights}")], style)
    return "\n".join(lines).rstrip() + "\n"


def grid_lines(grid: Sequence[GridBar], style: Style) -> list[str]:
    """Bars in rows, a new row at each section; chords and numerals above degrees."""
    lines: list[str] = []
    for row in rows_of(grid, style):
        section = next((bar.section for bar in row if bar.section), "")
        if section:
            lines.append(style.strong(shown(f"  {section}")))
        lines += row_lines(row, style)
    return lines


def rows_of(grid: Sequence[GridBar], style: Style) -> list[list[GridBar]]:
    """Bars four to a row, fewer where they would not fit; pickup in a row with bar 1."""
    widths = [len(bar_cell(bar)) for bar in grid] or [LEAST_CELL]
    widest = min(max(LEAST_CELL, *widths), WIDEST_CELL)
    fitting = min(max(1, (style.width - 2) // (widest + 3)), BARS_IN_A_ROW)
    rows: list[list[GridBar]] = []
    for bar in grid:
        full = not rows or sum(b.number > 0 for b in rows[-1]) >= min(
            fitting, BARS_IN_A_ROW
        )
        fresh = bool(bar.section) and bool(rows) and any(b.number > 0 for b in rows[-1])
        if full or fresh:
            rows.append([])
        rows[-1].append(bar)
    return rows


def bar_cell(bar: GridBar) -> str:
    """The widest text of a bar."""
    chords = " ".join(chord_texts(bar))
    numerals = " ".join(numeral_texts(bar))
    return max(chords, numerals, " ".join(bar.degrees), place_of(bar), key=len)


def chord_texts(bar: GridBar) -> list[str]:
    """The chords of a bar, with a question mark where one is uncertain.

    One that goes on from the bar before stands in brackets.
    """
    sure = [certainty >= DOUBTED for certainty, _ in bar.doubts]
    sure += [True] * (len(bar.chords) - len(sure))
    return [f"({text})" for text in bar.held[:1]] + [
        text if is_sure else f"{text}?"
        for (text, _), is_sure in zip(bar.chords, sure, strict=True)
    ]


def numeral_texts(bar: GridBar) -> list[str]:
    """The numerals of a bar, that of a chord that goes on in brackets."""
    return [f"({text})" for text in bar.held[1:]] + [text for _, text in bar.chords]


def row_lines(row: Sequence[GridBar], style: Style) -> list[str]:
    """Numbers, chords, numerals and degrees of some bars."""
    cells = [max(len(bar_cell(bar)), LEAST_CELL) for bar in row]
    texts = [
        [style.spelled_key(place_of(bar)) for bar in row],
        [" ".join(map(style.spelled, chord_texts(bar))) for bar in row],
        [" ".join(map(style.spelled_key, numeral_texts(bar))) for bar in row],
        [" ".join(style.spelled(degree) for degree in bar.degrees) for bar in row],
    ]
    lines = []
    for number, line in enumerate(texts):
        if not any(line):
            continue
        joint = " | " if number else "   "
        body = joint.join(
            text.ljust(width) for text, width in zip(line, cells, strict=True)
        )
        lines.append(f"  {shown(body)}".rstrip())
    return [*lines, ""]


def place_of(bar: GridBar) -> str:
    """Number of a bar, and the key and metre that start in it."""
    return "  ".join(part for part in (str(bar.number), bar.key, bar.metre) if part)


def finds_heading(found: Description) -> str:
    """Over the list of finds."""
    if found.corpus_tunes is None:
        return "Finds, in the order of the bars"
    return f"Finds, the rarest among {found.corpus_tunes:,} tunes first"


def told_finds(finds: Sequence[NumberedFind]) -> dict[str, list[NumberedFind]]:
    """Numbered finds by their kinds."""
    kinds: dict[str, list[NumberedFind]] = {}
    for find in finds:
        kinds.setdefault(find.kind, []).append(find)
    return kinds


def find_lines(kinds: dict[str, list[NumberedFind]], style: Style) -> list[str]:
    """Finds under their kinds, by the numbers that the map shows."""
    lines: list[str] = []
    for kind, told in kinds.items():
        lines.append(kind_line(kind, told[0].finds[0], style))
        for find in told[:MOST_OF_A_KIND]:
            # A sentence on a figure names the bars of every statement itself.
            bars = "" if kind in FIGURES else f"{bars_of(find.finds)}: "
            lines += indented(f"{find.number}. {bars}{find.sentence}", style)
        if len(told) > MOST_OF_A_KIND:
            lines += indented(f"and {len(told) - MOST_OF_A_KIND} more", style)
    return lines


def kind_line(kind: str, find: Find, style: Style) -> str:
    """Name of a kind, and how many tunes show it."""
    if find.tunes is None:
        return style.strong(kind)
    count = f"{find.tunes:,} tune{'' if find.tunes == 1 else 's'}"
    return f"{style.strong(kind)} [{count}]"


def indented(text: str, style: Style) -> list[str]:
    """A sentence below its kind, its further lines a little further in."""
    narrower = replace(style, width=style.width - 4)
    first, *rest = paragraphs([shown(style.spelled_key(text))], narrower)
    return [f"  {first}", *(f"    {line}" for line in rest)]


def bars_of(finds: Sequence[Find]) -> str:
    """The bars of some finds, each once."""
    told = (
        str(f.first_bar) if f.first_bar == f.last_bar else f"{f.first_bar}-{f.last_bar}"
        for f in finds
    )
    bars = ", ".join(dict.fromkeys(told))
    return f"bar{'' if bars.isdigit() else 's'} {bars}"
