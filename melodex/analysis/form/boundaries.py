"""Bar lines at which a section may start, and what stands around each.

Conventions: the lines are those between the bars of one stretch, counted from 1, the
line before bar 1 (from 0). What is asked of each is in :data:`BOUNDARY_FEATURES`, in
the order of ``form_weights.BOUNDARY_WEIGHTS``. Every pair of bars is compared once, in
one product of matrices.

Contents: BOUNDARY_FEATURES, best_division, boundary_features.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.form.bars import FormBar
from melodex.analysis.form.weights import BOUNDARY_WEIGHTS

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["BOUNDARY_FEATURES", "best_division", "boundary_features"]

USUAL_LENGTHS = (4, 8, 12, 16)
COLUMNS_AT_ONCE = 4096
"""Different notes compared at once, so that a full bar takes no more memory."""

BOUNDARY_FEATURES = (
    *("last bars alike", "2nd last alike", "3rd last alike", "4th last alike"),
    *("last downbeat as the end", "longest note", "few notes", "longest as the end"),
    *("new start as the start", "phrase after returns", "half phrase after returns"),
    *("bar before as after", "start returns before", "second bar returns before"),
    *("2nd last repeats", "last repeats", "first half parallel", "second half parallel"),
    *("register changes", "after 2 bars", "after 4", "after 8", "4 left", "8 left"),
    *("in the middle", "usual first length", "usual second length", "first is shorter"),
    *("imbalance", "eight bars", "eight bars left", "fewer notes than before"),
)
"""What is asked of each bar line, in the order of the weights."""


def best_division(bars: Sequence[FormBar]) -> int:
    """Return the bar, from 0, at which a stretch of at least two bars best divides."""
    return 1 + int((boundary_features(bars) @ BOUNDARY_WEIGHTS).argmax())


def boundary_features(bars: Sequence[FormBar]) -> ndarray:
    """Return the features of every inner bar line, of shape (n - 1, features)."""
    import numpy as np

    total = len(bars)
    counts = np.array([len(bar.notes) for bar in bars], dtype=float)
    alike = likenesses(bars)[pairs_compared(total)]
    columns = [
        *alike[:4],
        *ending_columns(bars, counts),
        *alike[4:12],
        (alike[12] + alike[13]) / 2,
        (alike[14] + alike[15]) / 2,
        register_changes(bars, counts),
    ]
    fewer = np.zeros(total - 1)
    fewer[1:] = counts[1:-1] < counts[:-2]
    return np.column_stack([*columns, length_columns(total), fewer])


def likenesses(bars: Sequence[FormBar]) -> ndarray:
    """Likeness of every two different bars, of shape (n + 1, n + 1), edges 0."""
    import numpy as np

    total = len(bars)
    numbers: dict[tuple[int, int], int] = {}
    places = [
        (row, numbers.setdefault(note, len(numbers)))
        for row, bar in enumerate(bars)
        for note in bar.content
    ]
    found = np.zeros((total + 1, total + 1))
    rows, columns = np.array(places or [(0, 0)]).T
    for first in range(0, len(numbers), COLUMNS_AT_ONCE):
        inside = (columns >= first) & (columns < first + COLUMNS_AT_ONCE)
        held = np.zeros((total, min(COLUMNS_AT_ONCE, len(numbers) - first)))
        held[rows[inside], columns[inside] - first] = 1.0
        found[:-1, :-1] += held @ held.T
    sizes = np.maximum(np.array([len(bar.content) for bar in bars]), 1)
    found[:-1, :-1] /= np.maximum(sizes[:, None], sizes)
    np.fill_diagonal(found, 0.0)
    return found


@lru_cache(maxsize=256)
def pairs_compared(total: int) -> tuple[ndarray, ndarray]:
    """The two bars of each comparison, of shape (16, n - 1); ``n`` where one is none."""
    import numpy as np

    k = np.arange(1, total)
    rest = total - k
    nothing = np.full(total - 1, total)
    first_half = np.where(k % 2 == 0, k // 2, total)
    second_half = np.where(rest % 2 == 0, (k + total) // 2, total)
    pairs = [
        *((k - back, nothing - back) for back in (1, 2, 3, 4)),
        *((k, 0 * k), (k, k + 4), (k, k + 2), (k - 1, k)),
        *((k - 4, 0 * k), (k - 3, 0 * k + 1), (k - 2, k - 6), (k - 1, k - 5)),
        *((0 * k, first_half), (0 * k + 1, first_half + 1)),
        *((k, second_half), (k + 1, second_half + 1)),
    ]
    one, other = (np.array(side) for side in zip(*pairs, strict=True))
    outside = (one < 0) | (other < 0) | (one >= total) | (other >= total)
    return np.where(outside, total, one), np.where(outside, total, other)


def ending_columns(bars: Sequence[FormBar], counts: ndarray) -> list[ndarray]:
    """What of an ending the bar before each line has."""
    import numpy as np

    full = max(1, min(b.onset_ticks - a.onset_ticks for a, b in pairwise(bars)))
    usual = counts.mean() or 1.0
    close = bars[-1].notes[-1][1] % 12 if bars[-1].notes else -1
    rows = [ending_of(bar, close) for bar in bars[:-1]]
    on_close, longest, alike = np.array(rows).T
    return [on_close, longest / full, counts[:-1] / usual, alike]


def ending_of(bar: FormBar, close: int) -> tuple[float, float, float]:
    """Whether a bar starts with the last note of all; its longest note; is that it."""
    if not bar.notes:
        return 0.0, 0.0, 0.0
    longest = max(ticks for _, _, ticks in bar.notes)
    of_longest = next(midi for _, midi, ticks in bar.notes if ticks == longest)
    downbeat = next((midi for offset, midi, _ in bar.notes if offset == 0), None)
    starts_alike = downbeat is not None and downbeat % 12 == close
    return float(starts_alike), float(longest), float(of_longest % 12 == close)


def register_changes(bars: Sequence[FormBar], counts: ndarray) -> ndarray:
    """How far apart, in octaves, the four bars before and after each line lie."""
    import numpy as np

    total = len(bars)
    sums = np.array([sum(midi for _, midi, _ in bar.notes) for bar in bars], dtype=float)
    heights = np.append(0.0, np.cumsum(sums / np.maximum(counts, 1.0)))
    k = np.arange(1, total)
    before, after = np.maximum(k - 4, 0), np.minimum(k + 4, total)
    later = (heights[after] - heights[k]) / (after - k)
    earlier = (heights[k] - heights[before]) / (k - before)
    changes: ndarray = np.abs(later - earlier) / 12
    return changes


@lru_cache(maxsize=256)
def length_columns(total: int) -> ndarray:
    """How usual the two lengths are that each line leaves, of shape (n - 1, 12)."""
    import numpy as np

    k = np.arange(1, total)
    rest = total - k
    return np.column_stack(
        [
            *(k % length == 0 for length in (2, 4, 8)),
            *(rest % length == 0 for length in (4, 8)),
            2 * k == total,
            np.isin(k, USUAL_LENGTHS),
            np.isin(rest, USUAL_LENGTHS),
            2 * k < total,
            np.abs(np.log(k / rest)),
            k == 8,
            rest == 8,
        ]
    )
