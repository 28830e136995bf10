"""Sections in a far key, told by what they are made of where no cadence tells it.

Conventions: a bridge may stay in a key three signs or more away and never have its V.
It is told by its chords: the section begins on a major or minor chord that the key of the
piece does not have, stays on it for a quarter of its time, has two more chords and none
but those of that chord's own key, and never sounds the I that was home, until its last
bars lead back. Two chords alone are a colour of the key that they stand in, and so is
a section two signs away, unless its own V, a dominant, stood right before it. Common
practice, no source. Of the charts that ``weights`` names four have such sections; in two
of them listeners heard another tonic there, in two they let the one of the song stand.

Contents: chords_of, plain_scale, tonic_chord, with_far_sections, within.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import settle
from melodex.analysis.keys.song.confirmed import has_sections, parts_of
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.mode import (
    MAJOR_SCALE,
    NATURAL_SCALE,
    root_and_third,
    third_of,
)
from melodex.analysis.keys.song.points import FIFTH, KINDS, NO_ROOT, SongBar
from melodex.analysis.keys.song.relatives import held
from melodex.analysis.keys.song.returns import only_tonic

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["chords_of", "plain_scale", "tonic_chord", "with_far_sections", "within"]

FEWEST_BARS, LONGEST_TAIL = 6, 2
"""Bars that stay in the key, and bars that lead back at most. Our choice."""
LEAST_SHARE = 0.25
"""Of the bars that its I must hold; our choice."""
FEWEST_CHORDS, FEWEST_LED = 3, 2
"""Chords of the far key that sound; two alone are a colour. Our choice."""
FEWEST_SIGNS, FEWEST_SIGNS_LED = 3, 2
"""Signs from which on a key is far: its I is then none of the chords of the other. Both
are fewer where the V of a section led to it."""
FLAT_SEVENTH = 10
"""Semitones above a tonic. Songs in major have the major chord on it too."""

Triad = tuple[int, str]
"""Root, and third as :func:`third_of` has it."""


def with_far_sections(layout: Layout, chances: ndarray) -> ndarray:
    """Return the chances of each tonic with the sections that stay in a far key.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1; the likeliest tonic of such a section is that of its key.
    """
    if not has_sections(layout):
        return chances
    found, tonics = chances.copy(), chances.argmax(1).tolist()
    homes = {tonic: tonic_chord(layout.bars, tonic) for tonic in set(tonics)}
    for first, stop in parts_of(layout)[1:]:
        home = only_tonic((first, stop), tonics)
        if home is None:
            continue
        far = far_tonic(layout.bars[first:stop], homes[home], layout.bars[first - 1])
        if far is not None:
            tonic, count = far
            settle(found, first, first + count, tonic)
    return found


def tonic_chord(bars: Sequence[SongBar], tonic: int) -> Triad:
    """The I of a tonic: minor where that sounds for longer than major."""
    minor, major = (tonic, "m"), (tonic, "M")
    return minor if held(bars, minor) > held(bars, major) else major


def far_tonic(
    bars: Sequence[SongBar], home: Triad, before: SongBar
) -> tuple[int, int] | None:
    """The far tonic that a section begins on, and for how many bars it holds.

    ``home`` is the I of the key around it, ``before`` the bar that leads to it.
    """
    row = [chords_of(bar) for bar in bars]
    if not row or not row[0] or not row[0][0][1] or row[0][0][0] == home[0]:
        return None
    if named_chords(bars[0])[0][1] == "dominant":
        return None
    tonic, third = row[0][0]
    led = ends_on_five(before, tonic)
    shared = plain_scale(tonic, third) & plain_scale(*home)
    if len(shared) > 7 - (FEWEST_SIGNS_LED if led else FEWEST_SIGNS):
        return None
    count = bars_in_key(bars, tonic, third)
    stays = {chord for chords in row[:count] for chord in chords}
    if (
        count < FEWEST_BARS
        or len(row) - count > LONGEST_TAIL
        or len(stays) < (FEWEST_LED if led else FEWEST_CHORDS)
        or home in stays
        or held(bars[:count], (tonic, third)) < LEAST_SHARE * count
    ):
        return None
    return tonic, count


def bars_in_key(bars: Sequence[SongBar], tonic: int, third: str) -> int:
    """How many bars go by before one has a chord that is none of a key."""
    own = plain_scale(tonic, third)
    flat_seven = (tonic + FLAT_SEVENTH) % 12, "major"
    for count, bar in enumerate(bars):
        for named, chord in zip(named_chords(bar), chords_of(bar), strict=True):
            if named != flat_seven and not within([chord], own):
                return count
    return len(bars)


def ends_on_five(bar: SongBar, tonic: int) -> bool:
    """Whether the last chord of a bar is the V of a tonic, a dominant."""
    return named_chords(bar)[-1:] == [((tonic + FIFTH) % 12, "dominant")]


def named_chords(bar: SongBar) -> list[tuple[int, str]]:
    """Root and kind of each chord of a bar."""
    return [(root, KINDS[kind]) for root, kind, _ in bar.chords if root != NO_ROOT]


def chords_of(bar: SongBar) -> list[Triad]:
    """Root and third of each chord of a bar."""
    return [(root, third_of(kind)) for root, kind, _ in bar.chords if root != NO_ROOT]


def within(chords: Sequence[Triad], scale: frozenset[int]) -> bool:
    """Whether a scale has the roots and the thirds of some chords."""
    return all(scale.issuperset(root_and_third(*chord)) for chord in chords)


def plain_scale(tonic: int, third: str) -> frozenset[int]:
    """The pitch classes of the major or the natural minor scale of a tonic."""
    steps = NATURAL_SCALE if third == "m" else MAJOR_SCALE
    return frozenset((tonic + step) % 12 for step in steps)
