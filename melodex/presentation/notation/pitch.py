"""Pitch on a stave: accidentals that must be printed, and pitches in words.

Contents: Inflections, clef_for, signature_alterations, spelled, spoken_pitch.
"""

from __future__ import annotations

from melodex.melody import Melody
from melodex.melody.pitch import letter_and_alteration, note_name, octave_of

__all__ = ["Inflections", "clef_for", "signature_alterations", "spelled", "spoken_pitch"]

MOST_SHARPS = 7
CLEFS = (("G", 2, 0), ("F", 4, 0), ("G", 2, -1), ("G", 2, 1), ("F", 4, -1))
"""Shape, line and octave shift, in order of preference."""

CLEF_MIDDLE_STEPS = {"G": 34, "F": 22}
"""Middle line in steps above C0: B4 in the treble clef, D3 in the bass clef."""


def signature_alterations(signature_fifths: int) -> dict[str, int]:
    """Letter -> sharps or flats under a key signature of up to seven.

    Examples
    --------
    >>> signature_alterations(-2)
    {'B': -1, 'E': -1}
    """
    count = min(abs(signature_fifths), MOST_SHARPS)
    letters = "FCGDAEB" if signature_fifths > 0 else "BEADGCF"
    sign = 1 if signature_fifths > 0 else -1
    return dict.fromkeys(letters[:count], sign)


class Inflections:
    """Which accidentals hold, so that only those needed are printed.

    A printed accidental holds for its letter and octave to the end of the bar
    (common practice, no source).
    """

    def __init__(self, signature_fifths: int = 0) -> None:
        self.signature = signature_alterations(signature_fifths)
        self.held: dict[tuple[str, int], int] = {}

    def new_signature(self, signature_fifths: int) -> None:
        """Take over another key signature."""
        self.signature = signature_alterations(signature_fifths)

    def new_bar(self) -> None:
        """Forget the accidentals of the last bar."""
        self.held.clear()

    def printed(self, midi: int, fifths: int, *, tied_from: bool = False) -> int | None:
        """The alteration to print before a note, or None where it is understood."""
        letter, alteration = letter_and_alteration(fifths)
        place = (letter, octave_of(midi, fifths))
        expected = self.held.get(place, self.signature.get(letter, 0))
        if tied_from or expected == alteration:
            return None
        self.held[place] = alteration
        return alteration


def spelled(midi: int, fifths: int) -> tuple[str, int, int]:
    """Letter, alteration and written octave of a pitch."""
    letter, alteration = letter_and_alteration(fifths)
    return letter, alteration, octave_of(midi, fifths)


def spoken_pitch(midi: int, fifths: int) -> str:
    """A pitch as words: ``B flat 4``."""
    letter, alteration, octave = spelled(midi, fifths)
    signs = {0: "", 1: " sharp", 2: " double sharp", -1: " flat", -2: " double flat"}
    return f"{letter}{signs.get(alteration, ' ' + note_name(midi, fifths))} {octave}"


def clef_for(melody: Melody) -> tuple[str, int, int]:
    """The clef that needs the fewest ledger lines, treble where it is close."""
    steps = [
        7 * o + "CDEFGAB".index(letter)
        for letter, _, o in (
            spelled(m, f) for m, f in zip(melody.midi, melody.fifths, strict=True)
        )
    ]

    def ledgers(clef: tuple[str, int, int]) -> float:
        middle = CLEF_MIDDLE_STEPS[clef[0]] + 7 * clef[2]
        lines = sum(max(0, abs(step - middle) - 4) // 2 for step in steps) / len(steps)
        return lines + 0.6 * CLEFS.index(clef)

    return min(CLEFS, key=ledgers)
