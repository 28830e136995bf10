"""Texture: every sounding note of a piece, whichever line has it.

Conventions: one entry per sounding note of every line, ties merged, in order of onset
and then of pitch, lowest first. Times are ticks from the start of the first bar, as in
the :class:`~melodex.melody.record.Melody` that was taken from the same piece. A texture
is what harmony is worked out from; it is no part of the tune and is not stored.

Contents: SoundingNote, Texture, texture_of_lines, names_harmony.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from melodex.melody.record import Melody
from melodex.records import dataclass

__all__ = ["SoundingNote", "Texture", "names_harmony", "texture_of_lines"]

BARS_A_CHORD = 8
"""Chord symbols that stand further apart than this on average are strays: they name no
harmony of the sheet (some scores in music21's corpus have one or two in a hundred bars)."""

LEAST_TOGETHER = 0.5
"""A fiddle tune with some double stops stays below, two voices or a piano above; our
choice."""


@dataclass(frozen=True, slots=True)
class SoundingNote:
    """A note of any line: when, how long, its pitch, and the line that has it.

    Parameters
    ----------
    onset_ticks, duration_ticks : int
        Time in ticks from the start of the first bar.
    midi : int
        Sounding pitch in semitones, middle C is 60.
    fifths : int
        Spelled pitch class on the line of fifths.
    line : int
        Index of its line in :attr:`Texture.lines`.
    """

    onset_ticks: int
    duration_ticks: int
    midi: int
    fifths: int
    line: int = 0

    @property
    def end_ticks(self) -> int:
        """Where it ends."""
        return self.onset_ticks + self.duration_ticks


@dataclass(frozen=True, slots=True)
class Texture:
    """All notes of a piece.

    Parameters
    ----------
    notes : tuple of SoundingNote
        In order of onset, then of pitch.
    lines : tuple of str
        What each line is called, such as ``Tenor`` or ``Piano, voice 2``.
    named : bool
        Whether printed chord symbols name the harmony, so that nothing is worked out.
    """

    notes: tuple[SoundingNote, ...] = ()
    lines: tuple[str, ...] = ()
    named: bool = False

    def __len__(self) -> int:
        return len(self.notes)

    @property
    def together(self) -> float:
        """Share of the sounding time in which different notes sound at once."""
        # Place, note, and whether it begins, in one number: these are soon sorted.
        changes = [(note.onset_ticks << 5) + note.midi % 12 * 2 + 1 for note in self.notes]
        changes += [
            (note.onset_ticks + note.duration_ticks << 5) + note.midi % 12 * 2
            for note in self.notes
        ]
        changes.sort()
        sounding = [0] * 12
        different = whole = shared = last = 0
        for code in changes:
            place, note = code >> 5, (code & 31) >> 1
            if place > last:
                if different:
                    whole += place - last
                    if different > 1:
                        shared += place - last
                last = place
            before = sounding[note]
            after = before + 1 if code & 1 else before - 1
            sounding[note] = after
            different += (after > 0) - (before > 0)
        return shared / whole if whole else 0.0

    @property
    def is_chordal(self) -> bool:
        """Whether there is harmony to be heard: notes sound together half of the time."""
        return self.together >= LEAST_TOGETHER

    @classmethod
    def of(cls, notes: Iterable[SoundingNote], lines: Sequence[str]) -> Texture:
        """Put notes in order; those shorter than half a tick are not heard."""
        lasting = (note for note in notes if note.duration_ticks > 0)
        ordered = sorted(lasting, key=lambda n: (n.onset_ticks, n.midi, n.line))
        return cls(tuple(ordered), tuple(lines))


def texture_of_lines(
    lines: Sequence[tuple[str, Melody]], beside: Iterable[SoundingNote] = ()
) -> Texture | None:
    """Lay lines over one another, each with its name; None if nothing sounds together.

    ``beside`` are notes of chords that the lines do not have, each with the place of its
    line.
    """
    notes = [
        SoundingNote(onset, duration, midi, fifths, place)
        for place, (_, line) in enumerate(lines)
        for onset, duration, midi, fifths in zip(
            line.onset_ticks, line.duration_ticks, line.midi, line.fifths, strict=True
        )
    ]
    notes += beside
    texture = Texture.of(notes, [name for name, _ in lines])
    return texture if texture.is_chordal else None


def names_harmony(chords: int, bars: int) -> bool:
    """Whether so many chord symbols stand close enough to say what the harmony is."""
    return BARS_A_CHORD * chords >= bars
