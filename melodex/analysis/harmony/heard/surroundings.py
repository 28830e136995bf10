"""Which chords the notes of some bars around lead one to expect.

Conventions: keys are tonics on the line of fifths, major and minor; how likely each is at
a place is worked out from the notes of the bars around it, and of a chord it is said how
common it is in a key. The tables are round numbers of our own after common practice; how
much they weigh is fitted with the other points.

Contents: expected.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.slices import REACH, ROOTS_AROUND, Heard

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["expected"]

AROUND_QUARTERS = 8.0
"""How far around a place notes are counted for its key, on either side."""

SURENESS = 14.0
"""How many notes the counted time is worth."""

IN_MAJOR = {0: 1.0, 1: 0.95, 4: 0.8, -1: 0.6, 2: 0.65, 3: 0.55, 5: 0.45}
IN_MINOR = {0: 1.0, 1: 0.95, -3: 0.8, -1: 0.6, 2: 0.6, -4: 0.5, 5: 0.4, -2: 0.35, 3: 0.12}
ELSEWHERE = 0.06
"""Weight of each degree, in fifths from the tonic, in major and in minor."""

MAJOR_CHORDS: dict[tuple[int, str], float] = {
    (0, ""): 0, (1, ""): 0, (1, "7"): 0, (-1, ""): -0.5, (2, "m"): -0.6, (2, "m7"): -0.7,
    (3, "m"): -0.6, (3, "m7"): -1.2, (4, "m"): -1.4, (5, "dim"): -0.8, (5, "m7b5"): -1.2,
    (5, "dim7"): -1.4, (-1, "maj7"): -1.3, (0, "maj7"): -1.8, (2, ""): -1.3,
    (2, "7"): -1.0, (3, "7"): -1.2, (3, ""): -1.5, (4, "7"): -1.3, (4, ""): -1.6,
    (0, "7"): -1.2, (-1, "m"): -1.7, (2, "m7b5"): -1.8, (-4, ""): -2.0, (-4, "7"): -2.2,
    (6, "dim7"): -1.6, (6, "dim"): -1.8, (6, "m7b5"): -1.8, (8, "dim7"): -1.9,
    (7, "dim7"): -2.0, (4, "dim7"): -2.2, (0, "m"): -2.0, (4, "dim"): -2.4,
    (4, "m7"): -1.8, (5, "7"): -2.0, (8, "dim"): -2.2,
}  # fmt: skip
MINOR_CHORDS: dict[tuple[int, str], float] = {
    (0, "m"): 0, (1, ""): -0.2, (1, "7"): 0, (-1, "m"): -0.5, (2, "dim"): -1.0,
    (2, "m7b5"): -0.7, (-4, ""): -0.7, (-3, ""): -0.8, (-2, ""): -1.0, (-2, "7"): -1.1,
    (5, "dim7"): -0.7, (5, "dim"): -0.9, (1, "m"): -1.4, (-4, "maj7"): -1.5,
    (-4, "7"): -1.5, (0, ""): -1.5, (0, "7"): -1.3, (2, "7"): -1.6, (2, ""): -2.0,
    (-1, ""): -1.6, (-1, "m7"): -1.4, (0, "m7"): -1.7, (6, "dim7"): -1.6,
    (6, "dim"): -2.0, (-5, ""): -1.8, (-3, "7"): -1.7, (4, "dim7"): -2.0,
    (4, "dim"): -2.2, (2, "m"): -2.2, (-3, "aug"): -2.2, (-1, "7"): -2.0,
    (-3, "maj7"): -1.8, (1, "m7"): -2.0, (3, "dim"): -2.2, (3, "m7b5"): -2.2,
}  # fmt: skip
RARE = -3.0
"""How common a chord is in a key, as a logarithm; :data:`RARE` where nothing is said."""

TONICS_AROUND = ROOTS_AROUND + 3


def expected(heard: Heard, kinds: tuple[str, ...]) -> ndarray:
    """How likely each chord is in each slice by the key around, of shape (slices, states).

    Parameters
    ----------
    heard : Heard
    kinds : tuple of str
        The kinds of chords, in the order of the states: ``root * len(kinds) + kind``.
    """
    import numpy as np

    profiles, chords = tables(kinds)
    counted = around(heard)
    fit = counted @ profiles
    fit -= fit.max(axis=1, keepdims=True)
    likely = np.exp(fit)
    likely /= likely.sum(axis=1, keepdims=True)
    found: ndarray = likely @ chords
    return found


def around(heard: Heard) -> ndarray:
    """Share of each note in the time around each slice, times :data:`SURENESS`."""
    import numpy as np

    times = np.concatenate([[0.0], np.cumsum(heard.quarters)])
    sounding = np.minimum(heard.struck + heard.held, 1) * heard.quarters[:, None]
    sums = np.vstack([np.zeros(sounding.shape[1]), np.cumsum(sounding, axis=0)])
    first = np.searchsorted(times, times[:-1] - AROUND_QUARTERS)
    last = np.searchsorted(times, times[1:] + AROUND_QUARTERS, side="right") - 1
    last = np.minimum(last, len(times) - 1)
    counted = sums[last] - sums[first]
    found: ndarray = counted * SURENESS / np.maximum(counted.sum(axis=1), 1e-9)[:, None]
    return found


@lru_cache(maxsize=4)
def tables(kinds: tuple[str, ...]) -> tuple[ndarray, ndarray]:
    """How likely notes and chords are in keys, as logarithms.

    Of shape (2 * REACH + 1, keys) and (keys, states).
    """
    import numpy as np

    tonics = range(-TONICS_AROUND, TONICS_AROUND + 1)
    keys = [(tonic, minor) for minor in (False, True) for tonic in tonics]
    notes = np.zeros((2 * REACH + 1, len(keys)))
    chords = np.full((len(keys), (2 * ROOTS_AROUND + 1) * len(kinds)), RARE)
    for number, (tonic, minor) in enumerate(keys):
        weights = IN_MINOR if minor else IN_MAJOR
        row = np.array(
            [weights.get(place - tonic, ELSEWHERE) for place in range(-REACH, REACH + 1)]
        )
        notes[:, number] = np.log(row / sum((*weights.values(), 5 * ELSEWHERE)))
        for (degree, kind), common in (MINOR_CHORDS if minor else MAJOR_CHORDS).items():
            root = tonic + degree + ROOTS_AROUND
            if 0 <= root <= 2 * ROOTS_AROUND:
                chords[number, root * len(kinds) + kinds.index(kind)] = common
    return notes, chords
