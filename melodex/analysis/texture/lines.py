"""The lines of a texture: one note at a time each, as a listener follows them.

Conventions: of notes of one line that start together the top one is the line (of the
lowest line of a piece the bottom one); a staff step is a letter and an octave as one
number, C4 is 28. Lines of fewer than :data:`FEWEST_NOTES` notes are left out. Repeated
notes are a stretch: one note that lasts.

Contents: FEWEST_NOTES, LINE_KINDS, LineFind, Stretch, TextureLine, lines_of, staff_step,
tune_line.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from melodex.melody import TICKS_PER_QUARTER, Melody, octave_of
from melodex.melody.texture import SoundingNote, Texture

__all__ = [
    "FEWEST_NOTES",
    "LINE_KINDS",
    "LineFind",
    "Stretch",
    "TextureLine",
    "lines_of",
    "staff_step",
    "tune_line",
]

FEWEST_NOTES = 4
"""Notes of a line of which anything is said; our choice."""
LONGEST_REST = TICKS_PER_QUARTER
"""A repeated note may be parted by so much silence and still be one that stays."""

Stretch = tuple[SoundingNote, SoundingNote]
"""First and last of repeated notes."""
LINE_KINDS = (
    "pedal",
    "line by step",
    "doubling",
    "imitation",
    "suspension",
    "chained suspensions",
    "voice exchange",
    "ostinato",
)


@dataclass(frozen=True, slots=True)
class LineFind:
    """Something that a line does.

    Parameters
    ----------
    kind : str
        One of :data:`LINE_KINDS`.
    line : str
        Which line does it.
    onset_ticks, end_ticks : int
        From where to where.
    notes : tuple of int
        What it is about, on the line of fifths: the pedal, the steps.
    other : str
        The line that it goes with, follows or exchanges notes with; else empty.
    interval : str
        How far apart the two are: ``octave``, ``third`` ..., or ``unison``; of a
        suspension its figure, such as ``4-3``, or empty.
    below : bool
        Whether it lies below the other line; of a line by step, whether it falls.
    after_ticks : int
        How much later an imitation follows; of an ostinato how long its figure is.
    count : int
        How many notes take part; of an ostinato how often the figure comes.
    tonal : bool
        Whether an imitation answers the first steps of a subject within its key.
    """

    kind: str
    line: str
    onset_ticks: int
    end_ticks: int
    notes: tuple[int, ...] = ()
    other: str = ""
    interval: str = ""
    below: bool = False
    after_ticks: int = 0
    count: int = 0
    tonal: bool = False


@dataclass(frozen=True)
class TextureLine:
    """A line: its name, whether it is the tune, and its notes one after the other."""

    name: str
    is_tune: bool
    notes: tuple[SoundingNote, ...]

    def __len__(self) -> int:
        return len(self.notes)

    @cached_property
    def steps(self) -> tuple[int, ...]:
        """Staff steps: letter and octave as one number."""
        pitches = {(note.midi, note.fifths) for note in self.notes}
        known = {pitch: staff_step(*pitch) for pitch in pitches}
        return tuple([known[note.midi, note.fifths] for note in self.notes])

    @cached_property
    def moves(self) -> tuple[int, ...]:
        """Staff steps from note to note, of shape (n - 1,)."""
        return tuple([b - a for a, b in pairwise(self.steps)])

    @cached_property
    def gaps(self) -> tuple[int, ...]:
        """Ticks from onset to onset, of shape (n - 1,)."""
        onsets = [note.onset_ticks for note in self.notes]
        return tuple([b - a for a, b in pairwise(onsets)])

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """Its notes, those that are repeated as one that lasts."""
        found: list[Stretch] = []
        midi, near = -1, 0
        for note in self.notes:
            if note.midi == midi and note.onset_ticks <= near:
                found[-1] = (found[-1][0], note)
            else:
                found.append((note, note))
                midi = note.midi
            near = note.end_ticks + LONGEST_REST
        return tuple(found)


def staff_step(midi: int, fifths: int) -> int:
    """Letter and octave of a note as one number."""
    return 7 * octave_of(midi, fifths) + 4 * fifths % 7


def lines_of(texture: Texture, melody: Melody) -> list[TextureLine]:
    """The lines of a texture; the tune is the one that shares most notes with a melody."""
    by_line: dict[int, list[SoundingNote]] = {}
    for note in texture.notes:
        by_line.setdefault(note.line, []).append(note)
    by_line = {line: ns for line, ns in by_line.items() if len(ns) >= FEWEST_NOTES}
    if not by_line:
        return []
    lowest = min(by_line, key=lambda line: mean_pitch(by_line[line]))
    tune = tune_line(texture, melody)
    return [
        TextureLine(
            texture.lines[line], line == tune, single(by_line[line], bottom=line == lowest)
        )
        for line in sorted(by_line)
    ]


def tune_line(texture: Texture, melody: Melody) -> int | None:
    """Which line shares most notes with a melody, of those of which anything is said."""
    sizes = Counter([note.line for note in texture.notes])
    sung = set(zip(melody.onset_ticks, melody.midi, strict=True))
    shared = Counter(
        [note.line for note in texture.notes if (note.onset_ticks, note.midi) in sung]
    )
    said = [line for line, size in sizes.items() if size >= FEWEST_NOTES]
    return max(said, key=shared.__getitem__, default=None)


def mean_pitch(notes: Sequence[SoundingNote]) -> float:
    """Average pitch in semitones."""
    return sum([note.midi for note in notes]) / len(notes)


def single(notes: Sequence[SoundingNote], *, bottom: bool) -> tuple[SoundingNote, ...]:
    """One note of those that start together, which stand from the lowest to the highest."""
    found: list[SoundingNote] = []
    onset = -1
    for note in notes:
        if note.onset_ticks != onset:
            found.append(note)
            onset = note.onset_ticks
        elif not bottom and note.midi > found[-1].midi:
            found[-1] = note
    return tuple(found)
