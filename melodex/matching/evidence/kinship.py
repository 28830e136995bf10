"""Kinship: which tunes of a whole corpus share rare figures, all pairs at once.

Conventions: a tune is its steps, one byte for each interval in semitones, downward
ones wrapped; a figure is a run of :data:`FIGURE_INTERVALS` steps, so keys play no
part. Figures of all tunes are sorted as numbers, and equal ones then lie side by
side: time grows little faster than the number of notes. Memory is bounded too: what
stands in many tunes suggests no pair, and rare figures are taken first until
:data:`MOST_PAIRS` have been suggested.

Contents: FIGURE_INTERVALS, COMMON_TUNES, SharedFigures, steps_of, all_figures,
figures_in_order, shared_figures, longest_run.
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
    "figures_in_order",
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

TUNES_AT_ONCE = 1_000
"""Whose figures are put in order together: between two, progress is told."""

Progress = Callable[[int, int], None]


def steps_of(pitch: bytes) -> bytes:
    """Steps in semitones between pitches, one byte each, downward ones wrapped."""
    return bytes((after - before) & 0xFF for before, after in pairwise(pitch))


def all_figures(steps: bytes) -> frozenset[bytes]:
    """Every run of :data:`FIGURE_INTERVALS` steps."""
    last = len(steps) - FIGURE_INTERVALS
    return frozenset({steps[at : at + FIGURE_INTERVALS] for at in range(last + 1)})


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

    figures, holders = [np.zeros(0, np.uint64)], [np.zeros(0, np.int64)]
    for first in range(0, len(tunes), TUNES_AT_ONCE):
        own, of = figures_in_order(tunes[first : first + TUNES_AT_ONCE], first)
        figures.append(own)
        holders.append(of)
        if progress is not None:
            progress(first, len(tunes))
    everyone = np.concatenate(holders)
    pairs = suggested(np.concatenate(figures), everyone, len(tunes))
    found, counts = np.unique(pairs, return_counts=True)
    sizes = np.bincount(everyone, minlength=len(tunes))
    return as_shared(*sharing_enough(found, counts, sizes, fewest), len(tunes))


def sharing_enough(
    pairs: NDArray[np.int64],
    counts: NDArray[np.int64],
    sizes: NDArray[np.int64],
    fewest: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Of pairs as first * tunes + second those that share enough, and what they share.

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

    first, second = np.divmod(pairs, max(len(sizes), 1))
    enough = counts >= np.minimum(fewest, np.minimum(sizes[first], sizes[second]))
    return pairs[enough], counts[enough]


def as_shared(
    pairs: NDArray[np.int64], counts: NDArray[np.int64], tunes: int
) -> list[SharedFigures]:
    """Pairs as first * tunes + second, and what each shares, one by one."""
    import numpy as np

    columns = *np.divmod(pairs, max(tunes, 1)), counts
    return list(map(SharedFigures, *(column.tolist() for column in columns)))


def figures_in_order(
    tunes: Sequence[bytes], first: int = 0
) -> tuple[NDArray[np.uint64], NDArray[np.int64]]:
    """The different figures of some tunes, eight steps as one number each.

    Parameters
    ----------
    tunes : sequence of bytes
        Steps of each.
    first : int
        Place of the first of them among all.

    Returns
    -------
    figures, holders : ndarray of shape (n,)
        In order of the figures, then of the places of the tunes that hold them.
    """
    import numpy as np

    joined = np.frombuffer(b"".join(tunes), np.uint8)
    if len(joined) < FIGURE_INTERVALS:
        return np.zeros(0, np.uint64), np.zeros(0, np.int64)
    rows = np.lib.stride_tricks.sliding_window_view(joined, FIGURE_INTERVALS)
    lengths = np.fromiter(map(len, tunes), np.int64, len(tunes))
    holders = np.repeat(np.arange(len(tunes)), lengths)[: len(rows)]
    # No figure goes on in the next tune.
    ends = np.cumsum(lengths)[holders]
    within = np.flatnonzero(np.arange(len(rows)) + FIGURE_INTERVALS <= ends)
    numbers: NDArray[np.uint64] = rows[within].view("<u8").ravel()
    order = np.argsort(numbers, kind="stable")
    numbers, holders = numbers[order], holders[within][order]
    is_new = np.ones(len(numbers), bool)
    is_new[1:] = (numbers[1:] != numbers[:-1]) | (holders[1:] != holders[:-1])
    return numbers[is_new], holders[is_new] + first


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
