"""From a written ABC note to its pitch: signature, accidentals, transposition.

Conventions: an accidental holds to the end of the bar for its letter in every
octave, the default of the standard (11.3), or as ``%%propagate-accidentals`` says.
A pitch is a pair: semitones, and place on the line of fifths. Note names are
letter and octave marks, ``c'`` or ``A,``.

References
----------
The ABC music standard 2.1 (December 2011), sections 4.1, 4.2, 4.6 and 11.3.

Contents: Pitch, PitchReader, nearest_sign.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from melodex.errors import HostileInputError
from melodex.melody import Key, KeyChange, fifths_of, midi_of
from melodex.reading.abc.fields import KeyField

__all__ = ["ALTERATIONS", "Pitch", "PitchReader", "nearest_sign"]

LONGEST_NAME = 9
"""Characters of a note's letter and octave marks that are believed."""
ALTERATIONS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
"""Semitones of the signs of abc 2.1, 4.2."""
Pitch = tuple[int, int]


class PitchReader:
    """Knows the signature, and which accidentals hold in the bar."""

    def __init__(self, propagation: str) -> None:
        self.propagation = propagation
        self.signature = dict.fromkeys("ABCDEFG", 0)
        self.altered: dict[str, int] = {}
        self.octaves = self.semitones = 0
        self.shift_midi = self.shift_fifths = 0
        self.plain: dict[str, Pitch] = {}
        self.now: dict[str, Pitch] = self.plain

    def set_key(self, field: KeyField, onset_ticks: int) -> KeyChange | None:
        """Take a key, a clef or a transposition; return the key if there was one."""
        self.octaves = self.octaves if field.octaves is None else field.octaves
        self.semitones = self.semitones if field.semitones is None else field.semitones
        self.shift_midi = self.semitones + 12 * self.octaves
        # Seven is its own inverse modulo twelve; the simplest spelling is taken.
        self.shift_fifths = (7 * self.semitones + 5) % 12 - 5
        if field.key is not None:
            self.signature = field.alterations
        self.altered = {}
        self.plain = self.now = {}
        if field.key is None:
            return None
        key = field.key
        if key.mode != "none":
            key = Key(key.tonic_fifths + self.shift_fifths, key.mode)
        printed = field.printed_fifths + self.shift_fifths
        return KeyChange(onset_ticks, key, printed, field.stated)

    def end_bar(self) -> None:
        """Forget the accidentals of the bar."""
        if self.altered:
            self.altered = {}
            self.now = self.plain

    def pitch(self, sign: str | None, name: str) -> Pitch:
        """The pitch of a written note; its accidental is remembered.

        Raises
        ------
        HostileInputError
            If the note lies beyond the range of MIDI.
        """
        known = None if sign else self.now.get(name)
        if known is not None:
            return known
        letter, octave, midi, fifths = natural(name)
        slot = f"{letter}{octave}" if self.propagation == "octave" else letter
        if sign:
            alteration = ALTERATIONS[sign]
        else:
            alteration = self.altered.get(slot, self.signature[letter])
        midi += alteration + self.shift_midi
        if not 0 <= midi <= 127:
            raise HostileInputError(f"the note {name} is out of range")
        pitch = (midi, fifths + 7 * alteration + self.shift_fifths)
        if not sign:
            self.now[name] = pitch
        elif self.propagation != "not" and self.altered.get(slot) != alteration:
            self.altered[slot] = alteration
            self.now = {}
        return pitch


@lru_cache(maxsize=512)
def natural(name: str) -> tuple[str, int, int, int]:
    """Letter, octave, semitones and fifths of a note without accidentals."""
    if len(name) > LONGEST_NAME:
        raise HostileInputError(f"the note {name[:LONGEST_NAME]} ... is out of range")
    letter = name[0].upper()
    octave = (4 if name[0] == letter else 5) + name.count("'") - name.count(",")
    fifths = fifths_of(letter)
    return letter, octave, midi_of(fifths, octave), fifths


MICROTONE = re.compile(r"(\d{0,3})(?:/(\d{0,3}))?")


def nearest_sign(signs: str, amount: str) -> str:
    """The whole semitone next to a microtonal accidental; half-way goes to the letter.

    Examples
    --------
    >>> nearest_sign("^", "/"), nearest_sign("_", "3/4"), nearest_sign("^", "3/2")
    ('=', '_', '^')
    """
    found = MICROTONE.fullmatch(amount)
    size = Fraction(1)
    if found:
        below = found[2]
        divisor = 1 if below is None else int(below) if below else 2
        size = Fraction(int(found[1]) if found[1] else 1, divisor or 1)
    whole, part = divmod(size, 1)
    steps = min(whole + (part > Fraction(1, 2)), 2)
    return signs[-1] * steps if steps and signs[-1] in "^_" else "="
