"""Neighbors: for each tune of a corpus those that share most figures, by their rarity.

Conventions: a figure is :data:`FIGURE_STEPS` steps in a row, in semitones, so keys play no
part. Tunes are compared by cosine, each figure weighing by its rarity (Sparck Jones 1972,
J. Documentation 28, 11-21; Salton and Buckley 1988, Information Processing and Management
24, 513-523); how often a figure returns within a tune does not matter. What stands in more
than :data:`COMMON_TUNES` tunes brings no two together. One tune is worked out at a time, so
memory grows with the notes and not with the pairs.

Contents: FIGURE_STEPS, COMMON_TUNES, Neighbors.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.errors import SettingsError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["COMMON_TUNES", "FIGURE_STEPS", "Neighbors"]

FIGURE_STEPS = 5
"""Of pairs that were read as kin (``benchmarks/retrieval/judged/readings.json``) 90 % are
among the twenty nearest of one of the two by 5 steps, 84 % by 4 and 88 % by 6; with
repeated notes taken as one, besides, 95 %."""

COMMON_TUNES = 300
"""A figure in more tunes brings none together; it would weigh little."""


class Neighbors:
    """The nearest tunes of each tune of a list.

    Parameters
    ----------
    tunes : sequence of bytes
        Steps of each, one byte a step, downward ones wrapped.

    Examples
    --------
    >>> row = bytes([2, 2, 1, 2, 2, 2, 1])
    >>> near = Neighbors([row, row[:6], bytes([5, 5, 5, 5, 5, 5]), row])
    >>> near.of(0, 2)
    [3, 1]
    """

    def __init__(self, tunes: Sequence[bytes]) -> None:
        import numpy as np

        self.count = len(tunes)
        if self.count >= 1 << 31:
            raise SettingsError("so many tunes cannot be compared at once")
        own = [figures_of(steps) for steps in tunes]
        self.starts = np.zeros(self.count + 1, np.int64)
        np.cumsum([len(row) for row in own], out=self.starts[1:])
        figures = np.concatenate([*own, np.zeros(0, np.uint64)])
        _, self.figure, spread = np.unique(figures, return_inverse=True, return_counts=True)
        # Not of all tunes, so that what all of few tunes have still weighs something.
        self.rarity = np.log((self.count + 1) / spread) ** 2
        self.size = (
            np.sqrt(
                np.add.reduceat(np.append(self.rarity[self.figure], 0.0), self.starts[:-1])
                * (np.diff(self.starts) > 0)
            )
            if self.count
            else np.zeros(0)
        )
        holders = np.repeat(np.arange(self.count, dtype=np.int32), np.diff(self.starts))
        self.holders = holders[np.argsort(self.figure, kind="stable")]
        self.first = np.zeros(len(spread) + 1, np.int64)
        np.cumsum(spread, out=self.first[1:])
        self.telling = (spread > 1) & (spread <= COMMON_TUNES)

    def of(self, place: int, most: int) -> list[int]:
        """Places of the nearest tunes, the nearest first, equal ones by place."""
        import numpy as np

        figures = self.figure[self.starts[place] : self.starts[place + 1]]
        figures = figures[self.telling[figures]]
        if not len(figures):
            return []
        rows = [self.holders[self.first[f] : self.first[f + 1]] for f in figures]
        sizes = [len(row) for row in rows]
        others, back = np.unique(np.concatenate(rows), return_inverse=True)
        shared = np.bincount(back, np.repeat(self.rarity[figures], sizes))
        alike = np.where(others == place, 0, shared / self.size[others])
        # Rounded, so that all machines agree on ties.
        order = np.lexsort((others, -alike.round(9)))[:most]
        return [int(n) for n in others[order] if n != place]


def figures_of(steps: bytes) -> NDArray[np.uint64]:
    """The different figures of a tune, the steps of each as one number."""
    import numpy as np

    if len(steps) < FIGURE_STEPS:
        return np.zeros(0, np.uint64)
    rows = np.lib.stride_tricks.sliding_window_view(
        np.frombuffer(steps, np.uint8), FIGURE_STEPS
    )
    numbers = rows.astype(np.uint64) @ (256 ** np.arange(FIGURE_STEPS)).astype(np.uint64)
    found: NDArray[np.uint64] = np.unique(numbers)
    return found
