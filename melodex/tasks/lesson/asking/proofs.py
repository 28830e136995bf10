"""The second way to every answer: by letters and semitones, from what is printed.

Conventions: nothing here uses the line of fifths or what analysis worked out; notes and
chord roots go by letter (0 for C to 6 for B) and semitones above C. An answer that this
way does not reach too is not asked. What numerals mean is common practice, no source:
each counts from the major scale of the tonic, small letters are minor or diminished
triads, and ``V7/V`` counts from the root of V.

Contents: PITCHES, Pitch, pitch_of, distance, degree_by_letters, same_number,
NumeralRead, read_numeral, is_numeral_of, numeral_spellings, sounding_over,
interval_in_words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from melodex.analysis.harmony.chords import Chord
from melodex.melody import Melody, pitch_class_name

__all__ = [
    "NumeralRead",
    "Over",
    "Pitch",
    "degree_by_letters",
    "distance",
    "interval_in_words",
    "is_numeral_of",
    "numeral_spellings",
    "pitch_of",
    "read_numeral",
    "same_number",
    "sounding_over",
]

LETTERS = "CDEFGAB"
MAJOR = (0, 2, 4, 5, 7, 9, 11)
"""Semitones of the seven letters above C, and of the seven degrees above a tonic."""

ROMANS = ("I", "II", "III", "IV", "V", "VI", "VII")


class Pitch(NamedTuple):
    """A note without its octave: letter from C, semitones above C of that letter."""

    letter: int
    semitones: int


def pitch_of(name: str) -> Pitch:
    """Read the name of a note, such as ``Bb``."""
    letter = LETTERS.index(name[0])
    return Pitch(letter, MAJOR[letter] + name.count("#") - name.count("b"))


def named(fifths: int) -> Pitch:
    """A note of the program by its printed name."""
    return pitch_of(pitch_class_name(fifths))


def distance(low: Pitch, high: Pitch) -> tuple[int, int]:
    """Number (1 to 7) and semitones beyond the major scale of one note above another."""
    steps = (high.letter - low.letter) % 7
    octaves = 12 * (high.letter < low.letter)
    return steps + 1, high.semitones + octaves - low.semitones - MAJOR[steps]


def degree_by_letters(tonic_fifths: int, note_fifths: int) -> str:
    """The degree of a note above a tonic, such as ``b3``.

    Examples
    --------
    >>> degree_by_letters(-2, -5), degree_by_letters(0, 6)
    ('b3', '#4')
    """
    number, change = distance(named(tonic_fifths), named(note_fifths))
    return ("#" * change if change > 0 else "b" * -change) + str(number)


def split_degree(text: str) -> tuple[int, int]:
    """Number within the octave, and change, of a degree such as ``b9``."""
    bare = text.lstrip("b#")
    number = int(bare)
    return (number - 1) % 7 + 1, text.count("#") - text.count("b")


def same_number(one: str, other: str) -> bool:
    """Whether two degrees are the same note, as 2 and 9 are."""
    return split_degree(one) == split_degree(other)


class NumeralRead(NamedTuple):
    """A numeral read letter by letter: its root, and its third and fifth in semitones."""

    root: Pitch
    third: int
    fifth: int
    has_seventh: bool


NUMERAL = re.compile(
    r"(b{0,2}|#{0,2})(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(ø|°|\+)?"
    r"(maj|\(maj)?(7|9|11|13|65|64|43|42|6)?\)?(\([^)]*\))?(?:/(.+))?"
)


def read_numeral(text: str, tonic: Pitch) -> NumeralRead | None:
    """Say which root and triad a numeral means above a tonic; None where it is another.

    Suspensions, chords over a foreign bass and national sixths are not read: they are
    named in more ways than one, and so not asked for.
    """
    found = NUMERAL.fullmatch(text)
    if found is None:
        return None
    sign, letters, quality, _, figure, _, goal = found.groups()
    if goal:
        inner = read_numeral(goal, tonic)
        if inner is None:
            return None
        tonic = inner.root
    step = ROMANS.index(letters.upper())
    change = sign.count("#") - sign.count("b")
    letter = (tonic.letter + step) % 7
    semitones = tonic.semitones + MAJOR[step] + change
    # Brought into the octave of its letter, so that roots can be compared.
    semitones -= 12 * round((semitones - MAJOR[letter]) / 12)
    third = 3 if letters.islower() else 4
    fifth = {"ø": 6, "°": 6, "+": 8}.get(quality or "", 7)
    seventh = figure in {"7", "9", "11", "13", "65", "43", "42"}
    return NumeralRead(Pitch(letter, semitones), third, fifth, seventh)


def is_numeral_of(text: str, chord: Chord, tonic_fifths: int) -> bool:
    """Whether a numeral means the chord of a symbol, in root, triad and seventh."""
    read = read_numeral(text, named(tonic_fifths))
    if read is None or not chord.sounds:
        return False
    names = set(chord.degree_names)
    third = 4 if "3" in names else 3 if "b3" in names else 0
    fifth = 6 if "b5" in names else 8 if "#5" in names else 7
    seventh = bool(names & {"7", "b7", "bb7"})
    altered = "(" in text and fifth != 7
    return (
        read.root == named(chord.root_fifths)
        and read.third == third
        and (read.fifth == fifth or altered)
        and read.has_seventh == seventh
    )


def numeral_spellings(text: str, plain_text: str, mode: str) -> tuple[str, ...]:
    """All right spellings of a numeral; the first is the program's own.

    An applied chord may be counted from the tonic (``V7/V`` as ``II7``); a tail in
    brackets may be left out; in minor the flats of bIII, bVI and bVII may; bII is also
    N; half-diminished is also m7b5, diminished also ``o`` (common practice, no source).
    """
    found = dict.fromkeys([text, *([plain_text] if plain_text else [])])
    for each in list(found):
        found[re.sub(r"\([^)]*\)", "", each) if "(maj" not in each else each] = None
    for each in list(found):
        head, slash, goal = each.partition("/")
        # Whether the goal is a major or a minor chord is told by where it goes.
        other = goal.lower() if goal.strip("b#").isupper() else goal.upper()
        if slash and goal.strip("b#").isalpha():
            found[f"{head}/{''.join('b' if c == 'B' else c for c in other)}"] = None
        if mode == "minor" and re.match(r"b(III|VI|VII)", each):
            found[each[1:]] = None
        if each in {"bII", "bII6"}:
            found[each.replace("bII", "N")] = None
        if "ø7" in each:
            found[each.replace("ø7", "m7b5")] = None
            found[each.replace("ø7", "7b5")] = None
        if "°" in each:
            found[each.replace("°", "o")] = None
        if "maj7" in each and "(" not in each:
            found[each.replace("maj7", "M7")] = None
    return tuple(found)


class Over(NamedTuple):
    """A note that sounds while a chord does: indexes, and whether it began before."""

    note: int
    chord: int
    is_held: bool


def sounding_over(melody: Melody) -> Iterator[Over]:
    """Every note with every chord symbol that holds while it sounds."""
    starts = [chord.onset_ticks for chord in melody.chords]
    ends = [*starts[1:], melody.end_ticks]
    for note, onset in enumerate(melody.onset_ticks):
        end = onset + melody.duration_ticks[note]
        for place, (start, stop) in enumerate(zip(starts, ends, strict=True)):
            if start < end and stop > onset and start < stop:
                yield Over(note, place, onset < start)


NUMBERS = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh")


def interval_in_words(number: int, change: int) -> str:
    """Name an interval by its number and semitones beyond the major scale.

    Examples
    --------
    >>> interval_in_words(3, -1), interval_in_words(4, 1), interval_in_words(5, 0)
    ('minor third', 'augmented fourth', 'perfect fifth')
    """
    if number in {1, 4, 5}:
        quality = {0: "perfect", 1: "augmented", -1: "diminished"}.get(change, "")
    else:
        quality = {0: "major", -1: "minor", 1: "augmented", -2: "diminished"}.get(
            change, ""
        )
    return f"{quality} {NUMBERS[number - 1]}" if quality else ""
