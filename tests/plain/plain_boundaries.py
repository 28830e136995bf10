"""Slow twin: the features of bar lines, asked of one line after the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from melodex.analysis.form.bars import FormBar, likeness

USUAL_LENGTHS = frozenset({4, 8, 12, 16})


def boundary_features(bars: Sequence[FormBar]) -> list[list[float]]:
    """Return the features of every inner bar line, of shape (n - 1, features)."""
    total = len(bars)
    close = bars[-1].notes[-1][1] % 12 if bars[-1].notes else -1
    usual = sum(len(bar.notes) for bar in bars) / total or 1.0
    full = max(1, min(b.onset_ticks - a.onset_ticks for a, b in pairwise(bars)))
    heights = [mean([midi for _, midi, _ in bar.notes]) for bar in bars]
    return [
        [
            *alike_features(bars, k),
            *ending_features(bars[k - 1], close, usual, full),
            *parallel_features(bars, k),
            abs(mean(heights[k : k + 4]) - mean(heights[max(0, k - 4) : k])) / 12,
            *length_features(k, total),
            float(len(bars[k - 1].notes) < len(bars[max(k - 2, 0)].notes)),
        ]
        for k in range(1, total)
    ]


def mean(values: Sequence[float]) -> float:
    """The mean, 0 of nothing."""
    return sum(values) / len(values) if values else 0.0


def between(bars: Sequence[FormBar], one: int, other: int) -> float:
    """Likeness of two different bars, 0 where one does not exist."""
    if one == other or not (0 <= one < len(bars) and 0 <= other < len(bars)):
        return 0.0
    return likeness(bars[one], bars[other])


def alike_features(bars: Sequence[FormBar], k: int) -> list[float]:
    """How alike the last bars before a line are to the last of all."""
    return [between(bars, k - back, len(bars) - back) for back in (1, 2, 3, 4)]


def ending_features(bar: FormBar, close: int, usual: float, full: int) -> list[float]:
    """What of an ending the bar before a line has."""
    if not bar.notes:
        return [0.0, 0.0, 0.0, 0.0]
    longest = max(ticks for _, _, ticks in bar.notes)
    of_longest = [midi % 12 for _, midi, ticks in bar.notes if ticks == longest]
    downbeat = [midi % 12 for offset, midi, _ in bar.notes if offset == 0]
    return [
        float(bool(downbeat) and downbeat[0] == close),
        longest / full,
        len(bar.notes) / usual,
        float(of_longest[0] == close),
    ]


def parallel_features(bars: Sequence[FormBar], k: int) -> list[float]:
    """How what follows a line, and what comes before, answer to themselves."""
    total = len(bars)
    first = (
        (between(bars, 0, k // 2) + between(bars, 1, k // 2 + 1)) / 2 if k % 2 == 0 else 0.0
    )
    half = (k + total) // 2
    second = (
        (between(bars, k, half) + between(bars, k + 1, half + 1)) / 2
        if (total - k) % 2 == 0
        else 0.0
    )
    return [
        between(bars, k, 0),
        between(bars, k, k + 4),
        between(bars, k, k + 2),
        between(bars, k - 1, k),
        between(bars, k - 4, 0),
        between(bars, k - 3, 1),
        between(bars, k - 2, k - 6),
        between(bars, k - 1, k - 5),
        first,
        second,
    ]


def length_features(k: int, total: int) -> list[float]:
    """How usual the two lengths are that a line leaves."""
    rest = total - k
    return [
        float(k % 2 == 0),
        float(k % 4 == 0),
        float(k % 8 == 0),
        float(rest % 4 == 0),
        float(rest % 8 == 0),
        float(2 * k == total),
        float(k in USUAL_LENGTHS),
        float(rest in USUAL_LENGTHS),
        float(2 * k < total),
        abs(math.log(k / rest)),
        float(k == 8),
        float(rest == 8),
    ]
