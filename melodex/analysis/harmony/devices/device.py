"""What finders of harmonic devices share: the find, its kinds, and the piece they look at.

Conventions: a step is a place in the row of chords that sound, mere repeats left
out; its index among all placed chords is kept beside it.

Contents: KINDS, Device, Piece, sounding_steps, runs, and the families that tonics,
seconds and fifths of a key may have.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from melodex.analysis.harmony.devices.rests import Rest
from melodex.analysis.harmony.placed import NoteOnChord, PlacedChord
from melodex.melody import Melody

__all__ = [
    "DOMINANT",
    "FIFTH_DOWN",
    "FIFTH_FAMILIES",
    "KINDS",
    "SECOND_FAMILIES",
    "TONIC_FAMILIES",
    "Device",
    "Piece",
    "runs",
    "sounding_steps",
]

KINDS = (
    "secondary dominant",
    "secondary leading tone",
    "related ii",
    "borrowed chord",
    "modal mixture",
    "tritone substitute",
    "augmented sixth",
    "Neapolitan",
    "common-tone diminished",
    "passing diminished",
    "backdoor",
    "flat VII to I",
    "blues seventh",
    "altered dominant",
    "lydian dominant",
    "ii V I",
    "turnaround",
    "circle of fifths",
    "third relation",
    "authentic cadence",
    "plagal cadence",
    "minor plagal cadence",
    "half cadence",
    "deceptive cadence",
    "backdoor cadence",
    "Picardy third",
    "suspended ending",
    "ending off the tonic",
    "ending on a coloured tonic",
    "pedal bass",
    "bass by half step",
    "inner line by half step",
    "inner line over one root",
    "colour note",
)
"""Every kind of device, in the order in which those of the same chords are told."""

FIFTH_DOWN = -1
"""On the line of fifths, from a dominant to where it leads."""

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
    those chords; ``rests`` are the places where the music comes to rest. ``cadences`` are
    found first: other finders leave out, or name otherwise, what is one.
    """

    melody: Melody
    placed: Sequence[PlacedChord]
    notes: Sequence[NoteOnChord]
    steps: tuple[int, ...]
    row: tuple[PlacedChord, ...]
    rests: tuple[Rest, ...] = ()
    cadences: tuple[Device, ...] = ()

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
