"""A rule that says of two tunes whether they are kin, and looks at no alignment.

Conventions: a tune is laid out in bars, and each bar in :data:`GRID` places; what is
compared is the degree that sounds at each place, so that ornaments, split notes and
another note value count little, and another place in the bar counts much. Two bars agree
by the share of places with the same degree. A *phrase* is :data:`PHRASE` bars in a row
against as many in the other tune, bar against bar. Nothing here knows the points of the
alignment, its gaps or its weights: no note is skipped, no pair is scored.

Evidence: how much of each tune stands in phrases that agree, whether these come in the
same order, whether degrees agree at strong beats, whether notes begin at the same places,
and whether the bars that return within one tune return in the other (form).

A bar of one tune may be two of the other (2/4 and 4/4); keys are laid on each other by
their tonics, by tonics a minor third apart (a mode named after another tonic), and where
the degrees are spread most alike.

The rule has three answers: kin, not kin, and cannot be said, which counts neither way.
Its levels were set on the readings of the tuning half (``readings.json``).

Contents: KIN, DOUBTFUL, NOT_KIN, Layout, Evidence, laid_out, evidence_of, judged, holds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from melodex.melody import TICKS_PER_QUARTER, Melody, pitch_class

__all__ = [
    "DOUBTFUL",
    "KIN",
    "NOT_KIN",
    "Evidence",
    "Layout",
    "evidence_of",
    "holds",
    "judged",
    "laid_out",
]

KIN, DOUBTFUL, NOT_KIN = "kin", "doubtful", "not kin"

GRID = 24
"""Places of a bar: halves, thirds, quarters, sixths, eighths fall on them."""
PHRASE = 4
"""Bars of a phrase (common practice, no source)."""
AGREEING = 0.6
"""Share of places of a phrase that agree where two phrases are the same."""
MORE_BARS = 1.5
"""A tune of so many times the bars may be written in bars of half the length."""
MOST_BARS = 160
"""Of a tune longer than that the first so many are compared."""

KIN_PHRASES, KIN_SHARE = 0.7, 0.5
"""Agreement of the better half of the phrases, and share of the longer tune, of kin."""
OTHER_PHRASES, OTHER_SHARE = 0.54, 0.2
"""Below either of these two tunes are no kin."""

Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Layout:
    """A tune in bars.

    Parameters
    ----------
    degrees : array of shape (bars, GRID)
        Semitones above the tonic that sound, 0 to 11; -1 before the first note.
    begins : array of bool, of shape (bars, GRID)
        Where a note begins.
    """

    degrees: NDArray[np.int8]
    begins: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for kinship, each from 0 to 1.

    ``shorter`` and ``longer`` are the shares of the two tunes that stand in agreeing
    phrases; ``order`` the share of these that come in the same order; ``function``
    agreement at strong beats and ``rhythm`` of where notes begin, within them;
    ``form`` how far bars that return do so in both.
    """

    shorter: float
    longer: float
    order: float
    function: float
    rhythm: float
    form: float
    phrases: float

    @property
    def columns(self) -> tuple[float, ...]:
        """All of it in a row."""
        return (
            self.shorter,
            self.longer,
            self.order,
            self.function,
            self.rhythm,
            self.form,
            self.phrases,
        )


def laid_out(melody: Melody) -> Layout:
    """Lay a tune out in bars."""
    metre = melody.metre
    length = metre.bar_ticks if metre else 4 * TICKS_PER_QUARTER
    start = first_bar(melody, length)
    onsets = np.asarray(melody.onset_ticks, np.int64) - start
    tonic = pitch_class(melody.key.tonic_fifths) if melody.key.mode != "none" else 0
    bars = int(min(onsets[-1] // length + 1, MOST_BARS))
    places = (np.arange(bars * GRID) * length) // GRID
    sounding = np.searchsorted(onsets, places, side="right") - 1
    notes = (np.asarray(melody.midi, np.int64) - tonic) % 12
    degrees = np.where(sounding < 0, -1, notes[np.maximum(sounding, 0)])
    begins = np.zeros(bars * GRID, bool)
    at = (onsets * GRID + length // 2) // length
    begins[at[at < bars * GRID]] = True
    shape = (bars, GRID)
    return Layout(degrees.astype(np.int8).reshape(shape), begins.reshape(shape))


def first_bar(melody: Melody, length: int) -> int:
    """Where the first bar would begin if it were whole: a pickup ends at its bar line."""
    if len(melody.bars) > 1 and 0 < melody.bars[0].duration_ticks < length:
        return melody.bars[1].onset_ticks - length
    return melody.bars[0].onset_ticks if melody.bars else melody.onset_ticks[0]


def in_pairs(layout: Layout, phase: int) -> Layout:
    """Two bars as one: every second place of each, the first ``phase`` bars alone."""
    bars = len(layout.degrees)
    whole = (phase + bars + 1) // 2 * 2
    degrees = np.full((whole, GRID), -1, np.int8)
    begins = np.zeros((whole, GRID), np.bool_)
    degrees[phase : phase + bars] = layout.degrees
    begins[phase : phase + bars] = layout.begins
    both = begins[:, ::2] | begins[:, 1::2]
    return Layout(degrees[:, ::2].reshape(-1, GRID), both.reshape(-1, GRID))


def one_hot(degrees: NDArray[np.int8]) -> Array:
    """A one for each place and degree that sounds, of shape (bars, GRID, 12)."""
    found: Array = (degrees[:, :, None] == np.arange(12)).astype(np.float32)
    return found


def moves(one: Array, other: Array) -> list[int]:
    """Semitones by which the other's degrees may be moved onto the first's."""
    mine, theirs = one.sum(axis=(0, 1)), other.sum(axis=(0, 1))
    alike = [float(mine @ np.roll(theirs, move)) for move in range(12)]
    best = sorted(range(12), key=lambda move: -alike[move])[:2]
    return sorted({0, 3, 9, *best})


def windowed(agreement: Array, size: int) -> Array:
    """Mean agreement of ``size`` bars in a row, by where they begin."""
    rows, columns = agreement.shape[0] - size + 1, agreement.shape[1] - size + 1
    found = np.zeros((rows, columns), np.float32)
    for bar in range(size):
        found += agreement[bar : bar + rows, bar : bar + columns]
    found /= np.float32(size)
    return found


def scales(one: Layout, other: Layout) -> Iterator[tuple[Layout, Layout]]:
    """Bar against bar; one against two where a tune has so many more."""
    yield one, other
    mine, theirs = len(one.degrees), len(other.degrees)
    for phase in (0, 1):
        if theirs >= MORE_BARS * mine:
            yield one, in_pairs(other, phase)
        if mine >= MORE_BARS * theirs:
            yield in_pairs(one, phase), other


def evidence_of(one: Layout, other: Layout) -> Evidence:
    """What speaks for kinship of two tunes, in the way of laying them that says most."""
    found = [weighed(*pair) for pair in scales(one, other)]
    return max(found, key=lambda e: (e.shorter + e.longer, e.phrases))


def weighed(one: Layout, other: Layout) -> Evidence:
    """What speaks for kinship with the bars as they stand."""
    mine, theirs = one_hot(one.degrees), one_hot(other.degrees)
    flat = mine.reshape(len(mine), -1)
    best: tuple[float, Array, Array] | None = None
    size = min(PHRASE, len(mine), len(theirs))
    for move in moves(mine, theirs):
        moved = np.roll(theirs, move, axis=2)
        agreement: Array = np.asarray(
            flat @ moved.reshape(len(moved), -1).T / GRID, np.float32
        )
        phrases = windowed(agreement, size)
        good = float(np.sort(phrases.max(axis=1))[-len(phrases) // 2 :].mean())
        if best is None or good > best[0]:
            best = good, agreement, moved
    assert best is not None
    return told(one, other, mine, best[2], best[1], size, best[0])


def told(
    one: Layout,
    other: Layout,
    mine: Array,
    theirs: Array,
    agreement: Array,
    size: int,
    phrases: float,
) -> Evidence:
    """The evidence of bars that were laid against each other."""
    starts = np.argwhere(windowed(agreement, size) >= AGREEING)
    pairs = {(int(a) + n, int(b) + n) for a, b in starts for n in range(size)}
    covered = (
        len({a for a, _ in pairs}) / len(mine),
        len({b for _, b in pairs}) / len(theirs),
    )
    shorter, longer = covered if len(mine) <= len(theirs) else covered[::-1]
    if not pairs:
        return Evidence(0, 0, 0, 0, 0, form_of(one, other), phrases)
    rows, columns = (np.asarray(side) for side in zip(*sorted(pairs), strict=True))
    strong = [0, GRID // 2, GRID // 3, 2 * GRID // 3]
    at_beats = (mine[rows][:, strong] * theirs[columns][:, strong]).sum(axis=2).mean()
    both = (one.begins[rows] & other.begins[columns]).sum()
    either = (one.begins[rows] | other.begins[columns]).sum()
    return Evidence(
        shorter,
        longer,
        in_order(pairs, len(mine), len(theirs)),
        float(at_beats),
        float(both / max(either, 1)),
        form_of(one, other),
        phrases,
    )


def in_order(pairs: set[tuple[int, int]], rows: int, columns: int) -> float:
    """The longest row of pairs that rises in both, over the bars that have a partner."""
    longest = np.zeros((rows + 1, columns + 1), np.int32)
    for a in range(rows):
        longest[a + 1] = longest[a]
        for b in sorted({b for x, b in pairs if x == a}):
            longest[a + 1, b + 1] = max(longest[a + 1, b + 1], longest[a, b] + 1)
        longest[a + 1] = np.maximum.accumulate(longest[a + 1])
    most = min(len({a for a, _ in pairs}), len({b for _, b in pairs}))
    return float(longest[-1, -1] / most)


def form_of(one: Layout, other: Layout) -> float:
    """How far bars return after the same distances in both tunes (a correlation)."""
    mine, theirs = (returning(layout.degrees) for layout in (one, other))
    size = min(len(mine), len(theirs))
    if size < 3 or not mine[:size].std() or not theirs[:size].std():
        return 0.0
    return float(max(np.corrcoef(mine[:size], theirs[:size])[0, 1], 0.0))


def returning(degrees: NDArray[np.int8]) -> Array:
    """Mean agreement of a tune with itself so many bars later, from one bar on."""
    hot = one_hot(degrees)
    flat = hot.reshape(len(hot), -1)
    own = flat @ flat.T / GRID
    found: Array = np.asarray(
        [np.diagonal(own, later).mean() for later in range(1, len(hot) // 2 + 1)],
        np.float32,
    )
    return found


def judged(evidence: Evidence) -> str:
    """The answer of the rule."""
    if evidence.phrases >= KIN_PHRASES and evidence.longer >= KIN_SHARE:
        return KIN
    if evidence.phrases < OTHER_PHRASES or evidence.longer < OTHER_SHARE:
        return NOT_KIN
    return DOUBTFUL


def holds(one: Layout, other: Layout, first: int, last: int) -> bool:
    """Whether some bars of a tune stand in another, bar for bar, in any key."""
    mine, theirs = one_hot(one.degrees[first : last + 1]), one_hot(other.degrees)
    if not len(mine) or len(mine) > len(theirs):
        return False
    flat = mine.reshape(len(mine), -1)
    for move in range(12):
        moved = np.roll(theirs, move, axis=2).reshape(len(theirs), -1)
        agreement = np.asarray(flat @ moved.T / GRID, np.float32)
        if windowed(agreement, len(mine)).max() >= AGREEING:
            return True
    return False
