"""Sections, and the tonic that a section confirms by a cadence of its own.

Conventions: a section confirms a tonic when it begins on it (or on the ii that leads to
its dominant), goes from its dominant seventh to it or has a plain IV and V, ends on it (or,
where it goes from its dominant seventh to it before, on its V), and rests on it for a
quarter of its time. In the charts that ``weights`` names, marked
sections do so, by a dominant seventh, for the tonic that was heard in 169 of 175 cases. A
short sheet says everything once: there a plain dominant after IV or ii is enough, and
where nothing is marked, four bars that begin and end on a tonic are taken for a section.

Contents: parts_of, has_sections, part_numbers, confirmed_points.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.eights import EIGHT
from melodex.analysis.keys.song.layout import Layout
from melodex.analysis.keys.song.points import FIFTH, KINDS, NO_ROOT, RESTING, SongBar

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["confirmed_points", "has_sections", "part_numbers", "parts_of"]

SHORTEST_SECTION = 4
SHORT_SHEET, SHORT_SECTION = 40, 4
LONGEST_COUNTED = 40
"""Bars of a sheet with nothing printed in which eights are taken for sections; our
choice."""
CONFIRMED = 14.0
"""Points for a tonic that its section confirms in a short sheet; in a long one the counts
say it better (``benchmarks/analysis/keys/songs``)."""
LEAST_SHARE = 0.25
"""Of a section's bars that its tonic must hold; our choice."""
FEWEST_CHORDS = 3
"""Chords of a section that can confirm anything."""


def parts_of(layout: Layout) -> list[tuple[int, int]]:
    """First bar and end of each section; a short one goes with the one before it.

    Where nothing is printed, eight bars are taken for one.
    """
    if len(layout.starts) > 1:
        return cut(sorted(layout.starts), len(layout.bars))
    return cut(range(layout.first, len(layout.bars), EIGHT), len(layout.bars))


def has_sections(layout: Layout) -> bool:
    """Whether sections are printed, or a sheet is so short that its eights are some."""
    return len(layout.starts) > 1 or len(layout.bars) <= LONGEST_COUNTED


def part_numbers(layout: Layout) -> list[int]:
    """The section that each bar belongs to, counted from 0."""
    numbers: list[int] = []
    for number, (first, stop) in enumerate(parts_of(layout)):
        numbers += [number] * (stop - first)
    return numbers


def cut(starts: Sequence[int], count: int) -> list[tuple[int, int]]:
    """Stretches from starts, none shorter than a section can be."""
    cuts = [0]
    for start in starts:
        if start - cuts[-1] >= SHORTEST_SECTION:
            cuts.append(start)
    if len(cuts) > 1 and count - cuts[-1] < SHORTEST_SECTION:
        cuts.pop()
    return list(pairwise([*cuts, count]))


def confirmed_points(layout: Layout) -> ndarray:
    """Points of the tonics that sections confirm, of shape (n, 12)."""
    import numpy as np

    count = len(layout.bars)
    points = np.zeros((count, 12))
    if count > SHORT_SHEET:
        return points
    printed = len(layout.starts) > 1
    fours = range(layout.first, count, SHORT_SECTION)
    parts = parts_of(layout) if printed else cut(fours, count)
    home = framing(layout.bars)
    for first, stop in parts:
        tonic = confirmed(layout.bars[first:stop], from_two=printed)
        if tonic is not None and (printed or home is None or tonic != (home + FIFTH) % 12):
            points[first:stop, tonic] += CONFIRMED / (stop - first)
    return points


def framing(bars: Sequence[SongBar]) -> int | None:
    """The root that a piece begins and ends with; four bars on its V are no other key."""
    roots = [chord[0] for bar in bars for chord in bar.chords if chord[0] != NO_ROOT]
    return roots[0] if roots and roots[0] == roots[-1] else None


def confirmed(bars: Sequence[SongBar], from_two: bool) -> int | None:
    """The tonic that some bars confirm, if there is one."""
    chords: list[tuple[int, str]] = []
    held: dict[int, float] = defaultdict(float)
    for bar in bars:
        for root, kind, share in bar.chords:
            if root == NO_ROOT:
                continue
            name = KINDS[kind]
            held[root] += share * (name in RESTING)
            if not chords or chords[-1] != (root, name):
                chords.append((root, name))
    if len(chords) < FEWEST_CHORDS:
        return None
    ends_on_five = from_two and closes_on_five(chords)
    tonic = chords[0 if ends_on_five else -1][0]
    begins = {tonic, (tonic + 2) % 12} if from_two else {tonic}
    if chords[0][0] not in begins or held[tonic] < LEAST_SHARE * len(bars):
        return None
    if ends_on_five:
        return tonic
    if chords[-1][1] not in RESTING:
        return None
    # A plain V is no more than a chord beside the tonic, unless IV or ii leads to it.
    prepared = any((root - tonic) % 12 in {2, 5} for root, _ in chords)
    leading = {"dominant", "major"} if prepared else {"dominant"}
    if is_reached(chords, tonic, leading) or (from_two and is_closed(chords, tonic)):
        return tonic
    return None


def is_reached(
    chords: Sequence[tuple[int, str]], tonic: int, leading: Collection[str]
) -> bool:
    """Whether a V of some kinds goes to a tonic at rest."""
    return any(
        before[0] == (tonic + 7) % 12
        and before[1] in leading
        and after[0] == tonic
        and after[1] in RESTING
        for before, after in pairwise(chords)
    )


def closes_on_five(chords: Sequence[tuple[int, str]]) -> bool:
    """Whether a section ends on the V of its first chord, which V7 led to before."""
    (tonic, name), (last, kind) = chords[0], chords[-1]
    on_five = (last - tonic) % 12 == 7 and kind in {"dominant", "major"}
    return on_five and name in RESTING and is_reached(chords, tonic, {"dominant"})


def is_closed(chords: Sequence[tuple[int, str]], tonic: int) -> bool:
    """Whether a section has a major I at both ends, and IV and V between them.

    So where it comes home from IV, with no dominant seventh anywhere.
    """
    if {chords[0], chords[-1]} - {(tonic, "major"), (tonic, "major seventh")}:
        return False
    held = {(root - tonic) % 12 for root, name in chords if name in {"major", "dominant"}}
    return {5, 7} <= held and (chords[-2][0] - tonic) % 12 in {5, 7}
