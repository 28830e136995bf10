"""Published key profiles, and the key whose profile fits a melody best.

Conventions: a profile gives twelve numbers, one per semitone above the tonic, for
major and for minor; a key is chosen by the highest Pearson correlation between the
profile, moved to the tonic, and the total length of each pitch class. These know
two modes and no spelling; they stand beside our own reading as a second opinion
that anyone can check against the literature.

References
----------
Krumhansl and Kessler (1982), "Tracing the dynamic changes in perceived tonal
organization in a spatial representation of musical keys", Psychological Review 89,
334-368: probe-tone ratings (from memory; checked against music21 in the tests).
Albrecht and Shanahan (2013), "The use of large corpora to train a new type of
key-finding algorithm", Music Perception 31, 59-67: shares of notes (from memory).
Krumhansl (1990), Cognitive Foundations of Musical Pitch, chapter 4: correlation
with lengths as a way to find a key.

Contents: PROFILES, profile_correlation, profile_keys, pitch_class_lengths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from melodex.melody import Key, Melody, pitch_class

__all__ = ["PROFILES", "pitch_class_lengths", "profile_correlation", "profile_keys"]

PROFILES = {
    "krumhansl-kessler": {
        "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
        "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
    },
    "albrecht-shanahan": {
        "major": (
            *(0.238, 0.006, 0.111, 0.006, 0.137, 0.094),
            *(0.016, 0.214, 0.009, 0.080, 0.008, 0.081),
        ),
        "minor": (
            *(0.220, 0.006, 0.104, 0.123, 0.019, 0.103),
            *(0.012, 0.214, 0.062, 0.022, 0.061, 0.052),
        ),
    },
}
"""Twelve numbers a mode, from the tonic upward by semitones."""

USUAL_TONICS = range(-5, 7)
"""One spelling a pitch class, D flat to F sharp: profiles cannot tell more."""


def profile_correlation(one: Sequence[float], other: Sequence[float]) -> float:
    """Return the Pearson correlation of two rows of twelve numbers; 0 if one is flat.

    Examples
    --------
    >>> major = PROFILES["krumhansl-kessler"]["major"]
    >>> round(profile_correlation(major, major[-7:] + major[:-7]), 3)  # C and G major
    0.591
    """
    mean_one, mean_other = sum(one) / len(one), sum(other) / len(other)
    a = [x - mean_one for x in one]
    b = [x - mean_other for x in other]
    size = math.sqrt(sum(x * x for x in a) * sum(x * x for x in b))
    return sum(x * y for x, y in zip(a, b, strict=True)) / size if size else 0.0


def pitch_class_lengths(melody: Melody) -> list[int]:
    """Return how many ticks each pitch class sounds, of shape (12,), from C upward."""
    lengths = [0] * 12
    for midi, ticks in zip(melody.midi, melody.duration_ticks, strict=True):
        lengths[midi % 12] += ticks
    return lengths


def profile_keys(
    lengths: Sequence[float], profile: str = "albrecht-shanahan"
) -> list[tuple[Key, float]]:
    """Return the 24 keys by falling correlation with the lengths of pitch classes.

    Parameters
    ----------
    lengths : sequence of float, of shape (12,)
        How long each pitch class sounds, from C upward, in any unit.
    profile : str
        A name in :data:`PROFILES`.

    Raises
    ------
    KeyError
        If there is no such profile.

    Examples
    --------
    >>> str(profile_keys([4, 0, 2, 0, 3, 2, 0, 3, 0, 1, 0, 1])[0][0])
    'C major'
    """
    found = []
    for tonic in USUAL_TONICS:
        place = pitch_class(tonic)
        turned = [*lengths[place:], *lengths[:place]]
        for mode, row in PROFILES[profile].items():
            found.append((Key(tonic, mode), profile_correlation(turned, row)))
    return sorted(found, key=lambda item: (-item[1], item[0].tonic_fifths, item[0].mode))
