"""Phrases from fermatas, as chorales write them.

Conventions: in a chorale a fermata ends a line of the words, whether or not the note is
held (common practice; Bach's four-part settings are printed so). One or two fermatas in
a song say where to stay, not how it is phrased: they mark nothing.

Contents: phrases_held.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

__all__ = ["phrases_held"]

FEWEST_FERMATAS = 3
LONGEST_PHRASE = 32
"""Notes; of the phrases marked in the Essen songs 1 in 2,400 has 30 notes or more."""


def phrases_held(held: Sequence[bool]) -> tuple[int, ...]:
    """Return the phrase of each note where fermatas mark phrases; empty if they do not.

    Parameters
    ----------
    held : sequence of bool, of shape (n,)
        Whether a fermata stands over each note.

    Returns
    -------
    tuple of int, of shape (n,) or (0,)
        Indexes from 0; a phrase ends with a note under a fermata, of several in a row
        with the last.

    Examples
    --------
    >>> phrases_held([False, True, False, True, False, True])
    (0, 0, 1, 1, 2, 2)
    >>> phrases_held([False, True, False, False])
    ()
    """
    ends = [place for place, sign in enumerate(held) if sign]
    edges = [-1, *ends, len(held) - 1]
    longest = max(b - a for a, b in pairwise(edges))
    if len(ends) < FEWEST_FERMATAS or longest > LONGEST_PHRASE:
        return ()
    phrase, found = 0, []
    for place, sign in enumerate(held):
        found.append(phrase)
        in_row = place + 1 < len(held) and held[place + 1]
        phrase += sign and not in_row
    return tuple(found)
