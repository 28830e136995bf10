"""A bar cut into note values and tuplets: those that the source states, or others.

Conventions: ticks as in :mod:`melodex.melody`; values as in
:mod:`melodex.presentation.notation.values`. What stands in a bar is a row of stretches,
notes and rests that follow each other. Where the tuplets that a source states do not add
up, or it states none, beats off the grid are explained by the shortest tuplet that does.

Contents: Stretch, WrittenTuplet, valued_bar.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from operator import itemgetter

from melodex.melody import TICKS_PER_QUARTER, Bar, Melody, Metre
from melodex.melody.pitch import letter_and_alteration
from melodex.melody.placed import within
from melodex.presentation.notation.values import (
    DOTTED,
    SMALLEST_TICKS,
    UNVALUED,
    Written,
    largest_values,
    valued,
)

__all__ = ["Stretch", "WrittenTuplet", "valued_bar"]

TUPLET_SIZES = (3, 5, 6, 7, 9, 11, 13, 15, 17)
"""Notes of a tuplet, for one that the source does not state."""

MOST_SIGNS = 3
"""Sharps or flats of one note; of more, a bar says that it cannot be written."""

GROUP_QUARTERS = (1, 2, 0.5, 4, 3, 8)
"""Lengths that a tuplet without a mark in the source is looked for in."""

LONGEST_GROUP = max(GROUP_QUARTERS) * TICKS_PER_QUARTER

Stretch = tuple[int | None, int, int]
"""Note or None for a rest, start, end."""


@dataclass(frozen=True, slots=True)
class WrittenTuplet:
    """``actual`` notes in the time of ``normal``, each of value ``value``."""

    actual: int
    normal: int
    onset_ticks: int
    duration_ticks: int


class Unwritable(Exception):  # noqa: N818
    """Why a bar cannot be shown in note values; it never leaves this module."""


def valued_bar(
    melody: Melody, bar: Bar, metre: Metre | None, stretches: list[Stretch]
) -> tuple[list[Written], list[WrittenTuplet], str]:
    """The notes and rests of a bar with their values, its tuplets, and its fault."""
    fault = ""
    signs = [melody.fifths[note] for note, _, _ in stretches if note is not None]
    if any(abs(letter_and_alteration(fifths)[1]) > MOST_SIGNS for fifths in signs):
        fault = "a note is altered more than three times"
    stated = tuplets_in(melody, bar.onset_ticks, bar.onset_ticks + bar.duration_ticks)
    # Where the tuplets that the source states do not add up, others may.
    for tuplets in () if fault else (stated, []):
        made: list[WrittenTuplet] = []
        try:
            return zoned(bar, metre, stretches, tuplets, made), made, ""
        except Unwritable as why:
            fault = str(why)
    bare = [Written(note, low, high - low, UNVALUED) for note, low, high in stretches]
    return bare, [], fault


def zoned(
    bar: Bar,
    metre: Metre | None,
    stretches: list[Stretch],
    tuplets: list[WrittenTuplet],
    made: list[WrittenTuplet],
) -> list[Written]:
    """The events of a bar that holds some tuplets; all tuplets are added to ``made``."""
    start, end = bar.onset_ticks, bar.onset_ticks + bar.duration_ticks
    events: list[Written] = []
    for place, tuplet in zones(start, end, tuplets):
        inside = clipped(stretches, place)
        if tuplet is not None:
            made.append(tuplet)
            events += in_tuplet(inside, tuplet, len(made) - 1)
        else:
            events += plain_zone(bar, metre, inside, made)
    return events


def tuplets_in(melody: Melody, start: int, end: int) -> list[WrittenTuplet]:
    """The tuplets of a melody that lie wholly in a bar, without those nested in one."""
    found: list[WrittenTuplet] = []
    for tuplet in within(melody.tuplets, start, end + 1):
        onset, stop = tuplet.onset_ticks, tuplet.onset_ticks + tuplet.duration_ticks
        if stop > end + 1 or tuplet.duration_ticks <= 0:
            continue
        if found and onset < found[-1].onset_ticks + found[-1].duration_ticks:
            continue
        found.append(
            WrittenTuplet(tuplet.actual, tuplet.normal, onset, min(stop, end) - onset)
        )
    return found


def zones(
    start: int, end: int, tuplets: list[WrittenTuplet]
) -> list[tuple[tuple[int, int], WrittenTuplet | None]]:
    """A bar cut into tuplets and what lies between them."""
    out: list[tuple[tuple[int, int], WrittenTuplet | None]] = []
    place = start
    for tuplet in tuplets:
        if tuplet.onset_ticks > place:
            out.append(((place, tuplet.onset_ticks), None))
        place = tuplet.onset_ticks + tuplet.duration_ticks
        out.append(((tuplet.onset_ticks, place), tuplet))
    if place < end:
        out.append(((place, end), None))
    return out


def clipped(stretches: list[Stretch], place: tuple[int, int]) -> list[Stretch]:
    """What of some stretches that follow each other lies in a place."""
    low, high = place
    out: list[Stretch] = []
    for each in range(bisect_right(stretches, low, key=itemgetter(2)), len(stretches)):
        note, start, end = stretches[each]
        if start >= high:
            break
        out.append((note, max(start, low), min(end, high)))
    return out


def in_tuplet(
    stretches: list[Stretch], tuplet: WrittenTuplet, number: int
) -> list[Written]:
    """Notes and rests of a tuplet, as values before it is shrunk."""
    out = []
    for note, start, end in stretches:
        # Lengths inside were rounded to ticks: the nearest 128th is what was written.
        lengths = [
            (t - tuplet.onset_ticks) * tuplet.actual / tuplet.normal for t in (start, end)
        ]
        grid = [round(length / SMALLEST_TICKS) * SMALLEST_TICKS for length in lengths]
        rounding = max(2.0, 2.0 * tuplet.actual / tuplet.normal)
        if (
            grid[1] <= grid[0]
            or max(abs(a - b) for a, b in zip(lengths, grid, strict=True)) > rounding
        ):
            raise Unwritable("a tuplet holds a length that is no note value")
        place = start
        values = largest_values(grid[1] - grid[0])
        for index, ticks in enumerate(values):
            stop = (
                end
                if index == len(values) - 1
                else start + (end - start) * sum(values[: index + 1]) // sum(values)
            )
            value, dots = DOTTED[ticks]
            out.append(Written(note, place, stop - place, value, dots, tuplet=number))
            place = stop
    return out


def plain_zone(
    bar: Bar,
    metre: Metre | None,
    stretches: list[Stretch],
    made: list[WrittenTuplet],
) -> list[Written]:
    """Notes outside the stated tuplets; beats off the grid become tuplets here."""
    out: list[Written] = []
    waiting = deque(stretches)
    free, last = (stretches[0][1], stretches[-1][2]) if stretches else (0, 0)
    while waiting:
        note, start, end = waiting.popleft()
        if (
            (start - bar.onset_ticks) % SMALLEST_TICKS
            == 0
            == (end - bar.onset_ticks) % SMALLEST_TICKS
        ):
            out += valued(note, start, end, bar, metre)
            continue
        near = [(note, start, end), *starting_by(waiting, end + LONGEST_GROUP)]
        span, group = offgrid_group(bar, near, free, last)
        free = span[1]
        if span[0] < start:
            unwrite(out, span[0], bar, metre)
        while waiting and waiting[0][2] <= span[1]:
            waiting.popleft()
        if waiting and waiting[0][1] < span[1]:
            cut, _, stop = waiting.popleft()
            waiting.appendleft((cut, span[1], stop))
        if start < span[0]:
            out += valued(note, start, span[0], bar, metre)
        if end > span[1]:
            waiting.appendleft((note, span[1], end))
        made.append(group)
        inside = {*clipped(stretches, span), *clipped([(note, start, end)], span)}
        out += in_tuplet(sorted(inside, key=itemgetter(1)), group, len(made) - 1)
    return out


def starting_by(waiting: Iterable[Stretch], place: float) -> Iterator[Stretch]:
    """The first of some stretches, as far as they begin at or before a place."""
    for stretch in waiting:
        if stretch[1] > place:
            return
        yield stretch


def unwrite(events: list[Written], place: int, bar: Bar, metre: Metre | None) -> None:
    """Take back what was written after a place: a tuplet begins earlier than was seen.

    What it holds is written in it; a note that goes on into it is cut there.
    """
    crossing: Written | None = None
    while events and events[-1].onset_ticks + events[-1].duration_ticks > place:
        event = events.pop()
        crossing = event if event.onset_ticks < place else crossing
    if crossing is not None:
        events += valued(crossing.note, crossing.onset_ticks, place, bar, metre)


def offgrid_group(
    bar: Bar, stretches: list[Stretch], free: int, last: int
) -> tuple[tuple[int, int], WrittenTuplet]:
    """The shortest beat or group of beats that a tuplet explains, and that tuplet.

    It begins no earlier than ``free``, where the tuplet before it ends, and ends no later
    than ``last``; the stretches go as far as a group from the end of the first of them.
    """
    first = next(
        time
        for _, start, end in stretches
        for time in (start, end)
        if (time - bar.onset_ticks) % SMALLEST_TICKS
    )
    edges = {t for _, start, end in stretches for t in (start, end)}
    # A group that no note crosses is what was written; else the first that explains.
    for uncrossed in (True, False):
        for quarters in GROUP_QUARTERS:
            length = int(TICKS_PER_QUARTER * quarters)
            low = bar.onset_ticks + (first - bar.onset_ticks) // length * length
            high = low + length
            if low < free or high > last:
                continue
            if uncrossed and not ({low, high} <= edges):
                continue
            if (
                low < stretches[0][1]
                and (stretches[0][1] - bar.onset_ticks) % SMALLEST_TICKS
            ):
                continue
            times = [t for t in edges | {low, high} if low <= t <= high]
            actual = group_size(times, low, length)
            if actual:
                normal = 2 ** (actual.bit_length() - 1)
                return (low, high), WrittenTuplet(actual, normal, low, length)
    raise Unwritable("a length is neither a note value nor part of a tuplet")


def group_size(times: list[int], low: int, length: int) -> int:
    """The smallest tuplet, or half of one, on whose grid some times lie; 0 for none."""
    for actual in TUPLET_SIZES:
        grid = length / (2 * actual)
        if all(abs((t - low) / grid - round((t - low) / grid)) * grid <= 1 for t in times):
            return actual
    return 0
