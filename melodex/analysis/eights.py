"""Eights: the bars in which songs are counted (common practice, no source).

Contents: EIGHT, eights_inside.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

__all__ = ["EIGHT", "eights_inside"]

EIGHT = 8
"""Bars."""


def eights_inside(starts: Iterable[int], count: int) -> Iterator[int]:
    """Bars from 0 at which an eight begins inside a section of nothing but eights.

    Parameters
    ----------
    starts : iterable of int
        Where sections start, in order, but for the first.
    count : int
        Bars in all.

    Examples
    --------
    >>> list(eights_inside([16, 26], 34))
    [8]
    """
    for first, stop in pairwise([0, *starts, count]):
        if (stop - first) % EIGHT == 0:
            yield from range(first + EIGHT, stop, EIGHT)
