"""A melody in another place: every pitch and key moved by one interval.

Contents: transposed.
"""

from __future__ import annotations

from dataclasses import replace

from melodex.melody.marks import KeyChange
from melodex.melody.record import Melody

__all__ = ["transposed"]


def transposed(melody: Melody, semitones: int, fifths: int) -> Melody:
    """Move every pitch and key; chord symbols are left as text.

    Parameters
    ----------
    melody : Melody
        What is moved.
    semitones, fifths : int
        The interval, sounding and spelled: a whole tone up is 2 and 2, a
        minor third up 3 and -3.

    Raises
    ------
    ValueError
        If the two do not name the same interval.

    Examples
    --------
    >>> from melodex.melody import Melody
    >>> line = Melody((60, 62), (0, 2), (0, 8), (8, 8), (1, 1), (1.0, 0.5), (0, 0))
    >>> transposed(line, 3, -3).fifths
    (-3, -1)
    """
    if (7 * fifths - semitones) % 12:
        raise ValueError(f"{semitones} semitones are not {fifths} fifths")
    return replace(
        melody,
        midi=tuple(m + semitones for m in melody.midi),
        fifths=tuple(f + fifths for f in melody.fifths),
        graces=tuple(
            replace(g, midi=g.midi + semitones, fifths=g.fifths + fifths)
            for g in melody.graces
        ),
        keys=moved_keys(melody.keys, fifths),
        centres=moved_keys(melody.centres, fifths),
    )


def moved_keys(changes: tuple[KeyChange, ...], fifths: int) -> tuple[KeyChange, ...]:
    """Keys an interval away; where there is none, the signature alone moves."""
    return tuple(
        replace(
            change,
            key=replace(change.key, tonic_fifths=change.key.tonic_fifths + fifths)
            if change.key.mode != "none"
            else change.key,
            signature_fifths=change.signature_fifths + fifths,
        )
        for change in changes
    )
