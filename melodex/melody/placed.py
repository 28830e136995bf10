"""Records that hold from a place on: found by halving, however many there are.

Conventions: records have an ``onset_ticks`` and come in its order.

Contents: onset_of, held_at, from_here, within, between.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from operator import attrgetter, itemgetter
from typing import Any, TypeVar

__all__ = ["between", "from_here", "held_at", "onset_of", "within"]

Placed = TypeVar("Placed")

onset_of = attrgetter("onset_ticks")
"""Where a record begins."""


def held_at(changes: Sequence[Any], onset_ticks: int) -> Any:
    """The last change at or before a place; the first one before it starts."""
    if len(changes) < 2:
        # Most tunes have one key and one metre, and this is asked for every note.
        return changes[0] if changes else None
    place = bisect_right(changes, onset_ticks, key=onset_of)
    return changes[max(place - 1, 0)]


def from_here(changes: tuple[Any, ...], start: int, end: int) -> tuple[Any, ...]:
    """The change that holds at a start, and those that follow before an end."""
    if not changes:
        return ()
    first = max(bisect_right(changes, start, key=onset_of) - 1, 0)
    return changes[first : max(bisect_left(changes, end, key=onset_of), first + 1)]


def within(records: Sequence[Placed], low: int, high: int) -> Sequence[Placed]:
    """Those of some records that begin at ``low`` or after it, and before ``high``."""
    first = bisect_left(records, low, key=onset_of)
    return records[first : bisect_left(records, high, lo=first, key=onset_of)]


def between(
    pairs: Sequence[tuple[int, Placed]], low: int, high: int
) -> Sequence[tuple[int, Placed]]:
    """As :func:`within`, of pairs of an onset and what stands there."""
    first = bisect_left(pairs, low, key=itemgetter(0))
    return pairs[first : bisect_left(pairs, high, lo=first, key=itemgetter(0))]
