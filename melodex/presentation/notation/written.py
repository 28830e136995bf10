"""Written pitch: a line as the player of a transposing instrument reads it.

Conventions: a melody holds what sounds. A transposition leads from written to sounding
pitch, in semitones: -2 for a clarinet in B flat. Its spelling is that of the instruments
in use, with no more than six signs between: a tone and not a diminished third.

Contents: written, diatonic_steps, said_transposition.
"""

from __future__ import annotations

from melodex.melody import Melody
from melodex.presentation.engraving.sides import moved_by
from melodex.tasks.compare.sentences import interval_text

__all__ = ["diatonic_steps", "said_transposition", "written"]


def fifths_of_move(semitones: int) -> int:
    """Places on the line of fifths of an interval, from -5 to 6.

    Examples
    --------
    >>> [fifths_of_move(semitones) for semitones in (-2, -3, 3, -7, -12)]
    [-2, 3, -3, -1, 0]
    """
    return (7 * semitones + 5) % 12 - 5


def written(melody: Melody, transposition_semitones: int) -> Melody:
    """A melody as it is written for an instrument that sounds otherwise, chords too."""
    if not transposition_semitones:
        return melody
    fifths = -fifths_of_move(transposition_semitones)
    return moved_by(melody, -transposition_semitones, fifths)


def diatonic_steps(semitones: int) -> int:
    """Steps of the staff that an interval spans.

    Examples
    --------
    >>> [diatonic_steps(semitones) for semitones in (-2, -3, 3, -7, -12, 0)]
    [-1, -2, 2, -4, -7, 0]
    """
    # An interval of s steps and c semitones is 7c - 12s fifths.
    return (7 * semitones - fifths_of_move(semitones)) // 12


def said_transposition(semitones: int) -> str:
    """How an instrument sounds beside what is written: ``sounds down a whole tone``."""
    return f"sounds {interval_text(semitones, fifths_of_move(semitones))}"
