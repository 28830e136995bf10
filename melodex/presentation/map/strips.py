"""Where a map is cut, how wide a bar is drawn, and what fits beside what.

Conventions: lengths in units of the picture, :data:`WIDTH` across a page. All strips of a
map have one scale, so that bars can be compared; a bar too long for a strip is drawn
smaller than the others.

Contents: Strip, Ruler, WIDTH, LEFT, PLOT, ruled_strips, text_width, rows_for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from melodex.presentation.map.content import PieceMap

__all__ = [
    "LEFT",
    "PLOT",
    "WIDTH",
    "Ruler",
    "Strip",
    "rows_for",
    "ruled_strips",
    "text_width",
]

WIDTH, LEFT, PLOT = 840, 132, 694
FEWEST_BARS, MOST_BARS = 12, 36
WIDEST_BAR = 90
CHORD_SIZE = 9.5
CHORD_ROWS, CHORDS_THAT_FIT = 2, 0.8
"""Rows that chords may take, and the share of them that the scale makes room for."""
STRIP_COST, SECTION_COST, LINE_COST, BAR_COST, SHORT_COST = 10.0, 0.0, 3.0, 8.0, 4.0
"""What a strip more costs, and a cut at a section, at a phrase, elsewhere, and a strip that
is hardly filled; our choice."""


@dataclass(frozen=True, slots=True)
class Strip:
    """Bars ``first`` to ``last`` (indexes, the last one included) and their time."""

    first: int
    last: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Ruler:
    """A strip with its scale, in units a tick."""

    strip: Strip
    scale: float

    def x(self, ticks: float) -> float:
        """Where a time lies, within the strip."""
        inside = min(max(ticks, self.strip.start), self.strip.end)
        return LEFT + (inside - self.strip.start) * self.scale

    def meets(self, start: int, end: int) -> bool:
        """Whether some of a stretch is on the strip."""
        return start < self.strip.end and end > self.strip.start

    def is_home(self, start: int, end: int) -> bool:
        """Whether more of a stretch is on the strip than off it."""
        inside = min(end, self.strip.end) - max(start, self.strip.start)
        return 2 * inside > end - start or (
            2 * inside == end - start and self.meets(start, start + 1)
        )

    @property
    def right(self) -> float:
        """Where the strip ends."""
        return self.x(self.strip.end)


def ruled_strips(piece: PieceMap) -> list[Ruler]:
    """Cut a piece into strips, at sections and phrases where that costs little."""
    usual = median(bar.duration_ticks for bar in piece.bars)
    most = ticks_of_a_strip(piece, usual)
    strips = cut(piece, most, usual)
    longest = max(min(strip.end - strip.start, most) for strip in strips)
    scale = min(PLOT / longest, WIDEST_BAR / usual)
    return [Ruler(strip, min(scale, PLOT / (strip.end - strip.start))) for strip in strips]


def ticks_of_a_strip(piece: PieceMap, usual: float) -> float:
    """The most that a strip holds: fewer bars where there are many chords."""
    needed = sorted(
        (text_width(text, CHORD_SIZE) + 4) / max(later - onset, 1)
        for (onset, text), (later, _) in zip(piece.chords, piece.chords[1:], strict=False)
    )
    fitting = MOST_BARS * usual
    if needed:
        dense = needed[int((len(needed) - 1) * CHORDS_THAT_FIT)]
        fitting = CHORD_ROWS * PLOT / dense
    return min(max(fitting, FEWEST_BARS * usual), MOST_BARS * usual) * 1.03


def cut(piece: PieceMap, most: float, usual: float) -> list[Strip]:
    """The cheapest strips, none longer than ``most`` ticks unless it is a single bar."""
    bars = piece.bars
    ends = [bar.onset_ticks + bar.duration_ticks for bar in bars]
    costs = cut_costs(piece, usual)
    best: list[tuple[float, int]] = [(0.0, 0)]
    for place in range(1, len(bars) + 1):
        options = []
        for first in range(place - 1, -1, -1):
            length = ends[place - 1] - bars[first].onset_ticks
            if length > most and first < place - 1:
                break
            short = max(0.0, 1 - length / most)
            options.append(
                (best[first][0] + STRIP_COST + costs[place] + SHORT_COST * short**2, first)
            )
        best.append(min(options))
    strips, place = [], len(bars)
    while place:
        first = best[place][1]
        strips.append(Strip(first, place - 1, bars[first].onset_ticks, ends[place - 1]))
        place = first
    return strips[::-1]


def cut_costs(piece: PieceMap, usual: float) -> list[float]:
    """What a cut before each bar costs, and after the last."""
    sections = {section.start for section in piece.sections}
    lines = sorted(phrase.start for phrase in piece.phrases)
    costs, at = [], 0
    for bar in piece.bars:
        # A phrase may begin with a pickup of up to half a bar.
        while at < len(lines) and lines[at] < bar.onset_ticks - usual / 2:
            at += 1
        line = at < len(lines) and lines[at] <= bar.onset_ticks
        here = bar.onset_ticks in sections
        costs.append(SECTION_COST if here else LINE_COST if line else BAR_COST)
    return [*costs, 0.0]


# Texts


NARROW, WIDE = frozenset(" .,:;'|!()[]/fijltIr·"), frozenset("mwMWABCDEGHKNOPQRSUVXYZ%♭♯")


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """About how wide a text is in the sans serif of our pictures.

    Three classes of signs after the widths of a common grotesque, from memory; on the
    safe side by a few hundredths.
    """
    widths = (0.33 if s in NARROW else 0.76 if s in WIDE else 0.57 for s in text)
    return sum(widths) * size * (1.08 if bold else 1.0)


def rows_for(
    items: Iterable[tuple[float, float]], right: float, *, gap: float = 5.0, most: int = 99
) -> list[tuple[int, float] | None]:
    """Put texts into as few rows as they need, so that none runs into another.

    Parameters
    ----------
    items : iterable of (float, float)
        Where each begins and how wide it is, in the order of x.
    right : float
        No text ends farther right; it is moved to the left for that.
    gap : float
        At least so much between two.
    most : int
        Rows that there are.

    Returns
    -------
    list of (int, float) or None
        Row and place of each; None where no row has room.

    Examples
    --------
    >>> rows_for([(0, 30), (20, 30), (60, 10)], 100)
    [(0, 0), (1, 20), (0, 60)]
    """
    ends: list[float] = []
    found: list[tuple[int, float] | None] = []
    for x, wide in items:
        begin = min(x, max(right - wide, 0))
        row = next((r for r, end in enumerate(ends) if end + gap <= begin), len(ends))
        if row >= most:
            found.append(None)
            continue
        if row == len(ends):
            ends.append(0.0)
        ends[row] = begin + wide
        found.append((row, begin))
    return found


def first_that_fits(options: Sequence[str], room: float, size: float) -> str:
    """The first text that has room, or nothing."""
    return next((text for text in options if text_width(text, size) <= room), "")
