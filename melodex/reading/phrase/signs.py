"""Degrees, steps and contours: phrases in numbers and signs.

Conventions: as the opening of :mod:`melodex.reading.phrase.reader` says.

Contents: read_degrees, read_degree_list, read_steps, read_contour.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import accumulate

from melodex.melody import (
    Key,
    KeyChange,
    Phrase,
    degree_fifths,
    pitch_class,
    spell,
)
from melodex.reading.phrase.faults import CannotReadError
from melodex.reading.phrase.typed import (
    TypedNote,
    Word,
    beats_of,
    phrase_of,
    with_unknown,
)

__all__ = ["read_contour", "read_degree_list", "read_degrees", "read_steps"]

DEGREE_NUMBERS = frozenset("123456789")
MAJOR_SEMITONES = (0, 2, 4, 5, 7, 9, 11, 12, 14)
MOST_SEMITONES = 48
"""The largest step that is taken for one."""

COMPACT_SIGNS = frozenset("+-0udsr↑↓→↗↘")

# Patterns are compiled when a text needs them, and kept by the module re.
WORD = r"[^\s|]+"
DEGREE = (
    r"(?ai)\^?(?P<sign>[b#n]*)(?P<number>\d+)(?P<behind>[b#]?)(?P<marks>[',]*)"
    r"(?:\*(?P<length>.*)|(?P<letter>(?-i:[whqest])\.{0,2}))?"
)
SAID_SIGN = r"(?ai)\b(flat|sharp|natural) ?(?=\d)"
SAID_SIGNS = {"flat": "b", "sharp": "#", "natural": "n"}
DASH_IN_WORD = r"(?a)(?<=[1-9'])-(?=[b#n]?[1-9])"
DASHES_BETWEEN = r"\s*[^\s-]\S*(?:\s+(?:\|\s+)?-\s+(?:\|\s+)?[^\s-]\S*)+\s*"
"""One dash between each two degrees parts them."""

HELD = r"(?<=\s)-\s*(?:\||$|-\s)"
"""A dash before a bar line, at the end or before another is a beat held, and so are all."""

LISTED = r"\s*(?:[^\s,]+\s*,\s*)+[^\s,]+\s*"
"""Commas behind all words, as in a sentence."""

ONE_DEGREE = r"(?a)[b#]*[1-7]"
DEGREES_TOGETHER = r"(?a)(?=.*(?:[b#]?[1-7]){3})\s*(?:(?:[b#]?[1-7])+\s*)+"
"""With three in one word at least: "67 65 64" may be numbers of keys."""

STEP = r"(?a)[+-]\d{1,3}|0"
SIGN_FAMILIES = ("+-0=", "/\\=", "\u2191\u2193\u2192\u2197\u2198=", "udsr")
SIGNS = {
    "+": 1,
    "-": -1,
    "0": 0,
    "↑": 1,
    "↓": -1,
    "→": 0,
    "↗": 1,
    "↘": -1,
    "/": 1,
    "\\": -1,
    "=": 0,
    "u": 1,
    "d": -1,
    "s": 0,
    "r": 0,
    "up": 1,
    "down": -1,
    "same": 0,
    "level": 0,
    "repeat": 0,
}
"""Up, down and same: signs, letters (r for a repeated note, Parsons 1975), words."""


# Degrees


def read_degrees(text: str, key: Key | None) -> Phrase:
    """Read scale degrees; without a tonic they stand on C."""
    tonic = key.tonic_fifths if key else 0
    # From G below middle C to F sharp above it, so that each key lies near the middle.
    tonic_midi = 55 + (pitch_class(tonic) - 55) % 12
    if "-" in text:
        text = re.sub(DASH_IN_WORD, " ", text)
        if re.fullmatch(DASHES_BETWEEN, text):
            text = text.replace("-", " ")
    if "a" in text.lower():
        text = re.sub(SAID_SIGN, said_sign, text)

    def notes(words: Sequence[Word]) -> list[TypedNote]:
        return [degree_note(word, place, tonic, tonic_midi) for word, place in words]

    is_held = re.search(HELD, text) is not None
    words, held = with_dashes(re.finditer(degree_words(text), text), is_held)
    typed = longer(with_unknown(words, notes), held)
    heard = [note.fifths - tonic for note in typed if note.heard]
    mode = (key.mode if key else "") or mode_of(heard)
    change = KeyChange(
        0, Key(tonic, mode), Key(tonic, mode).signature_fifths, bool(key and key.mode)
    )
    return phrase_of(typed, "degrees", keys=(change,))


def with_dashes(
    found: Iterable[re.Match[str]], is_held: bool
) -> tuple[list[Word], list[int]]:
    """Words without dashes, and how many stand behind each: "5 - -" is held two beats."""
    words: list[Word] = []
    held: list[int] = []
    for word in found:
        if word[0] != "-":
            words.append((word[0], word.start()))
            held.append(0)
        elif words and is_held:
            held[-1] += 1
        else:
            hint = "write 5*2 for a note held two beats, 5 ? 1 for a note not known"
            raise CannotReadError(word.start(), "'-' is no scale degree", hint)
    return words, held


def longer(typed: Sequence[TypedNote], held: Sequence[int]) -> list[TypedNote]:
    """Notes with the beats that dashes hold them; each has a length where one is held."""
    if not any(held):
        return list(typed)
    from fractions import Fraction

    return [
        TypedNote(note.midi, note.fifths, beats + (note.beats or Fraction(1)), note.heard)
        for note, beats in zip(typed, held, strict=True)
    ]


def read_degree_list(text: str, key: Key | None) -> Phrase:
    """Read scale degrees that are parted by commas."""
    if not re.fullmatch(LISTED, text):
        raise CannotReadError(0, "the degrees are not parted by commas")
    return replace(read_degrees(text.replace(",", " "), key), notation="degree-list")


def said_sign(found: re.Match[str]) -> str:
    """A sign that was said in a word, set before its degree; later places stay."""
    return SAID_SIGNS[found[1].lower()].rjust(len(found[0]))


def degree_words(text: str) -> str:
    """The pattern of one degree: parted by spaces, or digits run together in groups."""
    return ONE_DEGREE if re.fullmatch(DEGREES_TOGETHER, text) else WORD


def degree_note(word: str, place: int, tonic: int, tonic_midi: int) -> TypedNote:
    """One degree with its octave marks and its length."""
    parts = re.fullmatch(DEGREE, word)
    if not parts or word.strip("0") == "":
        raise CannotReadError(place, f"{word!r} is no scale degree", hint_for(word))
    number, octaves = parts["number"], parts["marks"]
    accidentals = parts["sign"].lower() + parts["behind"].lower()
    length = parts["length"] if parts["letter"] is None else parts["letter"]
    if number not in DEGREE_NUMBERS:
        raise CannotReadError(
            place,
            f"{word!r} is no scale degree",
            "degrees go from 1 to 9, parted by spaces; 1' is an octave above",
        )
    if len(accidentals) > 2 or len(set(accidentals)) > 1:
        raise CannotReadError(place, f"{accidentals!r} is no accidental")
    if len(octaves) > 4 or len(set(octaves)) > 1:
        raise CannotReadError(
            place + parts.start("marks"), f"{octaves!r} is no octave mark"
        )
    alteration = accidentals.count("#") - accidentals.count("b")
    octave = octaves.count("'") - octaves.count(",")
    midi = tonic_midi + MAJOR_SEMITONES[int(number) - 1] + alteration + 12 * octave
    fifths = tonic + degree_fifths((int(number) - 1) % 7 + 1, alteration)
    if length is None:
        return TypedNote(midi, fifths)
    return TypedNote(midi, fifths, beats_of(length, place + parts.end("marks")))


def hint_for(word: str) -> str:
    """What to write for what numbered notation writes otherwise."""
    if word.lower() in {"0", "r", "z", "rest"}:
        return "rests are not looked for: leave the rest out"
    if re.fullmatch(r"[b#]?[1-7]\.+", word):
        plain = word.strip(".")
        return f"write {plain}*1.5 for a dotted note, {plain}, for an octave lower"
    if re.fullmatch(r"[b#]?[1-7]_+", word):
        return f"write {word.strip('_')}*1/{2 ** word.count('_')}"
    return ""


def mode_of(degrees: list[int]) -> str:
    """Minor where a flat third is heard and no natural one, else major."""
    return "minor" if -3 in degrees and 4 not in degrees else "major"


# Steps and contour


def read_steps(text: str, key: Key | None) -> Phrase:
    """Read steps in semitones; the first pitch is chosen so that all of them fit."""
    steps = []
    if re.fullmatch(LISTED, text):
        text = text.replace(",", " ")
    for word in re.finditer(WORD, text):
        if not re.fullmatch(STEP, word[0]):
            hint = f"write +{word[0]}" if word[0].isdecimal() else ""
            raise CannotReadError(
                word.start(), f"{word[0]!r} is no step in semitones", hint
            )
        steps.append(int(word[0]))
        if abs(steps[-1]) > MOST_SEMITONES:
            raise CannotReadError(word.start(), f"{word[0]!r} is more than four octaves")
    return stepwise(steps, "steps", text, key)


def read_contour(text: str, key: Key | None) -> Phrase:
    """Read the signs of the steps; pitches are placeholders, a semitone for a sign."""
    steps = []
    signs = contour_words(text)
    for word, place in signs:
        if word.lower() not in SIGNS:
            raise CannotReadError(place, f"{word!r} is no sign of a step")
        steps.append(SIGNS[word.lower()])
    single = {word.lower() for word, _ in signs if len(word) == 1}
    if single and not any(single <= set(family) for family in SIGN_FAMILIES):
        # In "/ / \\ -" the dash is level, in "+ + -" it goes down.
        raise CannotReadError(0, "signs of two kinds are mixed", "write u d s")
    phrase = stepwise(steps, "contour", text, key)
    return replace(phrase, contour=tuple(steps))


def contour_words(text: str) -> list[tuple[str, int]]:
    """Signs of a contour with their places; signs of one letter may stand together."""
    parted = re.sub(r"(?i)(?<=[udsr])-(?=[udsr])", " ", text)
    if re.fullmatch(LISTED, parted):
        parted = parted.replace(",", " ")
    words = [(word[0], word.start()) for word in re.finditer(WORD, parted)]
    if words and words[0][0].startswith("*"):
        # The first note, which no step leads to, is written as a star (Parsons 1975).
        words[0] = (words[0][0][1:], words[0][1] + 1)
    return [
        (sign, place + offset)
        for word, place in words
        for offset, sign in enumerate(
            word if set(word.lower()) <= COMPACT_SIGNS else [word]
        )
    ]


def stepwise(steps: list[int], notation: str, text: str, key: Key | None) -> Phrase:
    """A phrase without tonic and rhythm from its steps."""
    heights = list(accumulate(steps, initial=0))
    if max(heights) - min(heights) > 127:
        raise CannotReadError(0, "the steps span more than ten octaves")
    if key:
        raise CannotReadError(
            0,
            f"{notation} have no tonic"
            if notation == "steps"
            else "a contour has no tonic",
            "leave the tonic out, or type degrees",
        )
    first = min(max(60, -min(heights)), 127 - max(heights))
    typed = [TypedNote(first + h, spell(first + h, 0)) for h in heights]
    return replace(phrase_of(typed, notation), has_tonic=False)
