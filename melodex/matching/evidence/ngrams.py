"""N-grams: which short figures two melodies share, and how rare they are.

Conventions: an n-gram is a row of intervals between successive notes, in
semitones, so that transposition is gone; n counts intervals. It stands at the
index of its first note. Rarity is what a figure tells: a figure that every tune
has tells nothing. N-grams show and weigh what is shared; the search does not rest
on them, since they would miss tunes that alignment finds.

Contents: SharedNgram, Overlap, ngrams_of, shared_ngrams, weigh,
overlap.

References
----------
Sparck Jones (1972), J. Documentation 28, 11-21: a term weighs the logarithm of
the inverse of the share of documents that have it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

from melodex.records import dataclass
from melodex.settings import NGRAM_LENGTH

__all__ = [
    "Ngram",
    "Overlap",
    "SharedNgram",
    "ngrams_of",
    "overlap",
    "shared_ngrams",
    "weigh",
]

Ngram = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SharedNgram:
    """A figure that two melodies share.

    Parameters
    ----------
    intervals : tuple of int
        Semitones.
    query_starts, tune_starts : tuple of int
        Notes at which it begins in either.
    tunes : int
        How many tunes of the corpus have it.
    weight : float
        What sharing it tells; see :func:`weigh`.
    """

    intervals: Ngram
    query_starts: tuple[int, ...]
    tune_starts: tuple[int, ...]
    tunes: int
    weight: float


@dataclass(frozen=True, slots=True)
class Overlap:
    """What a phrase and a tune share in n-grams.

    Parameters
    ----------
    shared : tuple of SharedNgram
        Rarest first, then as they come in the phrase.
    share : float
        Weight of what is shared, as a part of the weight of all that the phrase
        has, from 0 to 1; 0 where the phrase is too short to have any.
    """

    shared: tuple[SharedNgram, ...]
    share: float


def ngrams_of(pitch: bytes, length: int = NGRAM_LENGTH) -> dict[Ngram, tuple[int, ...]]:
    """Return the n-grams of a melody and where each begins.

    Parameters
    ----------
    pitch : bytes
        Of shape (n,), in semitones.
    length : int
        Intervals in an n-gram.

    Examples
    --------
    >>> ngrams_of(bytes([60, 62, 64, 66, 68]), 2)
    {(2, 2): (0, 1, 2)}
    """
    steps = [after - before for before, after in pairwise(pitch)]
    found: dict[Ngram, list[int]] = {}
    for start in range(len(steps) - length + 1):
        found.setdefault(tuple(steps[start : start + length]), []).append(start)
    return {ngram: tuple(starts) for ngram, starts in found.items()}


def shared_ngrams(
    query_pitch: bytes, tune_pitch: bytes, length: int = NGRAM_LENGTH
) -> dict[Ngram, tuple[tuple[int, ...], tuple[int, ...]]]:
    """Return the n-grams that both have, with where they begin in each.

    Examples
    --------
    >>> shared_ngrams(bytes([60, 62, 64, 60]), bytes([70, 65, 67, 69, 71]), 2)
    {(2, 2): ((0,), (1, 2))}
    """
    theirs = ngrams_of(tune_pitch, length)
    return {
        ngram: (starts, theirs[ngram])
        for ngram, starts in ngrams_of(query_pitch, length).items()
        if ngram in theirs
    }


def weigh(tunes_with_it: int, tunes: int) -> float:
    """Return what sharing a figure tells, in natural logarithmic units.

    One is added to both counts, so that a figure found nowhere (the phrase need
    not stand in the corpus) has a weight too, and one found everywhere has none.

    Examples
    --------
    >>> weigh(99, 99), round(weigh(0, 99), 2)
    (0.0, 4.61)
    """
    return math.log((tunes + 1) / (tunes_with_it + 1))


def overlap(
    query_pitch: bytes,
    tune_pitch: bytes,
    counts: Mapping[Ngram, int],
    tunes: int,
    length: int = NGRAM_LENGTH,
) -> Overlap:
    """Weigh what a phrase and a tune share.

    Parameters
    ----------
    query_pitch, tune_pitch : bytes
        Of shape (n,) and (m,), in semitones; the tune may be a passage of one.
    counts : mapping
        Tunes per n-gram, at least for those of the phrase.
    tunes : int
        Tunes in the corpus.
    length : int
        Intervals in an n-gram.

    Raises
    ------
    KeyError
        If an n-gram of the phrase was not counted.

    Examples
    --------
    >>> counts = {(2, 2): 9, (2, -4): 0}
    >>> found = overlap(bytes([60, 62, 64, 60]), bytes([65, 67, 69]), counts, 99, 2)
    >>> [shared.intervals for shared in found.shared], round(found.share, 3)
    ([(2, 2)], 0.333)
    """
    whole = ngrams_of(query_pitch, length)
    total = sum(weigh(counts[ngram], tunes) * len(whole[ngram]) for ngram in whole)
    shared = [
        SharedNgram(ngram, mine, theirs, counts[ngram], weigh(counts[ngram], tunes))
        for ngram, (mine, theirs) in shared_ngrams(query_pitch, tune_pitch, length).items()
    ]
    shared.sort(key=lambda entry: (entry.tunes, entry.query_starts))
    weight = sum(entry.weight * len(entry.query_starts) for entry in shared)
    return Overlap(tuple(shared), weight / total if total else 0.0)
