"""Written notation: how sounding notes are split into what stands on a stave.

A Melody merges ties and leaves rests out; to be written it is cut again at bar
lines and beats, given note values and dots, and gathered into tuplets and
beams. Engraving, MusicXML and ABC all write what :func:`write_out` returns.

Conventions: ticks as in :mod:`melodex.melody`; values as in
:mod:`melodex.presentation.notation.values`.

A bar that no note values can show is written all the same: its lengths stand as they
are, without a value, and it says why.

Contents: WrittenBar, bars_of, by_note, from_first_bar, ending_ends, write_out,
written_bar; how a bar is cut into values and tuplets is said in ``tuplets``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import TypeVar

from melodex.errors import PresentationError
from melodex.melody import (
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
from melodex.melody.placed import held_at, within
from melodex.presentation.notation.tuplets import Stretch, WrittenTuplet, valued_bar
from melodex.presentation.notation.values import (
    SMALLEST_TICKS,
    Written,
    beamed,
)

__all__ = [
    "WrittenBar",
    "bars_of",
    "by_note",
    "ending_ends",
    "from_first_bar",
    "write_out",
    "written_bar",
]

ROUNDED_TICKS = SMALLEST_TICKS // 2
"""A rest shorter than this is no rest but a slip of rounding."""

Timed = TypeVar("Timed", Bar, KeyChange, MetreChange, ChordSymbol, SectionMark, Tuplet)
Change = TypeVar("Change", KeyChange, MetreChange)
Mark = TypeVar("Mark", Grace, Lyric)


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
    >>> from melodex.melody import TICKS_PER_QUARTER, Melody, Metre, MetreChange
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


def by_note(marks: Iterable[Mark]) -> dict[int, list[Mark]]:
    """Grace notes or syllables by the index of the note that they stand at."""
    found: dict[int, list[Mark]] = {}
    for mark in marks:
        found.setdefault(mark.note, []).append(mark)
    return found


def outermost_first(tuplets: Iterable[Tuplet]) -> tuple[Tuplet, ...]:
    """Tuplets in their order, and of those that begin at one place the longest first."""
    return tuple(sorted(tuplets, key=lambda t: (t.onset_ticks, -t.duration_ticks)))


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
