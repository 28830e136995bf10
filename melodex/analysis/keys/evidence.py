"""What a melody says about its key: six counts of its spelled pitch classes.

Conventions: pitch classes are places on the line of fifths, counted from the
middle of the melody so that transposing changes nothing. The counts are shares of
all notes: how long each sounds (square root of the share), the same weighted by
beat strength, whether it is there at all, the last note, the first downbeat, and
the notes that end at a repeat sign or double line.

Every candidate key gives each count of each degree a weight
(``weights``, fitted on printed keys); the points of a key are their sum, and a
softmax over the candidates makes them probabilities: a conditional logit.

References
----------
McFadden (1974), "Conditional logit analysis of qualitative choice behavior": the
model. Temperley (2000), "The line of fifths", Music Analysis 19, 289-319: why
spelled pitch classes. Which counts matter, and every weight: our benchmark of keys.

Contents: GROUPS, REACH, TONIC_REACH, CANDIDATE_MODES, Evidence, evidence,
key_probabilities, softmax.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from melodex.analysis.keys.weights import LOWEST_DEGREE, OPEN, SIGNED
from melodex.melody import MODES, Key, Melody

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = [
    "CANDIDATE_MODES",
    "GROUPS",
    "REACH",
    "TONIC_REACH",
    "Evidence",
    "evidence",
    "key_probabilities",
    "softmax",
]

GROUPS = ("length", "weight", "present", "final", "downbeat", "ends")
REACH = 17
"""Fifths on either side of the middle that are counted; a tune spans about seven."""
TONIC_REACH = 7
"""Fifths on either side of the middle within which a tonic is looked for."""

TONICS = 2 * TONIC_REACH + 1
LEAST_ODDS = 1e-4
"""Keys less likely than this are not listed."""

CANDIDATE_MODES = ("major", "minor", "dorian", "mixolydian", "phrygian", "lydian")
BORROWED = {"phrygian": ("minor", 2, -5), "lydian": ("major", -1, 6)}
"""Modes too rare to fit: weights of a relative with the two places swapped."""
BORROWED_POINTS = -3.0
"""Cost of a mode that no collection here prints, e^-3; our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Counts of a melody by group and place, and the middle they are counted from.

    ``counts`` is of shape (groups, 2 * REACH + 1).
    """

    middle_fifths: int
    counts: ndarray


def evidence(melody: Melody, leads_on: bool = False) -> Evidence:
    """Count what a melody with at least one note says about its key.

    Parameters
    ----------
    melody : Melody
    leads_on : bool
        Whether it goes on in another printed key: its last note is then no ending, and
        says nothing.

    Raises
    ------
    ValueError
        If there is no note.
    """
    import numpy as np

    if not melody.midi:
        raise ValueError("no notes, no evidence")
    fifths, durations = melody.fifths, melody.duration_ticks
    held, weighed = dict.fromkeys(fifths, 0), dict.fromkeys(fifths, 0.0)
    for here, ticks, strength in zip(fifths, durations, melody.beat_strength, strict=True):
        held[here] += ticks
        weighed[here] += ticks * strength
    total = sum(held.values()) or 1
    middle = round(sum(here * ticks for here, ticks in held.items()) / total)
    width = 2 * REACH + 1
    length, weight, present, final, downbeat, ends = ([0.0] * width for _ in GROUPS)
    places = {here: min(max(here - middle + REACH, 0), width - 1) for here in held}
    for here, place in places.items():
        length[place] += held[here]
        weight[place] += weighed[here]
        present[place] = 1.0
    length = [math.sqrt(ticks / total) for ticks in length]
    if 1.0 in melody.beat_strength:
        downbeat[places[fifths[melody.beat_strength.index(1.0)]]] = 1.0
    closes = closing_ticks(melody)
    if leads_on:
        closes.discard(melody.end_ticks)
    if closes:
        for here, onset, ticks in zip(fifths, melody.onset_ticks, durations, strict=True):
            if onset + ticks in closes:
                ends[places[here]] += 1.0
    final[places[fifths[-1]]] = 1.0
    if leads_on:
        final = [1 / width] * width
    counts = [length, shares(weight), present, final, downbeat, shares(ends)]
    return Evidence(middle, np.array(counts))


def shares(counts: list[float]) -> list[float]:
    """The same counts with their sum made 1, unless there is nothing to count."""
    total = sum(counts)
    return [count / total for count in counts] if total else counts


def closing_ticks(melody: Melody) -> set[int]:
    """Where a repeat sign or a double line closes something."""
    return {
        bar.onset_ticks + bar.duration_ticks
        for bar in melody.bars
        if bar.repeat_times or bar.line in {"double", "final"}
    }


def key_probabilities(
    found: Evidence, signature_fifths: int | None = None, stated: Key | None = None
) -> list[tuple[Key, float]]:
    """Return the candidate keys with their probabilities, the likeliest first.

    Parameters
    ----------
    found : Evidence
        What the melody says.
    signature_fifths : int, optional
        A printed signature; only the keys of that signature are then candidates,
        and weights fitted for that choice are used.
    stated : Key, optional
        A printed key. If it is phrygian or lydian, someone meant it, and it does not
        pay for being rare; other modes get nothing for being printed.
    """
    import numpy as np

    table = weights(signature_fifths is not None)
    points = table @ found.counts.ravel()
    low = found.middle_fifths - TONIC_REACH
    if stated is not None and stated.mode in BORROWED:
        place = CANDIDATE_MODES.index(stated.mode) * TONICS + stated.tonic_fifths - low
        if 0 <= stated.tonic_fifths - low < TONICS:
            points[place] -= BORROWED_POINTS
    if signature_fifths is None:
        odds = np.exp(points - points.max())
        # A hundred and more keys share what is left; nobody asks for them.
        kept = np.flatnonzero(odds > LEAST_ODDS * odds.sum()).tolist()
    else:
        kept = [
            mode * TONICS + signature_fifths + MODES[name] - low
            for mode, name in enumerate(CANDIDATE_MODES)
            if 0 <= signature_fifths + MODES[name] - low < TONICS
        ]
    return softmax(
        (Key(low + place % TONICS, CANDIDATE_MODES[place // TONICS]), float(points[place]))
        for place in kept
    )


def softmax(keys: Iterable[tuple[Key, float]]) -> list[tuple[Key, float]]:
    """Points made probabilities, the likeliest key first; ties by mode, then tonic."""
    kept = sorted(
        keys, key=lambda item: (-item[1], MODES[item[0].mode], item[0].tonic_fifths)
    )
    if not kept:
        return []
    odds = [math.exp(max(points - kept[0][1], -50.0)) for _, points in kept]
    total = sum(odds)
    return [(key, odd / total) for (key, _), odd in zip(kept, odds, strict=True)]


@lru_cache(maxsize=2)
def weights(signed: bool) -> ndarray:
    """Weights of shape (modes * tonics, groups * places), moved to every tonic."""
    import numpy as np

    width = 2 * REACH + 1
    table = np.zeros((len(CANDIDATE_MODES), TONICS, len(GROUPS), width))
    for m, mode in enumerate(CANDIDATE_MODES):
        rows, constant = mode_weights(mode, signed)
        for tonic in range(TONICS):
            start = REACH + tonic - TONIC_REACH + LOWEST_DEGREE
            table[m, tonic, :, start : start + len(rows[0])] = rows
            # Exactly one note is the last one, so the constant can ride on it.
            table[m, tonic, GROUPS.index("final")] += constant
    flat: ndarray = table.reshape(len(CANDIDATE_MODES) * TONICS, -1)
    return flat


def mode_weights(mode: str, signed: bool) -> tuple[list[list[float]], float]:
    """Weights by group and degree of one mode, and its constant."""
    tables = SIGNED if signed else OPEN
    model, one, other = BORROWED.get(mode, (mode, 0, 0))
    texts, constant = tables[model]
    rows = [[int(number) / 100 for number in text.split()] for text in texts]
    for row in rows:
        a, b = one - LOWEST_DEGREE, other - LOWEST_DEGREE
        row[a], row[b] = row[b], row[a]
    return rows, constant / 100 + (BORROWED_POINTS if mode in BORROWED else 0.0)
