"""Metre: ticks, how strong a place in the bar is, how long a note counts.

Conventions: ticks are whole numbers, :data:`TICKS_PER_QUARTER` to the quarter.

Contents: TICKS_PER_QUARTER, Metre, beat_strength, duration_class.
"""

from __future__ import annotations

import math
from functools import lru_cache

from melodex.records import dataclass

__all__ = ["TICKS_PER_QUARTER", "Metre", "beat_strength", "duration_class"]

TICKS_PER_QUARTER = 10080
"""2^5 * 3^2 * 5 * 7: 128ths, and their groups of 3, 5, 6, 7, 9, come out whole."""

WEAKEST = 2.0**-6
"""Strength of the finest division that is told apart: six halvings of a downbeat."""
FREE_METRE_STRENGTH = 0.5
"""Strength of every note where no metre says which are strong."""
ABSENT_DURATION_CLASS = -128
"""Class of a length that is not known: the lowest number of a signed byte."""


@dataclass(frozen=True, slots=True)
class Metre:
    """A time signature.

    Parameters
    ----------
    numerator, denominator : int
        As in 6/8.
    symbol : str
        ``C`` or ``C|`` where that is what was printed, else empty.
    groups : tuple of int
        How an irregular bar is grouped in units of the denominator, where the
        source says so, such as (2, 2, 3).
    """

    numerator: int
    denominator: int
    symbol: str = ""
    groups: tuple[int, ...] = ()

    @property
    def bar_ticks(self) -> int:
        """Length of a full bar in ticks."""
        return self.numerator * 4 * TICKS_PER_QUARTER // self.denominator

    @property
    def unit_ticks(self) -> int:
        """Length of one unit of the denominator in ticks."""
        return 4 * TICKS_PER_QUARTER // self.denominator

    @property
    def is_compound(self) -> bool:
        """Whether beats divide in three: 6, 9, 12 units (common practice, no source)."""
        return self.numerator > 3 and self.numerator % 3 == 0 and not self.groups

    @property
    def kind(self) -> str:
        """``simple``, ``compound`` or ``irregular`` (five, seven ..., or stated groups)."""
        if self.groups:
            return "irregular"
        if self.is_compound:
            return "compound"
        return "simple" if self.numerator in {1, 2, 3, 4, 8} else "irregular"

    @property
    def beat_ticks(self) -> int:
        """Length of the beat: the dotted unit in compound metre, else the unit."""
        return self.unit_ticks * (3 if self.is_compound else 1)

    def __str__(self) -> str:
        top = "+".join(map(str, self.groups)) if self.groups else str(self.numerator)
        return self.symbol or f"{top}/{self.denominator}"


@lru_cache(maxsize=256)
def beat_levels(metre: Metre) -> tuple[frozenset[int], ...]:
    """Places in the bar that start a unit, from the strongest level to the weakest."""
    bar = metre.bar_ticks
    if metre.kind == "irregular":
        levels = [{0}, group_starts(metre)]
        span = metre.unit_ticks
    else:
        levels = [{0}]
        beats = bar // metre.beat_ticks
        if beats % 2 == 0 and beats > 2:
            levels.append(set(range(0, bar, bar // 2)))
        levels.append(set(range(0, bar, metre.beat_ticks)))
        span = metre.beat_ticks // (3 if metre.is_compound else 2)
    # A 32nd of a quarter is as fine as any source here is written.
    while span >= TICKS_PER_QUARTER // 8 and span and bar // span <= 512:
        levels.append(set(range(0, bar, span)))
        span //= 2
    return tuple(frozenset(level) for level in levels)


def group_starts(metre: Metre) -> set[int]:
    """Where the groups of an irregular bar begin; unstated: threes last, twos first."""
    groups = metre.groups or (*(2,) * ((metre.numerator - 3) // 2), 3)
    if sum(groups) != metre.numerator:
        groups = (metre.numerator,)
    starts, place = set(), 0
    for group in groups:
        starts.add(place * metre.unit_ticks)
        place += group
    return starts


@lru_cache(maxsize=65536)
def beat_strength(offset_ticks: int, metre: Metre | None) -> float:
    """Return how strong a place in the bar is, 1 for the downbeat, halved a level.

    Parameters
    ----------
    offset_ticks : int
        Ticks since the bar line (of a pickup: since where the bar would start).
    metre : Metre or None
        None for free metre, where every note counts one half.

    References
    ----------
    Lerdahl and Jackendoff (1983), A Generative Theory of Tonal Music, chapter
    4, for the hierarchy of beats; the halving is our convention.

    Examples
    --------
    >>> [beat_strength(i * TICKS_PER_QUARTER, Metre(4, 4)) for i in range(4)]
    [1.0, 0.25, 0.5, 0.25]
    """
    if metre is None:
        return FREE_METRE_STRENGTH
    place = offset_ticks % metre.bar_ticks
    for level, starts in enumerate(beat_levels(metre)):
        if place in starts:
            return max(0.5**level, WEAKEST)
    return WEAKEST


@lru_cache(maxsize=65536)
def duration_class(duration_ticks: int) -> int:
    """Return the class of a length: twice its binary logarithm in quarters, rounded.

    A quarter is 0, a dotted quarter 1, a half 2, an eighth -2, a triplet eighth
    -3. Neighbouring classes are a factor of about 1.4 apart.
    """
    if duration_ticks <= 0:
        return ABSENT_DURATION_CLASS
    return max(-12, min(12, round(2 * math.log2(duration_ticks / TICKS_PER_QUARTER))))
