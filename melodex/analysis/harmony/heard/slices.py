"""What sounds in each moment of a piece, as harmony hears it.

Conventions: time is cut into slices at every onset and every end of a note; notes are
counted by their place on the line of fifths, from the middle of the piece. A note that
has ended sounds on in the ear until its register moves or the bar ends.

Contents: ROOTS_AROUND, REACH, Heard.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from heapq import heappop, heappush
from typing import TYPE_CHECKING

from melodex.melody import TICKS_PER_QUARTER, Melody, Metre, beat_strength

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.melody.texture import SoundingNote

__all__ = ["REACH", "ROOTS_AROUND", "Heard"]

ROOTS_AROUND = 8
"""How far roots lie from the middle of the piece, in fifths."""

REACH = ROOTS_AROUND + 9
"""How far the notes of such chords lie from it."""

SAME_REGISTER = 2
"""Semitones within which a new note takes the place of one that sounds on."""

NEARBY = range(-SAME_REGISTER, SAME_REGISTER + 1)

LEAP = 5
"""Semitones up to the next note of its line from which a short bass is left by a leap."""

SILENT = 999
"""Stands in place of a pitch where nothing sounds."""


class Heard:
    """What sounds in each slice of a piece, counted by place on the line of fifths.

    ``struck``, ``held`` and ``echoing`` (those that have ended) are of shape
    (slices, 2 * REACH + 1), columns counted from the middle of the piece;
    ``lowest`` and ``sounding_lowest`` are of shape (slices,), the column of the bass with
    and without what sounds on.
    """

    def __init__(self, notes: Sequence[SoundingNote], melody: Melody) -> None:
        import numpy as np

        self.times = sorted({n.onset_ticks for n in notes} | {n.end_ticks for n in notes})
        self.slice_at = {time: place for place, time in enumerate(self.times)}
        self.middle = sorted(n.fifths for n in notes)[len(notes) // 2]
        count = len(self.times) - 1
        self.quarters = np.diff(np.array(self.times)) / TICKS_PER_QUARTER
        offsets = offsets_at(self.times[:-1], melody)
        self.levels = [level_of(*offset) for offset in offsets]
        self.on_beat = [metre is None or t % metre.beat_ticks == 0 for t, metre in offsets]
        self.bar_starts = [bar.onset_ticks for bar in melody.bars]
        shape = count, 2 * REACH + 1
        self.struck, self.held = np.zeros(shape), np.zeros(shape)
        self.echoing = np.zeros(shape)
        self.pitch = np.full(count, SILENT)
        self.sounding_lowest = np.zeros(count, dtype=int)
        for note in notes:
            self.sound(note)
        self.silent = self.pitch == SILENT
        self.lowest = self.sounding_lowest.copy()
        self.sound_on(notes)

    def column(self, fifths: int) -> int:
        """Where a place on the line of fifths is counted; the far ends take the rest."""
        return min(max(fifths - self.middle, -REACH), REACH) + REACH

    def sound(self, note: SoundingNote) -> None:
        """Count a note in the slices in which it sounds."""
        first, last = self.slice_at[note.onset_ticks], self.slice_at[note.end_ticks]
        column = self.column(note.fifths)
        self.struck[first, column] += 1
        self.held[first + 1 : last, column] += 1
        lower = self.pitch[first:last] > note.midi
        self.pitch[first:last][lower] = note.midi
        self.sounding_lowest[first:last][lower] = column

    def sound_on(self, notes: Sequence[SoundingNote]) -> None:
        """Count notes that have ended until their register moves or the bar ends."""
        stays_bass = broken_off(notes)
        # By pitch: a new note takes the place of all of its pitch, so that what rings of
        # one began together.
        ringing: dict[int, Ringing] = {}
        coming, count = 0, len(notes)
        for place, time in enumerate(self.times[:-1]):
            begun = coming
            while coming < count and notes[coming].onset_ticks <= time:
                coming += 1
            new = {notes[each].midi for each in range(begun, coming)}
            moved = {midi + by for midi in new for by in NEARBY}
            ringing = {
                midi: rings
                for midi, rings in ringing.items()
                if rings.until > time and midi not in moved
            }
            deepest = int(self.pitch[place])
            for midi, rings in ringing.items():
                rings.go_on(time)
                self.echoing[place, list(rings.columns)] = 1
                if rings.bass and midi < deepest:
                    deepest, self.lowest[place] = midi, rings.bass[1]
            for midi in new:
                ringing[midi] = Ringing(self.bar_end(time))
            for each in range(begun, coming):
                note = notes[each]
                is_bass = each in stays_bass
                ringing[note.midi].keep(
                    note.end_ticks, each, self.column(note.fifths), is_bass
                )

    def coming(self, quarters: float) -> ndarray:
        """Which notes begin within a while, in the same bar, of the shape of ``struck``."""
        import numpy as np

        times = np.array(self.times)
        ends = np.array([self.bar_end(time) for time in self.times[:-1]])
        until = np.minimum(times[:-1] + quarters * TICKS_PER_QUARTER, ends)
        sums = np.vstack([np.zeros(self.struck.shape[1]), np.cumsum(self.struck, axis=0)])
        last = np.searchsorted(times[:-1], until)
        found: ndarray = sums[last] - sums[:-1]
        return found

    def in_unison(self, first: int, end: int) -> float:
        """Share of the sounding time of some slices in which lines have one note alone."""
        sounding = (self.struck + self.held)[first:end]
        lengths = self.quarters[first:end]
        unison = ((sounding > 0).sum(axis=1) == 1) & (sounding.sum(axis=1) > 1)
        whole = float(lengths[sounding.any(axis=1)].sum())
        return float(lengths[unison].sum()) / whole if whole else 0.0

    def bar_end(self, onset: int) -> int:
        """Where the bar of a place ends; a whole note later where there are no bars."""
        place = bisect_right(self.bar_starts, onset)
        if place < len(self.bar_starts):
            return self.bar_starts[place]
        return onset + 4 * TICKS_PER_QUARTER


class Ringing:
    """Notes of one pitch that began together: which of them have ended by now.

    ``columns`` are those of the ended ones; ``bass`` is the first of them that goes on
    being the bass, and its column.
    """

    __slots__ = ("bass", "columns", "left", "until")

    def __init__(self, until: int) -> None:
        self.until = until
        self.columns: set[int] = set()
        self.bass: tuple[int, int] | None = None
        self.left: list[tuple[int, int, int, bool]] = []

    def keep(self, end: int, place: int, column: int, is_bass: bool) -> None:
        """One more that sounds, by its index."""
        heappush(self.left, (end, place, column, is_bass))

    def go_on(self, time: int) -> None:
        """Take in those that have ended by a time."""
        while self.left and self.left[0][0] <= time:
            _, place, column, is_bass = heappop(self.left)
            self.columns.add(column)
            if is_bass:
                ended = place, column
                self.bass = min(self.bass, ended) if self.bass else ended


def onsets_of_lines(
    notes: Sequence[SoundingNote],
) -> dict[int, tuple[list[int], list[list[int]]]]:
    """Of each line its onsets and the pitches that start there."""
    lines: dict[int, tuple[list[int], list[list[int]]]] = {}
    for note in notes:
        onsets, pitches = lines.setdefault(note.line, ([], []))
        if not onsets or onsets[-1] != note.onset_ticks:
            onsets.append(note.onset_ticks)
            pitches.append([])
        pitches[-1].append(note.midi)
    return lines


def broken_off(notes: Sequence[SoundingNote]) -> set[int]:
    """Indexes of notes that go on being the bass when they have ended.

    In a broken chord a short note is left by a leap up; under an accompaniment of bass
    and chords the chord follows in the same line.
    """
    lines = {
        line: dict(zip(*columns, strict=True))
        for line, columns in onsets_of_lines(notes).items()
    }
    found = set()
    for place, note in enumerate(notes):
        after = lines[note.line].get(note.end_ticks, ())
        short = note.duration_ticks < TICKS_PER_QUARTER
        if len(after) > 1 or (short and after and min(after) - note.midi >= LEAP):
            found.add(place)
    return found


def offsets_at(times: Sequence[int], melody: Melody) -> list[tuple[int, Metre | None]]:
    """How far into their bars some places are, and the metre there."""
    starts = [bar.onset_ticks for bar in melody.bars]
    found = []
    for time in times:
        offset, metre = time, melody.metre_at(time)
        if starts:
            place = max(bisect_right(starts, time) - 1, 0)
            offset = time - starts[place]
            if metre and not place and melody.bars[0].duration_ticks < metre.bar_ticks:
                offset += metre.bar_ticks - melody.bars[0].duration_ticks
        found.append((offset, metre))
    return found


def level_of(offset: int, metre: Metre | None) -> int:
    """How strong a place is: 0 a downbeat, 1 the middle of a bar, 2 a beat, 3 less."""
    strength = beat_strength(offset, metre)
    return sum(strength < least for least in (1.0, 0.5, 0.25))
