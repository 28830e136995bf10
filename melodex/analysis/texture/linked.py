"""Two things that go together in a piece: where the tune is doubled the chords are rich.

Conventions: something that some bars have and others have not (the tune doubled, alone,
all lines in one rhythm) is laid beside something that every bar has more or less of (rich
chords, chords a bar, loudness). It is told only where the difference is large and where it
would be as large in hardly any other place: the bars that have it are shifted through
the piece, all together, and their difference must be among the few greatest.

References
----------
Shifting a series around a circle keeps its runs: Besag and Clifford (1989), Biometrika 76,
on Monte Carlo tests, for the rank; the shift itself is common practice, no source.

Contents: Link, links.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, quantiles

from melodex.analysis.texture.bars import BarTexture

__all__ = ["Link", "links"]

FEWEST_BARS = 16
"""Of a piece of which such a thing is said."""
FEWEST_WITH = 4
"""Bars that have it, and bars that have not."""
MOST_BY_CHANCE = 0.05
"""Share of shifts that may reach the same difference."""
LEAST_SHARE, LEAST_TIMES = 0.25, 1.6
"""The least difference of shares, and how many times as many chords."""
LEAST_LEVEL = 1.0
"""The least difference of printed loudness, in levels from p to f."""
ALL_TOGETHER = 0.9
"""Share of the starts in a bar that voices have in common."""


@dataclass(frozen=True, slots=True)
class Link:
    """Two things that go together.

    Parameters
    ----------
    what : str
        What the bars have: ``doubled``, ``alone``, ``together`` or ``full``.
    measure : str
        What is more or less there: ``rich``, ``chords`` or ``loudness``.
    bars : tuple of (int, int)
        First and last printed number of each stretch that has it.
    here, elsewhere : float
        The average of the measure in these bars and in the others.
    """

    what: str
    measure: str
    bars: tuple[tuple[int, int], ...]
    here: float
    elsewhere: float


def links(
    bars: Sequence[BarTexture], levels: Sequence[float | None] = ()
) -> tuple[Link, ...]:
    """Everything that goes together in a piece.

    Parameters
    ----------
    bars : sequence of BarTexture
    levels : sequence of float or None
        Printed loudness of each bar, None where nothing is printed yet; or empty.
    """
    if len(bars) < FEWEST_BARS:
        return ()
    measures: dict[str, Sequence[float | None]] = {
        "rich": [bar.rich for bar in bars],
        "chords": [float(bar.chords) for bar in bars],
        "loudness": levels if len(levels) == len(bars) else (),
    }
    found = []
    for what, has in things(bars).items():
        for measure, values in measures.items():
            if values and (link := linked(bars, what, has, measure, values)):
                found.append(link)
    return tuple(found)


def things(bars: Sequence[BarTexture]) -> dict[str, list[bool]]:
    """What bars have or have not."""
    top = quantiles([bar.voices for bar in bars], n=4)[2]
    middle = quantiles([bar.voices for bar in bars], n=2)[0]
    full = [top > middle + 0.5 and bar.voices >= top for bar in bars]
    return {
        "doubled": [bool(bar.doubled) for bar in bars],
        "alone": [bar.alone for bar in bars],
        "together": [(bar.together or 0) >= ALL_TOGETHER for bar in bars],
        "full": full,
    }


def linked(
    bars: Sequence[BarTexture],
    what: str,
    has: Sequence[bool],
    measure: str,
    values: Sequence[float | None],
) -> Link | None:
    """The link of one thing with one measure, if there is one."""
    counted = [place for place, value in enumerate(values) if value is not None]
    apart = difference(has, values, counted)
    if apart is None or not is_large(measure, *apart):
        return None
    there = apart[0] - apart[1]
    reached = 0
    for shift in range(1, len(has)):
        moved = [*has[shift:], *has[:shift]]
        other = difference(moved, values, counted)
        reached += other is not None and abs(other[0] - other[1]) >= abs(there) - 1e-9
    if reached > MOST_BY_CHANCE * (len(has) - 1):
        return None
    return Link(what, measure, tuple(runs(bars, has)), *apart)


def difference(
    has: Sequence[bool], values: Sequence[float | None], counted: Sequence[int]
) -> tuple[float, float] | None:
    """The averages with and without, None where there are too few of either."""
    inside = [value for p in counted if has[p] and (value := values[p]) is not None]
    outside = [value for p in counted if not has[p] and (value := values[p]) is not None]
    if min(len(inside), len(outside)) < FEWEST_WITH:
        return None
    return fmean(inside), fmean(outside)


def is_large(measure: str, here: float, elsewhere: float) -> bool:
    """Whether a difference is worth telling."""
    if measure == "rich":
        return abs(here - elsewhere) >= LEAST_SHARE
    if measure == "loudness":
        return abs(here - elsewhere) >= LEAST_LEVEL
    low, high = sorted((here, elsewhere))
    return high >= LEAST_TIMES * max(low, 0.5)


def runs(bars: Sequence[BarTexture], has: Sequence[bool]) -> list[tuple[int, int]]:
    """First and last printed number of each stretch of bars that have something."""
    found: list[tuple[int, int]] = []
    for place, bar in enumerate(bars):
        if not has[place]:
            continue
        if place and has[place - 1] and found:
            found[-1] = (found[-1][0], bar.number)
        else:
            found.append((bar.number, bar.number))
    return found
