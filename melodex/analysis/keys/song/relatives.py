"""Sections in the relative key, told by its own dominant.

Conventions: a verse in minor and a chorus in its relative major have most chords in
common; what tells them is where a section begins and which dominant goes home in it. One
is in the relative minor when it begins on that minor chord, stays on it at least as long
as on the major tonic, and its V, with a major third, goes home last or is waited on at the
end; it is in the relative major when it begins on that chord, stays on it as long, goes
to it from its V, and ends on either, and the minor has no V of its own there. Eights that
were only counted are halves of sixteens: one that begins on the minor chord, before one
that goes on without either tonic and comes home in the major key, is in that. Common
practice, no source. Where another key is printed, that alone counts in its section; the
relative of a key has the same signs, and is not printed.

Contents: held, relative_points.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Sequence
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from melodex.analysis.harmony.chords import DIMINISHED
from melodex.analysis.keys.song.confirmed import has_sections, parts_of
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.mode import third_of
from melodex.analysis.keys.song.points import KINDS, NO_ROOT, SongBar
from melodex.analysis.keys.song.returns import SETTLED, only_tonic

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["held", "relative_points"]

FEWEST_BARS = 8
"""Of a section that can be in a key of its own; our choice."""
RELATIVE_MINOR = 9
"""Semitones from a major tonic up to that of its relative minor."""

Row = list[tuple[int, str]]


def relative_points(
    layout: Layout, tonics: Sequence[int], printed: Collection[int]
) -> ndarray:
    """Points for the relative key of sections that are in it, of shape (n, 12).

    Parameters
    ----------
    layout : Layout
    tonics : sequence of int, of shape (n,)
        The likeliest tonic of each bar without these points.
    printed : collection of int
        Bars in which a key is printed.
    """
    import numpy as np

    points = np.zeros((len(layout.bars), 12))
    if not has_sections(layout):
        return points
    told = False
    parts = parts_of(layout)
    turns = sorted(printed)[1:]
    for place, (first, stop) in enumerate(parts):
        home = only_tonic((first, stop), tonics)
        if home is None or stop - first < FEWEST_BARS:
            continue
        if bisect_left(turns, first) < bisect_left(turns, stop):
            continue
        tonic = tonic_of_part(layout.bars[first:stop], home)
        if tonic is None:
            continue
        if (
            tonic == (home + RELATIVE_MINOR) % 12
            and len(layout.starts) < 2
            and place + 1 < len(parts)
        ):
            after = layout.bars[slice(*parts[place + 1])]
            tonic = home if goes_on_home(after, tonic, home) else tonic
        told = told or tonic != home
        points[first:stop, tonic] += SETTLED / (stop - first)
    return points if told else np.zeros_like(points)


def tonic_of_part(bars: Sequence[SongBar], home: int) -> int | None:
    """The tonic of a section that was read on another; the same one where the section
    begins on it and goes home to it or stays on it, None where it tells nothing.
    """
    row = chords_in_order(bars)
    if not row:
        return None
    minor, major = (home + RELATIVE_MINOR) % 12, (home - RELATIVE_MINOR) % 12
    if in_relative_minor(bars, row, minor, home):
        return minor
    if in_relative_major(bars, row, major, home):
        return major
    several = len({root for root, _ in row}) > 1
    stays = several and 2 * held(bars, row[0]) >= len(bars)
    return home if row[0][0] == home and (stays or speaks_of(row, row[0])) else None


def chords_in_order(bars: Sequence[SongBar]) -> Row:
    """Root and third of each chord, those that go on once."""
    sounding = (
        (root, triad_of(kind))
        for bar in bars
        for root, kind, _ in bar.chords
        if root != NO_ROOT
    )
    return [told for told, _ in groupby(sounding)]


def triad_of(kind: int) -> str:
    """The third of a chord; a diminished one is no minor tonic, and has none here."""
    return "" if KINDS[kind] in DIMINISHED else third_of(kind)


def held(bars: Sequence[SongBar], chord: tuple[int, str]) -> float:
    """Bars for which a chord sounds."""
    return sum(
        share
        for bar in bars
        for root, kind, share in bar.chords
        if (root, triad_of(kind)) == chord
    )


def five_of(tonic: int) -> tuple[int, str]:
    """The V of a tonic, with a major third."""
    return (tonic + 7) % 12, "M"


def goes_home(row: Row, home: tuple[int, str]) -> list[int]:
    """Places in a row where V goes to its tonic."""
    step = five_of(home[0]), home
    return [place for place, pair in enumerate(pairwise(row), 1) if pair == step]


def speaks_of(row: Row, one: tuple[int, str]) -> bool:
    """Whether V goes to I in a section, or follows it first and is waited on at the end."""
    waits = len(row) > 2 and row[1] == row[-1] == five_of(one[0])
    return bool(goes_home(row, one)) or waits


def in_relative_minor(bars: Sequence[SongBar], row: Row, tonic: int, home: int) -> bool:
    """Whether a section of a major key is in its relative minor."""
    one, major = (tonic, "m"), (home, "M")
    own, other = goes_home(row, one), goes_home(row, major)
    waits = row[-1] == five_of(tonic)
    closes = len(own) > len(other) and own[-1:] > other[-1:]
    # As often as in the major key, and last, with no more than a chord that leads on.
    ends = bool(own) and len(own) == len(other) and own[-1] >= len(row) - 2
    # A few chords more that end on the V of the major key have led back to it.
    leads_back = row[-1] == five_of(home) and own[-1:] < [len(row) - 2]
    return (
        row[0] == one
        and held(bars, one) >= held(bars, major)
        and ((closes and not leads_back) or ends or (waits and not other))
    )


def goes_on_home(bars: Sequence[SongBar], minor: int, major: int) -> bool:
    """Whether an eight begins on neither tonic and comes home in the major key alone."""
    row = chords_in_order(bars)
    ones = (minor, "m"), (major, "M")
    begins = bool(row) and row[0] not in ones
    return begins and not goes_home(row, ones[0]) and bool(goes_home(row, ones[1]))


def in_relative_major(bars: Sequence[SongBar], row: Row, tonic: int, home: int) -> bool:
    """Whether a section of a minor key is in its relative major."""
    one, minor = (tonic, "M"), (home, "m")
    if len(row) > 1 and row[-1] == five_of(home) and row[-2] in {one, five_of(tonic)}:
        # The V of the minor key leads back to it.
        row = row[:-1]
    return (
        row[0] == one
        and row[-1] in {one, five_of(tonic)}
        and held(bars, one) >= held(bars, minor)
        and speaks_of(row, one)
        and five_of(home) not in row
    )
