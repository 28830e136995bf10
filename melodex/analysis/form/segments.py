"""Whole divisions of a song into sections: likely starts and usual lengths together.

Conventions: points are log odds that a section starts at the line before a bar; bars are
counted from 0. The best division has the greatest sum of points, a little for every
section, and the log share of the length of each.

Contents: LONGEST_SECTION, best_segments, start_points, length_logs.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from melodex.analysis.form import song_weights

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["LONGEST_SECTION", "best_segments", "length_logs", "start_points"]

LONGEST_SECTION = 64
"""Bars; what is longer is as likely as this."""
START_BONUS, LENGTH_WEIGHT = 2.0, 0.5
"""Chosen on the charts that the trees were fitted on, in the same five folds: of thirty
pairs the best three come within .002 of one another, and this is the most regular."""

Node = tuple[int, float, int]


def best_segments(points: Sequence[float] | ndarray, lengths: Sequence[float]) -> list[int]:
    """Return the starts, but for the first, of the best division.

    Parameters
    ----------
    points : sequence of float, of shape (n,)
        Log odds of a start at each line; the first is not asked.
    lengths : sequence of float, of shape (LONGEST_SECTION + 1,)
        Log share of sections of so many bars.

    Returns
    -------
    list of int
        Bars from 0.
    """
    import numpy as np

    count = len(points)
    usual = LENGTH_WEIGHT * np.asarray(lengths, dtype=float)
    best, back = np.zeros(count + 1), np.zeros(count + 1, dtype=int)
    for stop in range(1, count + 1):
        first = max(0, stop - LONGEST_SECTION)
        values = best[first:stop] + usual[stop - first : 0 : -1]
        pick = int(values.argmax())
        own = points[stop] + START_BONUS if stop < count else 0.0
        best[stop], back[stop] = values[pick] + own, first + pick
    found: list[int] = []
    stop = int(back[count])
    while stop > 0:
        found.append(stop)
        stop = int(back[stop])
    return found[::-1]


def length_logs() -> list[float]:
    """Log shares of the lengths of sections in songs."""
    return [value / 1000 for value in song_weights.LENGTHS]


def start_points(features: ndarray) -> ndarray:
    """Return log odds of a start at each line, of shape (n,)."""
    import numpy as np

    total = np.full(len(features), song_weights.BASE / 1000)
    for tree in trees():
        add_answers(tree, features, total, np.arange(len(features)), 0)
    return total


@lru_cache(maxsize=1)
def trees() -> list[list[Node]]:
    """The trees as nodes: feature, threshold, steps to the no; a leaf has no feature."""
    return [[node_of(text) for text in tree.split(";")] for tree in song_weights.TREES]


def node_of(text: str) -> Node:
    """One node from its text."""
    parts = text.split()
    if len(parts) == 1:
        return -1, int(parts[0]) / 1000, 0
    return int(parts[0]), float(parts[1]), int(parts[2])


def add_answers(
    tree: list[Node], features: ndarray, total: ndarray, rows: ndarray, place: int
) -> None:
    """Add what a tree says, from one of its nodes on, to the lines that come to it."""
    feature, value, away = tree[place]
    if feature < 0:
        total[rows] += value
        return
    yes = features[rows, feature] <= value
    add_answers(tree, features, total, rows[yes], place + 1)
    add_answers(tree, features, total, rows[~yes], place + away)
