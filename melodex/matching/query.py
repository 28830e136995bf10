"""What is looked for, as matching sees it.

Conventions: one signed byte per note for pitch and for length class, as in the
packed chunks. A phrase typed without rhythm has unknown lengths throughout.

Contents: EncodedQuery, encode_query, require_room.
"""

from __future__ import annotations

from melodex.corpus.chunks import UNKNOWN_LENGTH
from melodex.errors import EmptyMelodyError, PhraseError
from melodex.melody import Phrase, duration_class
from melodex.records import dataclass
from melodex.settings import MAX_QUERY_NOTES, AlignmentCosts

__all__ = ["EncodedQuery", "encode_query", "require_room"]

LEAST_NOTES = 2
"""Notes of a phrase: one interval."""
HIGHEST_PITCH = 127
"""MIDI number (MIDI 1.0: 0 to 127)."""
MOST_POINTS = 32767
"""Largest signed number of 16 bits, in which the kernel counts points."""


@dataclass(frozen=True, slots=True)
class EncodedQuery:
    """A phrase to find.

    Parameters
    ----------
    pitch : bytes
        MIDI numbers, 0 to 127.
    length_class : bytes
        One signed byte per note.
    moved_semitones : int
        How far the phrase was moved to fit MIDI's range; transpositions are
        stated from the phrase as it came.

    Raises
    ------
    EmptyMelodyError
        If there are fewer than two notes.
    PhraseError
        If there are too many, or the columns are not as long as each other.
    """

    pitch: bytes
    length_class: bytes
    moved_semitones: int = 0

    def __post_init__(self) -> None:
        count = len(self.pitch)
        if count < LEAST_NOTES:
            raise EmptyMelodyError(
                f"a phrase of {count} notes resembles everything", hint="give at least two"
            )
        if count > MAX_QUERY_NOTES:
            raise PhraseError(
                f"a phrase of {count} notes is too long",
                hint=f"ask for at most {MAX_QUERY_NOTES}, or for some of its bars",
            )
        if len(self.length_class) != count:
            raise PhraseError("not as many lengths as pitches")
        if max(self.pitch) > HIGHEST_PITCH:
            raise PhraseError("a pitch lies outside MIDI's range")

    @property
    def note_count(self) -> int:
        """How many notes it has."""
        return len(self.pitch)

    @property
    def span(self) -> int:
        """Semitones from its lowest to its highest note."""
        return max(self.pitch) - min(self.pitch)

    @property
    def classes(self) -> tuple[int, ...]:
        """Length classes as signed numbers."""
        return signed(self.length_class)

    def reversed(self) -> EncodedQuery:
        """The same notes from last to first: what chance is measured with."""
        return EncodedQuery(self.pitch[::-1], self.length_class[::-1], self.moved_semitones)


def encode_query(phrase: Phrase) -> EncodedQuery:
    """Encode a phrase for matching.

    Parameters
    ----------
    phrase : Phrase
        Any phrase but a bare contour, which has its own search.

    Raises
    ------
    EmptyMelodyError, PhraseError
        If it is too short, too long, or spans more than MIDI has pitches for.
    """
    melody = phrase.melody
    if not melody.midi:
        raise EmptyMelodyError("the phrase has no notes")
    move = shift_into_range(min(melody.midi), max(melody.midi))
    lengths = bytes(
        (duration_class(ticks) if phrase.has_rhythm else UNKNOWN_LENGTH) & 0xFF
        for ticks in melody.duration_ticks
    )
    return EncodedQuery(bytes(midi + move for midi in melody.midi), lengths, move)


def require_room(query: EncodedQuery, costs: AlignmentCosts) -> None:
    """Refuse a phrase whose points could outgrow 16 bits.

    Raises
    ------
    PhraseError
        If it has too many notes for these costs.
    """
    most = MOST_POINTS // costs.best_pair
    if query.note_count > most:
        raise PhraseError(
            f"a phrase of {query.note_count} notes is too long for these costs",
            hint=f"ask for at most {most} notes, or lower the points for a pair",
        )


def shift_into_range(lowest: int, highest: int) -> int:
    """Octaves, in semitones, that bring a range of pitches into MIDI's."""
    if highest - lowest > HIGHEST_PITCH:
        raise PhraseError("the phrase spans more than ten octaves")
    if lowest < 0:
        octaves = -(lowest // 12) * 12
        return octaves if highest + octaves <= HIGHEST_PITCH else -lowest
    if highest > HIGHEST_PITCH:
        octaves = -((highest - HIGHEST_PITCH + 11) // 12) * 12
        return octaves if lowest + octaves >= 0 else HIGHEST_PITCH - highest
    return 0


def signed(values: bytes) -> tuple[int, ...]:
    """Bytes read as signed numbers."""
    return tuple(value - 256 if value > 127 else value for value in values)
