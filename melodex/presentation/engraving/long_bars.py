"""Bars longer than a system, as a chant without bar lines has them, parted to be drawn.

Conventions: a measure is the least that the engraver puts on a system, and what it takes
grows with the square of the notes in one. A bar of more than :data:`MOST_EVENTS` notes and
rests in any part is drawn as several measures without a line between them, so that a system
may end inside it. It is parted where all parts have a note or rest that begins, never
inside a beam or a tuplet.

Contents: MOST_EVENTS, PIECE_EVENTS, parted.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

from melodex.presentation.engraving.layout import Measure
from melodex.presentation.notation.writing import WrittenBar

__all__ = ["MOST_EVENTS", "PIECE_EVENTS", "parted"]

MOST_EVENTS = 32
"""Of a bar that stands whole: four quarters in thirty-seconds. Our choice."""

PIECE_EVENTS = 8
"""Of a piece of a longer bar, so that systems are filled evenly. Our choice."""


def parted(measures: Iterable[Measure]) -> Iterator[Measure]:
    """Yield measures with long ones in pieces.

    Parameters
    ----------
    measures : iterable of Measure
        As they follow.

    Yields
    ------
    Measure
        Its bars begin and end with the piece; what stands at the start or the end of a
        bar, a repeat, an ending, a change of key, is with the first or last piece.
    """
    for measure in measures:
        starts = cuts(measure)
        if len(starts) == 1:
            yield measure
            continue
        for start, end in zip(starts, [*starts[1:], None], strict=True):
            bars = tuple(bar and piece_of(bar, start, end) for bar in measure.bars)
            yield replace(measure, bars=bars, begun=start > 0, goes_on=end is not None)


def cuts(measure: Measure) -> list[int]:
    """Where the pieces of a measure begin, in ticks from its start; 0 is the first."""
    full = [bar for bar in measure.bars if bar is not None and not stands_empty(bar)]
    busiest = max(full, key=lambda bar: len(bar.events), default=None)
    if busiest is None or not measure.has_bar_lines or len(busiest.events) <= MOST_EVENTS:
        return [0]
    free = set.intersection(*(places_between(bar) for bar in full))
    found = [0]
    onsets = onsets_of(busiest)
    for place in sorted(free):
        if bisect_left(onsets, place) - bisect_left(onsets, found[-1]) >= PIECE_EVENTS:
            found.append(place)
    return found


def stands_empty(bar: WrittenBar) -> bool:
    """Whether nothing is drawn in a bar but a rest or blank for all of it."""
    return bar.is_empty or bool(bar.fault)


def onsets_of(bar: WrittenBar) -> list[int]:
    """When the notes and rests of a bar begin, in ticks from its start."""
    return [event.onset_ticks - bar.bar.onset_ticks for event in bar.events]


def places_between(bar: WrittenBar) -> set[int]:
    """Where a bar may be parted, in ticks from its start."""
    return {
        onset
        for onset, (before, event) in zip(
            onsets_of(bar)[1:], pairwise(bar.events), strict=True
        )
        if not is_one(before.beam, event.beam) and not is_one(before.tuplet, event.tuplet)
    }


def is_one(before: int | None, after: int | None) -> bool:
    """Whether two neighbours are of one beam or tuplet."""
    return before is not None and before == after


def piece_of(bar: WrittenBar, start_ticks: int, end_ticks: int | None) -> WrittenBar:
    """What a bar has from some ticks after its start to others; None is its end."""
    own = bar.bar
    is_last = end_ticks is None
    end = own.duration_ticks if end_ticks is None else min(end_ticks, own.duration_ticks)
    part = replace(
        own,
        onset_ticks=own.onset_ticks + start_ticks,
        duration_ticks=max(end - start_ticks, 0),
        repeat_start=own.repeat_start and not start_ticks,
        repeat_times=own.repeat_times if is_last else 0,
        ending="" if start_ticks else own.ending,
        ending_end=own.ending_end if is_last else "",
        line=own.line if is_last else "none",
    )
    if start_ticks:
        bar = replace(bar, key_change=None, metre_change=None)
    if not stands_empty(bar):
        places = onsets_of(bar)
        low = bisect_left(places, start_ticks)
        high = len(places) if end_ticks is None else bisect_left(places, end_ticks)
        return replace(bar, bar=part, events=bar.events[low:high])
    if start_ticks:
        # A rest of the whole bar stands in its first piece.
        blank = replace(bar.events[0], note=None, value=4, dots=0, blank=True)
        return replace(bar, bar=part, events=(blank,), fault="")
    return replace(bar, bar=part)
