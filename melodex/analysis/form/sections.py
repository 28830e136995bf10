"""Sections: from what is marked, or else from phrases that return and how they end.

Conventions: marks decide where there are any: repeat signs, double lines, part names.
Without marks every bar line is judged by what stands around it: alike endings, alike
beginnings, long last notes, and lengths that sections usually have; a conditional
logit, fitted on tunes whose repeat signs were hidden (``weights``). A section is
called odd when its length is no multiple of four bars (common practice, no source).

References
----------
McFadden (1974), "Conditional logit analysis of qualitative choice behavior": the
model. Lerdahl and Jackendoff (1983), A Generative Theory of Tonal Music, chapter 3:
parallelism, length and symmetry as grounds of grouping; the features are ours.

Contents: Section, sections.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.analysis.form.bars import NAMED, FormBar, form_bars
from melodex.analysis.form.boundaries import best_division
from melodex.analysis.form.letters import labels
from melodex.analysis.form.words import section_names
from melodex.melody import Melody

__all__ = ["Section", "sections"]

SHORTEST_DIVIDED = 9
"""Bars: up to eight are one section unless a mark says otherwise."""
LONGEST_WHOLE = 16
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
    if marked or (use_marks and any(bar.repeat_times for bar in melody.bars)):
        starts = {0: first_reason(melody, bars[0]), **{k: bars[k].starts for k in marked}}
    else:
        starts = {0: "start", **dict.fromkeys(content_starts(bars), "content")}
    return labelled(bars, starts)


def first_reason(melody: Melody, first: FormBar) -> str:
    """Why the first section starts: its name, if it has one."""
    names = section_names(melody)
    for place, bar in enumerate(melody.bars):
        if bar.onset_ticks <= first.onset_ticks and place in names:
            return f"{NAMED}{names[place]}"
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


def labelled(bars: Sequence[FormBar], starts: dict[int, str]) -> tuple[Section, ...]:
    """Sections with their lengths and letters."""
    edges = [*sorted(starts), len(bars)]
    parts = [bars[a:b] for a, b in pairwise(edges)]
    reasons = [starts[edge] for edge in edges[:-1]]
    names = [why.removeprefix(NAMED) if why.startswith(NAMED) else "" for why in reasons]
    return tuple(
        Section(label, part[0].number, part[-1].number, len(part), why, len(part) % 4 != 0)
        for label, part, why in zip(labels(parts, names), parts, reasons, strict=True)
    )
