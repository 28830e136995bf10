"""Spelled pitch: the line of fifths, note names, scale degrees and modes.

Conventions: ``fifths`` is a place on the line of fifths (F -1, C 0, G 1, D 2,
A 3, E 4, B 5; a sharp adds 7, a flat takes 7 away). A degree is the distance on
that line from the tonic: 0 is 1, 1 is 5, 2 is 2, 3 is 6, 4 is 3, 5 is 7, -1 is
4, -2 is flat 7. ``midi`` counts semitones, 60 being middle C (C4). Names are
plain ASCII, ``b`` for flat and ``#`` for sharp; pages put the signs in.

References
----------
Temperley (2000), "The line of fifths", Music Analysis 19, 289-319: tonal pitch
classes as whole numbers on an unbounded line.

Contents: fifths_of, fifths_from_name, pitch_class, pitch_class_name, midi_of,
octave_of, note_name, degree_name, degree_fifths, spell, MODES.
"""

from __future__ import annotations

import re
from functools import lru_cache

__all__ = [
    "MODES",
    "degree_fifths",
    "degree_name",
    "fifths_from_name",
    "fifths_of",
    "midi_of",
    "note_name",
    "octave_of",
    "pitch_class",
    "pitch_class_name",
    "spell",
]

LINE_OF_LETTERS = "FCGDAEB"
NATURAL_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Semitones above C."""
DEGREES_FROM_FOURTH = (4, 1, 5, 2, 6, 3, 7)
"""Degrees in the order of fifths, from the fourth of the scale upward."""

MODES = {
    "major": 0,
    "ionian": 0,
    "mixolydian": 1,
    "dorian": 2,
    "minor": 3,
    "aeolian": 3,
    "phrygian": 4,
    "locrian": 5,
    "lydian": -1,
}
"""How far each mode's tonic lies from the major tonic of its signature, in fifths."""


def fifths_of(letter: str, alteration: int = 0) -> int:
    """Place a letter with sharps (+) or flats (-) on the line of fifths.

    Examples
    --------
    >>> fifths_of("B", -1), fifths_of("A", 1)
    (-2, 10)
    """
    return LINE_OF_LETTERS.index(letter.upper()) - 1 + 7 * alteration


def fifths_from_name(name: str) -> int:
    """Place a note name such as ``Bb``, ``F#`` or ``Ebb`` on the line of fifths.

    Raises
    ------
    ValueError
        If the text is not one letter A-G followed by sharps or flats.
    """
    found = re.fullmatch(r"([A-Ga-g])([#♯]*|[b♭]*)", name)
    if not found:
        raise ValueError(f"{name!r} is no note name")
    signs = found[2]
    return fifths_of(found[1], len(signs) if signs[:1] in {"#", "♯"} else -len(signs))


def letter_and_alteration(fifths: int) -> tuple[str, int]:
    """Split a place on the line of fifths into letter and sharps (+) or flats (-)."""
    alteration, letter = divmod(fifths + 1, 7)
    return LINE_OF_LETTERS[letter], alteration


def signs(alteration: int) -> str:
    """Write an alteration as sharps or flats."""
    return "#" * alteration if alteration > 0 else "b" * -alteration


def pitch_class(fifths: int) -> int:
    """Return the semitones above C, 0 to 11, of a spelled pitch class."""
    return (7 * fifths) % 12


@lru_cache(maxsize=256)
def pitch_class_name(fifths: int) -> str:
    """Return the name of a spelled pitch class, such as ``Bb``.

    Examples
    --------
    >>> [pitch_class_name(f) for f in (-2, 0, 6, 10)]
    ['Bb', 'C', 'F#', 'A#']
    """
    letter, alteration = letter_and_alteration(fifths)
    return letter + signs(alteration)


def midi_of(fifths: int, octave: int) -> int:
    """Return the MIDI number of a spelled pitch; octave 4 starts on middle C."""
    letter, alteration = letter_and_alteration(fifths)
    return 12 * (octave + 1) + NATURAL_SEMITONES[letter] + alteration


def octave_of(midi: int, fifths: int) -> int:
    """Return the written octave of a pitch: C flat 4 sounds as B 3 but is in octave 4."""
    letter, alteration = letter_and_alteration(fifths)
    return (midi - alteration - NATURAL_SEMITONES[letter]) // 12 - 1


def note_name(midi: int, fifths: int) -> str:
    """Return name and octave, such as ``Bb4``.

    Examples
    --------
    >>> note_name(70, -2), note_name(59, -7)
    ('Bb4', 'Cb4')
    """
    return f"{pitch_class_name(fifths)}{octave_of(midi, fifths)}"


def degree_name(fifths_from_tonic: int) -> str:
    """Name a scale degree against the major scale on its tonic, such as ``b3`` or ``#4``.

    Parameters
    ----------
    fifths_from_tonic : int
        Distance on the line of fifths from the tonic.

    Examples
    --------
    >>> [degree_name(d) for d in (0, 4, -3, 6, -6, 5)]
    ['1', '3', 'b3', '#4', 'b5', '7']
    """
    alteration, place = divmod(fifths_from_tonic + 1, 7)
    return signs(alteration) + str(DEGREES_FROM_FOURTH[place])


def degree_fifths(number: int, alteration: int = 0) -> int:
    """Return the distance from the tonic, in fifths, of degree 1 to 7 with an alteration.

    Raises
    ------
    ValueError
        If the number is not between 1 and 7.
    """
    return DEGREES_FROM_FOURTH.index(number) - 1 + 7 * alteration


def spell(midi: int, tonic_fifths: int) -> int:
    """Spell a pitch that came without spelling, in a key.

    The choice is the usual one for both modes (common practice, no source):
    flat 2, flat 3, sharp 4, flat 6 and flat 7, that is the twelve places from
    five fifths below the tonic to six above.

    Examples
    --------
    >>> pitch_class_name(spell(70, fifths_from_name("F")))
    'Bb'
    """
    lowest = tonic_fifths - 5
    # Seven is its own inverse modulo twelve, so 7 * semitones gives fifths.
    return lowest + (7 * midi - lowest) % 12
