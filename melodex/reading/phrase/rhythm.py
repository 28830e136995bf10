"""Rhythm alone: lengths without pitches.

Conventions: a length is counted in quarter notes, and only what the lengths are to each
other counts. They are written

- by the first letters of *whole, half, quarter, eighth, sixteenth* and *thirty-second*:
  ``q. e q q``, or run together where a ``q`` is among them: ``qeeq``;
- in words, American or British: ``dotted crotchet quaver minim``; also French, German,
  Italian and Spanish: ``noire pointée croche blanche``, ``Viertel Achtel Halbe``;
- as parts of a whole note, as a time signature writes them: ``3/8 1/8 1/4``;
- as signs of notes: ``♩. ♪ ♩``;
- in the syllables that classes clap: ``ta ti-ti ta ta-a``, where *ta* is a quarter, *ti*
  an eighth, *tika* two sixteenths, and each *-a* a quarter more; *too* is a half;
- in beats after a star, as after a degree: ``*1.5 *.5 *1``;
- where the notation is told, as plain numbers, as the lengths of ABC: ``3 1 2 2``.

A dot after a length adds half of it. Names of lengths are common practice, no source.

Contents: read_rhythm.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from melodex.melody import Key, Phrase
from melodex.reading.phrase.faults import CannotReadError
from melodex.reading.phrase.typed import LETTER, TypedNote, Word, beats_of, phrase_of

__all__ = ["read_rhythm"]

TITLE = r"(?i)\s*rhythm:?"
TOGETHER = r"(?i)(?=[whest]*q)(?:[whqest]\.{0,2}){3,}"
PART_OF_WHOLE = r"(?a)(\d{1,2})/(\d{1,2})(\.{0,2})"
SIGN = r"([𝅝𝅗𝅥♩♪♫]+)(\.{0,2})"
SIGNS = {"𝅝": Fraction(4), "𝅗𝅥": Fraction(2), "♩": Fraction(1), "♪": Fraction(1, 2)}
ONE_SIGN = "𝅝|𝅗𝅥|♩|♪|♫"
BEAMED = "♫"
"""Two eighths under one beam."""
NAMES = {
    **dict.fromkeys(("breve", "double whole"), Fraction(8)),
    **dict.fromkeys(("whole", "semibreve", "ronde", "ganze", "redonda"), Fraction(4)),
    **dict.fromkeys(("half", "minim", "blanche", "halbe", "minima", "blanca"), Fraction(2)),
    **dict.fromkeys(("quarter", "crotchet", "noire", "viertel"), Fraction(1)),
    **dict.fromkeys(("semiminima", "negra"), Fraction(1)),
    **dict.fromkeys(("eighth", "quaver", "croche", "achtel"), Fraction(1, 2)),
    **dict.fromkeys(("croma", "corchea"), Fraction(1, 2)),
    **dict.fromkeys(("sixteenth", "semiquaver", "sechzehntel"), Fraction(1, 4)),
    **dict.fromkeys(("double-croche", "semicroma", "semicorchea"), Fraction(1, 4)),
    **dict.fromkeys(("thirty-second", "demisemiquaver"), Fraction(1, 8)),
    **dict.fromkeys(("triple-croche", "biscroma", "fusa"), Fraction(1, 8)),
}
CLAPPED = {"ta": ("1",), "ti": ("1/2",), "tika": ("1/4", "1/4"), "too": ("2",)}
CLAP = r"(?i)(?:ta(?:-a){0,3}|tika|ti|too)(?:-?(?:ta(?:-a){0,3}|tika|ti|too))*"
ONE_CLAP = r"(?i)tika|too|ti|ta(?:-a)*"
DOTS = {
    **dict.fromkeys(("dotted", "punktierte", "punktiertes", "punktierter"), Fraction(3, 2)),
    "double-dotted": Fraction(7, 4),
}
DOTTED_BEHIND = r"(?i)(?<=[a-z])[ ](?:point[ée]e|puntat[ao]|con puntillo)s?\b"
"""A dot that is said behind its note."""
CROCHES = r"(?i)\b(double|triple)[ ](?=croche)"
NUMBER = r"(?a)\d{1,2}(?:\.\d{1,4}|/\d{1,2})?"
WORD = r"[^\s|,;]+"
PLACEHOLDER = 60
"""Middle C stands for a pitch that was not said."""


def read_rhythm(text: str, key: Key | None) -> Phrase:
    """Read lengths in any of the ways that this module's opening tells.

    Raises
    ------
    CannotReadError
        If a word is no length, or a tonic is named beside them.
    """
    if key:
        raise CannotReadError(0, "a rhythm has no tonic", "leave the tonic out")
    text = re.sub(CROCHES, r"\1-", text)
    text = re.sub(DOTTED_BEHIND, lambda found: ".".ljust(len(found[0])), text)
    title = re.match(TITLE, text)
    typed = [
        TypedNote(PLACEHOLDER, 0, beats, heard=False)
        for beats in lengths_of(list(words(text, title.end() if title else 0)))
    ]
    return replace(phrase_of(typed, "rhythm"), has_tonic=False)


def words(text: str, start: int) -> Iterator[Word]:
    """The words of a rhythm; letters and signs that run together are parted."""
    for found in re.compile(WORD).finditer(text, start):
        if re.fullmatch(CLAP, found[0]):
            yield from clapped(found[0], found.start())
            continue
        one = ONE_SIGN if re.fullmatch(SIGN, found[0]) else "[whqest]"
        if one == ONE_SIGN or re.fullmatch(TOGETHER, found[0]):
            for part in re.finditer(rf"(?i)(?:{one})\.{{0,2}}", found[0]):
                for sign in ("♪", "♪") if part[0] == BEAMED else (part[0],):
                    yield sign, found.start() + part.start()
        elif found[0].lower() not in {"note", "notes"}:
            yield found[0], found.start()


def clapped(text: str, start: int) -> Iterator[Word]:
    """Syllables as lengths in beats, written as after a degree."""
    for found in re.finditer(ONE_CLAP, text):
        name, *longer = found[0].lower().split("-")
        for beats in CLAPPED[name]:
            yield f"*{Fraction(beats) + len(longer)}", start + found.start()


def lengths_of(typed: list[Word]) -> Iterator[Fraction]:
    """The lengths; ``dotted`` belongs to the name after it."""
    numbers = bool(typed) and all(re.fullmatch(NUMBER, word) for word, _ in typed)
    # 1/4 is a quarter note; where any number is whole, all of them are numbers of beats.
    in_beats = numbers and not all("/" in word for word, _ in typed)
    times = Fraction(1)
    for word, place in typed:
        if word.lower() in DOTS and times == 1:
            times = DOTS[word.lower()]
            continue
        beats = beats_of(word, place) if in_beats else length_of(word, place)
        yield times * beats
        times = Fraction(1)
    if times != 1:
        raise CannotReadError(typed[-1][1], "what is dotted is not said")


def length_of(word: str, place: int) -> Fraction:
    """One length in quarters."""
    plain = word.lower()
    if plain.startswith("*"):
        return beats_of(plain[1:], place)
    if re.fullmatch(LETTER, plain):
        return beats_of(plain, place)
    if found := re.fullmatch(SIGN, word):
        return SIGNS[found[1]] * dotted(found[2])
    if (found := re.fullmatch(PART_OF_WHOLE, plain)) and int(found[1]) and int(found[2]):
        return 4 * Fraction(int(found[1]), int(found[2])) * dotted(found[3])
    name, dots = plain.rstrip("."), plain[len(plain.rstrip(".")) :]
    name = name.removesuffix("s") if name.removesuffix("s") in NAMES else name
    if name in NAMES and len(dots) <= 2:
        return NAMES[name] * dotted(dots)
    if plain in {"r", "z", "rest"}:
        raise CannotReadError(place, "rests are not looked for", "leave the rest out")
    raise CannotReadError(place, f"{word!r} is no length", "write q. e q h, or *1.5 *.5 *1")


def dotted(dots: str) -> Fraction:
    """What dots make of a length."""
    return 2 - Fraction(1, 2 ** len(dots))
