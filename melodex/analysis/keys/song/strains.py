"""Sections that go home to a chord of their own, while the tonic around them is silent.

Conventions: the trio of a march or a rag is in the key of IV, a verse before a chorus may
be in that of iii, and often nothing is printed for it. Such a section begins on its own
I, goes to it from its V, a dominant, more than once, stays on it for a quarter of its
time, ends on it or on what leads back to the V around it, and never rests on the I around
it, of which no more than a dominant sounds. Where the I around is a dominant itself, as
in a blues, nothing is told so. Common practice, no source.

Contents: with_own_strains.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import RESTING, Sounding, settle, sounding
from melodex.analysis.keys.song.confirmed import parts_of
from melodex.analysis.keys.song.far import chords_of, scale_on, tonic_chord, within
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.points import KINDS, SongBar
from melodex.analysis.keys.song.relatives import LONGEST_COUNTED
from melodex.analysis.keys.song.returns import only_tonic

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["with_own_strains"]

FEWEST_BARS, LONGEST_TAIL = 8, 4
"""Bars of such a section, and of the chords at its end that lead back at most. Our
choice."""
FEWEST_CADENCES = 2
"""How often its V goes home; our choice."""
LEAST_SHARE = 0.25
"""Of the bars that its I must hold; our choice."""
FIFTH, SEVENTH = 7, 11


def with_own_strains(layout: Layout, chances: ndarray) -> ndarray:
    """Return the chances of each tonic with the sections that go home elsewhere.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1; the likeliest tonic of such a section is its own.
    """
    if len(layout.starts) < 2 and len(layout.bars) > LONGEST_COUNTED:
        return chances
    found, tonics = chances.copy(), chances.argmax(1).tolist()
    for first, stop in parts_of(layout):
        home = only_tonic((first, stop), tonics)
        if home is None or stop - first < FEWEST_BARS or is_blue(layout.bars, home):
            continue
        told = own_tonic(layout.bars[first:stop], *tonic_chord(layout.bars, home))
        if told is not None:
            tonic, count = told
            settle(found, first, first + count, tonic)
    return found


def is_blue(bars: Sequence[SongBar], tonic: int) -> bool:
    """Whether a tonic is a dominant for longer than it is at rest."""
    return held_as(bars, tonic, {"dominant"}) > held_as(bars, tonic, RESTING)


def held_as(bars: Sequence[SongBar], root: int, names: Collection[str]) -> float:
    """Bars for which a root sounds as a chord of some kinds."""
    return sum(
        share
        for bar in bars
        for own, kind, share in bar.chords
        if own == root and KINDS[kind] in names
    )


def own_tonic(bars: Sequence[SongBar], home: int, third: str) -> tuple[int, int] | None:
    """The tonic that a section goes home to, and for how many bars it holds.

    ``home`` and ``third`` are the I of the key around it.
    """
    row = sounding(bars)
    if not row or row[0].name not in RESTING or row[0].bar > 0 or row[0].root == home:
        return None
    one = row[0].root, row[0].third
    count = bars_until_back(bars, *one, home)
    inside = [chord for chord in row if chord.bar < count]
    if (
        count < FEWEST_BARS
        or not (row[-1].root == one[0] or is_led_back(bars[count:], home))
        or any(chord.root == home and chord.name in RESTING for chord in inside)
        or held_as(bars[:count], one[0], RESTING) < LEAST_SHARE * count
        or cadences(inside, one) < FEWEST_CADENCES
    ):
        return None
    return one[0], count


def bars_until_back(bars: Sequence[SongBar], tonic: int, third: str, home: int) -> int:
    """Bars to the last that has the I of a section, and those of its key after it.

    The V of the key around leads back.
    """
    scale = scale_on(tonic, third) | {(tonic + SEVENTH) % 12}
    back = (home + FIFTH) % 12, "M"
    row = [chords_of(bar) for bar in bars]
    count = 1 + max(i for i, chords in enumerate(row) if (tonic, third) in chords)
    while count < len(row) and within(row[count], scale) and back not in row[count]:
        count += 1
    return count


def is_led_back(bars: Sequence[SongBar], home: int) -> bool:
    """Whether a few bars at the end of a section come to the V of the key around."""
    back = (home + FIFTH) % 12, "M"
    return len(bars) <= LONGEST_TAIL and any(back in chords_of(bar) for bar in bars)


def cadences(row: Sequence[Sounding], one: tuple[int, str]) -> int:
    """How often a dominant on V goes to a I."""
    return sum(
        before.name == "dominant"
        and before.root == (one[0] + FIFTH) % 12
        and after.name in RESTING
        and (after.root, after.third) == one
        for before, after in pairwise(row)
    )
