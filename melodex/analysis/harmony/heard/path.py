"""The row of chords with the most points, found exactly.

Conventions: a state is a root and a kind, in this order; roots lie on the line of fifths,
so that the neighbour above a root is the one that falls a fifth to it, and five places
above stands its leading tone.

References
----------
Viterbi (1967), IEEE Transactions on Information Theory 13.

Contents: Ways, best_row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["Ways", "best_row"]

UP_A_HALF_STEP = 5
"""From a root to the leading tone under it, in fifths."""


@dataclass(frozen=True, slots=True)
class Ways:
    """Points given back for how one comes to a chord, and which kinds have a leading tone.

    Parameters
    ----------
    falling : float
        The root falls by a fifth.
    same : float
        The root stays, and another kind comes.
    leading : float
        The root of a chord of ``leaders`` goes up a half step.
    leaders : tuple of int
        Places of these kinds.
    """

    falling: float
    same: float
    leading: float
    leaders: tuple[int, ...]


def best_row(own: ndarray, entering: ndarray, into: ndarray, ways: Ways) -> list[int]:
    """The states with the most points in all, one for each slice.

    Parameters
    ----------
    own : ndarray of shape (slices, roots, kinds)
        Points of each chord in each slice.
    entering : ndarray of shape (roots, kinds)
        Those for beginning with it.
    into : ndarray of shape (slices, roots, kinds)
        Those for coming to it in each slice.
    ways : Ways
    """
    import numpy as np

    slices, roots, _ = own.shape
    scores, best = np.empty_like(own), np.empty((slices, roots))
    scores[0] = own[0] + entering
    came, other = np.empty(roots), np.empty(roots)
    some, *others = ways.leaders
    led, low = np.empty(roots - UP_A_HALF_STEP), came[:-UP_A_HALF_STEP]
    for place in range(1, slices):
        before, row = scores[place - 1], best[place - 1]
        np.maximum.reduce(before, axis=1, out=row)
        came.fill(row.max())
        np.add(row, ways.falling, out=other)
        np.maximum(came[:-1], other[1:], out=came[:-1])
        np.add(row, ways.same, out=other)
        np.maximum(came, other, out=came)
        leading = before[UP_A_HALF_STEP:]
        led[:] = leading[:, some]
        for kind in others:
            np.maximum(led, leading[:, kind], out=led)
        led += ways.leading
        np.maximum(low, led, out=low)
        scores[place] = np.maximum(before, into[place] + came[:, None]) + own[place]
    return traced(scores, best, into, ways)


def traced(scores: ndarray, best: ndarray, into: ndarray, ways: Ways) -> list[int]:
    """The states that led to the most points in the end.

    ``scores`` of each chord up to each slice, the ``best`` of each root, and what it costs
    to go ``into`` a chord.
    """
    kinds = scores.shape[2]
    state = int(scores[-1].argmax())
    path = [state]
    for place in range(len(scores) - 1, 0, -1):
        root, kind = divmod(state, kinds)
        before = scores[place - 1]
        came, source = source_of(before, best[place - 1], root, ways)
        if before[root, kind] < into[place, root, kind] + came:
            state = source
        path.append(state)
    return path[::-1]


def source_of(before: ndarray, best: ndarray, root: int, ways: Ways) -> tuple[float, int]:
    """From which state one comes to a root, and with how many points."""
    kinds = before.shape[1]
    points = best.tolist()
    most = max(points)
    source = points.index(most)
    if root + 1 < len(points) and points[root + 1] + ways.falling > most:
        most, source = points[root + 1] + ways.falling, root + 1
    if points[root] + ways.same > most:
        most, source = points[root] + ways.same, root
    under = root + UP_A_HALF_STEP
    if under < len(points):
        of_kinds = before[under].tolist()
        leader = max(ways.leaders, key=of_kinds.__getitem__)
        if of_kinds[leader] + ways.leading > most:
            return of_kinds[leader] + ways.leading, under * kinds + leader
    return most, source * kinds + int(before[source].argmax())
