"""What the chords of a song say about its tonic, bar by bar.

Conventions: a tonic is a pitch class, 0 for C to 11; a chord is a root and one of
:data:`KINDS`. All points are additive over bars: their sum over a piece is a conditional
logit over the twelve tonics, in which a chord or a pair of chords counts by the square
root of its share, so that a loop of four bars says no more when it is played again, and
what is heard once still speaks; to which is added how often chords of a kind stand so far
above the tonic. Places are those of the form: the bar that begins a section, every fourth
and second bar after it, the last chord of a section.

References
----------
McFadden (1974), "Conditional logit analysis of qualitative choice behavior": the model;
the weights are those of ``weights``.

Contents: KINDS, SongBar, kind_of, chord_points, melody_points, signature_points.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.weights import (
    CHORDS,
    HELD,
    MELODY,
    PAIRS,
    PLACES,
    SIGNATURE,
)
from melodex.melody import pitch_class

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.analysis.harmony.chords import Chord

__all__ = [
    "FIFTH",
    "KINDS",
    "RESTING",
    "SongBar",
    "chord_points",
    "kind_of",
    "melody_points",
    "signature_points",
]

KINDS = tuple(CHORDS)
RESTING = frozenset({"major", "major seventh", "minor", "minor seventh"})
"""Kinds of chord that may be a I at rest."""
FIFTH = 7
"""Semitones from a tonic up to its V."""
GROUPS = "MDMmmddMM"
"""The letter of each kind in the pairs of ``weights``."""
LETTERS = "MDmd"
TONICS = 12
NO_ROOT = -1
MELODY_WEIGHT, SIGNATURE_WEIGHT = 7.5, 1.25
"""Points of a whole melody over the mean of its logarithms: in songs with both, melody
and chords were best weighed nine to ten, and chords here part the best tonic from the
next by six to eight times their mean logarithm. A signature counts a quarter more than its
logarithm, as the chords' lead over the next best tonic does since counts are added
(5.5 for 4.5 points in the median of the charts)."""


@dataclass(frozen=True, slots=True)
class SongBar:
    """One bar as the model sees it.

    Parameters
    ----------
    chords : tuple of (int, int, float)
        Root (pitch class), index in :data:`KINDS`, share of the bar, in order.
    notes : tuple of (int, float)
        Pitch class and length in bars of each note that starts in it.
    place : str
        ``section``, ``four``, ``two`` or ``odd``.
    closes : bool
        Whether a marked section ends with it.
    """

    chords: tuple[tuple[int, int, float], ...]
    notes: tuple[tuple[int, float], ...]
    place: str
    closes: bool = False


def kind_of(chord: Chord) -> int:
    """Return the index in :data:`KINDS` of a chord that sounds.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> [KINDS[kind_of(parse_chord(text))] for text in ("C9", "Cm7", "C7sus4")]
    ['dominant', 'minor seventh', 'suspended']
    """
    seventh = -2 in chord.degrees
    if chord.family == "minor":
        return KINDS.index("minor seventh" if seventh else "minor")
    if chord.family == "major":
        return KINDS.index("major seventh" if 5 in chord.degrees else "major")
    plain = {
        "dominant": "dominant",
        "half-diminished": "half-diminished",
        "diminished": "diminished",
        "suspended": "suspended",
        "power": "fifth",
    }
    # Augmented chords are dominants where they have a seventh.
    return KINDS.index(plain.get(chord.family, "dominant" if seventh else "major"))


def chord_points(bars: Sequence[SongBar], parts: Sequence[int] | None = None) -> ndarray:
    """Points of each tonic in each bar by the chords, of shape (n, 12).

    Parameters
    ----------
    bars : sequence of SongBar, of shape (n,)
        The piece.
    parts : sequence of int, of shape (n,), optional
        The part that each bar belongs to, counted from 0: shares are then those of the
        part, as if each were heard for itself.
    """
    import numpy as np

    points = np.zeros((len(bars), TONICS))
    part = np.zeros(len(bars), int) if parts is None else np.asarray(parts)
    singles, pairs, places = occurrences(bars)
    add_points(points, singles, chord_table(), part, by_root=True)
    add_points(points, singles, held_table(), part, by_root=False)
    add_points(points, pairs, pair_table(), part, by_root=True)
    for name, found in places.items():
        add_points(points, found, place_table()[name], part, by_root=False)
    return points


Occurrence = tuple[int, int, int, float]
"""Bar, root, what the table is asked for beside it, and how much it counts."""


def occurrences(
    bars: Sequence[SongBar],
) -> tuple[list[Occurrence], list[Occurrence], dict[str, list[Occurrence]]]:
    """Chords, pairs of chords and chords at places, with their bars."""
    singles: list[Occurrence] = []
    pairs: list[Occurrence] = []
    places: dict[str, list[Occurrence]] = {name: [] for name in PLACES}
    before: tuple[int, int] | None = None
    last: Occurrence | None = None
    for number, bar in enumerate(bars):
        for root, kind, share in bar.chords:
            if root == NO_ROOT:
                before = None
                continue
            singles.append((number, root, kind, share))
            if before is not None and before != (root, kind):
                # A pair is named by its second root, and what came before it.
                step = (before[0] - root) % 12
                named = (step * 4 + group(before[1])) * 4 + group(kind)
                pairs.append((number, root, named, 1.0))
            before = (root, kind)
        sounding = [chord for chord in bar.chords if chord[0] != NO_ROOT]
        if not sounding:
            continue
        (first, first_kind, _), (final, final_kind, _) = sounding[0], sounding[-1]
        if last is None:
            places["start"].append((number, first, group(first_kind), 1.0))
        places[bar.place].append((number, first, group(first_kind), 1.0))
        last = (number, final, group(final_kind), 1.0)
        if bar.closes:
            places["close"].append(last)
    if last is not None:
        places["end"].append(last)
    return singles, pairs, places


def group(kind: int) -> int:
    """The coarser kind of a chord: an index in :data:`LETTERS`."""
    return LETTERS.index(GROUPS[kind])


def add_points(
    points: ndarray,
    found: Sequence[Occurrence],
    table: ndarray,
    part: ndarray,
    by_root: bool,
) -> None:
    """Add what each occurrence says, by its share of its part.

    ``by_root``: all of one chord together count by the square root of their share. The
    table is of shape (12 roots above the tonic, names).
    """
    import numpy as np

    if not found:
        return
    bars, roots, names = (np.array([row[i] for row in found]) for i in range(3))
    shares = np.array([row[3] for row in found])
    whole = np.bincount(part[bars], weights=shares)[part[bars]]
    weight = shares / whole
    if by_root:
        keys = (part[bars] * TONICS + roots) * table.shape[1] + names
        _, same = np.unique(keys, return_inverse=True)
        weight = shares / np.sqrt(np.bincount(same, weights=shares)[same] * whole)
    for tonic in range(TONICS):
        said = weight * table[(roots - tonic) % 12, names]
        points[:, tonic] += np.bincount(bars, weights=said, minlength=len(points))


@lru_cache(maxsize=1)
def chord_table() -> ndarray:
    """Points of each chord, of shape (12, kinds)."""
    import numpy as np

    return np.array([numbers(CHORDS[kind]) for kind in KINDS]).T


@lru_cache(maxsize=1)
def held_table() -> ndarray:
    """Points of each chord by its share of the time, of shape (12, kinds)."""
    import numpy as np

    return np.array([numbers(HELD[kind]) for kind in KINDS]).T


def numbers(text: str) -> list[float]:
    """The points of a row of ``weights``."""
    return [int(number) / 100 for number in text.split()]


def listed(text: str) -> list[tuple[int, int, float]]:
    """Semitones, letter and points of each entry of a row of ``weights``."""
    found = []
    for entry in text.split():
        name, number = entry.split(":")
        found.append((int(name[:-1]), LETTERS.index(name[-1]), int(number) / 100))
    return found


@lru_cache(maxsize=1)
def pair_table() -> ndarray:
    """Points of each pair, by the second root and what came before it: (12, 192)."""
    import numpy as np

    table = np.zeros((12, 12 * 4 * 4))
    for name, text in PAIRS.items():
        before, letter = int(name[:-1]), LETTERS.index(name[-1])
        for root, kind, number in listed(text):
            table[root, ((before - root) % 12 * 4 + letter) * 4 + kind] = number
    return table


@lru_cache(maxsize=1)
def place_table() -> dict[str, ndarray]:
    """Points of a chord at each place, of shape (12, letters)."""
    import numpy as np

    tables = {}
    for name, text in PLACES.items():
        tables[name] = np.zeros((12, 4))
        for root, kind, number in listed(text):
            tables[name][root, kind] = number
    return tables


def melody_points(bars: Sequence[SongBar]) -> ndarray:
    """Points of each tonic in each bar by the melody, of shape (n, 12)."""
    import numpy as np

    logs = np.log(np.array(MELODY))
    held = np.zeros((len(bars), TONICS))
    for number, bar in enumerate(bars):
        for pitch, length in bar.notes:
            held[number, pitch] += length
    total = held.sum()
    if not total:
        return held
    table = np.array([np.roll(logs, tonic) for tonic in range(TONICS)]).T
    points: ndarray = MELODY_WEIGHT / total * (held @ table)
    return points


def signature_points(signature_fifths: int, kept: float) -> ndarray:
    """Points of each tonic by a printed signature, of shape (12,).

    Parameters
    ----------
    signature_fifths : int
        Sharps, or flats below zero.
    kept : float
        How likely it is that the piece keeps to it at all, 0 to 1.
    """
    import numpy as np

    home = pitch_class(signature_fifths)
    return np.array(
        [
            SIGNATURE_WEIGHT
            * math.log(kept * SIGNATURE[(tonic - home) % 12] + (1 - kept) / TONICS)
            for tonic in range(TONICS)
        ]
    )
