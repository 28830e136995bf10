"""Key centres that a ii V I confirms on a chord that the key around it does not have.

Conventions: ii V I to IV, to V or to a minor chord of the key is a tonicisation, and the
chords stay those of the key. To a chord that the key does not have, which is then stayed
on, it is a centre of its own, as players of standards tell them (a bridge a half step up,
a chorus that falls by whole tones, a cycle of thirds). It holds as far around its ii V I
as the bars have more of its scale than of the key's; a dominant that leads away is the
next key's. Between two such centres the key around has no hold: there a ii V I to any
other chord is a centre, where the key's own V does not sound. Common practice, no source;
how long it must stay is our choice. The charts that ``weights`` names change key so in
four songs at most, and none is read worse for it.

Contents: Sounding, settle, sounding, with_centres.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from operator import attrgetter
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.mode import (
    MAJOR_SCALE,
    NATURAL_SCALE,
    root_and_third,
    third_of,
)
from melodex.analysis.keys.song.points import FIFTH, KINDS, NO_ROOT, RESTING, SongBar

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["Sounding", "settle", "sounding", "with_centres"]

FEWEST_BARS, FEWEST_IN_CYCLE = 3, 2
"""Bars of a centre, and of one in a cycle of centres."""
FEWEST_BETWEEN = 4
"""Bars between two centres that can be a third; our choice."""
FEWEST_OF_CYCLE = 3
"""Centres of two tonics or more that make a cycle."""
LONG_STAY, LEAST_STAY = 4, 2.0
"""A centre is stayed on for so many bars, or for so many on its I."""
FARTHEST = 32
"""Bars to either side of a ii V I that are asked."""
CERTAINTY = 0.75
"""Of a centre; our choice."""
MINOR_SCALE = NATURAL_SCALE | {11}
"""Semitones above the tonic, with both sevenths where a bar is weighed."""
SECONDS = frozenset({"minor", "minor seventh", "half-diminished"})
FIFTHS = frozenset({"dominant", "suspended"})
BAR_OF = attrgetter("bar")


@dataclass(frozen=True, slots=True)
class Sounding:
    """A chord as it stands in the bars: where it begins, and for how many bars it holds."""

    root: int
    name: str
    bar: int
    held: float

    @property
    def third(self) -> str:
        """``M``, ``m`` or nothing."""
        return third_of(KINDS.index(self.name))


@dataclass(frozen=True, slots=True)
class Centre:
    """Bars from the first up to the stop, and the tonic that holds in them.

    ``stays`` says whether it is stayed on: for four bars, or for two on its I.
    """

    tonic: int
    first: int
    stop: int
    stays: bool

    @property
    def bars(self) -> int:
        """How many bars it holds."""
        return self.stop - self.first


def with_centres(layout: Layout, chances: ndarray) -> ndarray:
    """Return the chances of each tonic with the centres that a ii V I confirms.

    Parameters
    ----------
    layout : Layout
    chances : ndarray of shape (n, 12)
        How likely each tonic is in each bar without them; rows sum to 1.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1; the likeliest tonic of a bar of a centre is that of the centre.
    """
    found = chances.copy()
    for centre in centres_of(layout.bars, chances.argmax(1).tolist()):
        settle(found, centre.first, centre.stop, centre.tonic)
    return found


def settle(chances: ndarray, first: int, stop: int, tonic: int) -> None:
    """Give a tonic its certainty in some bars, and the others a share of what is left."""
    chances[first:stop] *= 1 - CERTAINTY
    chances[first:stop, tonic] += CERTAINTY


def centres_of(bars: Sequence[SongBar], tonics: Sequence[int]) -> list[Centre]:
    """The centres of a piece in order, none of them over another."""
    row = sounding(bars)
    minor = minor_homes(row, tonics)
    found: list[Centre] = []
    for two, five, one in zip(row, row[1:], row[2:], strict=False):
        home = tonics[two.bar]
        if not is_two_five_one(two, five, one) or is_near(one, home, home in minor):
            continue
        centre = around(bars, home, home in minor, two, one)
        before = found[-1] if found else None
        if before is not None and centre.first < before.stop:
            if before.tonic == centre.tonic:
                stop, stays = max(before.stop, centre.stop), before.stays or centre.stays
                found[-1] = Centre(centre.tonic, before.first, stop, stays)
                continue
            # The ii belongs to the centre that it leads to.
            cut = min(before.stop, max(two.bar, before.first + 1))
            found[-1] = replace(before, stop=cut)
            centre = replace(centre, first=cut)
        if centre.first < centre.stop:
            found.append(centre)
    told = list(lasting(found))
    return sorted([*told, *between(row, tonics, told)], key=lambda centre: centre.first)


def between(
    row: Sequence[Sounding], tonics: Sequence[int], found: Sequence[Centre]
) -> Iterator[Centre]:
    """Centres on a near chord, in bars between two centres that have no V of the key."""
    for before, after in pairwise(found):
        first, stop = before.stop, after.first
        homes = set(tonics[first:stop])
        if len(homes) != 1 or stop - first < FEWEST_BETWEEN:
            continue
        (home,) = homes
        inside = row[slice(*(bisect_left(row, at, key=BAR_OF) for at in (first, stop)))]
        if any(
            chord.root == (home + FIFTH) % 12 and chord.name in FIFTHS for chord in inside
        ):
            continue
        ones = {
            one.root
            for two, five, one in zip(inside, inside[1:], inside[2:], strict=False)
            if is_two_five_one(two, five, one) and one.root != home
        }
        if len(ones) == 1:
            yield Centre(ones.pop(), first, stop, stays=True)


def lasting(found: Sequence[Centre]) -> Iterator[Centre]:
    """The centres that hold long enough: shorter ones where one follows another."""
    told = [centre for centre in found if centre.bars >= FEWEST_IN_CYCLE]
    cycle = len(told) >= FEWEST_OF_CYCLE and len({c.tonic for c in told}) > 1
    least = FEWEST_IN_CYCLE if cycle else FEWEST_BARS
    end = -1
    for centre in found:
        follows = centre.first == end
        if centre.bars >= least and (cycle or follows or centre.stays):
            end = centre.stop
            yield centre


def is_near(one: Sounding, home: int, minor: bool) -> bool:
    """Whether a ii V I to a chord is a tonicisation: to I and V, IV, any that a key has."""
    above = (one.root - home) % 12
    if above in {0, FIFTH} or (above == 5 and not minor):
        return True
    steps = NATURAL_SCALE if minor else MAJOR_SCALE
    return steps.issuperset(root_and_third(above, one.third))


def sounding(bars: Sequence[SongBar]) -> list[Sounding]:
    """Chords in order, each with the bar that it begins in."""
    found: list[Sounding] = []
    for number, bar in enumerate(bars):
        for root, kind, share in bar.chords:
            if root == NO_ROOT:
                continue
            name = KINDS[kind]
            if found and (found[-1].root, found[-1].name) == (root, name):
                before = found.pop()
                found.append(Sounding(root, name, before.bar, before.held + share))
            else:
                found.append(Sounding(root, name, number, share))
    return found


def is_two_five_one(two: Sounding, five: Sounding, one: Sounding) -> bool:
    """Whether three chords are ii V I, the V a dominant."""
    return (
        (two.root - one.root) % 12 == 2
        and (five.root - one.root) % 12 == FIFTH
        and two.name in SECONDS
        and five.name in FIFTHS
        and one.name in RESTING
    )


def minor_homes(row: Sequence[Sounding], tonics: Sequence[int]) -> frozenset[int]:
    """Tonics whose chord mostly has a minor third, where they are the tonic."""
    told: dict[int, float] = defaultdict(float)
    for chord in row:
        if chord.root == tonics[chord.bar]:
            told[chord.root] += chord.held * ((chord.third == "m") - (chord.third == "M"))
    return frozenset(root for root, lead in told.items() if lead > 0)


def scale_on(tonic: int, minor: bool) -> frozenset[int]:
    """The pitch classes of a key."""
    steps = MINOR_SCALE if minor else MAJOR_SCALE
    return frozenset((tonic + step) % 12 for step in steps)


def around(
    bars: Sequence[SongBar], home: int, minor: bool, two: Sounding, one: Sounding
) -> Centre:
    """The bars around a ii V I that are more of its key than of the key before.

    A bar that has as much of both is of the centre only between bars that are; one of
    nothing but its I, with whatever third, is, and one that begins on the I before is not.
    """
    scale, before = scale_on(one.root, one.third == "m"), scale_on(home, minor)

    def lead(bar: int) -> float:
        return share_in(bars[bar], scale) - share_in(bars[bar], before)

    first, last = two.bar, one.bar
    begins = bars[first].chords
    if begins and begins[0][0] != two.root and first < last and lead(first) <= 0:
        # A bar that another chord begins is still the key's before.
        first += 1
    earliest, latest = max(first - FARTHEST, 0), min(last + FARTHEST, len(bars))
    at = first - 1
    while at >= earliest and not rests_on(bars[at], home, first_chord=True):
        is_own = lead(at) > 0 or rests_on(bars[at], one.root)
        if not is_own and (lead(at) < 0 or rests_outside(bars[at], scale)):
            break
        first = at if is_own else first
        at -= 1
    at = last + 1
    while at < latest and lead(at) >= 0 and not leads_away(bars[at], one.root):
        last = at if lead(at) > 0 else last
        at += 1
    stays = one.held >= LEAST_STAY or last + 1 - first >= LONG_STAY
    return Centre(one.root, first, last + 1, stays)


def rests_on(bar: SongBar, tonic: int, *, first_chord: bool = False) -> bool:
    """Whether a bar, or its first chord, is nothing but a tonic, with whatever third."""
    chords = bar.chords[:1] if first_chord else bar.chords
    return bool(chords) and all(
        root == tonic and KINDS[kind] in RESTING for root, kind, _ in chords
    )


def rests_outside(bar: SongBar, scale: frozenset[int]) -> bool:
    """Whether a major or minor chord of a bar is none of a scale."""
    return any(
        KINDS[kind] in RESTING
        and not scale.issuperset(root_and_third(root, third_of(kind)))
        for root, kind, _ in bar.chords
        if root != NO_ROOT
    )


def share_in(bar: SongBar, scale: frozenset[int]) -> float:
    """Share of the roots and thirds of a bar that a scale holds, by their length."""
    held = told = 0.0
    for root, kind, share in bar.chords:
        if root != NO_ROOT:
            notes = root_and_third(root, third_of(kind))
            held += share * sum(note in scale for note in notes) / len(notes)
            told += share
    return held / told if told else 0.0


def leads_away(bar: SongBar, tonic: int) -> bool:
    """Whether a bar ends on a dominant other than the V or the I7 of a tonic."""
    chords = [chord for chord in bar.chords if chord[0] != NO_ROOT]
    if not chords or KINDS[chords[-1][1]] != "dominant":
        return False
    return (chords[-1][0] - tonic) % 12 not in {0, FIFTH}
