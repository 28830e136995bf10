"""The lines of a texture: one note at a time each, as a listener follows them.

Conventions: of notes of one line that start together the top one is the line (of the
lowest line of a piece the bottom one); a staff step is a letter and an octave as one
number, C4 is 28. Lines of fewer than :data:`FEWEST_NOTES` notes are left out.

Contents: FEWEST_NOTES, LINE_KINDS, LineFind, TextureLine, lines_of.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, pairwise

from melodex.melody import Melody, octave_of
from melodex.melody.texture import SoundingNote, Texture

__all__ = ["FEWEST_NOTES", "LINE_KINDS", "LineFind", "TextureLine", "lines_of"]

FEWEST_NOTES = 4
"""Notes of a line of which anything is said; our choice."""
LINE_KINDS = (
    "pedal",
    "line by step",
    "doubling",
    "imitation",
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
        How far apart the two are: ``octave``, ``third`` ..., or ``unison``.
    below : bool
        Whether it lies below the other line; of a line by step, whether it falls.
    after_ticks : int
        How much later an imitation follows; of an ostinato how long its figure is.
    count : int
        How many notes take part; of an ostinato how often the figure comes.
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
        return tuple(staff_step(note) for note in self.notes)

    @cached_property
    def moves(self) -> tuple[int, ...]:
        """Staff steps from note to note, of shape (n - 1,)."""
        return tuple(b - a for a, b in pairwise(self.steps))

    @cached_property
    def gaps(self) -> tuple[int, ...]:
        """Ticks from onset to onset, of shape (n - 1,)."""
        return tuple(b.onset_ticks - a.onset_ticks for a, b in pairwise(self.notes))


def staff_step(note: SoundingNote) -> int:
    """Letter and octave of a note as one number."""
    return 7 * octave_of(note.midi, note.fifths) + 4 * note.fifths % 7


def lines_of(texture: Texture, melody: Melody) -> list[TextureLine]:
    """The lines of a texture; the tune is the one that shares most notes with a melody."""
    by_line: dict[int, list[SoundingNote]] = {}
    for note in texture.notes:
        by_line.setdefault(note.line, []).append(note)
    by_line = {line: ns for line, ns in by_line.items() if len(ns) >= FEWEST_NOTES}
    if not by_line:
        return []
    lowest = min(by_line, key=lambda line: mean_pitch(by_line[line]))
    sung = set(zip(melody.onset_ticks, melody.midi, strict=True))
    tune = max(
        by_line,
        key=lambda line: sum((n.onset_ticks, n.midi) in sung for n in by_line[line]),
    )
    return [
        TextureLine(
            texture.lines[line], line == tune, single(by_line[line], bottom=line == lowest)
        )
        for line in sorted(by_line)
    ]


def mean_pitch(notes: list[SoundingNote]) -> float:
    """Average pitch in semitones."""
    return sum(note.midi for note in notes) / len(notes)


def single(notes: list[SoundingNote], *, bottom: bool) -> tuple[SoundingNote, ...]:
    """One note of those that start together."""
    pick = min if bottom else max
    return tuple(
        pick(together, key=lambda note: note.midi)
        for _, together in groupby(notes, key=lambda note: note.onset_ticks)
    )
