"""What sounds in each moment of a piece, as harmony hears it.

Conventions: time is cut into slices at every onset and every end of a note; notes are
counted by their place on the line of fifths, from the middle of the piece. A note that
has ended sounds on in the ear until its register moves or the bar ends.

Contents: ROOTS_AROUND, REACH, Heard, offsets_at.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from functools import cached_property, lru_cache
from heapq import heappop, heappush
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.manners import manners_of
from melodex.melody import TICKS_PER_QUARTER, Melody, Metre, beat_strength

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.melody.texture import SoundingNote

__all__ = ["REACH", "ROOTS_AROUND", "Heard", "offsets_at"]

ROOTS_AROUND = 8
"""How far roots lie from the middle of the piece, in fifths."""

REACH = ROOTS_AROUND + 9
"""How far the notes of such chords lie from it."""

SAME_REGISTER = 2
"""Semitones within which a new note takes the place of one that sounds on."""

NEARBY = range(-SAME_REGISTER, SAME_REGISTER + 1)

LEAP = 5
"""Semitones up to the next note of its line from which a short bass is left by a leap."""

COARSEST = 3
"""Level of every place weaker than a beat, where finer ones are not told apart."""

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
        self.struck, self.echoing = np.zeros(shape), np.zeros(shape)
        self.pitch = np.full(count, SILENT)
        self.sounding_lowest = np.zeros(count, dtype=int)
        columns = {fifths: self.column(fifths) for fifths in {n.fifths for n in notes}}
        self.columns = [columns[note.fifths] for note in notes]
        self.lowest_line = np.full(count, -1)
        self.by_line: dict[int, tuple[list[int], list[int]]] = {}
        self.sound(notes)
        self.together = (self.struck + self.held).sum(axis=1)
        self.manners = self.in_manners(notes)
        self.silent = self.pitch == SILENT
        self.lowest = self.sounding_lowest.copy()
        self.sound_on(notes)

    def column(self, fifths: int) -> int:
        """Where a place on the line of fifths is counted; the far ends take the rest."""
        return min(max(fifths - self.middle, -REACH), REACH) + REACH

    def sound(self, notes: Sequence[SoundingNote]) -> None:
        """Count notes in the slices in which they sound."""
        import numpy as np

        first = np.array([self.slice_at[note.onset_ticks] for note in notes])
        last = np.array([self.slice_at[note.end_ticks] for note in notes])
        columns = np.array(self.columns)
        np.add.at(self.struck, (first, columns), 1)
        self.held = self.going_on(first, last, columns, 1.0)
        for note, start, end in zip(notes, first.tolist(), last.tolist(), strict=True):
            starts, until = self.by_line.setdefault(note.line, ([], []))
            starts.append(start)
            until.append(max(until[-1], end) if until else end)
        # From the highest down, so that the lowest stays; of two alike the first.
        deeper = sorted(range(len(notes)), key=lambda each: (-notes[each].midi, -each))
        for each, start, end in zip(
            deeper, first[deeper].tolist(), last[deeper].tolist(), strict=True
        ):
            self.pitch[start:end] = notes[each].midi
            self.sounding_lowest[start:end] = self.columns[each]
            self.lowest_line[start:end] = notes[each].line

    def going_on(
        self, first: ndarray, last: ndarray, columns: ndarray, weights: ndarray | float
    ) -> ndarray:
        """Weights of notes in the slices that hold them, of the shape of ``struck``.

        ``first`` are the slices in which they begin, ``last`` those after their last.
        """
        import numpy as np

        # Of each column the notes that begin to be held, less those that end, summed.
        changes = np.zeros((len(self.struck) + 1, self.struck.shape[1]))
        np.add.at(changes, (first + 1, columns), weights)
        np.add.at(changes, (last, columns), -weights)
        return np.cumsum(changes, axis=0)[:-1]

    def is_sounding(self, line: int, place: int) -> bool:
        """Whether a line has a note in a slice."""
        starts, until = self.by_line[line]
        at = bisect_right(starts, place)
        return at > 0 and until[at - 1] > place

    def in_manners(self, notes: Sequence[SoundingNote]) -> ndarray:
        """Notes that are something in their lines, of shape (notes, 4).

        Manner, first slice, the slice after the last, column.
        """
        import numpy as np

        levels = dict(zip(self.times, self.levels, strict=False))
        levels[self.times[-1]] = 0
        found = [
            (
                manner,
                self.slice_at[notes[each].onset_ticks],
                self.slice_at[notes[each].end_ticks],
                self.columns[each],
            )
            for each, manner in manners_of(notes, levels)
        ]
        return np.array(found, dtype=int).reshape(-1, 4)

    def weighed(self, lighter: Sequence[float], held: float) -> ndarray:
        """What sounds, notes of each manner lighter than others, held ones by ``held``.

        Of the shape of ``struck``.
        """
        import numpy as np

        manners, first, last, columns = self.manners.T
        less = np.array((1.0, *lighter))[manners] - 1
        found: ndarray = self.struck + held * self.held
        np.add.at(found, (first, columns), less)
        found += self.going_on(first, last, columns, held * less)
        return found

    def sound_on(self, notes: Sequence[SoundingNote]) -> None:
        """Count notes that have ended until their register moves or the bar ends."""
        coarse = (min(level, COARSEST) for level in self.levels)
        levels = dict(zip(self.times, coarse, strict=False))
        stays_bass = broken_off(notes, levels)
        # By pitch: a new note takes the place of all of its pitch, so that what rings of
        # one began together.
        ringing: dict[int, Ringing] = {}
        coming, count = 0, len(notes)
        places: list[int] = []
        columns: list[int] = []
        pitch = self.pitch.tolist()
        for place, time in enumerate(self.times[:-1]):
            begun = coming
            while coming < count and notes[coming].onset_ticks <= time:
                coming += 1
            new = {notes[each].midi for each in range(begun, coming)}
            for midi in new:
                for by in NEARBY:
                    ringing.pop(midi + by, None)
            ringing = {midi: rings for midi, rings in ringing.items() if rings.until > time}
            deepest = pitch[place]
            for midi, rings in ringing.items():
                rings.go_on(time)
                places += [place] * len(rings.columns)
                columns += rings.columns
                if rings.bass and midi < deepest:
                    deepest, self.lowest[place] = midi, rings.bass[1]
            until = self.bar_end(time)
            for midi in new:
                ringing[midi] = Ringing(until)
            for each in range(begun, coming):
                note = notes[each]
                is_bass = each in stays_bass
                ringing[note.midi].keep(note.end_ticks, each, self.columns[each], is_bass)
        self.echoing[places, columns] = 1

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

    @cached_property
    def lasting(self) -> ndarray:
        """Quarters of each note up to each slice, of shape (slices + 1, 2 * REACH + 1)."""
        import numpy as np

        sounding = (self.struck + self.held > 0) * self.quarters[:, None]
        sums: ndarray = np.vstack([np.zeros(sounding.shape[1]), sounding.cumsum(axis=0)])
        return sums

    def share_of(self, first: int, end: int, columns: Sequence[int]) -> float:
        """Share of the notes of some slices, by their time, that lie in some columns."""
        lasting = self.lasting[end] - self.lasting[first]
        whole = float(lasting.sum())
        return float(lasting[columns].sum()) / whole if whole else 1.0

    @cached_property
    def unison(self) -> list[tuple[float, float]]:
        """Up to each slice the quarters of one note in several lines, and of any notes."""
        import numpy as np

        sounding = self.struck + self.held
        unison = ((sounding > 0).sum(axis=1) == 1) & (sounding.sum(axis=1) > 1)
        both = np.stack([unison, sounding.any(axis=1)], axis=1) * self.quarters[:, None]
        sums = np.vstack([np.zeros(2), np.cumsum(both, axis=0)])
        return [(alone, whole) for alone, whole in sums.tolist()]

    def in_unison(self, first: int, end: int) -> float:
        """Share of the sounding time of some slices in which lines have one note alone."""
        (alone, whole), (alone_then, whole_then) = self.unison[first], self.unison[end]
        whole = whole_then - whole
        return (alone_then - alone) / whole if whole else 0.0

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


def broken_off(notes: Sequence[SoundingNote], levels: Mapping[int, int]) -> set[int]:
    """Indexes of notes that go on being the bass when they have ended.

    In a broken chord a short note is left by a leap up; under an accompaniment of bass
    and chords the chord follows in the same line. What follows on a stronger place is a
    bass of its own. ``levels`` say how strong each place is, 0 the strongest.
    """
    begun: dict[tuple[int, int], list[int]] = {}
    for note in notes:
        begun.setdefault((note.line, note.onset_ticks), []).append(note.midi)
    found = set()
    for place, note in enumerate(notes):
        after = begun.get((note.line, note.end_ticks))
        if after and levels[note.end_ticks] < levels[note.onset_ticks]:
            continue
        short = note.duration_ticks < TICKS_PER_QUARTER
        # Notes that start together stand from the lowest to the highest.
        if after and (len(after) > 1 or (short and after[0] - note.midi >= LEAP)):
            found.add(place)
    return found


def offsets_at(times: Sequence[int], melody: Melody) -> list[tuple[int, Metre | None]]:
    """How far into their bars some places are, and the metre there."""
    starts = [bar.onset_ticks for bar in melody.bars]
    only = melody.metre_at(0) if len(melody.metres) < 2 else None
    found = []
    for time in times:
        offset, metre = time, only or melody.metre_at(time)
        if starts:
            place = max(bisect_right(starts, time) - 1, 0)
            offset = time - starts[place]
            if metre and not place and melody.bars[0].duration_ticks < metre.bar_ticks:
                offset += metre.bar_ticks - melody.bars[0].duration_ticks
        found.append((offset, metre))
    return found


@lru_cache(maxsize=4096)
def level_of(offset: int, metre: Metre | None) -> int:
    """How strong a place is: 0 a downbeat, 1 the middle of a bar, 2 a beat, 3 or 4 less."""
    strength = beat_strength(offset, metre)
    return sum(strength < least for least in (1.0, 0.5, 0.25, 0.125))
