"""Phrases: where a melody breathes.

Conventions: a phrase ends with a note. Where the source marks phrases, those are
taken. Elsewhere each note gets the log odds that a phrase ends with it, from what
stands around it (rests, lengths, leaps, metre, returning beginnings), and the best
division into phrases of usual length is found by dynamic programming. Weights and
usual lengths were fitted on the phrase marks of half the Essen songs
(``weights``); the figures reached are in the benchmark of form.

References
----------
Cambouropoulos (2001), "The local boundary detection model", Proceedings of the
International Computer Music Conference: changes of interval, length and rest as
signs. Temperley (2001), The Cognition of Basic Musical Structures, chapter 3: gaps,
usual phrase length and metrical parallelism. The features and weights are ours.

Contents: PhraseSpan, phrases, ending_features, PHRASE_FEATURES.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.analysis.form.weights import PHRASE_LENGTH_LOGS, PHRASE_WEIGHTS
from melodex.melody import Melody

if TYPE_CHECKING:
    from numpy import ndarray
    from numpy.typing import ArrayLike

__all__ = ["PHRASE_FEATURES", "PhraseSpan", "ending_features", "phrases"]

FEWEST_NOTES = 8
"""A shorter melody is one phrase."""
LEAST_POINTS = -2.0
"""Log odds below which no ending is considered, 1 in 8; it saves time, and on the tuning
half F1 stays the same to three digits."""
ENDING_BIAS, LENGTH_WEIGHT = 1.0, 0.7
"""Chosen on the tuning half of the Essen songs."""
LONGEST_NOTES = 24
"""Notes of the longest phrase that is considered; our choice."""


@dataclass(frozen=True, slots=True)
class PhraseSpan:
    """A phrase.

    Parameters
    ----------
    first_note, last_note : int
        Indexes from 0.
    first_bar, last_bar : int
        As printed.
    certainty : float
        Probability of its ending as judged by itself; 1 where the source marks it.
    how : str
        ``marked`` or ``melody``.
    """

    first_note: int
    last_note: int
    first_bar: int
    last_bar: int
    certainty: float
    how: str


def phrases(melody: Melody, *, use_marks: bool = True) -> tuple[PhraseSpan, ...]:
    """Divide a melody into phrases.

    Parameters
    ----------
    melody : Melody
        Of any length.
    use_marks : bool
        Whether phrases that the source marks are taken.

    Returns
    -------
    tuple of PhraseSpan
        In order, covering every note; empty without notes.
    """
    count = len(melody)
    if not count:
        return ()
    if use_marks and melody.phrase[-1] != melody.phrase[0]:
        ends = [i for i in range(count - 1) if melody.phrase[i] != melody.phrase[i + 1]]
        return spans(melody, [(end, 1.0) for end in ends], "marked")
    if count < FEWEST_NOTES:
        return spans(melody, [], "melody")
    points = ending_points(melody)
    ends = best_ends(points, count)
    sure = [(end, 1 / (1 + math.exp(-points[end]))) for end in ends]
    return spans(melody, sure, "melody")


def spans(
    melody: Melody, ends: list[tuple[int, float]], how: str
) -> tuple[PhraseSpan, ...]:
    """Phrases from their last notes."""
    found, first = [], 0
    for last, certainty in [*ends, (len(melody) - 1, 1.0)]:
        found.append(
            PhraseSpan(
                first, last, melody.bar[first], melody.bar[last], round(certainty, 3), how
            )
        )
        first = last + 1
    return tuple(found)


PHRASE_FEATURES = (
    *(
        "constant",
        "rest",
        "length of rest",
        "long",
        "longer than before",
        "longer than after",
    ),
    *("shorter than before", "shorter than after", "leap", "leap grows", "same pitch"),
    *(
        "rises",
        "next as strong as the first",
        "next weak",
        "itself weak",
        "bars since start",
    ),
    *("two bars since start", "four bars since start", "free metre", "rhythm returns"),
    *("shape returns", "the last note", "fifth of the last", "second or third of the last"),
    *("the longest", "as long as the last", "height", "next on a bar line", "near start"),
    "near end",
)
"""What is asked of every note but the last, in the order of the weights."""


def ending_points(melody: Melody) -> list[float]:
    """Log odds that a phrase ends with each note but the last."""
    points: list[float] = (ending_features(melody) @ PHRASE_WEIGHTS).tolist()
    return points


def ending_features(melody: Melody) -> ndarray:
    """Return the features of every note but the last, of shape (n - 1, features)."""
    import numpy as np

    onsets, ticks = np.array(melody.onset_ticks), np.array(melody.duration_ticks)
    midi, fifths = np.array(melody.midi), np.array(melody.fifths)
    steps, moves = np.maximum(onsets[1:] - onsets[:-1], 1), midi[1:] - midi[:-1]
    count = len(steps)
    columns: list[ArrayLike] = [
        1.0,
        *length_columns(steps, ticks),
        *pitch_columns(moves),
        *metre_columns(melody, onsets),
        opening_returns(steps.tolist()),
        opening_returns(moves.tolist()),
        *ending_columns(midi, fifths, ticks, steps),
        onset_on_bar(melody),
        [place < 3 for place in range(count)],
        [place > count - 4 for place in range(count)],
    ]
    features = np.empty((len(columns), count))
    for row, column in zip(features, columns, strict=True):
        row[:] = column
    return features.T


def length_columns(steps: ndarray, ticks: ndarray) -> list[ArrayLike]:
    """Rests, and lengths beside those around them, in powers of two."""
    import numpy as np

    rest = steps - ticks[:-1]
    logs = np.log2(steps)
    last = math.log2(max(int(ticks[-1]), 1))
    before, after = np.zeros(len(steps)), np.empty(len(steps))
    before[1:] = logs[1:] - logs[:-1]
    after[:-1] = -before[1:]
    after[-1] = logs[-1] - last
    usual = steps.mean()
    return [
        rest > 0,
        np.minimum(rest / usual, 2.0),
        logs - math.log2(usual),
        np.maximum(before, 0.0),
        np.maximum(after, 0.0),
        np.minimum(before, 0.0),
        np.minimum(after, 0.0),
    ]


def pitch_columns(moves: ndarray) -> list[ArrayLike]:
    """The leap to the next note."""
    import numpy as np

    leaps = np.abs(moves)
    grows = leaps.copy()
    grows[1:] -= leaps[:-1]
    return [leaps / 12, np.maximum(grows, 0) / 12, leaps == 0, moves > 0]


def metre_columns(melody: Melody, onsets: ndarray) -> list[ArrayLike]:
    """Beat strength, and whole bars since the start."""
    import numpy as np

    strength = np.array(melody.beat_strength)
    weak = -np.log2(strength)
    bar = melody.metre.bar_ticks if melody.metre else 0
    if not bar:
        whole: list[ArrayLike] = [0.0, 0.0, 0.0, 1.0]
    else:
        since = (onsets[1:] - onsets[0]) % (4 * bar)
        whole = [since % bar == 0, since % (2 * bar) == 0, since == 0, 0.0]
    return [strength[1:] == strength[0], weak[1:], weak[:-1], *whole]


def opening_returns(values: list[int]) -> list[bool]:
    """Whether the three values after each are those that the melody starts with."""
    opening = values[:3]
    return [values[i + 1 : i + 4] == opening for i in range(len(values))]


def ending_columns(
    midi: ndarray, fifths: ndarray, ticks: ndarray, steps: ndarray
) -> list[ArrayLike]:
    """How much each note is like the last one, and how it stands among all."""
    away = fifths[:-1] - fifths[-1]
    return [
        away == 0,
        away == 1,
        (away == 2) | (away == 4),
        steps >= steps.max(),
        ticks[:-1] >= ticks[-1],
        (midi[:-1] - midi.mean()) / 12,
    ]


def onset_on_bar(melody: Melody) -> list[bool]:
    """Whether the next note starts a bar."""
    lines = {bar.onset_ticks for bar in melody.bars}
    return [onset in lines for onset in melody.onset_ticks[1:]]


def best_ends(points: Sequence[float], count: int) -> list[int]:
    """The division of greatest sum of ending points and usual lengths."""
    places = [-1, *(i for i, p in enumerate(points) if p > LEAST_POINTS), count - 1]
    logs = [LENGTH_WEIGHT * value for value in PHRASE_LENGTH_LOGS]
    longest = len(logs) - 1
    best, back = [0.0], [0]
    for j in range(1, len(places)):
        here = places[j]
        top, source = -math.inf, j - 1
        for k in range(j - 1, -1, -1):
            length = here - places[k]
            if length > LONGEST_NOTES and k < j - 1:
                break
            value = best[k] + logs[length if length < longest else longest]
            if value > top:
                top, source = value, k
        own = points[here] + ENDING_BIAS if here < count - 1 else 0.0
        best.append(top + own)
        back.append(source)
    ends, j = [], back[-1]
    while j > 0:
        ends.append(places[j])
        j = back[j]
    return ends[::-1]
