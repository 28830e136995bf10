"""Printed loudness: what the marks are called and how they are ordered.

Conventions: marks from very soft to very loud are levels a step apart; what is no level
of its own (an accent such as ``sfz``) is kept out of the curve. Common practice, no source.

Contents: LEVELS, SIGNS, level_points, bar_levels.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise

from melodex.melody.marks import Bar, Dynamic

__all__ = ["LEVELS", "SIGNS", "bar_levels", "level_points"]

LEVELS = {
    "pppp": 0.0,
    "ppp": 1.0,
    "pp": 2.0,
    "p": 3.0,
    "mp": 4.0,
    "mf": 5.0,
    "f": 6.0,
    "ff": 7.0,
    "fff": 8.0,
    "ffff": 9.0,
    "fp": 3.0,
    "pf": 6.0,
    "sfp": 3.0,
    "sfpp": 2.0,
}
"""What is to be played from a mark on; after ``fp`` it is soft."""

SIGNS = frozenset(LEVELS) | {"sf", "sfz", "sffz", "fz", "rf", "rfz"}
"""Marks that are kept: levels, and accents of one note."""

HAIRPIN_STEP = 1.0
"""How far a hairpin leads that no mark ends."""


def level_points(dynamics: Sequence[Dynamic], end: int) -> list[tuple[int, float]]:
    """The curve of printed loudness as corners: place and level, in the order of time.

    A mark holds until the next sign. A hairpin leads to the mark that stands where it
    ends, or before the next bar or so is over; where none does, one level on. Before the
    first mark nothing is known.

    Parameters
    ----------
    dynamics : sequence of Dynamic
        In the order of time.
    end : int
        Where the piece ends, in ticks.
    """
    found: list[tuple[int, float]] = []
    for place, sign in enumerate(dynamics):
        if sign.sign in LEVELS:
            level = LEVELS[sign.sign]
            if found and found[-1][0] < sign.onset_ticks:
                found.append((sign.onset_ticks, found[-1][1]))
            found.append((sign.onset_ticks, level))
        elif sign.end_ticks > sign.onset_ticks and found:
            before = found[-1][1]
            found.append((max(sign.onset_ticks, found[-1][0]), before))
            found.append((sign.end_ticks, goal_of(dynamics[place + 1 :], sign, before)))
    if found and found[-1][0] < end:
        found.append((end, found[-1][1]))
    return in_order(found)


def goal_of(later: Sequence[Dynamic], hairpin: Dynamic, before: float) -> float:
    """Where a hairpin leads: to the mark at its end if that lies in its direction."""
    rises = hairpin.sign == "crescendo"
    length = hairpin.end_ticks - hairpin.onset_ticks
    for sign in later:
        if sign.onset_ticks > hairpin.end_ticks + length:
            break
        if sign.sign in LEVELS and sign.onset_ticks > hairpin.onset_ticks:
            level = LEVELS[sign.sign]
            if (level > before) is rises and level != before:
                return level
            break
    step = HAIRPIN_STEP if rises else -HAIRPIN_STEP
    return min(max(before + step, 0.0), max(LEVELS.values()))


def in_order(points: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """Corners whose places never go back."""
    found: list[tuple[int, float]] = []
    for place, level in points:
        found.append((max(place, found[-1][0]) if found else place, level))
    return found


def bar_levels(
    dynamics: Sequence[Dynamic], bars: Sequence[Bar], end: int
) -> list[float | None]:
    """The average level of each bar; None before the first mark, all None without any."""
    points = level_points(dynamics, end)
    return [
        mean_level(points, bar.onset_ticks, bar.onset_ticks + bar.duration_ticks)
        for bar in bars
    ]


def mean_level(points: Sequence[tuple[int, float]], start: int, end: int) -> float | None:
    """The average of a curve from place to place, where it is known for most of it."""
    pieces = list(shares(points, start, end))
    known = sum(length for length, _ in pieces)
    if 2 * known <= end - start:
        return None
    return sum(length * level for length, level in pieces) / known


def shares(
    points: Sequence[tuple[int, float]], start: int, end: int
) -> Iterator[tuple[int, float]]:
    """Length and average level of each straight piece of a curve inside a stretch."""
    first = max(bisect_right(points, (start, -1.0)) - 1, 0)
    for (a, low), (b, high) in pairwise(points[first:]):
        if a >= end:
            return
        left, right = max(a, start), min(b, end)
        if right > left:
            slope = (high - low) / (b - a)
            yield right - left, low + slope * ((left + right) / 2 - a)
