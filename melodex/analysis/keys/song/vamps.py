"""Pieces made of vamps on i7 IV7, each on a root of its own.

Conventions: a minor seventh chord and the dominant a fourth above it, to and fro for four
bars, are the dorian mode on the first of them as long as the dominant goes nowhere. Where
a piece has nothing but such vamps on several roots, each is a centre of its own; one that
the last dominant of another falls on has not been reached by it. Where anything else
sounds for long, the vamps belong to it. Common practice, no source. Where another key is
printed, that alone counts.

Contents: with_vamps.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import CERTAINTY, Sounding, sounding
from melodex.analysis.keys.song.layout import Layout

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["with_vamps"]

FEWEST_BARS, FEWEST_CHORDS = 4, 4
"""Of a vamp; our choice."""
LEAST_SHARE = 0.8
"""Of the piece that its vamps must hold; our choice."""
FOURTH = 5


def with_vamps(layout: Layout, chances: ndarray, printed: Collection[int]) -> ndarray:
    """Return the chances of each tonic with those of vamps, where there is nothing else.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.
    printed : collection of int
        Bars in which a key is printed.
    """
    if len(printed) > 1:
        return chances
    row = sounding(layout.bars)
    vamps = list(vamps_in(row, len(layout.bars)))
    held = sum(stop - first for first, stop, _ in vamps)
    roots = {root for _, _, root in vamps}
    if len(roots) < 2 or held < LEAST_SHARE * len(layout.bars):
        return chances
    found = chances.copy()
    for first, stop, root in vamps:
        found[first:stop] *= 1 - CERTAINTY
        found[first:stop, root] += CERTAINTY
    return found


def vamps_in(row: Sequence[Sounding], count: int) -> Iterator[tuple[int, int, int]]:
    """First bar, end and root of each vamp that is long enough."""
    starts = [place for place in range(len(row)) if not place or not goes_on(row, place)]
    for place, after in pairwise([*starts, len(row)]):
        first = row[place].bar
        stop = row[after].bar if after < len(row) else count
        root = row[place].root
        if after - place >= FEWEST_CHORDS and stop - first >= FEWEST_BARS:
            yield first, stop, root


def goes_on(row: Sequence[Sounding], place: int) -> bool:
    """Whether a chord is the other one of the vamp that the two before it begin."""
    here, before = row[place], row[place - 1]
    if here.name == "dominant":
        return before.name == "minor seventh" and here.root == (before.root + FOURTH) % 12
    if place < 2 or here.name != "minor seventh":
        return False
    return (here.root, here.name) == (row[place - 2].root, row[place - 2].name)
