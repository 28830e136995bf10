"""Chords out of notes: what harmony a score sounds where no symbols are printed.

Conventions: time is cut into slices at every onset and every end of a note. A chord is a
root on the line of fifths and a kind of :data:`KINDS`; each slice gives each chord points
for the notes that sound in it, entering a chord costs points, most where the beat is
weak, and the row of chords with the most points in all is found exactly. A note that is
left by a leap, as in a broken chord, sounds on in the ear until its register moves or
the bar ends, with :data:`ECHO` of its weight; the lowest note of the bar so far is the
bass. Notes that a chord does not have are passing, neighbouring or held over. Printed
symbols win: this is asked only where there are none.

References
----------
Viterbi (1967), IEEE Transactions on Information Theory 13: the best path. The points are
fitted by ``benchmarks/analysis/sounding.py`` on half of the chorales and madrigals with
human analyses in music21's corpus and on broken chords made there.

Contents: KINDS, SoundingChord, sounding_chords, harmonised.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.melody import (
    TICKS_PER_QUARTER,
    ChordSymbol,
    Melody,
    beat_strength,
    pitch_class_name,
)

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.melody.texture import SoundingNote, Texture
    from melodex.reading.result import ReadTune

__all__ = ["KINDS", "SoundingChord", "harmonised", "sounding_chords"]

KINDS: dict[str, tuple[int, ...]] = {
    "": (0, 4, 1),
    "m": (0, -3, 1),
    "dim": (0, -3, -6),
    "aug": (0, 4, 8),
    "7": (0, 4, 1, -2),
    "maj7": (0, 4, 1, 5),
    "m7": (0, -3, 1, -2),
    "m7b5": (0, -3, -6, -2),
    "dim7": (0, -3, -6, -9),
}
"""What stands after the root, and its root, third, fifth and seventh in fifths."""

ENTERING = (0.11, 0.21, -0.32, -1.2, -0.09, -1.32, -0.16, -0.4, -0.3)
"""Points for entering a chord of each of :data:`KINDS`."""

MEMBERS = (1.21, 0.82, 0.85, 0.31)
"""Points a quarter for each note that is root, third, fifth or seventh."""

OTHER = -1.29
"""Points a quarter for each note that the chord does not have."""

HELD = 0.5
"""Weight of a note that began in an earlier slice."""

ECHO = 0.12
"""Weight of a note that has ended and sounds on in the ear."""

ECHO_OTHER = 0.87
"""How much of that weight counts where the chord does not have the note."""

ROOT_IN_BASS, NO_THIRD, NO_SEVENTH = 0.06, -0.63, -0.99
"""Points a quarter where the lowest note is the root, where no third is heard, and where
a chord with a seventh is heard without it."""

CHANGE, ANYWHERE = 0.78, 0.12
"""Changing chord costs ``CHANGE / (ANYWHERE + strength)``."""

STRENGTHS = (1.0, 0.46, 0.46, 0.45)
"""Strength of the downbeat, the middle of the bar, a beat, and any other place."""

BEAT = 2
"""Index of the weakest of them on which a bass may change under a chord."""

FALLING_FIFTH = 0.18
"""Points given back where the root falls by a fifth."""

ROOTS_AROUND = 8
"""How far roots lie from the middle of the piece, in fifths."""

REACH = ROOTS_AROUND + 9
"""How far the notes of such chords lie from it."""

SAME_REGISTER = 2
"""Semitones within which a new note takes the place of one that sounds on."""

LEAP = 5
"""Semitones up to the next note of its line from which a short note is left by a leap."""

MOST_SLICES = 20_000
"""Beyond this many a piece is left without chords: a thousand bars of sixteenths."""

STATES = (2 * ROOTS_AROUND + 1) * len(KINDS)


@dataclass(frozen=True, slots=True)
class SoundingChord:
    """A chord that was worked out.

    Parameters
    ----------
    onset_ticks, end_ticks : int
        From where to where it holds.
    root_fifths, bass_fifths : int
        Root and lowest note of the chord on the line of fifths.
    kind : str
        One of :data:`KINDS`.
    """

    onset_ticks: int
    end_ticks: int
    root_fifths: int
    bass_fifths: int
    kind: str

    @property
    def text(self) -> str:
        """The chord as a symbol, such as ``G7/B``."""
        over = self.bass_fifths != self.root_fifths
        bass = f"/{pitch_class_name(self.bass_fifths)}" if over else ""
        return f"{pitch_class_name(self.root_fifths)}{self.kind}{bass}"


def harmonised(read: ReadTune) -> Melody:
    """The melody of a tune that was read, over chords worked out where none are printed.

    Parameters
    ----------
    read : ReadTune
        Its ``texture`` is there where chords are wanted.
    """
    if read.texture is None:
        return read.melody
    chords = sounding_chords(read.texture, read.melody)
    if not chords:
        return read.melody
    starts = [bar.onset_ticks for bar in read.melody.bars]
    numbers = [bar.number for bar in read.melody.bars]

    def number_at(onset: int) -> int:
        return numbers[max(bisect_right(starts, onset) - 1, 0)] if numbers else 1

    return read.melody.with_worked_chords(
        tuple(
            ChordSymbol(chord.text, number_at(chord.onset_ticks), chord.onset_ticks)
            for chord in chords
        )
    )


def sounding_chords(texture: Texture, melody: Melody) -> tuple[SoundingChord, ...]:
    """Work out the chords that all notes of a piece make together.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        From the same piece, for its bars and metres.

    Returns
    -------
    tuple of SoundingChord
        One after the other; empty where nothing sounds together, or where there are
        more than :data:`MOST_SLICES` slices.

    Examples
    --------
    >>> from melodex.melody.texture import SoundingNote, Texture
    >>> notes = [SoundingNote(0, 40320, midi, fifths)
    ...          for midi, fifths in ((47, 5), (55, 1), (62, 2), (65, -1))]
    >>> [chord.text for chord in sounding_chords(Texture.of(notes, ["piano"]), Melody())]
    ['G7/B']
    """
    if not texture.is_chordal:
        return ()
    heard = Heard(texture.notes, melody)
    if len(heard.times) > MOST_SLICES:
        return ()
    return tuple(heard.chords(best_path(heard)))


class Heard:
    """What sounds in each slice of a piece, counted by place on the line of fifths.

    ``struck``, ``held`` and ``echoing`` are of shape (slices, 2 * REACH + 1), columns
    counted from the middle of the piece; ``lowest`` and ``sounding_lowest`` are of shape
    (slices,), the column of the bass with and without what sounds on.
    """

    def __init__(self, notes: Sequence[SoundingNote], melody: Melody) -> None:
        import numpy as np

        self.times = sorted({n.onset_ticks for n in notes} | {n.end_ticks for n in notes})
        self.slice_at = {time: place for place, time in enumerate(self.times)}
        self.middle = sorted(n.fifths for n in notes)[len(notes) // 2]
        count = len(self.times) - 1
        self.quarters = np.diff(np.array(self.times)) / TICKS_PER_QUARTER
        self.levels = levels_at(self.times[:-1], melody)
        self.bar_starts = [bar.onset_ticks for bar in melody.bars]
        self.struck = np.zeros((count, 2 * REACH + 1))
        self.held = np.zeros((count, 2 * REACH + 1))
        self.echoing = np.zeros((count, 2 * REACH + 1))
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
        left_by_leap = broken_off(notes)
        ringing: list[tuple[SoundingNote, int, int]] = []
        coming = iter(notes)
        note = next(coming, None)
        for place, time in enumerate(self.times[:-1]):
            begun = []
            while note is not None and note.onset_ticks <= time:
                begun.append(note)
                note = next(coming, None)
            ringing = [
                (old, column, until)
                for old, column, until in ringing
                if until > time
                and not any(abs(new.midi - old.midi) <= SAME_REGISTER for new in begun)
            ]
            deepest = int(self.pitch[place])
            for old, column, _ in ringing:
                if old.end_ticks <= time:
                    self.echoing[place, column] = 1
                    if old.midi < deepest and old in left_by_leap:
                        deepest, self.lowest[place] = old.midi, column
            ringing += [
                (new, self.column(new.fifths), self.bar_end(new.onset_ticks))
                for new in begun
            ]

    def bar_end(self, onset: int) -> int:
        """Where the bar of a place ends; a whole note later where there are no bars."""
        place = bisect_right(self.bar_starts, onset)
        if place < len(self.bar_starts):
            return self.bar_starts[place]
        return onset + 4 * TICKS_PER_QUARTER

    def chords(self, path: Sequence[int]) -> list[SoundingChord]:
        """The chords of a path, parted where their bass moves on a beat."""
        found: list[SoundingChord] = []
        first = 0
        for place in range(1, len(path) + 1):
            if place < len(path) and path[place] == path[first]:
                continue
            found += self.over_basses(path[first], first, place)
            first = place
        return found

    def over_basses(self, state: int, first: int, end: int) -> list[SoundingChord]:
        """One chord over each of the basses that it has, from slice to slice."""
        root_place, kind_place = divmod(state, len(KINDS))
        root = root_place - ROOTS_AROUND + self.middle
        kind = list(KINDS)[kind_place]
        own = {self.column(root + degree): root + degree for degree in KINDS[kind]}
        beats = [
            place
            for place in range(first, end)
            if place == first or self.levels[place] <= BEAT
        ]
        found: list[SoundingChord] = []
        for begin, stop in zip(beats, [*beats[1:], end], strict=True):
            bass = self.bass_of(begin, stop, own)
            ends = self.times[stop]
            if found and bass in (None, found[-1].bass_fifths):
                found[-1] = replace(found[-1], end_ticks=ends)
                continue
            lowest = root if bass is None else bass
            found.append(SoundingChord(self.times[begin], ends, root, lowest, kind))
        return found

    def bass_of(self, first: int, end: int, own: dict[int, int]) -> int | None:
        """The member of a chord that is longest in the bass, None where none is."""
        lasting: dict[int, float] = {}
        for place in range(first, end):
            bass = own.get(int(self.lowest[place]))
            if bass is not None and not self.silent[place]:
                lasting[bass] = lasting.get(bass, 0.0) + float(self.quarters[place])
        return max(lasting, key=lasting.__getitem__) if lasting else None


SILENT = 999
"""Stands in place of a pitch where nothing sounds."""


def broken_off(notes: Sequence[SoundingNote]) -> set[SoundingNote]:
    """Notes that go on being the bass when they have ended.

    In a broken chord a short note is left by a leap up; under an accompaniment of bass
    and chords the chord follows in the same line.
    """
    starts: dict[tuple[int, int], list[int]] = {}
    for note in notes:
        starts.setdefault((note.line, note.onset_ticks), []).append(note.midi)
    found = set()
    for note in notes:
        after = starts.get((note.line, note.end_ticks), ())
        short = note.duration_ticks < TICKS_PER_QUARTER
        if len(after) > 1 or (short and after and min(after) - note.midi >= LEAP):
            found.add(note)
    return found


def levels_at(times: Sequence[int], melody: Melody) -> list[int]:
    """How strong some places are: indexes of :data:`STRENGTHS`."""
    starts = [bar.onset_ticks for bar in melody.bars]
    found = []
    for time in times:
        offset, metre = time, melody.metre_at(time)
        if starts:
            place = max(bisect_right(starts, time) - 1, 0)
            offset = time - starts[place]
            if metre and not place and melody.bars[0].duration_ticks < metre.bar_ticks:
                offset += metre.bar_ticks - melody.bars[0].duration_ticks
        strength = beat_strength(offset, metre)
        found.append(sum(strength < least for least in (1.0, 0.5, 0.25)))
    return found


def points_of(heard: Heard) -> ndarray:
    """Points of each chord in each slice, of shape (slices, STATES)."""
    import numpy as np

    member, third, seventh = members()
    weights = heard.struck + HELD * heard.held
    echoed = np.where(member < 0, member * ECHO_OTHER, member)
    points: ndarray = weights @ member + ECHO * (heard.echoing @ echoed)
    present = heard.struck + heard.held + heard.echoing
    points += NO_THIRD * (present @ third == 0)
    points += NO_SEVENTH * ((present @ seventh == 0) & seventh.any(axis=0))
    roots = np.repeat(np.arange(2 * ROOTS_AROUND + 1) - ROOTS_AROUND + REACH, len(KINDS))
    points += ROOT_IN_BASS * (heard.lowest[:, None] == roots)
    points *= heard.quarters[:, None]
    points[heard.silent] = 0
    return points


def members() -> tuple[ndarray, ndarray, ndarray]:
    """Points of each note in each chord, thirds and sevenths: (2 * REACH + 1, STATES)."""
    import numpy as np

    member = np.full((2 * REACH + 1, STATES), OTHER)
    third, seventh = np.zeros_like(member), np.zeros_like(member)
    for root in range(2 * ROOTS_AROUND + 1):
        for place, degrees in enumerate(KINDS.values()):
            state = root * len(KINDS) + place
            columns = [root - ROOTS_AROUND + degree + REACH for degree in degrees]
            member[columns, state] = MEMBERS[: len(columns)]
            third[columns[1], state] = 1
            seventh[columns[3:], state] = 1
    return member, third, seventh


def best_path(heard: Heard) -> list[int]:
    """The row of chords with the most points: a state for each slice."""
    import numpy as np

    points = points_of(heard)
    roots, kinds = 2 * ROOTS_AROUND + 1, len(KINDS)
    entering = np.tile(ENTERING, roots)
    states, first_of = np.arange(STATES), np.arange(roots) * kinds
    came_from = np.zeros(points.shape, dtype=np.int16)
    score = points[0] + entering
    for place in range(1, len(points)):
        by_root = score.reshape(roots, kinds)
        best_kind = by_root.argmax(axis=1)
        top = int(score.argmax())
        from_score, source = np.full(roots, score[top]), np.full(roots, top)
        # A root that falls a fifth comes from its neighbour on the line.
        falling = by_root[np.arange(1, roots), best_kind[1:]] + FALLING_FIFTH
        better = falling > from_score[:-1]
        from_score[:-1][better] = falling[better]
        source[:-1][better] = (first_of + best_kind)[1:][better]
        cost = CHANGE / (ANYWHERE + STRENGTHS[heard.levels[place]])
        entered = np.repeat(from_score, kinds) - cost + entering
        stays = score >= entered
        came_from[place] = np.where(stays, states, np.repeat(source, kinds))
        score = np.where(stays, score, entered) + points[place]
    path = [int(score.argmax())]
    for place in range(len(points) - 1, 0, -1):
        path.append(int(came_from[place][path[-1]]))
    return path[::-1]
