"""Notes as they were typed, laid one after another.

Conventions: a length is counted in beats; where none was typed a note lasts one, and
the phrase has no rhythm.

Contents: TypedNote, beats_of, phrase_of, FREE_METRE_STRENGTH.
"""

from __future__ import annotations

import re
from itertools import accumulate
from typing import TYPE_CHECKING

from melodex.melody import TICKS_PER_QUARTER, Bar, Credits, KeyChange, Melody, Phrase
from melodex.reading.phrase.faults import CannotReadError
from melodex.records import dataclass

if TYPE_CHECKING:
    from fractions import Fraction

__all__ = ["FREE_METRE_STRENGTH", "TypedNote", "beats_of", "phrase_of"]

MOST_BEATS = 64
FREE_METRE_STRENGTH = 0.5
LENGTH = r"(?a)(\d{1,3})(?:/(\d{1,2})|\.(\d{1,4}))?"


@dataclass(frozen=True, slots=True)
class TypedNote:
    """A note as typed; ``beats`` is None where no length was given."""

    midi: int
    fifths: int
    beats: Fraction | None = None


def beats_of(text: str, place: int) -> Fraction:
    """A length after a star: ``2``, ``1/2`` or ``1.5`` beats."""
    parts = re.fullmatch(LENGTH, text)
    if not parts or parts[2] == "0" * len(parts[2] or "."):
        raise CannotReadError(place, f"'*{text}' is no length", "write *2, *1/2 or *1.5")
    from fractions import Fraction

    beats = Fraction(text)
    if not 0 < beats <= MOST_BEATS:
        raise CannotReadError(place, f"'*{text}' is no length", f"up to {MOST_BEATS} beats")
    return beats


def phrase_of(
    typed: list[TypedNote], notation: str, keys: tuple[KeyChange, ...] = ()
) -> Phrase:
    """Lay typed notes one after another in a single bar of free metre."""
    has_rhythm = any(note.beats is not None for note in typed)
    lengths = [
        max(1, round((1 if note.beats is None else note.beats) * TICKS_PER_QUARTER))
        for note in typed
    ]
    onsets = list(accumulate(lengths, initial=0))
    count = len(typed)
    melody = Melody(
        midi=tuple(note.midi for note in typed),
        fifths=tuple(note.fifths for note in typed),
        onset_ticks=tuple(onsets[:-1]),
        duration_ticks=tuple(lengths),
        bar=(1,) * count,
        beat_strength=(FREE_METRE_STRENGTH,) * count,
        phrase=(0,) * count,
        bars=(Bar(1, 0, onsets[-1]),),
        keys=keys,
        credits=Credits(),
    )
    return Phrase(melody, notation, has_rhythm=has_rhythm)
