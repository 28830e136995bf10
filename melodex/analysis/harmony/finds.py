"""What finders of harmonic devices share: the find, and the piece they look at.

Conventions: a step is a place in the row of chords that sound, mere repeats left
out; its index among all placed chords is kept beside it.

Contents: Device, Piece, sounding_steps, runs, and the families that tonics, seconds
and fifths of a key may have.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from melodex.analysis.harmony.placed import NoteOnChord, PlacedChord
from melodex.analysis.harmony.rests import Rest
from melodex.melody import Melody

__all__ = [
    "DOMINANT",
    "FIFTH_FAMILIES",
    "SECOND_FAMILIES",
    "TONIC_FAMILIES",
    "Device",
    "Piece",
    "runs",
    "sounding_steps",
]

TONIC_FAMILIES = frozenset({"major", "minor", "dominant"})
SECOND_FAMILIES = frozenset({"minor", "half-diminished", "diminished"})
DOMINANT = frozenset({"dominant"})
FIFTH_FAMILIES = frozenset({"dominant", "major", "suspended", "augmented"})


@dataclass(frozen=True, slots=True)
class Device:
    """A find: kind, bars, one sentence of reason, and what shows it.

    ``notes`` are indexes into the melody, ``chords`` the first and last index
    into the placed chords.
    """

    kind: str
    first_bar: int
    last_bar: int
    reason: str
    chords: tuple[int, int]
    notes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Piece:
    """What the finders look at.

    ``steps`` indexes the chords without silences and mere repeats, ``row`` holds
    those chords; ``rests`` are the places where the music comes to rest.
    """

    melody: Melody
    placed: Sequence[PlacedChord]
    notes: Sequence[NoteOnChord]
    steps: tuple[int, ...]
    row: tuple[PlacedChord, ...]
    rests: tuple[Rest, ...] = ()

    def neighbours(self) -> Iterator[tuple[int, PlacedChord, PlacedChord]]:
        """Each step with its chord and the next one."""
        return zip(count(), self.row, self.row[1:], strict=False)

    def device(self, kind: str, first: int, last: int, reason: str) -> Device:
        """A find over a run of steps."""
        chords = self.steps[first], self.steps[last]
        return Device(kind, self.row[first].bar, self.row[last].bar, reason, chords)


def sounding_steps(placed: Sequence[PlacedChord]) -> tuple[int, ...]:
    """Indexes of chords that sound and are not a mere repeat of the one before."""
    steps: list[int] = []
    before = ""
    for place, here in enumerate(placed):
        if here.chord.degrees and here.chord.text != before:
            steps.append(place)
            before = here.chord.text
    return tuple(steps)


def runs(values: Sequence[object]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of equal values."""
    first = 0
    for place in range(1, len(values) + 1):
        if place == len(values) or values[place] != values[first]:
            yield first, place - 1
            first = place
