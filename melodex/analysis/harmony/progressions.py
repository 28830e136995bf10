"""Progressions: chords in a row, typed by a musician or taken from a piece.

Conventions: a typed progression is written in Roman numerals (``ii V I``,
``bVI bVII I``, ``V7/V V7 I``) or in chord symbols (``Dm7 G7 Cmaj7``), parted by
spaces, commas, bar lines or arrows, never in both. Numerals are counted from the
major scale on the tonic, large ones have a major third; ``6``, ``64``, ``65``,
``43`` and ``42`` are inversions, a sixth chord is ``I(add6)``; a Roman numeral
after a slash is the chord that is tonicised, an Arabic one a degree in the bass.
Without a figure a numeral stands for its triad. Roots are places on the line of
fifths: above the tonic for numerals, absolute for chord symbols.

Contents: ChordToken, Progression, read_progression, token_of, tokens_of.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.harmony.placed import PlacedChord
from melodex.analysis.harmony.quality import NotUnderstoodError, Quality, read_quality
from melodex.errors import AnalysisError
from melodex.melody import degree_fifths

__all__ = [
    "ChordToken",
    "Progression",
    "read_progression",
    "token_of",
    "tokens_of",
]

MOST_CHORDS = 64
"""Chords in a typed progression; a whole tune has rarely more."""


class ChordToken(NamedTuple):
    """One chord of a progression.

    Parameters
    ----------
    text : str
        As written.
    root_fifths : int
        On the line of fifths: above the tonic in numerals, else absolute.
    family : str
        One of :data:`melodex.analysis.harmony.chords.FAMILIES`.
    sevenths : tuple of str
        Extensions of the chord, its seventh or sixth among them.
    alterations : tuple of str
        Altered fifths and tensions.
    bass_fifths : int or None
        A bass other than the root, counted as the root is.
    tonic_fifths : int or None
        For a chord of a piece: the tonic that holds there, where one is known.
    first, last : int
        For a chord of a piece: its first and last index among the placed chords.
    """

    text: str
    root_fifths: int
    family: str
    sevenths: tuple[str, ...] = ()
    alterations: tuple[str, ...] = ()
    bass_fifths: int | None = None
    tonic_fifths: int | None = None
    first: int = 0
    last: int = 0


@dataclass(frozen=True, slots=True)
class Progression:
    """Chords to look for; ``notation`` is ``numerals`` or ``chords``."""

    text: str
    notation: str
    tokens: tuple[ChordToken, ...]


@lru_cache(maxsize=8192)
def token_of(chord: Chord) -> ChordToken:
    """Return a chord symbol as a token with an absolute root.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> token_of(parse_chord("G7(b9)/B"))[1:6]
    (1, 'dominant', ('b7',), ('b9',), 5)
    """
    return ChordToken(
        chord.text,
        chord.root_fifths,
        chord.family,
        chord.extensions,
        chord.alterations,
        chord.bass_fifths,
    )


def tokens_of(placed: Sequence[PlacedChord]) -> list[ChordToken]:
    """Return the chords of a piece as tokens.

    Chords that do not sound are left out, and a chord that is only repeated is
    one token with its first and last index.

    Parameters
    ----------
    placed : sequence of PlacedChord, of shape (n,)

    Returns
    -------
    list of ChordToken
        At most n.
    """
    tokens: list[ChordToken] = []
    for place, here in enumerate(placed):
        if not here.chord.sounds:
            continue
        tonic = None if here.key.mode == "none" else here.key.tonic_fifths
        if tokens and (tokens[-1].text, tokens[-1].tonic_fifths) == (
            here.chord.text,
            tonic,
        ):
            tokens[-1] = tokens[-1]._replace(last=place)
            continue
        token = token_of(here.chord)
        tokens.append(token._replace(tonic_fifths=tonic, first=place, last=place))
    return tokens


def read_progression(text: str) -> Progression:
    """Read a typed progression.

    Parameters
    ----------
    text : str
        Roman numerals or chord symbols.

    Raises
    ------
    AnalysisError
        If nothing is typed, a chord is not understood, or both notations are mixed.

    Examples
    --------
    >>> [t.root_fifths for t in read_progression("iiø7 V7/V V bVI").tokens]
    [2, 2, 1, -4]
    >>> read_progression("Dm7 | G7 | Cmaj7").notation
    'chords'
    """
    words = words_of(text)
    if not words:
        raise AnalysisError(
            "no progression was typed", hint="try 'ii V I' or 'Dm7 G7 Cmaj7'"
        )
    if len(words) > MOST_CHORDS:
        raise AnalysisError(f"a progression of {len(words)} chords is too long to look for")
    if all(re.fullmatch(r"[b#]?[1-7]+(?:[-–][b#]?[1-7]+)*", word) for word in words):
        raise AnalysisError(
            f"{text!r}: Arabic numbers do not say which chords are minor",
            hint="write Roman numerals, such as 'I V vi IV' or 'ii V I'",
        )
    words = [SIXTHS.get(word, word) for word in words]
    roman = [bool(NUMERAL.fullmatch(word)) for word in words]
    if all(roman):
        return Progression(text, "numerals", tuple(numeral_token(word) for word in words))
    if any(roman):
        raise AnalysisError(
            f"{text!r} mixes Roman numerals and chord symbols", hint="use one of the two"
        )
    return Progression(text, "chords", tuple(chord_tokens(words)))


def words_of(text: str) -> list[str]:
    """The chords of a typed progression, also where hyphens part them: I-V-vi-IV."""
    joined = re.sub(r"\s+over\s+", "/", text.strip())
    words = [word for word in re.split(r"\s*(?:->|→|[|,\s])\s*", joined) if word]
    words = [word for word in words if word not in {"-", "–", "—"}]
    return [part for word in words for part in parted(word)]


def parted(word: str) -> list[str]:
    """Chords joined by hyphens; the dash of C-7 is minor and parts nothing."""
    parts = re.split(r"[-–—]", word)
    if all(NUMERAL.fullmatch(part) for part in parts):
        return parts
    if len(parts) > 1 and all(re.match("[A-H]", part) for part in parts):
        return parts
    return [word]


def chord_tokens(words: list[str]) -> list[ChordToken]:
    """Typed chord symbols as tokens."""
    tokens = []
    for word, chord in zip(words, parse_chords(words), strict=True):
        if not chord.sounds:
            why = chord.reason or "it is no chord"
            raise AnalysisError(f"{word!r} is not understood: {why}")
        tokens.append(token_of(chord))
    return tokens


SIXTHS = {
    "Ger6": "bVI7",
    "Ger65": "bVI7",
    "It6": "bVI7",
    "Fr6": "bVI7(b5)",
    "Fr43": "bVI7(b5)",
    "N6": "bII6",
    "N": "bII",
}
"""Names that chords have of their own, as numerals."""
ROMAN_LETTERS = r"VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i"
NUMERAL = re.compile(
    rf"([b#♭♯]{{0,2}})({ROMAN_LETTERS})([^/]*)"
    rf"(?:/([b#♭♯]{{0,2}})({ROMAN_LETTERS})|/([b#♭♯]{{0,2}})([1-7]))?"
)
SMALL_ALREADY = re.compile(r"[ø°o]|dim|min|m(?!aj)|h")
FIGURES = {
    "6": ("", 1),
    "64": ("", 2),
    "65": ("7", 1),
    "43": ("7", 2),
    "42": ("7", 3),
    "2": ("7", 3),
}
"""What a figured inversion adds to a numeral, and which note of the chord is the bass."""
NUMBER_OF_ROMAN = {
    name: number
    for number, name in enumerate(("I", "II", "III", "IV", "V", "VI", "VII"), start=1)
}


def numeral_token(word: str) -> ChordToken:
    """A typed Roman numeral as a token above the tonic."""
    found = NUMERAL.fullmatch(word)
    if not found:
        raise AnalysisError(f"{word!r} is no Roman numeral")
    sign, letters, tail, goal_sign, goal, bass_sign, bass = found.groups()
    root = degree_of(sign, letters)
    if goal:
        root += degree_of(goal_sign, goal)
    quality, inversion = quality_of(word, letters.islower(), tail)
    if bass:
        bass_fifths: int | None = degree_fifths(int(bass), alteration(bass_sign))
    else:
        bass_fifths = root + chord_member(quality, inversion) if inversion else None
    return ChordToken(
        word,
        root,
        quality.family,
        quality.extensions,
        quality.alterations,
        None if bass_fifths == root else bass_fifths,
    )


def degree_of(sign: str, letters: str) -> int:
    """A Roman numeral in fifths above the tonic."""
    return degree_fifths(NUMBER_OF_ROMAN[letters.upper()], alteration(sign))


def alteration(sign: str) -> int:
    """Sharps (+) or flats (-) before a numeral."""
    return sum(1 if character in "#♯" else -1 for character in sign)


def quality_of(word: str, small: bool, tail: str) -> tuple[Quality, int]:
    """Quality of a numeral, and which member of the chord is in the bass."""
    plain = tail.translate({ord("♭"): "b", ord("♯"): "#", ord("Δ"): "^", ord("º"): "°"})
    figures = re.search(r"(?<!\d)(64|65|43|42|6|2)(\)?)$", plain)
    inversion = 0
    if figures and not re.search(r"add|sus|\d", plain[: figures.start()]):
        seventh, inversion = FIGURES[figures[1]]
        plain = plain[: figures.start()] + seventh + figures[2]
    prefix = "m" if small and not SMALL_ALREADY.match(plain) else ""
    try:
        return read_quality(prefix + plain), inversion
    except NotUnderstoodError as problem:
        raise AnalysisError(f"{word!r} is not understood: {problem}") from None


def chord_member(quality: Quality, inversion: int) -> int:
    """The third, fifth or seventh above the root, in fifths."""
    wanted = "0357"[inversion]
    for degree, name in zip(quality.degrees, quality.degree_names, strict=True):
        if name.lstrip("b#") == wanted:
            return degree
    return 0
