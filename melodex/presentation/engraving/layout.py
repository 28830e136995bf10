"""Laying one or two melodies out: which bars, or which notes, stand over one another.

Bars of the second part are set against those of the first so that most partners
share a bar; the metres need not agree. In columns, partners stand exactly over one
another and rhythm is left out.

Contents: StaffPart, Measure, good_breaks, in_time, in_score, in_columns.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from melodex.melody import Bar, KeyChange, Melody
from melodex.presentation.notation.values import Written
from melodex.presentation.notation.writing import (
    WrittenBar,
    bars_of,
    write_out,
    written_bar,
)

__all__ = ["Measure", "StaffPart", "good_breaks", "in_columns", "in_score", "in_time"]

MOST_SIGNS = 7
"""Signs of a key signature that is engraved: all seven letters."""


@dataclass(frozen=True, slots=True)
class StaffPart:
    """One stave: a melody and what is written around it.

    Parameters
    ----------
    melody : Melody
        In the key in which it is to be shown.
    label : str
        Stands before the stave.
    degrees : tuple of (int or None), of shape (n,) or empty
        Fifths from the tonic, printed below the notes; empty for no such row.
    numerals : tuple of (int, str)
        Onset in ticks and Roman numeral, printed above the chord symbols.
    relations : tuple of str, of shape (n,) or empty
        How each note stands to its partner, as in ``tasks.compare``.
    chords : bool
        Whether to print the melody's chord symbols.
    signature_fifths : int or None
        A key signature to print in place of the melody's own.
    excerpt : bool
        Whether the melody was cut from a longer one.
    hidden : frozenset of int
        Notes whose degree the reader is to write: a blank stands for it.
    clef : tuple of (str, int, int) or None
        Shape, line and octave shift; by default what suits the melody.
    key_names : tuple of (int, str)
        Onset in ticks and name of a key, printed above where it begins.
    lyrics : bool
        Whether to print the syllables under the notes.
    breaks : frozenset of int
        Indexes of bars before which a system may well begin.
    boxed : frozenset of int
        Notes whose heads stand in a box.
    boxed_chords : frozenset of int
        Onsets of the chord symbols that stand in a box.
    has_room : bool
        Whether bars after the last note stay empty, to be written in.
    sounds_semitones : int
        From what is written to what sounds, for a transposing instrument.
    """

    melody: Melody
    label: str = ""
    degrees: tuple[int | None, ...] = ()
    numerals: tuple[tuple[int, str], ...] = ()
    relations: tuple[str, ...] = ()
    chords: bool = True
    signature_fifths: int | None = None
    excerpt: bool = True
    hidden: frozenset[int] = frozenset()
    clef: tuple[str, int, int] | None = None
    key_names: tuple[tuple[int, str], ...] = ()
    lyrics: bool = False
    breaks: frozenset[int] = frozenset()
    boxed: frozenset[int] = frozenset()
    boxed_chords: frozenset[int] = frozenset()
    has_room: bool = False
    sounds_semitones: int = 0

    def signature_at(self, change: KeyChange | None) -> int:
        """The signature to print at a change, or at the start.

        Later changes move with a signature that was asked for; one wider than seven
        signs is left open, so that every note shows its own.
        """
        keys = self.melody.keys
        change = change or (keys[0] if keys else None)
        own = change.signature_fifths if change else 0
        if self.signature_fifths is not None:
            own += self.signature_fifths - (keys[0].signature_fifths if keys else 0)
        return own if abs(own) <= MOST_SIGNS else 0


@dataclass(frozen=True, slots=True)
class Measure:
    """What stands between two bar lines of a system: a bar, or none, of each part.

    A bar that is longer than a system is several: one has ``begun`` before, or
    ``goes_on`` after.
    """

    bars: tuple[WrittenBar | None, ...]
    has_bar_lines: bool = True
    begun: bool = False
    goes_on: bool = False


BARS_A_SYSTEM = 4
"""Bars of a line of a sheet: common practice, no source."""


def good_breaks(melody: Melody) -> frozenset[int]:
    """Bars before which a system may well begin: where phrases do, else every fourth.

    An upbeat stays with the system before it, as the bar line is where eyes return
    (common practice, no source).
    """
    bars = bars_of(melody)
    starts = [bar.onset_ticks for bar in bars]
    first = 1 if bars and bars[0].number == 0 else 0
    fourth = frozenset(range(first + BARS_A_SYSTEM, len(bars), BARS_A_SYSTEM))
    turns = [n for n in range(1, len(melody)) if melody.phrase[n] != melody.phrase[n - 1]]
    phrases = frozenset(bisect_left(starts, melody.onset_ticks[note]) for note in turns)
    longest = max(map(len, (phrases, fourth)), default=0)
    return phrases if turns and 2 * len(phrases) >= longest // 2 else fourth


# Laying bars over one another


def in_time(
    parts: Sequence[StaffPart], pairs: Sequence[tuple[int, int]], *, drawn: bool = False
) -> list[Measure]:
    """Lay the bars of one or two parts over one another as they follow in time.

    With ``drawn``, bars that no note values can show stand empty.
    """
    written = [bars_to_draw(part) for part in parts]
    if drawn:
        written = [emptied(bars) for bars in written]
    if len(parts) == 1:
        return [Measure((bar,)) for bar in written[0]]
    written = same_start(written)
    offset = bar_offset(written, pairs)
    first = min(0, -offset)
    last = max(len(written[0]), len(written[1]) - offset)
    return [
        Measure((at(written[0], place), at(written[1], place + offset)))
        for place in range(first, last)
    ]


def in_score(parts: Sequence[StaffPart]) -> list[Measure]:
    """Lay the bars of the lines of one piece over one another, by when they begin.

    A line without notes rests; one that has no such bar stands empty there. The first
    part that has notes says which bars there are.
    """
    written = [emptied(score_bars(part.melody)) for part in parts]
    frame = next(bars for bars, p in zip(written, parts, strict=True) if len(p.melody))
    by_onset = [{bar.bar.onset_ticks: bar for bar in bars} for bars in written]
    measures = []
    for bar in frame:
        onset = bar.bar.onset_ticks
        measures.append(Measure(tuple(bars.get(onset) for bars in by_onset)))
    return measures


def score_bars(melody: Melody) -> tuple[WrittenBar, ...]:
    """The bars of a line of a score, rests written out."""
    if len(melody):
        return write_out(melody)
    return tuple(
        written_bar(melody, bar, index == 0, [], None)
        for index, bar in enumerate(melody.bars)
    )


def at(bars: Sequence[WrittenBar], place: int) -> WrittenBar | None:
    """The bar at a place, None outside."""
    return bars[place] if 0 <= place < len(bars) else None


def emptied(bars: tuple[WrittenBar, ...]) -> tuple[WrittenBar, ...]:
    """The bars with nothing in those that have a fault, nor tied to it."""
    faulty = {place for place, bar in enumerate(bars) if bar.fault}
    if not faulty:
        return bars
    out = []
    for place, bar in enumerate(bars):
        events = bar.events
        if place in faulty:
            blank = replace(events[0], note=None, value=1, dots=0, blank=True)
            events = (replace(blank, tied_from=False, tied_to=False),)
        if place - 1 in faulty:
            events = (replace(events[0], tied_from=False), *events[1:])
        if place + 1 in faulty:
            events = (*events[:-1], replace(events[-1], tied_to=False))
        out.append(replace(bar, events=events))
    return tuple(out)


def bars_to_draw(part: StaffPart) -> tuple[WrittenBar, ...]:
    """The written bars of a part, with room behind the last note where it is wanted."""
    bars = write_out(part.melody, excerpt=part.excerpt)
    return bars if part.has_room else trimmed(bars)


def trimmed(bars: tuple[WrittenBar, ...]) -> tuple[WrittenBar, ...]:
    """The bars without the blank behind the last note."""
    last = bars[-1]
    events = list(last.events)
    while len(events) > 1 and events[-1].blank and not last.fault:
        events.pop()
    return (*bars[:-1], replace(last, events=tuple(events)))


def same_start(written: list[tuple[WrittenBar, ...]]) -> list[tuple[WrittenBar, ...]]:
    """Take away the blank that the first bars of all parts share."""
    leads = [lead_ticks(bars[0]) for bars in written]
    shared = min(leads)
    if not shared or len(set(leads)) > 1:
        return written
    return [(without_lead(bars[0]), *bars[1:]) for bars in written]


def lead_ticks(bar: WrittenBar) -> int:
    """How much blank stands before the first note of a bar."""
    total = 0
    for event in bar.events:
        if not event.blank:
            break
        total += event.duration_ticks
    return total


def without_lead(bar: WrittenBar) -> WrittenBar:
    """The bar from its first note on."""
    lead = lead_ticks(bar)
    moved = replace(
        bar.bar,
        onset_ticks=bar.bar.onset_ticks + lead,
        duration_ticks=bar.bar.duration_ticks - lead,
    )
    events = tuple(event for event in bar.events if event.onset_ticks >= moved.onset_ticks)
    return replace(bar, bar=moved, events=events)


def bar_offset(
    written: list[tuple[WrittenBar, ...]], pairs: Sequence[tuple[int, int]]
) -> int:
    """How many bars the second part must move so that most partners share a bar."""
    homes = [
        {
            event.note: index
            for index, bar in reversed(list(enumerate(bars)))
            for event in bar.events
            if event.note is not None
        }
        for bars in written
    ]
    # A note whose length cannot be written stands in no bar.
    shifts = Counter(
        homes[1][b] - homes[0][a] for a, b in pairs if a in homes[0] and b in homes[1]
    )
    return min(shifts, key=lambda shift: (-shifts[shift], abs(shift), shift), default=0)


def in_columns(
    parts: Sequence[StaffPart],
    pairs: Sequence[tuple[int, int]],
    per_system: int,
) -> list[Measure]:
    """Lay partners over one another in columns, without rhythm or bar lines."""
    rows = columns(len(parts[0].melody), len(parts[-1].melody), pairs)
    if len(parts) == 1:
        rows = [(index, None) for index in range(len(parts[0].melody))]
    measures = []
    systems = max(1, -(-len(rows) // per_system))
    size = -(-len(rows) // systems)
    for low in range(0, len(rows), size):
        inside = rows[low : low + size]
        bars = tuple(
            column_bar([row[side] for row in inside], first=low == 0, part=part)
            for side, part in enumerate(parts)
        )
        measures.append(Measure(bars, has_bar_lines=False))
    return measures


def columns(
    count_a: int, count_b: int, pairs: Sequence[tuple[int, int]]
) -> list[tuple[int | None, int | None]]:
    """Every note of both parts once, partners together, both orders kept."""
    rows: list[tuple[int | None, int | None]] = []
    a = b = 0
    for partner_a, partner_b in [*sorted(pairs), (count_a, count_b)]:
        rows += [(index, None) for index in range(a, partner_a)]
        rows += [(None, index) for index in range(b, partner_b)]
        if partner_a < count_a:
            rows.append((partner_a, partner_b))
        a, b = partner_a + 1, partner_b + 1
    return rows


def column_bar(notes: list[int | None], *, first: bool, part: StaffPart) -> WrittenBar:
    """One system of columns as a bar of quarters and blanks."""
    # The blank at the end keeps the last head off the edge.
    events = tuple(
        Written(note, place, 1, 4, blank=note is None)
        for place, note in enumerate([*notes, None])
    )
    change = part.melody.keys[0] if first and part.melody.keys else None
    return WrittenBar(Bar(0, 0, len(notes)), events, (), None, key_change=change)
