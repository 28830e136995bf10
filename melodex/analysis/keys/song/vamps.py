"""Vamps that are a mode: pieces made of i7 IV7 on several roots, and lydian pedals.

Conventions: a minor seventh chord and the dominant a fourth above it, to and fro for four
bars, are the dorian mode on the first of them as long as the dominant goes nowhere. Where
a piece has nothing but such vamps on several roots, each is a centre of its own; one that
the last dominant of another falls on has not been reached by it. Where anything else
sounds for long, the vamps belong to it. Suspended chords of which each is stayed on and
none goes to its tonic are centres in the same way. Common practice, no source.

Contents: with_vamps, with_suspended_chords, with_lydian_pedals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import Sounding, settle, sounding
from melodex.analysis.keys.song.layout import Layout
from melodex.melody import pitch_class

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.analysis.harmony.chords import Chord

__all__ = ["with_lydian_pedals", "with_suspended_chords", "with_vamps"]

FEWEST_BARS, FEWEST_CHORDS = 4, 4
"""Of a vamp; our choice."""
LEAST_SHARE = 0.8
"""Of the piece that its vamps must hold; our choice."""
FOURTH = 5


def with_vamps(layout: Layout, chances: ndarray) -> ndarray:
    """Return the chances of each tonic with those of vamps, where there is nothing else.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.
    """
    row = sounding(layout.bars)
    vamps = list(vamps_in(row, len(layout.bars)))
    held = sum(stop - first for first, stop, _ in vamps)
    roots = {root for _, _, root in vamps}
    if len(roots) < 2 or held < LEAST_SHARE * len(layout.bars):
        return chances
    found = chances.copy()
    for first, stop, root in vamps:
        settle(found, first, stop, root)
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


def with_suspended_chords(
    layout: Layout, chances: ndarray, placed: Sequence[tuple[int, Chord]]
) -> ndarray:
    """Return the chances of each tonic with those of suspended chords that are stayed on.

    Every chord of the piece holds for four bars or more, most of them are suspended under
    a minor seventh, none is a dominant, and no root goes down by a fifth or a fourth: no V
    goes home.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.
    placed : sequence of (int, Chord)
        Onsets and chords in order.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1; the likeliest tonic of a chord that is stayed on is its root.
    """
    row = sounding(layout.bars)
    plain = any(c.family == "suspended" and -2 not in c.degrees for _, c in placed)
    suspended = sum(chord.held for chord in row if chord.name == "suspended")
    steps = {(after.root - before.root) % 12 for before, after in pairwise(row)}
    if (
        plain
        or len({chord.root for chord in row}) < 2
        or min(chord.held for chord in row) < FEWEST_BARS
        or 2 * suspended <= sum(chord.held for chord in row)
        or any(chord.name == "dominant" for chord in row)
        or not steps.isdisjoint({FOURTH, 12 - FOURTH})
    ):
        return chances
    found = chances.copy()
    for place, chord in enumerate(row):
        stop = row[place + 1].bar if place + 1 < len(row) else len(layout.bars)
        settle(found, chord.bar, stop, chord.root)
    return found


def with_lydian_pedals(
    layout: Layout, chances: ndarray, placed: Sequence[tuple[int, Chord]]
) -> ndarray:
    """Return the chances of each tonic with that of a bass that Imaj7 stands on.

    A major seventh chord and the major chord a tone above it, over one bass and nothing
    else for four bars or more, are the lydian mode on that bass: no V has a major seventh.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.
    placed : sequence of (int, Chord)
        Onsets and chords in order.
    """
    found = chances.copy()
    row = [(onset, chord) for onset, chord in placed if chord.sounds]
    place = 0
    while place < len(row):
        bass = pitch_class(row[place][1].lowest_fifths)
        after = place
        while after < len(row) and is_lydian_on(row[after][1], bass):
            after += 1
        roots = [(pitch_class(c.root_fifths) - bass) % 12 for _, c in row[place:after]]
        first = layout.bar_at(row[place][0])
        stop = layout.bar_at(row[after][0]) if after < len(row) else len(layout.bars)
        # It begins on I, and each of the two comes twice.
        vamp = roots[:1] == [0] and min(map(roots.count, (0, 2))) > 1
        if vamp and stop - first >= FEWEST_BARS:
            settle(found, first, stop, bass)
        place = max(after, place + 1)
    return found


def is_lydian_on(chord: Chord, bass: int) -> bool:
    """Whether a chord over a bass is its Imaj7 or the major triad on its second.

    The bass is a pitch class: in far keys it may be spelled apart from the root.
    """
    if pitch_class(chord.lowest_fifths) != bass or chord.family != "major":
        return False
    above = (pitch_class(chord.root_fifths) - bass) % 12
    return (above == 0 and "7" in chord.degree_names) or above == 2
