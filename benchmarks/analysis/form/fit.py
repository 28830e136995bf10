"""Fit the weights of sections and phrases on the tuning half; write them down.

Run:  python -m benchmarks.analysis.form.fit

Sections: tunes of O'Neill, Ryan and Aird whose repeat signs make two sections. The
signs are hidden, and a conditional logit learns which bar line divides them; tunes
with unequal sections count three times, there being few. Phrases: the phrase marks of
the Essen songs; a logistic model of each note, and how many notes phrases have.

Contents: hidden, two_section_tunes, phrase_songs, fit_boundaries, fit_phrases.
"""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from benchmarks.analysis.keys.truth import half, read_folder
from melodex.analysis.form import weights as form_weights
from melodex.analysis.form.bars import form_bars
from melodex.analysis.form.boundaries import boundary_features
from melodex.analysis.form.endings import earlier_endings
from melodex.analysis.form.phrases import ending_features
from melodex.melody import Bar, Melody

COLLECTIONS = ("oneills1850", "ryansMammoth", "airdsAirs")
FEWEST_NOTES, FEWEST_BARS = 16, 4
UNEQUAL_WEIGHT, BOUNDARY_PENALTY, PHRASE_PENALTY = 3.0, 3e-3, 1e-5
LONGEST_PHRASE = 30

HEADER = '''"""Weights of form, fitted by ``benchmarks.analysis.form.fit``, not by hand.

Conventions: ``BOUNDARY_WEIGHTS`` go with ``boundaries.BOUNDARY_FEATURES`` (fitted on
the tuning half of O'Neill, Ryan and Aird, repeat signs hidden), ``PHRASE_WEIGHTS`` with
``phrases.PHRASE_FEATURES``; ``PHRASE_LENGTH_LOGS`` are logarithms of the share of
phrases of 0, 1, 2 ... notes (both fitted on the tuning half of the Essen songs).

Contents: BOUNDARY_WEIGHTS, PHRASE_WEIGHTS, PHRASE_LENGTH_LOGS.
"""

__all__ = ["BOUNDARY_WEIGHTS", "PHRASE_LENGTH_LOGS", "PHRASE_WEIGHTS"]
'''


def hidden(melody: Melody) -> Melody:
    """A melody without repeat signs, double lines, part names and earlier endings.

    Halves of a bar become one bar, and bars are numbered anew, so that nothing of
    the signs is left in the bars.
    """
    skipped = earlier_endings(melody.bars)
    kept: list[tuple[Bar, int]] = []
    now = 0
    for place, bar in enumerate(melody.bars):
        if place not in skipped:
            kept.append((bar, now))
            now += bar.duration_ticks
    bars: list[Bar] = []
    last_number = -1
    number_of: dict[int, int] = {}
    for bar, onset in kept:
        if bar.number == last_number:
            bars[-1] = replace(
                bars[-1], duration_ticks=bars[-1].duration_ticks + bar.duration_ticks
            )
        else:
            number = bars[-1].number + 1 if bars else min(bar.number, 1)
            bars.append(Bar(number, onset, bar.duration_ticks))
        last_number = bar.number
        number_of[bar.onset_ticks] = bars[-1].number
    return moved(melody, kept, number_of, tuple(bars))


def moved(
    melody: Melody,
    kept: list[tuple[Bar, int]],
    number_of: dict[int, int],
    bars: tuple[Bar, ...],
) -> Melody:
    """The notes of the bars that are kept, at their new places."""
    shift, place = [], 0
    for i, onset in enumerate(melody.onset_ticks):
        while place + 1 < len(kept) and kept[place + 1][0].onset_ticks <= onset:
            place += 1
        bar, start = kept[place]
        if bar.onset_ticks <= onset < bar.onset_ticks + bar.duration_ticks:
            shift.append((i, start + onset - bar.onset_ticks, number_of[bar.onset_ticks]))
    pick = [i for i, _, _ in shift]
    return Melody(
        midi=tuple(melody.midi[i] for i in pick),
        fifths=tuple(melody.fifths[i] for i in pick),
        onset_ticks=tuple(onset for _, onset, _ in shift),
        duration_ticks=tuple(melody.duration_ticks[i] for i in pick),
        bar=tuple(number for _, _, number in shift),
        beat_strength=tuple(melody.beat_strength[i] for i in pick),
        phrase=(0,) * len(pick),
        bars=bars,
        keys=melody.keys[:1],
        metres=melody.metres[:1],
        credits=melody.credits,
    )


def repeat_starts(melody: Melody) -> list[int]:
    """Bars, from 0, at which repeat signs (and nothing else) start a section."""
    plain = replace(
        melody,
        marks=(),
        bars=tuple(replace(b, line="") for b in melody.bars),
    )
    return [k for k, bar in enumerate(form_bars(plain)) if bar.starts]


def marked_tunes() -> list[tuple[Melody, list[int], int]]:
    """Tunes with their signs hidden, where sections start, and how many bars there are."""
    found = []
    for folder in COLLECTIONS:
        for melody in read_folder(folder):
            if len(melody) < FEWEST_NOTES or len(melody.metres) != 1 or not melody.metre:
                continue
            starts, bars = repeat_starts(melody), len(form_bars(melody))
            if starts and bars >= FEWEST_BARS:
                found.append((hidden(melody), starts, bars))
    return found


def two_section_tunes() -> list[tuple[Melody, int, int]]:
    """Tunes of two sections: melody, first bar of the second, number of bars."""
    return [(m, starts[0], bars) for m, starts, bars in marked_tunes() if len(starts) == 1]


def phrase_songs() -> list[Melody]:
    """Essen songs with two phrases or more and a few bars."""
    return [
        melody
        for melody in read_folder("essenFolksong")
        if len(melody) >= 12 and melody.phrase[-1] >= 1 and len(set(melody.bar)) > 2
    ]


def fit_boundaries(tunes: list[tuple[Melody, int, int]]) -> Any:
    """Weights of the boundary features."""
    rows = [np.array(boundary_features(form_bars(melody))) for melody, _, _ in tunes]
    width, most = rows[0].shape[1], max(map(len, rows))
    table = np.zeros((len(rows), most, width))
    barred = np.full((len(rows), most), -1e9)
    for at, row in enumerate(rows):
        table[at, : len(row)] = row
        barred[at, : len(row)] = 0
    answer = np.array([start - 1 for _, start, _ in tunes])
    weight = np.array([1.0 if 2 * s == n else UNEQUAL_WEIGHT for _, s, n in tunes])
    weight /= weight.mean()
    every = np.arange(len(rows))

    def loss(theta: Any) -> tuple[float, Any]:
        points = table @ theta + barred
        points -= points.max(1, keepdims=True)
        chance = np.exp(points)
        chance /= chance.sum(1, keepdims=True)
        value = -(weight * np.log(chance[every, answer] + 1e-12)).mean()
        chance[every, answer] -= 1
        slope = np.einsum("nk,nkf->f", chance * weight[:, None], table) / len(rows)
        return (
            value + BOUNDARY_PENALTY * (theta**2).sum(),
            slope + 2 * BOUNDARY_PENALTY * theta,
        )

    return minimize(loss, np.zeros(width), jac=True, method="L-BFGS-B").x


def endings(melody: Melody) -> list[bool]:
    """Whether the source marks a phrase's end at each note but the last."""
    marks = melody.phrase
    return [a != b for a, b in pairwise(marks)]


def fit_phrases(songs: list[Melody]) -> tuple[Any, list[float]]:
    """Weights of the ending features, and log shares of phrase lengths in notes."""
    rows = np.concatenate([np.array(ending_features(melody)) for melody in songs])
    truth = np.concatenate([np.array(endings(melody), dtype=float) for melody in songs])

    def loss(theta: Any) -> tuple[float, Any]:
        points = rows @ theta
        value = np.logaddexp(0, points).mean() - (truth * points).mean()
        slope = rows.T @ (1 / (1 + np.exp(-points)) - truth) / len(truth)
        return (
            value + PHRASE_PENALTY * (theta**2).sum(),
            slope + 2 * PHRASE_PENALTY * theta,
        )

    start = np.zeros(rows.shape[1])
    theta = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 400}).x
    lengths: Counter[int] = Counter()
    for melody in songs:
        lengths.update(min(n, LONGEST_PHRASE) for n in Counter(melody.phrase).values())
    total = lengths.total() + LONGEST_PHRASE
    return theta, [math.log((lengths[n] + 1) / total) for n in range(LONGEST_PHRASE + 1)]


def tuple_text(name: str, values: Any) -> str:
    """A tuple of rounded numbers, as source."""
    numbers = ", ".join(f"{float(v):.3f}" for v in values)
    lines = textwrap.wrap(numbers, 85, initial_indent="    *(", subsequent_indent="    *(")
    return "\n".join([f"{name} = (", *(f"{line.rstrip(',')})," for line in lines), ")"])


def main() -> None:
    """Fit on the tuning half and write the module of weights."""
    tunes = [row for row in two_section_tunes() if half(row[0].title) == 0]
    songs = [melody for melody in phrase_songs() if half(melody.title) == 0]
    phrase, lengths = fit_phrases(songs)
    lines = [
        HEADER,
        tuple_text("BOUNDARY_WEIGHTS", fit_boundaries(tunes)),
        tuple_text("PHRASE_WEIGHTS", phrase),
        tuple_text("PHRASE_LENGTH_LOGS", lengths),
    ]
    Path(form_weights.__file__).write_text("\n".join([*lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
