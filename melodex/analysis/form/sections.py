"""Sections: from what is marked, or else from phrases that return and how they end.

Conventions: marks decide where there are any: repeat signs, double lines, part names;
a section that stands whole at an edge of a longer one without a name is told apart from
it. Without marks inside the piece every bar line is judged by what stands around it
(``content``): in songs by chords, with trees fitted on charts, in tunes by alike endings,
alike beginnings, long last notes, and lengths that sections usually have, with a
conditional logit fitted on tunes whose repeat signs were hidden (``weights``). A section
is called odd when its length is no multiple of four bars (common practice, no source); of
a long one that tells nothing, nor of one in a score whose edges nothing prints.

References
----------
McFadden (1974), "Conditional logit analysis of qualitative choice behavior": the
model. Lerdahl and Jackendoff (1983), A Generative Theory of Tonal Music, chapter 3:
parallelism, length and symmetry as grounds of grouping; the features are ours.

Contents: Section, sections, CONTENT.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.analysis.eights import EIGHT, eights_inside
from melodex.analysis.form.bars import NAMED, FormBar, form_bars
from melodex.analysis.form.content import (
    content_starts,
    has_chords,
    has_melody,
    longest_step,
    with_returns,
)
from melodex.analysis.form.letters import SAME_SECTION, as_alike, labels
from melodex.analysis.form.segments import LONGEST_SHEET, is_sixteen_bar_blues
from melodex.analysis.form.words import section_names
from melodex.melody import Melody

__all__ = ["CONTENT", "Section", "sections"]

SHORTEST, SHORTEST_TWICE = 4, 6
"""Bars of a strain and of what follows it, where it is told by its return, and of one
that nothing parts from its return. Our choice."""
CONTENT = "content"
"""The reason of a start that nothing prints. In scores of music21's corpus that print
repeats, with these hidden, one such start in ten was one of them."""
LONGEST_ODD = 32
"""Bars of the longest section whose odd length is heard; our choice."""
RESTS_FOR = 0.5
"""Of a bar without a new note, in which the first half of a tune comes to rest; our
choice."""
SHORTEST_ELSEWHERE = 8
"""Bars of a strain that stands for itself somewhere, and elsewhere begins a longer one."""
MOST_COMPARED = 32
"""Sections to either side in which such a strain is looked for."""


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
        Whether the length is no multiple of four bars, and worth pointing out.
    """

    label: str
    first_bar: int
    last_bar: int
    bars: int
    why: str
    odd: bool


def sections(
    melody: Melody, *, use_marks: bool = True, centres: Sequence[int] = ()
) -> tuple[Section, ...]:
    """Divide a piece into sections.

    Parameters
    ----------
    melody : Melody
        With bars; without any there are no sections.
    use_marks : bool
        Whether repeat signs, double lines and part names decide.
    centres : sequence of int
        Onsets of key centres, where they are known: eights of a song that nothing marks
        part where one begins.

    Returns
    -------
    tuple of Section
        In order; one section where nothing divides the piece.
    """
    bars = form_bars(melody)
    if not bars:
        return ()
    marked = {k: bar.starts for k, bar in enumerate(bars) if bar.starts and use_marks}
    starts = {0: first_reason(melody, bars[0]) if use_marks else "start", **marked}
    if marked and has_melody(bars):
        named = {k for k, why in starts.items() if why.startswith(NAMED)}
        found = set(with_returns(bars, sorted(marked), named))
        starts |= dict.fromkeys(found - marked.keys(), "return")
    elif not marked:
        found_starts = content_starts(bars)
        if melody.chords_worked_out:
            # Chords of a score change in its first bars as in any others.
            inside = range(SHORTEST, len(bars) - SHORTEST + 1)
            found_starts = [start for start in found_starts if start in inside]
        if has_melody(bars) or len(bars) <= LONGEST_SHEET:
            # In longer charts chords alone come again inside of sections too.
            found_starts = strains_apart(bars, strains_whole(bars, found_starts))
        if has_chords(bars) and not melody.chords_worked_out:
            found_starts = eights_apart(bars, found_starts, centres)
            if not starts[0].startswith(NAMED):
                found_starts = halves_of_sixteen(bars, found_starts)
        starts |= dict.fromkeys(found_starts, CONTENT)
    return labelled(bars, starts, told=CONTENT if melody.chords_worked_out else "")


def eights_apart(
    bars: Sequence[FormBar], starts: Sequence[int], centres: Sequence[int]
) -> list[int]:
    """Starts with those of eights that begin with a key centre and last as long as it."""
    onsets = [bar.onset_ticks for bar in bars]
    places = [*(bisect_left(onsets, centre) for centre in centres), len(bars)]
    stays = {
        place
        for before, place, after in zip(places, places[1:], places[2:], strict=False)
        if min(place - before, after - place) >= EIGHT
    }
    told = stays.intersection(eights_inside(starts, len(bars)))
    return sorted({*starts, *told})


def strains_whole(bars: Sequence[FormBar], starts: Sequence[int]) -> list[int]:
    """Starts without those inside a strain that comes again right after, undivided."""
    edges = sorted({0, *starts, len(bars)})
    inner = {
        b
        for a, b, c, d in zip(edges, edges[1:], edges[2:], edges[3:], strict=False)
        if d - c == c - a
        and as_alike(bars[a:c], bars[c:d], SAME_SECTION)
        and not as_alike(bars[a:b], bars[b:c], SAME_SECTION)
    }
    return [start for start in edges[1:-1] if start not in inner]


def strains_apart(bars: Sequence[FormBar], starts: Sequence[int]) -> list[int]:
    """Starts with those after a strain that was there right before, as in a bar form.

    A section that begins with the whole of the one before it, in a song that begins with
    the whole of any other, is that one once more, and then another (common practice, no
    source).
    """
    edges = sorted({0, *starts, len(bars)})
    found = set(edges[1:-1])
    for a, b in pairwise(edges):
        half = (a + b) // 2
        is_two = half - a >= SHORTEST_TWICE and 2 * half == a + b
        if is_two and as_alike(bars[a:half], bars[half:b], SAME_SECTION):
            found.add(half)
    for a, b, c in zip(edges, edges[1:], edges[2:], strict=False):
        size = b - a
        long_enough = size >= SHORTEST and c - b >= size + SHORTEST
        if long_enough and as_alike(bars[a:b], bars[b : b + size], SAME_SECTION):
            found.add(b + size)
    found.update(short_returns(bars, edges))
    spans = list(pairwise(edges)) if has_chords(bars) else []
    # Without a melody a shorter rest is a tag.
    least = SHORTEST if has_melody(bars) else EIGHT
    for place, (a, b) in enumerate(spans):
        near = spans[max(0, place - MOST_COMPARED) : place + MOST_COMPARED + 1]
        for c, d in near:
            size = d - c
            fits = SHORTEST_ELSEWHERE <= size <= b - a - least
            if fits and as_alike(bars[c:d], bars[a : a + size], SAME_SECTION):
                found.add(a + size)
    return sorted(found)


def short_returns(bars: Sequence[FormBar], edges: Sequence[int]) -> Iterator[int]:
    """Where a strain of less than eight bars comes back after eight bars or more.

    Eight bars that end with the whole of a strain of four are one strain all the same.
    In its last bar only the first note is asked, since others lead to what follows.
    """
    spans = list(pairwise(edges))
    for place, (a, b) in enumerate(spans):
        size = b - a
        if not SHORTEST <= size < EIGHT:
            continue
        for c, d in spans[place + 1 : place + MOST_COMPARED]:
            if d - c < size + EIGHT or not bars[b - 1].notes:
                continue
            last = bars[b - 1].notes[:1] == bars[d - 1].notes[:1]
            before = bars[a : b - 1], bars[d - size : d - 1]
            if last and as_alike(*before, SAME_SECTION):
                yield d - size


def halves_of_sixteen(bars: Sequence[FormBar], starts: Sequence[int]) -> list[int]:
    """Starts, or the ninth bar of sixteen where nothing else starts and the tune rests.

    Songs are counted in eights (common practice, no source), but for a blues of sixteen
    bars.
    """
    undivided = not starts and len(bars) == 2 * EIGHT and not is_sixteen_bar_blues(bars)
    if undivided and longest_step(bars[EIGHT - 1], bars[EIGHT]) >= RESTS_FOR:
        return [EIGHT]
    return list(starts)


def first_reason(melody: Melody, first: FormBar) -> str:
    """Why the first section starts: its name, if it has one."""
    names = section_names(melody)
    for place, bar in enumerate(melody.bars):
        if bar.onset_ticks <= first.onset_ticks and place in names:
            return f"{NAMED}{names[place]}"
    return "start"


def labelled(
    bars: Sequence[FormBar], starts: dict[int, str], told: str = ""
) -> tuple[Section, ...]:
    """Sections with their lengths and letters; edges for one reason make none odd."""
    edges = [*sorted(starts), len(bars)]
    parts = [bars[a:b] for a, b in pairwise(edges)]
    reasons = [starts[edge] for edge in edges[:-1]]
    names = [why.removeprefix(NAMED) if why.startswith(NAMED) else "" for why in reasons]
    unsure = [bool(told) and why == told for why in [*reasons, ""]]
    return tuple(
        Section(
            label,
            part[0].number,
            part[-1].number,
            len(part),
            why,
            is_odd(len(part)) and not any(edges_unsure),
        )
        for label, part, why, edges_unsure in zip(
            labels(parts, names), parts, reasons, pairwise(unsure), strict=True
        )
    )


def is_odd(bars: int) -> bool:
    """Whether a length is worth pointing out."""
    return bars % 4 != 0 and bars <= LONGEST_ODD
