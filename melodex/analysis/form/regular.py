"""Sections of one chorus of a song, counted as its form is usually counted.

Conventions: a sheet that is no longer than one chorus and prints no sections has eights,
or twelves where it is a blues; that is common practice, no source. Eights are only taken
where the division that was found has shorter parts among them, and where an eight comes
again, or the whole is sixteen. Bars are counted from 0.

Contents: regular_starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from melodex.analysis.form.bars import FormBar
from melodex.analysis.form.letters import as_alike

__all__ = ["regular_starts"]

EIGHT, TWELVE, SIXTEEN = 8, 12, 16
LONGEST_SHEET = 64
OPENING = 4
SAME_OPENING = 0.6
"""Likeness of the first four bars from which an eight is taken to come again."""
ONE_CHORUS = (32, 36)
TAG = 4
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
    lengths = [b - a for a, b in pairwise([0, *starts, count])]
    if count > LONGEST_SHEET or count < SIXTEEN or len(lengths) < 2:
        return list(starts)
    if count in ONE_CHORUS and pairs_of_eights(lengths):
        return list(range(EIGHT, count - TAG, EIGHT))
    uneven = min(lengths) < EIGHT and len(set(lengths)) > 1
    doubled = max(lengths) < EIGHT and count > SIXTEEN
    if count % EIGHT or not (uneven or doubled):
        return list(starts)
    if count == SIXTEEN or eight_returns(bars):
        return list(range(EIGHT, count, EIGHT))
    return list(starts)


def pairs_of_eights(lengths: Sequence[int]) -> bool:
    """Whether a chorus was parted in eights and one pair of them, with or without a tag."""
    own = list(lengths[:-1]) if lengths[-1] == TAG else list(lengths)
    return own.count(SIXTEEN) == 1 and set(own) == {EIGHT, SIXTEEN}


def eight_returns(bars: Sequence[FormBar]) -> bool:
    """Whether one of the eights begins as one before it does."""
    openings = [bars[i : i + OPENING] for i in range(0, len(bars), EIGHT)]
    return any(
        as_alike(earlier, opening, SAME_OPENING)
        for place, opening in enumerate(openings)
        for earlier in openings[:place]
    )


def is_blues(bars: Sequence[FormBar]) -> bool:
    """Whether every twelve bars have the roots of a blues at its corners.

    I in the first bar, IV in the fifth, home again in the seventh, V in the ninth or tenth.
    """
    if not bars or len(bars) % TWELVE:
        return False
    home = first_root(bars[0])
    return home >= 0 and all(
        is_chorus(bars[i : i + TWELVE], home) for i in range(0, len(bars), TWELVE)
    )


def is_chorus(bars: Sequence[FormBar], home: int) -> bool:
    """Whether twelve bars are one chorus of a blues."""
    above = [(first_root(bar) - home) % TWELVE for bar in bars]
    turn = {(root - home) % TWELVE for bar in bars[8:10] for _, root, _ in bar.chords}
    corners = above[0] == 0 and above[4] == FOURTH and above[6] in HOME_AGAIN
    return corners and FIFTH in turn


def first_root(bar: FormBar) -> int:
    """The root that a bar begins with, -1 for none."""
    return min(bar.chords)[1] if bar.chords else -1
