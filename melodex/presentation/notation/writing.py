"""Written notation: how sounding notes are split into what stands on a stave.

A Melody merges ties and leaves rests out; to be written it is cut again at bar
lines and beats, given note values and dots, and gathered into tuplets and
beams. Engraving, MusicXML and ABC all write what :func:`write_out` returns.

Conventions: ticks as in :mod:`melodex.melody`; values as in
:mod:`melodex.presentation.notation.values`.

A bar that no note values can show is written all the same: its lengths stand as they
are, without a value, and it says why.

Contents: WrittenTuplet, WrittenBar, bars_of, by_note, from_first_bar, ending_ends,
write_out, written_bar.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import TypeVar

from melodex.errors import PresentationError
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Grace,
    KeyChange,
    Lyric,
    Melody,
    Metre,
    MetreChange,
    SectionMark,
    Tuplet,
)
from melodex.melody.pitch import letter_and_alteration
from melodex.melody.placed import held_at, within
from melodex.presentation.notation.values import (
    DOTTED,
    SMALLEST_TICKS,
    UNVALUED,
    Written,
    beamed,
    largest_values,
    valued,
)

__all__ = [
    "WrittenBar",
    "WrittenTuplet",
    "bars_of",
    "by_note",
    "ending_ends",
    "from_first_bar",
    "write_out",
    "written_bar",
]

TUPLET_SIZES = (3, 5, 6, 7, 9, 11, 13, 15, 17)
MOST_SIGNS = 3
ROUNDED_TICKS = SMALLEST_TICKS // 2
"""A rest shorter than this is no rest but a slip of rounding."""

GROUP_QUARTERS = (1, 2, 0.5, 4, 3, 8)
"""Lengths that a tuplet without a mark in the source is looked for in."""

LONGEST_GROUP = max(GROUP_QUARTERS) * TICKS_PER_QUARTER

Timed = TypeVar("Timed", Bar, KeyChange, MetreChange, ChordSymbol, SectionMark, Tuplet)
Change = TypeVar("Change", KeyChange, MetreChange)
Mark = TypeVar("Mark", Grace, Lyric)
Stretch = tuple[int | None, int, int]
"""Note or None for a rest, start, end."""


@dataclass(frozen=True, slots=True)
class WrittenTuplet:
    """``actual`` notes in the time of ``normal``, each of value ``value``."""

    actual: int
    normal: int
    onset_ticks: int
    duration_ticks: int


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """One bar: what is printed at its start, and its notes and rests in order.

    ``fault`` says why note values cannot show it; its events then have none.
    """

    bar: Bar
    events: tuple[Written, ...]
    tuplets: tuple[WrittenTuplet, ...]
    metre: Metre | None
    key_change: KeyChange | None = None
    metre_change: MetreChange | None = None
    fault: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether no note sounds in it."""
        return all(event.note is None for event in self.events)


def bars_of(melody: Melody) -> tuple[Bar, ...]:
    """Return the bars of a melody, made up from its metre where it has none.

    Bars are added behind the last one as long as notes go on sounding.
    """
    bars = list(melody.bars)
    end = max(
        (o + d for o, d in zip(melody.onset_ticks, melody.duration_ticks, strict=True)),
        default=0,
    )
    start = bars[-1].onset_ticks + bars[-1].duration_ticks if bars else 0
    number = bars[-1].number + 1 if bars else 1
    while start < end:
        metre = melody.metre_at(start)
        length = metre.bar_ticks if metre else end - start
        bars.append(Bar(number, start, length))
        start, number = start + length, number + 1
    return tuple(bars)


def from_first_bar(melody: Melody, *, excerpt: bool = False) -> Melody:
    """A melody, perhaps cut from a longer one, as it is written: its first bar at 0."""
    if excerpt:
        melody = replace(melody, bars=without_open_repeats(melody.bars))
    start = min([b.onset_ticks for b in melody.bars[:1]] + list(melody.onset_ticks[:1]))
    phrase = tuple(index - min(melody.phrase) for index in melody.phrase)
    if not start:
        return replace(melody, phrase=phrase)

    def at_start(records: tuple[Timed, ...]) -> tuple[Timed, ...]:
        return tuple(
            replace(record, onset_ticks=max(record.onset_ticks - start, 0))
            for record in records
        )

    return replace(
        melody,
        phrase=phrase,
        onset_ticks=tuple(onset - start for onset in melody.onset_ticks),
        bars=at_start(melody.bars),
        keys=at_start(melody.keys),
        metres=at_start(melody.metres),
        chords=at_start(melody.chords),
        marks=at_start(melody.marks),
        tuplets=at_start(melody.tuplets),
    )


def write_out(melody: Melody, *, excerpt: bool = False) -> tuple[WrittenBar, ...]:
    """Split a melody into bars of written notes and rests.

    Parameters
    ----------
    melody : Melody
        At least one note.
    excerpt : bool
        Whether the melody was cut from a longer one: then the time before the
        first note and after the last is blank instead of a rest.

    Raises
    ------
    PresentationError
        If the melody is empty, or a pitch is not the one its spelling names.

    Examples
    --------
    >>> from melodex.melody import Melody, Metre, MetreChange
    >>> q = TICKS_PER_QUARTER
    >>> melody = Melody((60, 62), (0, 2), (0, 3 * q), (3 * q, 2 * q), (1, 1),
    ...                 (1.0, 0.25), (0, 0), metres=(MetreChange(0, Metre(4, 4)),))
    >>> [[(e.value, e.dots) for e in bar.events] for bar in write_out(melody)]
    [[(2, 1), (4, 0)], [(4, 0), (2, 1)]]
    """
    check(melody)
    bars = bars_of(melody)
    if excerpt:
        bars = without_open_repeats(bars)
    melody = replace(melody, tuplets=outermost_first(melody.tuplets))
    spans = sounding_spans(melody)
    known = (spans[0][1], spans[-1][2]) if excerpt else None
    return tuple(
        written_bar(melody, bar, index == 0, spans, known) for index, bar in enumerate(bars)
    )


def without_open_repeats(bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """Bars without the repeats that begin in them and end where they do not reach."""
    kept: list[Bar] = []
    closes = False
    for bar in reversed(bars):
        closes = closes or bool(bar.repeat_times)
        lone = bar.repeat_start and not closes
        kept.append(replace(bar, repeat_start=False) if lone else bar)
        closes = closes and not bar.repeat_start
    return tuple(kept[::-1])


def ending_ends(bars: Sequence[Bar]) -> tuple[str, ...]:
    """Where numbered endings end: ``closed``, ``open`` or empty for each bar.

    What the source says holds. Where it says nothing, an ending is closed by the next
    repeat, ending, double or final line; the last one, with none of these in the bars
    that the ending before it took, is left open after as many.

    References
    ----------
    The abc music standard 2.1 (2011), section 4.9, for what closes an ending; the
    length of an ending that nothing closes is common practice, no source.
    """
    out = [""] * len(bars)
    starts = [place for place, bar in enumerate(bars) if bar.ending]
    length = 0
    for start, limit in zip(starts, [*starts, len(bars)][1:], strict=True):
        said = [place for place in range(start, limit) if bars[place].ending_end]
        closing = [p for p in range(start, limit) if closes_ending(bars, p)]
        if said:
            end, kind = said[0], bars[said[0]].ending_end
        elif closing and (closes_early(bars, closing[0], start + length)):
            end, kind = closing[0], "closed"
        else:
            end, kind = min(start + max(length, 1), limit) - 1, "open"
        out[end] = kind
        length = end - start + 1
    return tuple(out)


def closes_early(bars: Sequence[Bar], place: int, usual: int) -> bool:
    """Whether an ending closes at a line, and not merely with the last bar of all."""
    return place + 1 < len(bars) or is_closed(bars[place]) or place <= usual


def closes_ending(bars: Sequence[Bar], place: int) -> bool:
    """Whether a numbered ending that runs through a bar must end at its right line."""
    following = bars[place + 1] if place + 1 < len(bars) else None
    begins = following is None or following.repeat_start or bool(following.ending)
    return begins or is_closed(bars[place])


def is_closed(bar: Bar) -> bool:
    """Whether the right line of a bar is one that closes an ending."""
    return bool(bar.repeat_times) or bar.line in {"double", "final"}


def check(melody: Melody) -> None:
    """Refuse what no stave can show."""
    if not len(melody):
        raise PresentationError("there are no notes to write", where=melody.title)
    for index, (midi, fifths) in enumerate(zip(melody.midi, melody.fifths, strict=True)):
        whole = isinstance(midi, int) and isinstance(fifths, int)
        if whole and (7 * fifths - midi) % 12 == 0 and 0 <= midi <= 127:
            continue
        raise PresentationError(
            f"note {index + 1} in bar {melody.bar[index]} has a pitch that cannot be "
            "written: it is between two semitones, or out of range",
            where=melody.title,
            hint="round the pitch to a semitone in the source",
        )


def sounding_spans(melody: Melody) -> list[tuple[int, int, int]]:
    """Index, start and end of each note; a note stops where the next one starts."""
    spans = []
    onsets = melody.onset_ticks
    for index, (onset, length) in enumerate(
        zip(onsets, melody.duration_ticks, strict=True)
    ):
        end = onset + length
        if index + 1 < len(onsets):
            end = min(end, onsets[index + 1])
        if end <= onset:
            raise PresentationError(
                f"note {index + 1} in bar {melody.bar[index]} has no length",
                where=melody.title,
            )
        spans.append((index, onset, end))
    return spans


# One bar


def written_bar(
    melody: Melody,
    bar: Bar,
    is_first: bool,
    spans: list[tuple[int, int, int]],
    known: tuple[int, int] | None,
) -> WrittenBar:
    """Write one bar: cut, value, group; tuplets are as :func:`outermost_first` has them."""
    start, end = bar.onset_ticks, bar.onset_ticks + bar.duration_ticks
    metre = melody.metre_at(start)
    stretches = filled(spans, start, end)
    events, made, fault = valued_bar(melody, bar, metre, stretches)
    events = marked_ties(events, spans)
    if known:
        events = [blanked(event, known) for event in events]
    return WrittenBar(
        bar,
        beamed(events, bar, metre),
        tuple(made),
        metre,
        change_at(melody.keys, start, end, is_first),
        change_at(melody.metres, start, end, is_first),
        fault,
    )


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


def change_at(
    changes: tuple[Change, ...], start: int, end: int, is_first: bool
) -> Change | None:
    """The key or metre to print at a bar: a change in it, or what holds at the first."""
    if is_first and changes:
        held: Change = held_at(changes, start)
        return held
    inside = within(changes, start, end)
    return inside[-1] if inside else None


def filled(spans: list[tuple[int, int, int]], start: int, end: int) -> list[Stretch]:
    """Notes and the gaps between them that lie in a bar, cut to it."""
    out: list[Stretch] = []
    place = start
    first = bisect_right(spans, start, key=itemgetter(2))
    # By their places: to cut off what follows would copy it for each bar.
    for each in range(first, len(spans)):
        note, onset, stop = spans[each]
        if onset >= end:
            break
        if onset > place:
            rested(out, place, onset)
        out.append((note, max(onset, start), min(stop, end)))
        place = min(stop, end)
    if place < end:
        rested(out, place, end)
    return out


def rested(out: list[Stretch], place: int, end: int) -> None:
    """Add a rest; where it is too short for one, the note before it goes on instead."""
    if end - place < ROUNDED_TICKS and out:
        note, start, _ = out[-1]
        out[-1] = (note, start, end)
    else:
        out.append((None, place, end))


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


def by_note(marks: Iterable[Mark]) -> dict[int, list[Mark]]:
    """Grace notes or syllables by the index of the note that they stand at."""
    found: dict[int, list[Mark]] = {}
    for mark in marks:
        found.setdefault(mark.note, []).append(mark)
    return found


def outermost_first(tuplets: Iterable[Tuplet]) -> tuple[Tuplet, ...]:
    """Tuplets in their order, and of those that begin at one place the longest first."""
    return tuple(sorted(tuplets, key=lambda t: (t.onset_ticks, -t.duration_ticks)))


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


def marked_ties(events: list[Written], spans: list[tuple[int, int, int]]) -> list[Written]:
    """Say which pieces of a note are tied to another."""
    return [
        event
        if event.note is None
        else replace(
            event,
            tied_from=event.onset_ticks > spans[event.note][1],
            tied_to=event.onset_ticks + event.duration_ticks < spans[event.note][2],
        )
        for event in events
    ]


def blanked(event: Written, known: tuple[int, int]) -> Written:
    """A rest outside the excerpt's notes becomes a blank."""
    outside = event.onset_ticks < known[0] or event.onset_ticks >= known[1]
    return replace(event, blank=True) if event.note is None and outside else event
