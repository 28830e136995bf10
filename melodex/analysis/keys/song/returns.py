"""Sections that come again, as they were or higher, and the tonic that they come with.

Conventions: the same chords under two sections are in one key, that which the section by
itself speaks for; a section that comes again moved, with chords that the key before does
not have, has its tonic moved by as much (a lift, or a bridge a half step up). Moved by a
fourth or a fifth it may be no more than the chords on IV or V. All of it is common
practice, no source. Where another key is printed, that alone counts.

Contents: SETTLED, returning_points, only_tonic.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.confirmed import parts_of
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.mode import MAJOR_SCALE, root_and_third, third_of
from melodex.analysis.keys.song.points import KINDS, NO_ROOT, SongBar

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["SETTLED", "only_tonic", "returning_points"]

FEWEST_BARS, FEWEST_MOVED_BARS = 4, 8
LONGEST_COUNTED = 64
SETTLED = 30.0
"""Points that settle the tonic of a section: more than leaving a key twice costs."""
ROUNDING = 50
"""Parts of a bar to which shares of chords are rounded before they are compared."""
LEAST_KNOWN = 0.5
"""Of the bars of a lifted section that are on its tonic or the one before; our choice."""
NO_LIFT = frozenset({0, 5, 7})
MINOR_KINDS = frozenset({"minor", "minor seventh"})

Part = tuple[int, int]
Row = tuple[tuple[tuple[int, int, int], ...], ...]


def returning_points(
    layout: Layout, tonics: Sequence[int], alone: ndarray, printed: Collection[int]
) -> ndarray:
    """Points for tonics that sections that come again have to have, of shape (n, 12).

    Parameters
    ----------
    layout : Layout
    tonics : sequence of int, of shape (n,)
        The likeliest tonic of each bar without these points.
    alone : ndarray of shape (n, 12)
        What each section says when it is heard for itself.
    printed : collection of int
        Bars in which a key is printed.
    """
    import numpy as np

    points = np.zeros((len(layout.bars), 12))
    parts = [
        part
        for part in parts_of(layout)
        if part[1] - part[0] >= FEWEST_BARS
        and not any(part[0] < b < part[1] for b in printed)
    ]
    # In a long sheet without marks, eights that are only counted are no sections.
    counted = not layout.marked and len(layout.bars) > LONGEST_COUNTED
    if len(printed) > 1 or counted:
        return points
    same, moved = families(layout.bars, parts)
    for family in same:
        tonic = agreed(family, tonics, alone)
        if tonic is not None:
            for first, stop in family:
                points[first:stop, tonic] += SETTLED / (stop - first)
    for earlier, part, step in moved:
        tonic = lifted(layout.bars, earlier, part, step, tonics)
        if tonic is not None:
            points[part[0] : part[1], tonic] += SETTLED / (part[1] - part[0])
    return points


def families(
    bars: Sequence[SongBar], parts: Sequence[Part]
) -> tuple[list[list[Part]], list[tuple[Part, Part, int]]]:
    """Parts with the same chords, and parts that are another one moved, with the step."""
    same: dict[Row, list[Part]] = defaultdict(list)
    shapes: dict[Row, tuple[Part, int]] = {}
    moved: list[tuple[Part, Part, int]] = []
    for part in parts:
        row, root = row_of(bars[part[0] : part[1]])
        if root == NO_ROOT:
            continue
        same[
            tuple(tuple(((r + root) % 12, k, s) for r, k, s in bar) for bar in row)
        ].append(part)
        earlier, first_root = shapes.setdefault(row, (part, root))
        step = (root - first_root) % 12
        if step not in NO_LIFT and part[1] - part[0] >= FEWEST_MOVED_BARS:
            moved.append((earlier, part, step))
    return [family for family in same.values() if len(family) > 1], moved


def row_of(bars: Sequence[SongBar]) -> tuple[Row, int]:
    """Chords of some bars above their first root, and that root."""
    first = next((c[0] for bar in bars for c in bar.chords if c[0] != NO_ROOT), NO_ROOT)
    row = tuple(
        tuple(
            ((root - first) % 12, kind, round(share * ROUNDING))
            for root, kind, share in bar.chords
            if root != NO_ROOT
        )
        for bar in bars
    )
    return row, first


def only_tonic(part: Part, tonics: Sequence[int]) -> int | None:
    """The tonic of a part, None where it has several."""
    found = set(tonics[part[0] : part[1]])
    return found.pop() if len(found) == 1 else None


def agreed(family: Sequence[Part], tonics: Sequence[int], alone: ndarray) -> int | None:
    """The tonic that parts with the same chords should have, None where they agree."""
    found = {only_tonic(part, tonics) for part in family}
    if len(found) < 2 or None in found:
        return None
    first, stop = family[0]
    said = alone[first:stop].sum(0)
    return max(
        (tonic for tonic in found if tonic is not None), key=lambda t: float(said[t])
    )


def lifted(
    bars: Sequence[SongBar], earlier: Part, part: Part, step: int, tonics: Sequence[int]
) -> int | None:
    """The tonic of a part that is an earlier one moved, None if nothing is to be said."""
    home = only_tonic(earlier, tonics)
    told = tonics[slice(*part)]
    if home is None:
        return None
    # What is lifted once more afterwards may have been read into its last bars.
    known = sum(tonic in {home, (home + step) % 12} for tonic in told)
    if known < LEAST_KNOWN * len(told):
        return None
    minor = 2 * sum(
        share * (KINDS[kind] in MINOR_KINDS) - share / 2
        for bar in bars[earlier[0] : earlier[1]]
        for root, kind, share in bar.chords
        if root == home
    )
    scale = {(degree + home + 3 * (minor > 0)) % 12 for degree in MAJOR_SCALE}
    foreign = any(
        root != NO_ROOT and not scale.issuperset(root_and_third(root, third_of(kind)))
        for bar in bars[part[0] : part[1]]
        for root, kind, _ in bar.chords
    )
    return (home + step) % 12 if foreign else None
