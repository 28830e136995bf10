"""Sections that go home to a chord of their own, while the tonic around them is silent.

Conventions: the trio of a march or a rag is in the key of IV, a verse before a chorus may
be in that of iii, and often nothing is printed for it. Such a section begins on its own
I, goes to it from its V, a dominant, more than once, stays on it for a quarter of its
time, ends on it or on what leads back to the V around it, and never rests on the I around
it, of which no more than a dominant sounds. Where the I around is a dominant itself, as
in a blues, nothing is told so. A section that has the I before it, and never that of the
key that comes next, has not been lifted yet. Common practice, no source.

Contents: with_own_strains, with_sections_before_a_lift.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import Sounding, settle, sounding
from melodex.analysis.keys.song.confirmed import has_sections, parts_of
from melodex.analysis.keys.song.far import chords_of, plain_scale, tonic_chord, within
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.points import FIFTH, KINDS, RESTING, SongBar
from melodex.analysis.keys.song.returns import only_tonic

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["with_own_strains", "with_sections_before_a_lift"]

FEWEST_BARS, LONGEST_TAIL = 8, 4
"""Bars of such a section, and of the chords at its end that lead back at most. Our
choice."""
FEWEST_CADENCES = 2
"""How often its V goes home; our choice."""
LEAST_SHARE = 0.25
"""Of the bars that its I must hold; our choice."""
MOST_AS_FIVE = 0.125
"""Of its bars that the I around it may hold as V; our choice."""
LEAST_OF_BEFORE = 0.125
"""Of the bars of a section that the I before it must hold; our choice."""
ANY_ONE = RESTING | {"dominant", "suspended", "fifth"}
"""Kinds of chord that a I may be, also where it leads on or has no third."""
LEADING_NOTE = 11
"""Semitones above a tonic; a minor key has it in its V."""


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
    if not has_sections(layout):
        return chances
    found, tonics = chances.copy(), chances.argmax(1).tolist()
    # All bars are asked once for each tonic, and not for each section.
    homes = {
        tonic: tonic_chord(layout.bars, tonic)
        for tonic in set(tonics)
        if not is_blue(layout.bars, tonic)
    }
    for first, stop in parts_of(layout):
        home = only_tonic((first, stop), tonics)
        if home not in homes or stop - first < FEWEST_BARS:
            continue
        told = own_tonic(layout.bars[first:stop], *homes[home])
        if told is not None:
            tonic, count = told
            settle(found, first, first + count, tonic)
    return found


def with_sections_before_a_lift(layout: Layout, chances: ndarray) -> ndarray:
    """Return the chances of each tonic with sections that stay in the key before them.

    A section that was read in the key that comes next, whose I never sounds in it, is
    still in the key before where the I of that does.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1; the likeliest tonic of such a section is that of the one before.
    """
    if len(layout.starts) < 2:
        return chances
    found, tonics = chances.copy(), chances.argmax(1).tolist()
    homes = {tonic: tonic_chord(layout.bars, tonic) for tonic in set(tonics)}
    for before, part in pairwise(parts_of(layout)):
        home, tonic = only_tonic(before, tonics), only_tonic(part, tonics)
        if home is None or tonic is None or home == tonic:
            continue
        bars = layout.bars[slice(*part)]
        one = sum(c.held for c in sounding(bars) if (c.root, c.third) == homes[home])
        if one >= LEAST_OF_BEFORE * len(bars) and not held_as(bars, tonic, ANY_ONE):
            settle(found, *part, home)
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
        or not is_silent(inside, home, one, count)
        or held_as(bars[:count], one[0], RESTING) < LEAST_SHARE * count
        or cadences(inside, one) < FEWEST_CADENCES
    ):
        return None
    return one[0], count


def is_silent(row: Sequence[Sounding], home: int, one: tuple[int, str], count: int) -> bool:
    """Whether the I around a section never rests in it.

    In the key of IV it may be V for a moment, where its own V goes to it, before I.
    """
    rests = [
        place
        for place, chord in enumerate(row)
        if chord.root == home and chord.name in RESTING
    ]
    if not rests:
        return True
    if home != (one[0] + FIFTH) % 12 or (row[-1].root, row[-1].third) != one:
        return False
    halves = all(
        place > 0
        and row[place - 1].root == (home + FIFTH) % 12
        and row[place - 1].name == "dominant"
        and (row[place + 1].root, row[place + 1].third) == one
        for place in rests
    )
    return halves and sum(row[place].held for place in rests) <= MOST_AS_FIVE * count


def bars_until_back(bars: Sequence[SongBar], tonic: int, third: str, home: int) -> int:
    """Bars to the last that has the I of a section, and those of its key after it.

    The V of the key around leads back.
    """
    scale = plain_scale(tonic, third) | {(tonic + LEADING_NOTE) % 12}
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
