"""Sections: from what is marked, or else from phrases that return and how they end.

Conventions: marks decide where there are any: repeat signs, double lines, part names.
Without marks every bar line is judged by what stands around it: alike endings, alike
beginnings, long last notes, and lengths that sections usually have; a conditional
logit, fitted on tunes whose repeat signs were hidden (``form_weights``). A section is
called odd when its length is no multiple of four bars (common practice, no source).

References
----------
McFadden (1974), "Conditional logit analysis of qualitative choice behavior": the
model. Lerdahl and Jackendoff (1983), A Generative Theory of Tonal Music, chapter 3:
parallelism, length and symmetry as grounds of grouping; the features are ours.

Contents: Section, sections, boundary_features, BOUNDARY_FEATURES, best_division.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.analysis.form_bars import FormBar, form_bars, likeness
from melodex.analysis.form_weights import BOUNDARY_WEIGHTS
from melodex.melody import Melody

__all__ = ["BOUNDARY_FEATURES", "Section", "best_division", "boundary_features", "sections"]

SHORTEST_DIVIDED = 9
"""Bars: up to eight are one section unless a mark says otherwise."""
LONGEST_WHOLE = 16
SAME_SECTION, VARIED_SECTION = 0.9, 0.5
"""Mean likeness of bars from which a section returns, or returns varied; our choice."""
USUAL_LENGTHS = frozenset({4, 8, 12, 16})
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST_JUDGED_BARS = 400
"""Unmarked pieces longer than this are not divided: the time would be unbounded."""


@dataclass(frozen=True, slots=True)
class Section:
    """A section of a piece.

    Parameters
    ----------
    label : str
        The part name printed, or a letter; a prime marks a varied return.
    first_bar, last_bar : int
        As printed.
    bars : int
        Length of one pass; alternative endings count once.
    why : str
        On what grounds it starts here.
    odd : bool
        Whether the length is no multiple of four bars.
    """

    label: str
    first_bar: int
    last_bar: int
    bars: int
    why: str
    odd: bool


def sections(melody: Melody, *, use_marks: bool = True) -> tuple[Section, ...]:
    """Divide a piece into sections.

    Parameters
    ----------
    melody : Melody
        With bars; without any there are no sections.
    use_marks : bool
        Whether repeat signs, double lines and part names decide.

    Returns
    -------
    tuple of Section
        In order; one section where nothing divides the piece.
    """
    bars = form_bars(melody)
    if not bars:
        return ()
    marked = [k for k, bar in enumerate(bars) if bar.starts] if use_marks else []
    names = {mark.text for mark in melody.marks}
    if marked or (use_marks and any(bar.repeat_times for bar in melody.bars)):
        starts = {0: first_reason(melody), **{k: bars[k].starts for k in marked}}
    else:
        starts = {0: "start", **dict.fromkeys(content_starts(bars), "content")}
    return labelled(bars, starts, names if use_marks else set())


def first_reason(melody: Melody) -> str:
    """Why the first section starts: its name, if it has one."""
    if melody.marks and melody.bars and melody.marks[0].bar <= melody.bars[0].number + 1:
        return f"part name {melody.marks[0].text}"
    return "start"


def content_starts(bars: Sequence[FormBar]) -> list[int]:
    """Where sections start by content: the best division, and again in long parts."""
    if len(bars) > MOST_JUDGED_BARS:
        return []
    found: list[int] = []
    open_parts = [(0, len(bars))]
    while open_parts:
        first, stop = open_parts.pop()
        if stop - first < SHORTEST_DIVIDED or (found and stop - first <= LONGEST_WHOLE):
            continue
        middle = first + best_division(bars[first:stop])
        found.append(middle)
        open_parts += [(first, middle), (middle, stop)]
    return sorted(found)


def best_division(bars: Sequence[FormBar]) -> int:
    """Return the bar, from 0, at which a stretch of at least two bars best divides."""
    rows = boundary_features(bars)
    points = [
        sum(w * x for w, x in zip(BOUNDARY_WEIGHTS, row, strict=True)) for row in rows
    ]
    return 1 + max(range(len(points)), key=points.__getitem__)


BOUNDARY_FEATURES = (
    *("last bars alike", "2nd last alike", "3rd last alike", "4th last alike"),
    *("last downbeat as the end", "longest note", "few notes", "longest as the end"),
    *("new start as the start", "phrase after returns", "half phrase after returns"),
    *("bar before as after", "start returns before", "second bar returns before"),
    *("2nd last repeats", "last repeats", "first half parallel", "second half parallel"),
    *("register changes", "after 2 bars", "after 4", "after 8", "4 left", "8 left"),
    *("in the middle", "usual first length", "usual second length", "first is shorter"),
    *("imbalance", "eight bars", "eight bars left", "fewer notes than before"),
)
"""What is asked of each bar line, in the order of the weights."""


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


def labelled(
    bars: Sequence[FormBar], starts: dict[int, str], names: set[str]
) -> tuple[Section, ...]:
    """Sections with their lengths and letters."""
    edges = [*sorted(starts), len(bars)]
    parts = [bars[a:b] for a, b in pairwise(edges)]
    letters: list[str] = []
    found = []
    for place, part in enumerate(parts):
        why = starts[edges[place]]
        name = why.removeprefix("part name ") if why.startswith("part name ") else ""
        letters.append(letter_of(parts[: place + 1], letters))
        found.append(
            Section(
                name if name in names else letters[-1],
                part[0].number,
                part[-1].number,
                len(part),
                why,
                len(part) % 4 != 0,
            )
        )
    return tuple(found)


def letter_of(parts: Sequence[Sequence[FormBar]], letters: list[str]) -> str:
    """The letter of the last part: that of an earlier one it resembles, or a new one."""
    part = parts[-1]
    for before, letter in zip(parts, letters, strict=False):
        pairs = list(zip(before, part, strict=False))
        alike = sum(likeness(a, b) for a, b in pairs) / max(len(before), len(part))
        if alike >= SAME_SECTION:
            return letter
        if alike >= VARIED_SECTION:
            return letter.rstrip("'") + "'"
    used = {letter.rstrip("'") for letter in letters}
    return next((x for x in LETTERS if x not in used), f"S{len(letters) + 1}")
