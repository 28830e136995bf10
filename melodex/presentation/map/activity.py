"""The rows of a map that say when each line of a piece sounds.

Conventions: a row for each line in the order of the score, a bar where it sounds, a thin
stroke where it rests: black on white, so that no colour is needed. Up to
:data:`MOST_NAMED` lines are named; of more the rows grow thin and their number is told,
so that a hundred lines take no more room than twenty.

Contents: MOST_NAMED, activity_lane.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from melodex.analysis.texture.activity import LineActivity
from melodex.presentation.map.pens import SMALL, lane_name, put, write
from melodex.presentation.map.strips import LEFT, Ruler

__all__ = ["MOST_NAMED", "activity_lane"]

MOST_NAMED = 12  # lines; with more, rows are too low for names
NAMED_ROW, MOST_ROOM = 11.0, 132.0  # units of a map: for a name, for twelve
LONGEST_NAME = 16  # letters, beside the rows


def activity_lane(
    home: Element, lines: Sequence[LineActivity], ruler: Ruler, top: float
) -> float:
    """Draw a row for each line; where the next lane may begin."""
    if not lines:
        return top
    row = NAMED_ROW if len(lines) <= MOST_NAMED else MOST_ROOM / len(lines)
    if len(lines) > MOST_NAMED:
        lane_name(home, top + 11, f"{len(lines)} lines")
    for at, line in enumerate(lines):
        middle = top + row * (at + 0.5)
        if len(lines) <= MOST_NAMED:
            write(home, LEFT - 6, middle + 3, short(line.name), size=SMALL, anchor="end")
        draw_row(home, line, ruler, middle, min(0.6 * row, 6.0))
    return top + row * len(lines) + 2


def draw_row(
    home: Element, line: LineActivity, ruler: Ruler, middle: float, thick: float
) -> None:
    """One line: a stroke through the strip, thick where it sounds."""
    put(
        home,
        "path",
        d=f"M{LEFT:.1f} {middle:.1f}H{ruler.right:.1f}",
        stroke="currentColor",
        stroke_width=0.4,
        stroke_opacity="0.5",
    )
    sounding = "".join(
        f"M{ruler.x(start):.1f} {middle:.1f}H{ruler.x(end):.1f}"
        for start, end in line.stretches
        if ruler.meets(start, end)
    )
    if sounding:
        put(home, "path", d=sounding, stroke="currentColor", stroke_width=thick)


def short(name: str) -> str:
    """A name that fits left of a row."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
