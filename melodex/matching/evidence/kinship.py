"""Kinship: which tunes of a whole corpus share rare figures, all pairs at once.

Conventions: a tune is its steps, one byte for each interval in semitones, downward
ones wrapped; a figure is a run of :data:`FIGURE_INTERVALS` steps, so keys play no
part. Figures of all tunes are sorted as numbers, and equal ones then lie side by
side: time grows little faster than the number of notes. Memory is bounded too: what
stands in many tunes suggests no pair, and rare figures are taken first until
:data:`MOST_PAIRS` have been suggested.

Contents: FIGURE_INTERVALS, COMMON_TUNES, SharedFigures, steps_of, all_figures,
shared_figures, longest_run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.records import dataclass

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "COMMON_TUNES",
    "FIGURE_INTERVALS",
    "SharedFigures",
    "all_figures",
    "longest_run",
    "shared_figures",
    "steps_of",
]

FIGURE_INTERVALS = 8
"""Long enough that two unrelated tunes hardly share one: over a corpus of 12,733
real tunes a figure stands in 1.5 tunes on average."""

COMMON_TUNES = 64
"""A figure in more tunes than this suggests no pair."""

MOST_PAIRS = 20_000_000
"""Pairs suggested, one figure each, that are counted at most: 160 MB."""

Progress = Callable[[int, int], None]


def steps_of(pitch: bytes) -> bytes:
    """Steps in semitones between pitches, one byte each, downward ones wrapped."""
    return bytes((after - before) & 0xFF for before, after in pairwise(pitch))


def all_figures(steps: bytes) -> frozenset[bytes]:
    """Every run of :data:`FIGURE_INTERVALS` steps."""
    return frozenset(
        steps[at : at + FIGURE_INTERVALS] for at in range(len(steps) - FIGURE_INTERVALS + 1)
    )


@dataclass(frozen=True, slots=True)
class SharedFigures:
    """Two tunes that share rare figures: their places in the list, and how many."""

    first: int
    second: int
    count: int


def shared_figures(
    tunes: Sequence[bytes], *, fewest: int = 1, progress: Progress | None = None
) -> list[SharedFigures]:
    """Count the rare figures that each two tunes share.

    Parameters
    ----------
    tunes : sequence of bytes
        Steps of each.
    fewest : int
        Pairs that share fewer, and have more that they could share, are left out.
    progress : callable, optional
        Called with the number of tunes done and of all.

    Returns
    -------
    list of SharedFigures
        In order of the two places.

    Examples
    --------
    >>> row = bytes([2, 2, 1, 2, 2, 2, 1, 3, 4])
    >>> shared_figures([row, b"", bytes([5]) + row])
    [SharedFigures(first=0, second=2, count=2)]
    """
    import numpy as np

    sizes = np.zeros(len(tunes), np.int64)
    figures, holders = [], []
    for place, steps in enumerate(tunes):
        own = figures_of(steps)
        sizes[place] = len(own)
        figures.append(own)
        holders.append(np.full(len(own), place, np.int64))
        if progress is not None and place % 1000 == 0:
            progress(place, len(tunes))
    if not sizes.any():
        return []
    pairs = suggested(np.concatenate(figures), np.concatenate(holders), len(tunes))
    found, counts = np.unique(pairs, return_counts=True)
    return shared_among(found, counts, sizes, fewest)


def shared_among(
    pairs: NDArray[np.int64],
    counts: NDArray[np.int64],
    sizes: NDArray[np.int64],
    fewest: int,
) -> list[SharedFigures]:
    """Of pairs as first * tunes + second, in order, those that share enough.

    Parameters
    ----------
    pairs, counts : ndarray of shape (n,)
        Each pair once, and the figures that both have.
    sizes : ndarray of shape (tunes,)
        Different figures of each tune.
    fewest : int
        Pairs that share fewer, and have more that they could share, are left out.
    """
    import numpy as np

    first, second = np.divmod(pairs, len(sizes))
    enough = counts >= np.minimum(fewest, np.minimum(sizes[first], sizes[second]))
    columns = (column[enough].tolist() for column in (first, second, counts))
    return [SharedFigures(*row) for row in zip(*columns, strict=True)]


def figures_of(steps: bytes) -> NDArray[np.uint64]:
    """The different figures of a tune, eight steps as one number each."""
    import numpy as np

    if len(steps) < FIGURE_INTERVALS:
        return np.zeros(0, np.uint64)
    rows = np.lib.stride_tricks.sliding_window_view(
        np.frombuffer(steps, np.uint8), FIGURE_INTERVALS
    )
    numbers: NDArray[np.uint64] = np.ascontiguousarray(rows).view("<u8").ravel()
    return np.unique(numbers)


def suggested(
    figures: NDArray[np.uint64], holders: NDArray[np.int64], tunes: int
) -> NDArray[np.int64]:
    """Pairs as first * tunes + second, one for each rare figure that both hold."""
    import numpy as np

    found = numbered_pairs(figures, holders, tunes, MOST_PAIRS)
    return np.concatenate([np.zeros(0, np.int64), *(pairs for *_, pairs in found)])


def numbered_pairs(
    figures: NDArray[np.uint64], holders: NDArray[np.int64], tunes: int, room: int
) -> Iterator[tuple[int, int, NDArray[np.int64]]]:
    """The pairs of the rarest figures first, for as long as there is room.

    Yields
    ------
    size, count, pairs
        So many figures that so many tunes hold, and their pairs, figure by figure.
    """
    import numpy as np

    if not len(figures):
        return
    order = np.argsort(figures, kind="stable")
    figures, holders = figures[order], holders[order]
    starts = np.flatnonzero(np.r_[True, figures[1:] != figures[:-1]])
    sizes = np.diff(np.r_[starts, len(figures)])
    for size in range(2, COMMON_TUNES + 1):
        first, second = np.triu_indices(size, 1)
        here = starts[sizes == size][: max(room // len(first), 0)]
        if not len(here):
            continue
        group = holders[here[:, None] + np.arange(size)]
        room -= len(first) * len(here)
        yield size, len(here), (group[:, first] * tunes + group[:, second]).ravel()


def longest_run(one: bytes, other: bytes) -> tuple[int, int, int]:
    """Find the longest run of steps that two tunes share.

    Returns
    -------
    first, second, steps : int
        Where it begins in each, and its length; the first such run of the first tune.

    Examples
    --------
    >>> longest_run(bytes([9, 2, 2, 1, 9]), bytes([2, 2, 1, 2]))
    (1, 0, 3)
    """

    def shared(length: int) -> set[bytes]:
        return runs(one, length) & runs(other, length)

    # A run of so many steps holds runs of all lesser lengths: halve the doubt.
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if shared(middle) else (low, middle - 1)
    if not low:
        return 0, 0, 0
    first = min(one.index(run) for run in shared(low))
    return first, other.index(one[first : first + low]), low


def runs(steps: bytes, length: int) -> set[bytes]:
    """Every run of so many steps."""
    return {steps[at : at + length] for at in range(len(steps) - length + 1)}
