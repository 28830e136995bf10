"""Bar lines of a song at which a section may start, from its chords.

Conventions: the lines are those before each bar, counted from 0. Two bars are alike 1
where their chords are, else by the roots that they share. What is asked of each line is
in :data:`LINE_FEATURES`, in the order that ``song_weights`` counts them in. The tonic is
not known here: the root that sounds longest, with a word for the first and the last,
stands in for it, so that the form of a piece can be asked before its key.

A long piece is asked in windows of :data:`WINDOW_BARS`, so that time grows with its
length and memory does not.

References
----------
Foote (2000), "Automatic audio segmentation using a measure of audio novelty": the
checkerboard. Paulus, Müller and Klapuri (2010), "Audio-based music structure analysis":
repetition, homogeneity and novelty as grounds. The features are ours.

Contents: LINE_FEATURES, line_features, windows, mean_along.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from melodex.analysis.form.bars import FormBar

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["LINE_FEATURES", "WINDOW_BARS", "line_features", "mean_along", "windows"]

WINDOW_BARS, WINDOW_STEP = 512, 384
"""Bars compared with one another, and how far the next window lies."""
SHARED_ROOTS = 0.6
"""Likeness of two bars of other chords over the same roots."""
CLASSES = {
    "minor": "m",
    "dominant": "7",
    "half-diminished": "o",
    "diminished": "o",
    "augmented": "+",
    "suspended": "s",
}
"""Families of chords as they are told apart here; major and power chords are one."""
EDGE_SHARE = 0.15
"""Part of the piece that its first and its last root count more, as the tonic."""
LONGEST_RUN = 24
"""Bars of likeness in a row that are told apart; longer runs count as this many."""
WIDTHS = (4, 8)
"""Bars of the stretches that are compared."""
BACKS = ((4, (4, 8, 12, 16)), (8, (8, 12, 16)))
"""For each width the bars back at which it is looked for: songs come round in fours."""
NOVELTIES = (2, 4, 8, 16)
"""Bars on either side over which novelty is measured."""
NEAR = (-4, -2, -1, 1, 2, 4)
"""Bars away whose own features are looked at too."""
NEAR_FEATURES = ("longest start", "novelty 4", "novelty 8", "longest end", "across")

OWN_FEATURES = (
    *("longest start", "starts", "starts of 4", "starts of 8", "farther start"),
    *("longest end", "ends", "ends of 4", "ends of 8", "farther end"),
    *("across", "times across"),
    *("like 4", "like 4 from here", "like 8", "like 8 from here"),
    *(f"{width} as {back} before" for width, backs in BACKS for back in backs),
    *(f"novelty {width}" for width in NOVELTIES),
    *(f"bar as {back} before" for back in (1, 2, 4, 8)),
    *("bar as the first", "next as this", "times", "times of the last"),
    *("from start", "to end", "share", "bars", "no chord", "no chord before"),
    *(f"first root {d} above tonic" for d in (0, 5, 7, 9, 2)),
    *(f"last root {d} above tonic" for d in (0, 7, 5, 2)),
    *(f"root moves {d}" for d in (0, 5, 7, 10)),
    *("minor", "dominant before", "chords", "chords before", "last held", "held"),
    *("length changes", "changes after", "changed before"),
)
LINE_FEATURES = (
    *OWN_FEATURES,
    *(f"{name} at {place:+d}" for place in NEAR for name in NEAR_FEATURES),
)
"""What is asked of each line, in the order of the trees."""

Chords = tuple[tuple[int, int, str], ...]


def line_features(bars: Sequence[FormBar]) -> ndarray:
    """Return the features of the line before every bar, of shape (n, features)."""
    import numpy as np

    found = np.empty((len(bars), len(LINE_FEATURES)))
    for first, skipped, stop in windows(len(bars)):
        inside = with_neighbours(Lines(bars[first:stop]).columns())
        found[first + skipped : stop] = inside[skipped:]
    return found


def windows(count: int) -> Iterator[tuple[int, int, int]]:
    """First bar, bars that the window before knows better, and end of each window."""
    for first in range(0, max(1, count - WINDOW_BARS + WINDOW_STEP), WINDOW_STEP):
        skipped = (WINDOW_BARS - WINDOW_STEP) // 2 if first else 0
        yield first, skipped, min(first + WINDOW_BARS, count)


def with_neighbours(own: ndarray) -> ndarray:
    """The columns of each line, and some of those of the lines around it."""
    import numpy as np

    columns = [OWN_FEATURES.index(name) for name in NEAR_FEATURES]
    parts = [own]
    for place in NEAR:
        shifted = np.zeros((len(own), len(columns)))
        if abs(place) < len(own):
            to = slice(0, -place) if place > 0 else slice(-place, None)
            start = slice(place, None) if place > 0 else slice(0, place)
            shifted[to] = own[start][:, columns]
        parts.append(shifted)
    return np.hstack(parts)


def chords_of(bar: FormBar) -> Chords:
    """The chords of a bar in order, each where it changes."""
    found: list[tuple[int, int, str]] = []
    for offset, root, family in sorted(bar.chords):
        kind = CLASSES.get(family, "M")
        if root >= 0 and (not found or found[-1][1:] != (root, kind)):
            found.append((offset, root, kind))
    return tuple(found)


@dataclass
class Lines:
    """What is asked of the bars of one window."""

    bars: Sequence[FormBar]

    def __post_init__(self) -> None:
        import numpy as np

        self.chords = [chords_of(bar) for bar in self.bars]
        numbers: dict[Chords, int] = {}
        self.code = np.array([numbers.setdefault(c, len(numbers)) for c in self.chords])
        self.count = len(self.bars)
        self.place = np.arange(self.count)
        self.silent = np.array([not c for c in self.chords], dtype=float)

    @cached_property
    def like(self) -> ndarray:
        """Likeness of every two bars, of shape (n, n)."""
        import numpy as np

        roots = np.zeros((self.count, 12))
        for row, chords in enumerate(self.chords):
            roots[row, [root for _, root, _ in chords]] = 1
        shared = roots @ roots.T
        sizes = roots.sum(axis=1)
        either = np.maximum(sizes[:, None] + sizes - shared, 1)
        same = self.code[:, None] == self.code
        found = np.where(same, 1.0, SHARED_ROOTS * shared / either)
        weight = 1 - self.silent / 2
        like: ndarray = found * weight[:, None] * weight
        return like

    def columns(self) -> ndarray:
        """The features of each line by itself, of shape (n, features)."""
        import numpy as np

        parts = [
            *self.run_columns(),
            *self.width_columns(),
            *(self.novelty(width) for width in NOVELTIES),
            *self.bar_columns(),
            *self.harmony_columns(),
            *self.length_columns(),
        ]
        return np.column_stack([np.asarray(part, dtype=float) for part in parts])

    def run_columns(self) -> list[ndarray]:
        """Runs of equal bars that start at a line, end at it, and go across it."""
        import numpy as np

        n = self.count
        same = self.code[:, None] == self.code
        np.fill_diagonal(same, False)
        after = np.zeros((n + 1, n + 1), dtype=np.int32)
        before = np.zeros((n + 1, n + 1), dtype=np.int32)
        for row in range(n):
            before[row + 1, 1:] = np.where(same[row], before[row, :n] + 1, 0)
            back = n - 1 - row
            after[back, :n] = np.where(same[back], after[back + 1, 1:] + 1, 0)
        after, before = after[:n, :n], before[:n, :n]
        across = np.minimum(after, before)
        apart = np.abs(self.place[:, None] - self.place)
        return [
            *runs_at(np.where(before == 0, after, 0), apart),
            *runs_at(np.where(after == 0, before, 0), apart),
            np.minimum(across.max(axis=1), 16),
            np.log1p((across >= 2).sum(axis=1)),
        ]

    def width_columns(self) -> list[ndarray]:
        """How like the next four and eight bars are to others, near and far."""
        import numpy as np

        n, like = self.count, self.like
        apart = np.abs(self.place[:, None] - self.place)
        before = np.zeros((n, n))
        before[1:, 1:] = like[:-1, :-1]
        means = {}
        best = []
        for width in WIDTHS:
            means[width] = mean_along(like, width)
            np.fill_diagonal(means[width], 0)
            far = np.where(apart >= width, means[width], 0)
            best += [far.max(axis=1), np.where(before < 0.5, far, 0).max(axis=1)]
        for width, backs in BACKS:
            best += [self.back(means[width], back) for back in backs]
        return best

    def back(self, table: ndarray, bars: int) -> ndarray:
        """The value of each bar with the one so many bars before it; 0 without one."""
        import numpy as np

        column = np.zeros(self.count)
        if bars < self.count:
            column[bars:] = np.diagonal(table, -bars)
        return column

    def novelty(self, width: int) -> ndarray:
        """How alike each side of a line is in itself, less how like the other side."""
        import numpy as np

        n = self.count
        sums = np.zeros((n + 1, n + 1))
        sums[1:, 1:] = self.like.cumsum(axis=0).cumsum(axis=1)
        line = self.place
        low, high = np.maximum(line - width, 0), np.minimum(line + width, n)

        def mean(top: ndarray, end: ndarray, left: ndarray, right: ndarray) -> ndarray:
            held = sums[end, right] - sums[top, right] - sums[end, left] + sums[top, left]
            means: ndarray = held / np.maximum((end - top) * (right - left), 1)
            return means

        inside = (mean(low, line, low, line) + mean(line, high, line, high)) / 2
        found: ndarray = inside - mean(low, line, line, high)
        found[0] = 0
        return found

    def bar_columns(self) -> list[ndarray]:
        """How each bar is like those before it, and where it stands."""
        import numpy as np

        n, like = self.count, self.like
        times = np.log(np.bincount(self.code)[self.code])
        return [
            *(self.back(like, back) for back in (1, 2, 4, 8)),
            like[0],
            np.append(np.diagonal(like, 1), 0.0),
            times,
            later(times),
            np.minimum(self.place, 64),
            np.minimum(n - self.place, 64),
            self.place / n,
            np.full(n, math.log(n)),
            self.silent,
            later(self.silent),
        ]

    def harmony_columns(self) -> list[ndarray]:
        """Roots above the tonic on both sides of a line, and how chords lie in the bars."""
        import numpy as np

        tonic = self.tonic()
        first = np.array([c[0][1] if c else -1 for c in self.chords])
        last = np.append(-1, [c[-1][1] if c else -1 for c in self.chords[:-1]])
        kinds = [c[0][2] if c else "" for c in self.chords]
        kinds_before = ["", *(c[-1][2] if c else "" for c in self.chords[:-1])]
        above = np.where(first >= 0, (first - tonic) % 12, -1)
        above_before = np.where(last >= 0, (last - tonic) % 12, -1)
        moves = np.where((first >= 0) & (last >= 0), (first - last) % 12, -1)
        chords = np.minimum([len(c) for c in self.chords], 4)
        held = np.append(self.code[:-1] == self.code[1:], False)
        return [
            *(above == degree for degree in (0, 5, 7, 9, 2)),
            *(above_before == degree for degree in (0, 7, 5, 2)),
            *(moves == step for step in (0, 5, 7, 10)),
            np.array([kind == "m" for kind in kinds]),
            np.array([kind in {"7", "s"} for kind in kinds_before]),
            chords,
            np.minimum(later([len(c) for c in self.chords]), 4),
            later(later(held)),
            held,
        ]

    def tonic(self) -> int:
        """The root that sounds longest, the first and the last counted more."""
        weight: dict[int, float] = defaultdict(float)
        for bar, chords in zip(self.bars, self.chords, strict=True):
            edges = [*(min(c[0], bar.ticks) for c in chords[1:]), bar.ticks]
            for (offset, root, _), end in zip(chords, edges, strict=False):
                weight[root] += (end - offset) / max(bar.ticks, 1)
        for chords, end in ((self.chords[0], 0), (self.chords[-1], -1)):
            if chords:
                weight[chords[end][1]] += EDGE_SHARE * self.count
        return max(weight, key=lambda root: (weight[root], -root), default=0)

    def length_columns(self) -> list[ndarray]:
        """Where bars become longer or shorter."""
        import numpy as np

        lengths = np.array([bar.ticks for bar in self.bars])
        changes = np.append(0.0, lengths[1:] != lengths[:-1])
        return [changes, np.append(changes[1:], 0.0), later(changes)]


def runs_at(runs: ndarray, apart: ndarray) -> list[ndarray]:
    """The longest run at each line, how many there are, and the longest that is far."""
    import numpy as np

    runs = np.minimum(runs, LONGEST_RUN)
    return [
        runs.max(axis=1),
        np.log1p(np.where(runs >= 3, runs, 0).sum(axis=1)),
        np.minimum((runs >= 4).sum(axis=1), 8),
        np.minimum((runs >= 8).sum(axis=1), 6),
        np.where(apart >= np.maximum(runs, 4), runs, 0).max(axis=1),
    ]


def mean_along(table: ndarray, width: int) -> ndarray:
    """Mean of so many values along each diagonal, from each place on; 0 past the end."""
    import numpy as np

    n = len(table)
    padded = np.zeros((n + width, n + width))
    padded[:n, :n] = table
    total = np.zeros((n, n))
    for k in range(width):
        total += padded[k : k + n, k : k + n]
    return total / width


def later(column: Sequence[float] | ndarray) -> ndarray:
    """A column moved by one bar: what stood at the bar before."""
    import numpy as np

    return np.append(0.0, np.asarray(column, dtype=float)[:-1])
