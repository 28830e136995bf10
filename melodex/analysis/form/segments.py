"""Whole divisions of a song into sections: likely starts and usual lengths together.

Conventions: points are log odds that a section starts at the line before a bar; bars are
counted from 0. The best division has the greatest sum of points, a little for every
section, and the log share of the length of each.

A sheet that is no longer than one chorus and prints no sections has eights, or twelves
where it is a blues (common practice, no source). Eights are only taken where the division
that was found has shorter parts among them, and where the whole is short or an eight comes
again.

Contents: LONGEST_SECTION, LONGEST_SHEET, best_segments, start_points, length_logs,
regular_starts, is_sixteen_bar_blues.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.eights import EIGHT
from melodex.analysis.form import song_weights
from melodex.analysis.form.bars import FormBar
from melodex.analysis.form.letters import SAME_SECTION, as_alike

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = [
    "LONGEST_SECTION",
    "LONGEST_SHEET",
    "best_segments",
    "is_sixteen_bar_blues",
    "length_logs",
    "regular_starts",
    "start_points",
]

LONGEST_SECTION = 64
"""Bars; what is longer is as likely as this."""
START_BONUS, LENGTH_WEIGHT = 2.0, 0.5
"""Chosen on the charts that the trees were fitted on, in the same five folds: of thirty
pairs the best three come within .002 of one another, and this is the most regular."""

Node = tuple[int, float, int]


def best_segments(points: Sequence[float] | ndarray, lengths: Sequence[float]) -> list[int]:
    """Return the starts, but for the first, of the best division.

    Parameters
    ----------
    points : sequence of float, of shape (n,)
        Log odds of a start at each line; the first is not asked.
    lengths : sequence of float, of shape (LONGEST_SECTION + 1,)
        Log share of sections of so many bars.

    Returns
    -------
    list of int
        Bars from 0.
    """
    import numpy as np

    count = len(points)
    usual = LENGTH_WEIGHT * np.asarray(lengths, dtype=float)
    best, back = np.zeros(count + 1), np.zeros(count + 1, dtype=int)
    for stop in range(1, count + 1):
        first = max(0, stop - LONGEST_SECTION)
        values = best[first:stop] + usual[stop - first : 0 : -1]
        pick = int(values.argmax())
        own = points[stop] + START_BONUS if stop < count else 0.0
        best[stop], back[stop] = values[pick] + own, first + pick
    found: list[int] = []
    stop = int(back[count])
    while stop > 0:
        found.append(stop)
        stop = int(back[stop])
    return found[::-1]


def length_logs() -> list[float]:
    """Log shares of the lengths of sections in songs."""
    return [value / 1000 for value in song_weights.LENGTHS]


def start_points(features: ndarray) -> ndarray:
    """Return log odds of a start at each line, of shape (n,)."""
    import numpy as np

    feature, value, away, depth = questions()
    roots = np.arange(len(feature))[:, None]
    at = np.zeros((len(feature), len(features)), dtype=int)
    lines = np.arange(len(features))
    for _ in range(depth):
        asked = feature[roots, at]
        yes = features[lines, asked] <= value[roots, at]
        at += np.where(asked < 0, 0, np.where(yes, 1, away[roots, at]))
    total = np.full(len(features), song_weights.BASE / 1000)
    for said in value[roots, at]:
        total += said
    return total


@lru_cache(maxsize=1)
def trees() -> list[list[Node]]:
    """The trees as nodes: feature, threshold, steps to the no; a leaf has no feature."""
    return [[node_of(text) for text in tree.split(";")] for tree in song_weights.TREES]


@lru_cache(maxsize=1)
def questions() -> tuple[ndarray, ndarray, ndarray, int]:
    """Features, thresholds and steps of all trees, a row each, and the greatest depth."""
    import numpy as np

    most = max(len(tree) for tree in trees())
    nodes = np.array([tree + [(-1, 0.0, 0)] * (most - len(tree)) for tree in trees()])
    depth = max(depth_of(tree, 0) for tree in trees())
    return nodes[:, :, 0].astype(int), nodes[:, :, 1], nodes[:, :, 2].astype(int), depth


def depth_of(tree: list[Node], place: int) -> int:
    """How many questions a tree asks at most from one of its nodes on."""
    feature, _, away = tree[place]
    if feature < 0:
        return 0
    return 1 + max(depth_of(tree, place + 1), depth_of(tree, place + away))


def node_of(text: str) -> Node:
    """One node from its text."""
    parts = text.split()
    if len(parts) == 1:
        return -1, int(parts[0]) / 1000, 0
    return int(parts[0]), float(parts[1]), int(parts[2])


# One chorus, as it is usually counted.

TWELVE, SIXTEEN = 12, 16
LONGEST_SHEET = 64
"""Bars of a sheet that may be one chorus. Of the charts that the trees were fitted on 50
are no longer: strains told by their return there find .54 of their starts to the bar
(F1), .53 without; in longer ones they find fewer."""
LONGEST_PLAIN = 32
OPENING, HALF_OPENING = 4, 2
SAME_OPENING = 0.6
"""Likeness of the first four bars from which an eight is taken to come again."""
ONE_CHORUS = (32, 36)
TAG, TAGS = 4, frozenset({2, 4, 6})
FOURTH, FIFTH = 5, 7
HOME_AGAIN = frozenset({0, 4, 7})
"""Roots in bar 7 of a blues: I, or in its place iii or I over its fifth."""


def regular_starts(bars: Sequence[FormBar], starts: Sequence[int]) -> list[int]:
    """Return where sections start in one chorus, but for the first.

    Parameters
    ----------
    bars : sequence of FormBar
        A whole piece with chords.
    starts : sequence of int
        Where sections were found to start, but for the first.

    Returns
    -------
    list of int
        The usual starts where the piece has a usual form, else those given.
    """
    count = len(bars)
    if is_blues(bars):
        return list(range(TWELVE, count, TWELVE))
    if count % 2 == 0 and is_blues(bars[::2]):
        # Each bar of the form in two, as in fast time.
        return list(range(2 * TWELVE, count, 2 * TWELVE))
    if is_sixteen_bar_blues(bars):
        return []
    lengths = [b - a for a, b in pairwise([0, *starts, count])]
    if count > LONGEST_SHEET or count < SIXTEEN or len(lengths) < 2:
        return list(starts)
    if count in ONE_CHORUS and (pairs_of_eights(lengths) or is_uneven(bars, lengths)):
        return list(range(EIGHT, count - TAG, EIGHT))
    if opens_too_early(count, starts):
        return [start + HALF_OPENING for start in starts]
    if opening_twice(bars, lengths):
        return [OPENING, 2 * OPENING, *starts[1:]]
    if has_tag(bars, lengths):
        return list(range(EIGHT, count - count % EIGHT, EIGHT))
    if after_introduction(bars, lengths):
        return list(starts)
    uneven = min(lengths) < EIGHT and len(set(lengths)) > 1
    doubled = max(lengths) < EIGHT and count > SIXTEEN
    if count % EIGHT or not (uneven or doubled):
        return list(starts)
    if count <= LONGEST_PLAIN or eight_returns(bars):
        return list(range(EIGHT, count, EIGHT))
    return list(starts)


def opening_twice(bars: Sequence[FormBar], lengths: Sequence[int]) -> bool:
    """Whether four bars that were cut off come again at once, in no form of eights."""
    if len(bars) % EIGHT == 0 or lengths[0] != OPENING or lengths[1] <= EIGHT:
        return False
    return as_alike(bars[:OPENING], bars[OPENING : 2 * OPENING], SAME_SECTION)


def has_tag(bars: Sequence[FormBar], lengths: Sequence[int]) -> bool:
    """Whether eights that come again, and a tag, were cut into parts of a bar or two."""
    left = len(bars) % EIGHT
    whole = len(bars) - left
    shortest = min(lengths) < OPENING and len(lengths) > whole // EIGHT
    return shortest and left in TAGS and eight_returns(bars[:whole])


def after_introduction(bars: Sequence[FormBar], lengths: Sequence[int]) -> bool:
    """Whether eights stand between four bars and four, and more of them come again so."""
    if (lengths[0], lengths[-1]) != (OPENING, TAG) or any(n % EIGHT for n in lengths[1:-1]):
        return False
    return eights_again(bars[OPENING:-TAG]) > eights_again(bars)


def eights_again(bars: Sequence[FormBar]) -> int:
    """How many of the eights were there before, whole."""
    return sum(come_again(bars, EIGHT, SAME_SECTION))


def pairs_of_eights(lengths: Sequence[int]) -> bool:
    """Whether a chorus was parted in eights but for two or three that were left whole.

    With or without a tag, which may be in the last part.
    """
    own = list(lengths[:-1]) if lengths[-1] == TAG else list(lengths)
    if own[-1] == EIGHT + TAG:
        own[-1] = EIGHT
    one_pair = own.count(SIXTEEN) == 1 and set(own) == {EIGHT, SIXTEEN}
    return one_pair or sorted(own) == [EIGHT, SIXTEEN + EIGHT]


def is_uneven(bars: Sequence[FormBar], lengths: Sequence[int]) -> bool:
    """Whether a chorus whose eights come again was parted in odd numbers of bars."""
    whole = len(bars) - len(bars) % EIGHT
    return any(length % 2 for length in lengths) and eight_returns(bars[:whole])


def opens_too_early(count: int, starts: Sequence[int]) -> bool:
    """Whether two bars were cut off before strains that all begin two bars off the fours.

    What comes again there are the last bars of one four and the next.
    """
    if count % OPENING or len(starts) < 2 or starts[0] != HALF_OPENING:
        return False
    return all(start % OPENING == HALF_OPENING for start in starts)


def eight_returns(bars: Sequence[FormBar]) -> bool:
    """Whether one of the eights begins as one before it does."""
    return any(come_again(bars, OPENING, SAME_OPENING))


def come_again(bars: Sequence[FormBar], size: int, least: float) -> Iterator[bool]:
    """Of each eight in turn, whether it begins with so many bars of an eight before it."""
    parts = [bars[i : i + size] for i in range(0, len(bars), EIGHT)]
    for place, part in enumerate(parts):
        yield any(as_alike(earlier, part, least) for earlier in parts[:place])


def is_blues(bars: Sequence[FormBar]) -> bool:
    """Whether every twelve bars have the roots of a blues at its corners.

    I in the first bar, IV in the fifth, home again in the seventh, V in the ninth or tenth.
    """
    if not bars or len(bars) % TWELVE:
        return False
    # A riff may start before its chord does.
    home = first_root(bars[0] if bars[0].chords else bars[1])
    return home >= 0 and all(
        is_chorus(bars[i : i + TWELVE], home) for i in range(0, len(bars), TWELVE)
    )


def is_sixteen_bar_blues(bars: Sequence[FormBar]) -> bool:
    """Whether sixteen bars are one chorus on I7, IV7 and V, whatever their order."""
    if len(bars) != SIXTEEN or first_root(bars[0]) < 0:
        return False
    home = first_root(bars[0])
    kinds = {((root - home) % 12, kind) for b in bars for _, root, kind in b.chords}
    blue = {kind for above, kind in kinds if above in {0, FOURTH}} == {"dominant"}
    roots = {above for above, _ in kinds}
    return blue and {0, FOURTH, FIFTH} <= roots


def is_chorus(bars: Sequence[FormBar], home: int) -> bool:
    """Whether twelve bars are one chorus of a blues."""
    above = [(first_root(bar) - home) % 12 for bar in bars]
    turn = {(root - home) % 12 for bar in bars[8:10] for _, root, _ in bar.chords}
    begins = above[0] == 0 or not bars[0].chords
    corners = begins and above[4] == FOURTH and above[6] in HOME_AGAIN
    return corners and FIFTH in turn


def first_root(bar: FormBar) -> int:
    """The root that a bar begins with, -1 for none."""
    return min(bar.chords)[1] if bar.chords else -1
