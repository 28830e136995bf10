"""Notes as they were typed, laid one after another.

Conventions: a length is counted in beats; where none was typed a note lasts one, and
the phrase has no rhythm. ``?`` is a note of which nothing is known, ``?*2`` one of which
only the length is.

Contents: TypedNote, beats_of, phrase_of, with_unknown, FREE_METRE_STRENGTH.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING

from melodex.melody import TICKS_PER_QUARTER, Bar, Credits, KeyChange, Melody, Phrase
from melodex.melody.metre import FREE_METRE_STRENGTH
from melodex.reading.phrase.faults import CannotReadError
from melodex.records import dataclass

if TYPE_CHECKING:
    from fractions import Fraction

__all__ = ["FREE_METRE_STRENGTH", "TypedNote", "beats_of", "phrase_of", "with_unknown"]

MOST_BEATS = 64
LENGTH = r"(?a)(?:(\d{1,3})(?:/(\d{1,2}))?|(\d{0,3})\.(\d{1,4}))"
LETTERS = {"w": "4", "h": "2", "q": "1", "e": "1/2", "s": "1/4", "t": "1/8"}
"""First letters of whole, half, quarter, eighth, sixteenth and thirty-second note."""

LETTER = r"([whqest])(\.{0,2})"
UNKNOWN = r"\?(?:\*(.+))?"


@dataclass(frozen=True, slots=True)
class TypedNote:
    """A note as typed; ``beats`` is None where no length was given.

    Where no pitch was given, ``heard`` is False and the pitch a placeholder.
    """

    midi: int
    fifths: int
    beats: Fraction | None = None
    heard: bool = True


Word = tuple[str, int]
"""A word of a phrase, and its place in the text."""


def beats_of(text: str, place: int) -> Fraction:
    """A length: ``2``, ``1/2`` or ``1.5`` beats, or a letter such as ``q`` or ``e.``."""
    from fractions import Fraction

    if lettered := re.fullmatch(LETTER, text):
        # A dot adds half of the length, a second dot half of that.
        return Fraction(LETTERS[lettered[1]]) * (2 - Fraction(1, 2 ** len(lettered[2])))
    parts = re.fullmatch(LENGTH, text)
    starred = f"*{text}"
    if not parts or parts[2] == "0" * len(parts[2] or "."):
        raise CannotReadError(place, f"{starred!r} is no length", "write *2, *1/2 or *1.5")
    beats = Fraction(text)
    if not 0 < beats <= MOST_BEATS:
        most = f"up to {MOST_BEATS} beats"
        raise CannotReadError(place, f"{starred!r} is no length", most)
    return beats


def with_unknown(
    words: Iterable[Word], read: Callable[[Sequence[Word]], Sequence[TypedNote]]
) -> list[TypedNote]:
    """Read the words that name notes, and put those that name none in between.

    Parameters
    ----------
    words : iterable of (str, int)
        Words with their places; ``?`` and ``?*2`` among them name no pitch.
    read : callable
        Makes one note of each of the other words.
    """
    asked = list(words)
    blank = [re.fullmatch(UNKNOWN, word) for word, _ in asked]
    known = [word for word, unknown in zip(asked, blank, strict=True) if not unknown]
    notes = list(read(known))
    if len(known) == len(asked):
        return notes
    if not notes:
        raise CannotReadError(0, "no note of it is known")
    beside, rest, found = notes[0], iter(notes), []
    for (_, place), unknown in zip(asked, blank, strict=True):
        if unknown:
            beats = beats_of(unknown[1], place + 1) if unknown[1] else None
            found.append(TypedNote(beside.midi, beside.fifths, beats, heard=False))
        else:
            beside = next(rest)
            found.append(beside)
    return found


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
    if all(note.heard for note in typed):
        return Phrase(melody, notation, has_rhythm=has_rhythm)
    return Phrase(
        melody,
        notation,
        has_rhythm=has_rhythm,
        has_pitch=tuple(note.heard for note in typed),
        has_length=tuple(
            has_rhythm and (note.heard or note.beats is not None) for note in typed
        ),
    )
