"""Phrases: where a melody breathes.

Conventions: a phrase ends with a note. Where the source marks phrases, those are
taken. Elsewhere each note gets the log odds that a phrase ends with it, from what
stands around it (rests, lengths, leaps, metre, returning beginnings), and the best
division into phrases of usual length is found by dynamic programming. Weights and
usual lengths were fitted on the phrase marks of half the Essen songs
(``form_weights``); the figures reached are in the benchmark of form.

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
from itertools import pairwise

from melodex.analysis.form_weights import PHRASE_LENGTH_LOGS, PHRASE_WEIGHTS
from melodex.melody import Melody

__all__ = ["PHRASE_FEATURES", "PhraseSpan", "ending_features", "phrases"]

FEWEST_NOTES = 8
"""A shorter melody is one phrase."""
LEAST_POINTS = -2.0
"""Log odds below which no ending is considered, 1 in 8; it saves time, and on the tuning
half F1 stays the same to three digits."""
ENDING_BIAS, LENGTH_WEIGHT = 1.0, 0.7
"""Chosen on the tuning half of the Essen songs."""
LONGEST_NOTES = 24


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
    import numpy as np

    points: list[float] = (np.array(ending_features(melody)) @ PHRASE_WEIGHTS).tolist()
    return points


def ending_features(melody: Melody) -> list[tuple[float, ...]]:
    """Return the features of every note but the last, of shape (n - 1, features).

    This is one long kernel: each row needs the same dozen columns at hand, and it is
    run for every note that is added to a corpus.
    """
    log2 = math.log2
    midi, onsets, ticks = melody.midi, melody.onset_ticks, melody.duration_ticks
    strength, fifths, count = melody.beat_strength, melody.fifths, len(melody)
    steps = [max(b - a, 1) for a, b in pairwise(onsets)]
    leaps = [b - a for a, b in pairwise(midi)]
    usual, longest = sum(steps) / len(steps), max(steps)
    height, close, last_ticks = sum(midi) / count, fifths[-1], ticks[-1]
    bar = melody.metre.bar_ticks if melody.metre else 0
    bar_lines = {b.onset_ticks for b in melody.bars}
    rhythm, shape = steps[:3], leaps[:3]
    logs = [log2(step) for step in steps]
    logs.append(log2(max(last_ticks, 1)))
    usual_log = log2(usual)
    weak = [-log2(s) for s in strength]
    rows: list[tuple[float, ...]] = []
    for i in range(count - 1):
        rest = steps[i] - ticks[i]
        before = logs[i] - logs[i - 1] if i else 0.0
        after = logs[i] - logs[i + 1]
        since = onsets[i + 1] - onsets[0]
        leap = abs(leaps[i])
        grows = leap - (abs(leaps[i - 1]) if i else 0)
        away = fifths[i] - close
        whole = bar and since % bar == 0
        rows.append(
            (
                1.0,
                1.0 if rest > 0 else 0.0,
                min(2.0, rest / usual),
                logs[i] - usual_log,
                max(before, 0.0),
                max(after, 0.0),
                min(before, 0.0),
                min(after, 0.0),
                leap / 12,
                max(grows, 0) / 12,
                1.0 if leap == 0 else 0.0,
                1.0 if leaps[i] > 0 else 0.0,
                1.0 if strength[i + 1] == strength[0] else 0.0,
                weak[i + 1],
                weak[i],
                1.0 if whole else 0.0,
                1.0 if whole and since % (2 * bar) == 0 else 0.0,
                1.0 if whole and since % (4 * bar) == 0 else 0.0,
                0.0 if bar else 1.0,
                1.0 if steps[i + 1 : i + 4] == rhythm else 0.0,
                1.0 if leaps[i + 1 : i + 4] == shape else 0.0,
                1.0 if away == 0 else 0.0,
                1.0 if away == 1 else 0.0,
                1.0 if away in (2, 4) else 0.0,
                1.0 if steps[i] >= longest else 0.0,
                1.0 if ticks[i] >= last_ticks else 0.0,
                (midi[i] - height) / 12,
                1.0 if onsets[i + 1] in bar_lines else 0.0,
                1.0 if i < 3 else 0.0,
                1.0 if i > count - 5 else 0.0,
            )
        )
    return rows


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
