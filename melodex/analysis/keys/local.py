"""The key at each moment: a hidden Markov model over tonics on the line of fifths.

Conventions: a piece is cut into cells (a beat of four voices, a chord, a bar of a
melody). A cell holds weights of spelled pitch classes and, where one is known or
can be guessed, a chord as (root in fifths, index in :data:`CHORD_KINDS`). States are
major and minor keys on every tonic near the middle of the piece, so transposing
changes nothing. What comes back is, for each cell, the likeliest key and its
probability given the whole piece (forward and backward).

How likely a degree or a chord is in a key was counted in human analyses, one half of
them; how readily keys change was tuned on the same half (``weights``).

References
----------
Rabiner (1989), "A tutorial on hidden Markov models", Proceedings of the IEEE 77,
257-286: forward and backward. Raphael and Stoddard (2004), "Functional harmonic
analysis using probabilistic models", Computer Music Journal 28(3), 45-52: keys as
hidden states (from memory). Krumhansl and Kessler (1982): near keys share a
signature or nearly so.

Contents: CHORD_KINDS, Close, LocalKey, LocalSetting, VOICES, CHORDS, MARKED, SLOWER, LINE,
local_keys_from_weights, chord_kind.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from melodex.analysis.keys.weights import (
    CHORD_LOGS,
    LOWEST_CHORD_ROOT,
    LOWEST_NOTE_DEGREE,
    NOTE_LOGS,
)

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = [
    "CHORDS",
    "CHORD_KINDS",
    "LINE",
    "MARKED",
    "SLOWER",
    "VOICES",
    "Close",
    "LocalKey",
    "LocalSetting",
    "chord_kind",
    "local_keys_from_weights",
]

CHORD_KINDS = (
    "major",
    "dominant seventh",
    "major seventh",
    "minor",
    "minor seventh",
    "diminished",
    "half-diminished",
    "diminished seventh",
)
"""Kinds that tell keys apart; richer chords count as the kind that they build on."""

REACH = 14
"""Fifths on either side of the middle that are counted."""
TONIC_REACH = 7
"""Fifths on either side of the middle that may be a tonic."""
MODES_HEARD = ("major", "minor")
SIGNATURE_SHIFT = (0, 3)
"""Fifths from the signature up to the tonic, in major and in minor."""


Close = tuple[int, int, str, float]
"""A cell, tonic and mode of a key, and the nats that speak for it there."""


@dataclass(frozen=True, slots=True)
class LocalKey:
    """The key of one cell and its probability."""

    tonic_fifths: int
    mode: str
    certainty: float


@dataclass(frozen=True, slots=True)
class LocalSetting:
    """How much notes and chords count, and how hard it is to leave a key.

    ``notes`` and ``chords`` scale log probabilities (cells are not independent, so
    less than 1); ``stay`` is the cost of any change, ``fresh`` how much less it is where
    a phrase begins, ``step`` the further cost for each sharp or flat by which the
    signatures differ.
    """

    notes: float
    chords: float
    stay: float
    step: float
    fresh: float = 0.0


VOICES = LocalSetting(notes=0.3, chords=0.5, stay=2.5, step=0.6)
CHORDS = LocalSetting(notes=0.3, chords=0.7, stay=2.5, step=0.5)
MARKED = LocalSetting(notes=0.37, chords=0.37, stay=2.9, step=0.77, fresh=1.85)
SLOWER = LocalSetting(notes=0.3, chords=0.7, stay=5.0, step=0.8)
LINE = LocalSetting(notes=0.5, chords=0.0, stay=6.0, step=0.5)
"""Tuned on the tuning half of the chorales, each piece left out in turn; ``MARKED`` with
the points of ``closes``, for those whose phrases are marked; ``SLOWER`` on the tuning half
of the madrigals: in longer and slower music a key holds longer."""
HOME_POINTS, HOME_ENDS_POINTS = 0.1, 1.0
"""In nats, for lead sheets only: pieces mostly start and end at home; our choice."""


def local_keys_from_weights(
    weights: Sequence[Mapping[int, float]],
    *,
    chords: Sequence[tuple[int, int] | None] | None = None,
    counts: Sequence[float] | None = None,
    home: tuple[int, str] | None = None,
    closes: Sequence[Close] = (),
    fresh: Collection[int] = (),
    setting: LocalSetting = VOICES,
) -> list[LocalKey]:
    """Say which key holds in each cell.

    Parameters
    ----------
    weights : sequence of mapping, of shape (n,)
        For each cell, how much each spelled pitch class (fifths) sounds in it; a
        cell of four voices sums to about 4.
    chords : sequence of (int, int) or None, of shape (n,), optional
        Root in fifths and index in :data:`CHORD_KINDS`, None where unknown.
    counts : sequence of float, of shape (n,), optional
        How much a cell counts; 1 by default.
    home : (int, str), optional
        Tonic and mode of the whole piece: it is a little likelier everywhere, and
        more so in the first and the last cell.
    closes : sequence of (int, int, str, float), optional
        A cell, tonic and mode of a key, and how many nats speak for it there: what
        cadences tell (``closes``).
    fresh : collection of int, optional
        Cells with which a phrase begins: there a key is left more easily.
    setting : LocalSetting
        By default the one for four voices by beat.

    Returns
    -------
    list of LocalKey, of length n

    Examples
    --------
    >>> cells = [{0: 2.0, 4: 1.0, 1: 1.0}, {1: 2.0, 5: 1.0, -1: 1.0}, {0: 3.0, 4: 1.0}]
    >>> key = local_keys_from_weights(cells)[1]
    >>> key.tonic_fifths, key.mode
    (0, 'major')
    """
    if not weights or not any(weights):
        return []
    import numpy as np

    middle = middle_of(weights)
    table = np.zeros((len(weights), 2 * REACH + 1))
    for row, cell in zip(table, weights, strict=True):
        for fifths, weight in cell.items():
            row[min(max(fifths - middle + REACH, 0), 2 * REACH)] += weight
    logs = setting.notes * (table @ note_table())
    if chords is not None and setting.chords:
        logs += setting.chords * chord_rows(chords, middle)
    if counts is not None:
        logs *= np.asarray(counts)[:, None]
    if home is not None:
        favour(logs, column_of(*home, middle))
    for place, tonic, mode, points in closes:
        column = column_of(tonic, mode, middle)
        if 0 <= column < logs.shape[1]:
            logs[place, column] += points
    usual = changes(setting.stay, setting.step)
    begun = changes(setting.stay - setting.fresh, setting.step)
    ways = [begun if place in fresh else usual for place in range(len(logs))]
    posterior = forward_backward(logs, ways)
    best = posterior.argmax(1)
    sure = posterior.max(1)
    return [
        LocalKey(middle + int(k) // 2 - TONIC_REACH, MODES_HEARD[int(k) % 2], float(p))
        for k, p in zip(best, sure, strict=True)
    ]


def column_of(tonic: int, mode: str, middle: int) -> int:
    """The column of a key; outside of the table where it lies too far from the middle."""
    return 2 * (tonic - middle + TONIC_REACH) + MODES_HEARD.index(mode)


def favour(logs: ndarray, column: int) -> None:
    """Make one key a little likelier everywhere, and more so at both ends."""
    if 0 <= column < logs.shape[1]:
        logs[:, column] += HOME_POINTS
        logs[[0, -1], column] += HOME_ENDS_POINTS


def middle_of(weights: Sequence[Mapping[int, float]]) -> int:
    """The mean place of all that sounds; a major tonic lies about two fifths below."""
    total = sum(sum(cell.values()) for cell in weights)
    place = sum(f * w for cell in weights for f, w in cell.items())
    return round(place / total) if total else 0


def states() -> list[tuple[int, int]]:
    """Tonics from the middle, and modes, in the order of the columns."""
    reach = range(-TONIC_REACH, TONIC_REACH + 1)
    return [(tonic, mode) for tonic in reach for mode in range(2)]


@lru_cache(maxsize=1)
def note_table() -> ndarray:
    """Log probability of each place in each key, of shape (places, keys)."""
    import numpy as np

    rows = [[int(n) / 100 for n in NOTE_LOGS[mode].split()] for mode in MODES_HEARD]
    table = np.zeros((2 * REACH + 1, len(states())))
    for column, (tonic, mode) in enumerate(states()):
        for place in range(2 * REACH + 1):
            degree = place - REACH - tonic - LOWEST_NOTE_DEGREE
            table[place, column] = rows[mode][min(max(degree, 0), len(rows[mode]) - 1)]
    return table


def chord_rows(chords: Sequence[tuple[int, int] | None], middle: int) -> ndarray:
    """Log probability of each cell's chord in each key; zeros where none is known."""
    import numpy as np

    table = chord_table()
    rows = np.zeros((len(chords), table.shape[2]))
    for row, chord in zip(rows, chords, strict=True):
        if chord is not None:
            place = min(max(chord[0] - middle + REACH, 0), 2 * REACH)
            row[:] = table[place, chord[1]]
    return rows


@lru_cache(maxsize=1)
def chord_table() -> ndarray:
    """Log probabilities of shape (root places, kinds, keys)."""
    import numpy as np

    rows = {
        mode: np.array([[int(n) / 100 for n in text.split()] for text in CHORD_LOGS[mode]])
        for mode in MODES_HEARD
    }
    table = np.zeros((2 * REACH + 1, len(CHORD_KINDS), len(states())))
    for column, (tonic, mode) in enumerate(states()):
        known = rows[MODES_HEARD[mode]]
        for place in range(2 * REACH + 1):
            degree = place - REACH - tonic - LOWEST_CHORD_ROOT
            table[place, :, column] = known[:, min(max(degree, 0), known.shape[1] - 1)]
    return table


@lru_cache(maxsize=8)
def changes(stay: float, step: float) -> ndarray:
    """Probability of passing from each key to each, of shape (keys, keys)."""
    import numpy as np

    signature = np.array([tonic - SIGNATURE_SHIFT[mode] for tonic, mode in states()])
    costs = -stay - step * np.abs(signature[:, None] - signature[None, :])
    np.fill_diagonal(costs, 0.0)
    odds = np.exp(costs)
    table: ndarray = odds / odds.sum(1, keepdims=True)
    return table


def forward_backward(logs: ndarray, ways: Sequence[ndarray]) -> ndarray:
    """Probability of each key in each cell given all cells, of shape (n, keys).

    ``ways`` are the probabilities of passing from each key to each as each cell begins.
    """
    import numpy as np

    likelihood = np.exp(logs - logs.max(1, keepdims=True))
    forward, backward = np.empty_like(likelihood), np.empty_like(likelihood)
    now = likelihood[0] / likelihood[0].sum()
    forward[0] = now
    for cell in range(1, len(likelihood)):
        now = (now @ ways[cell]) * likelihood[cell]
        now /= now.sum()
        forward[cell] = now
    after = np.ones(len(now))
    backward[-1] = after
    for cell in range(len(likelihood) - 2, -1, -1):
        after = ways[cell + 1] @ (after * likelihood[cell + 1])
        after /= after.sum()
        backward[cell] = after
    both = forward * backward
    posterior: ndarray = both / both.sum(1, keepdims=True)
    return posterior


def chord_kind(degrees: Sequence[int], family: str) -> int:
    """Return the index in :data:`CHORD_KINDS` of a chord symbol's family and degrees.

    Parameters
    ----------
    degrees : sequence of int
        Above the root in fifths.
    family : str
        As in :data:`melodex.analysis.harmony.chords.FAMILIES`.

    Examples
    --------
    >>> CHORD_KINDS[chord_kind((0, -3, 1, -2), "minor")]
    'minor seventh'
    """
    if family == "minor":
        return 4 if -2 in degrees else 3
    if family == "diminished":
        return 7 if -9 in degrees else 5
    if family == "half-diminished":
        return 6
    if family == "major":
        return 2 if 5 in degrees else 0
    return 1 if -2 in degrees else 0
