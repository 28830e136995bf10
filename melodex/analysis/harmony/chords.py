"""Chord symbols: what is written over a lead sheet, read into root, bass and degrees.

Conventions: a root and a bass are places on the line of fifths. Degrees stand
above the root, also in fifths (0 is 1, 1 is 5, 4 is 3, -3 is flat 3, -2 is flat
7), in the order of their numbers; ``degree_names`` keeps the number that was
meant, since 9 and 2 are one place. Practice is divided on some spellings; how
each is settled stands in :data:`CONVENTIONS`. What may mean two things is not
guessed: it comes back with ``understood`` False, its text and the reason.

References
----------
W3C Music Notation Community Group (2021), MusicXML 4.0, data type kind-value:
interval contents of the plain kinds. Brandt and Roemer (1976), Standardized Chord
Symbol Notation: spellings (from memory). The rest is common practice, no source.

Contents: Chord, parse_chord, parse_chords, transposed_text, CONVENTIONS, FAMILIES.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from melodex.analysis.harmony.quality import NotUnderstoodError, read_quality
from melodex.melody import fifths_from_name, pitch_class, pitch_class_name

__all__ = [
    "CONVENTIONS",
    "DIMINISHED",
    "FAMILIES",
    "Chord",
    "parse_chord",
    "parse_chords",
    "transposed_text",
]

FAMILIES = (
    "major",
    "minor",
    "dominant",
    "half-diminished",
    "diminished",
    "augmented",
    "suspended",
    "power",
)
"""What a chord can be; ``none`` stands for no chord, ``""`` for not understood."""

DIMINISHED = frozenset({"diminished", "half-diminished"})
"""Families with a diminished fifth over a minor third."""

CONVENTIONS = (
    ("C#5, Cb5, Eb9", "a sign after the letter belongs to the root"),
    ("C-7", "the dash after the root is minor; before a later number it is flat"),
    ("C7+5, C7-9", "plus and minus before a later number raise and lower it"),
    ("CΔ, C^", "major seventh chord, not the plain triad"),
    ("Cdim, C°, Co", "the triad; the seventh chord is Cdim7"),
    ("C2, Csus2", "2 in place of the third; Cadd2 keeps the third"),
    ("C4, Csus", "4 in place of the third; Cadd4 keeps the third"),
    ("C9, C13", "the 7 and 9 below are understood; 13 leaves the natural 11 out"),
    ("C11, Cmaj11", "over a major third the 11 takes its place: C11 is C9sus4"),
    ("Cm11, Cm13", "a minor third stays, and so does the 11"),
    ("C7#11, C7b13", "raised 11 and lowered 13 leave the fifth; b5 and #5 replace it"),
    ("C7b9, C7#9", "replace the natural 9, also in C13b9"),
    ("C7alt, Calt", "1 3 b7 b9 #9 #11 b13, no natural fifth"),
    ("Cm6", "the sixth is major; the lowered one is Cm(b6)"),
    ("Cm7sus4", "the 4 stands in for the third whether it was minor or not"),
    ("C/9, C7/6", "a number after a slash is an added note, a letter is a bass"),
    ("C7(9)", "a number in brackets after a seventh or sixth chord is added"),
    ("(C), (Dm7, G7)", "brackets round a chord do not change it"),
    ("am, dmin7", "a small root is read only with an explicit minor or diminished"),
    ("c, c7", "not read: minor for some writers, a slip for others"),
    ("C-5, C+9, C(9), C(b9), Cdim9", "not read: each may mean two chords"),
    ("D/f+, Cm/e-, D/fis", "a small bass with its sign, where the chord has that note"),
    ("D/F+, C/f+", "not read: write D/F# and C/F#"),
    ("Ebb9", "not read: a doubly flat root, or E flat with a flat ninth"),
    ("C|D, D/C7, Dm7 G7", "not read: two chords"),
    ("H, and B beside it", "German names are read only when asked for"),
)
"""How divided practice is settled: spellings and what they are taken to mean."""

LONGEST_TEXT = 48
"""Characters; the longest spelling met in print has about 20."""


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord symbol and what it says.

    Parameters
    ----------
    text : str
        As written.
    root_fifths : int
        Root on the line of fifths; without meaning unless ``sounds``.
    bass_fifths : int or None
        The bass where it is another note than the root.
    degrees : tuple of int
        Distances from the root in fifths, in the order of their numbers.
    degree_names : tuple of str
        The same with the numbers that are meant, such as ``b3`` and ``#11``.
    family : str
        One of :data:`FAMILIES`; ``none`` for no chord; empty if not understood.
    extensions : tuple of str
        Degrees beyond the triad that are not altered, sevenths among them.
    alterations : tuple of str
        Altered fifths, sixths and tensions, unless the family already says so.
    quality_text : str
        What was written between root and bass.
    understood : bool
        Whether the whole text was read.
    reason : str
        Why it was not.
    """

    text: str
    root_fifths: int = 0
    bass_fifths: int | None = None
    degrees: tuple[int, ...] = ()
    degree_names: tuple[str, ...] = ()
    family: str = ""
    extensions: tuple[str, ...] = ()
    alterations: tuple[str, ...] = ()
    quality_text: str = ""
    understood: bool = True
    reason: str = ""

    def __hash__(self) -> int:
        """Hash of what was written: chords are the keys of many small memories."""
        return hash((self.text, self.root_fifths))

    @property
    def sounds(self) -> bool:
        """Whether there is a chord, and it was understood."""
        return bool(self.degrees)

    @property
    def lowest_fifths(self) -> int:
        """The note in the bass: the one written after a slash, else the root."""
        return self.root_fifths if self.bass_fifths is None else self.bass_fifths

    @property
    def is_over_its_root(self) -> bool:
        """Whether it is not inverted, and has no foreign bass."""
        return self.lowest_fifths == self.root_fifths

    @property
    def note_fifths(self) -> tuple[int, ...]:
        """Spelled pitch classes of the chord, root first, a foreign bass last."""
        notes = tuple(self.root_fifths + degree for degree in self.degrees)
        if self.bass_fifths is None or self.bass_fifths in notes:
            return notes
        return (*notes, self.bass_fifths)

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Semitones above C, 0 to 11, of the notes of the chord."""
        return frozenset(pitch_class(fifths) for fifths in self.note_fifths)


@lru_cache(maxsize=8192)
def parse_chord(text: str, *, german: bool = False) -> Chord:
    """Read one chord symbol.

    Parameters
    ----------
    text : str
        As printed, with ASCII or musical signs.
    german : bool
        Read German note names: H is B natural, B is B flat, Fis, Es, As.

    Returns
    -------
    Chord
        With ``understood`` False and a ``reason`` where the text cannot be read
        or could mean two chords; it is never guessed.

    Examples
    --------
    >>> parse_chord("F#m7(b5)/E").degree_names
    ('1', 'b3', 'b5', 'b7')
    >>> parse_chord("C-7").family, parse_chord("Eb7").root_fifths
    ('minor', -3)
    >>> parse_chord("C+9").reason
    'a raised fifth or a raised ninth: write C9#5 or C7#9'
    """
    try:
        return read(text, german)
    except NotUnderstoodError as problem:
        return Chord(text, understood=False, reason=str(problem))


def parse_chords(texts: Iterable[str]) -> list[Chord]:
    """Read the chord symbols of one piece, of shape (n,).

    A root H anywhere settles that the whole piece uses German note names, in
    which B means B flat: the names of one piece are never mixed.

    Examples
    --------
    >>> [pitch_class_name(c.root_fifths) for c in parse_chords(["H7", "Em", "B"])]
    ['B', 'E', 'Bb']
    """
    kept = list(texts)
    german = any(
        text.lstrip("([ ").startswith("H") and parse_chord(text, german=True).understood
        for text in kept
    )
    return [parse_chord(text, german=german) for text in kept]


def transposed_text(chord: Chord, fifths: int) -> str:
    """Write a chord symbol in another key, its quality as it was written.

    Parameters
    ----------
    chord : Chord
        What is moved; where it does not sound its text comes back as it was.
    fifths : int
        How far, on the line of fifths: 2 is up a whole tone.

    Examples
    --------
    >>> transposed_text(parse_chord("Am7/G"), -2)
    'Gm7/F'
    """
    if not chord.sounds:
        return chord.text
    bass = ""
    if chord.bass_fifths is not None:
        bass = f"/{pitch_class_name(chord.bass_fifths + fifths)}"
    return f"{pitch_class_name(chord.root_fifths + fifths)}{chord.quality_text}{bass}"


# From text to root, quality and bass.

SIGNS = str.maketrans(
    {
        "♭": "b",
        "♯": "#",
        "𝄫": "bb",
        "𝄪": "##",
        "Δ": "^",
        "∆": "^",
        "△": "^",
        "Ø": "ø",
        "∅": "ø",
        "⌀": "ø",
        "º": "°",
        "˚": "°",
        "−": "-",
        "–": "-",
        "[": "(",
        "]": ")",
    }
)
SILENCE = re.compile(r"\(?\s*(?:n\.?\s?c\.?|no chord)\s*\)?", re.IGNORECASE)
ROOT = re.compile(r"[A-G](?:bb|b|##|#)?")
SMALL_ROOT = re.compile(r"([a-g](?:b|#)?)(?=mi|m(?!a)|dim)")
BASS = re.compile(r"/\s*([A-Ga-g](?:bb|b|##|#)?)(?:\s*bass)?$")
UNCLEAR_BASS = re.compile(r"/\s*([A-Ga-g])\s?(\+|-|is|es|sharp|flat|(?<=[AEae])s)$")
SHARPS = frozenset({"+", "is", "sharp"})
GERMAN_ROOT = re.compile(r"(?:As(?!us)|Es(?!us)|Des|Ges|Ces|[CDFGAEH]is|[A-H])(?:b|#)?")
GERMAN_BASS = re.compile(r"/\s*(As|Es|Des|Ges|Ces|[CDFGAEH]is|[A-H])(?:\s*bass)?$")


def read(text: str, german: bool) -> Chord:
    """The chord that a text means; raises the reason where it means none."""
    signed = text.translate(SIGNS)
    plain = without_brackets(signed.strip())
    if SILENCE.fullmatch(plain):
        return Chord(text, family="none")
    if not plain or len(plain) > LONGEST_TEXT:
        raise NotUnderstoodError("no text" if not plain else "too long for a chord symbol")
    bass_found = (GERMAN_BASS if german else BASS).search(plain)
    if bass_found is None and (unclear := UNCLEAR_BASS.search(plain)):
        return with_signed_bass(text, plain[: unclear.start()], unclear[1], unclear[2])
    stem = plain[: bass_found.start()] if bass_found else plain
    root_text, rest = split_root(stem, german)
    quality = read_quality(rest.strip())
    root = note_of(root_text, german)
    bass = note_of(bass_found[1], german) if bass_found else root
    return Chord(
        text,
        root_fifths=root,
        bass_fifths=None if bass == root else bass,
        degrees=quality.degrees,
        degree_names=quality.degree_names,
        family=quality.family,
        extensions=quality.extensions,
        alterations=quality.alterations,
        quality_text=as_written(text, signed, plain, len(root_text), len(stem)),
    )


def as_written(text: str, signed: str, plain: str, start: int, end: int) -> str:
    """A stretch of the plain text in the signs that the writer used."""
    if len(signed) != len(text):
        return plain[start:end]
    shift = signed.index(plain)
    return text[shift + start : shift + end]


def without_brackets(plain: str) -> str:
    """The text without brackets that surround it or that only open or close."""
    opened, closed = plain.count("("), plain.count(")")
    if plain.startswith("(") and (opened > closed or plain.find(")") == len(plain) - 1):
        return plain.strip("() ") if opened == 1 else plain[1:].strip()
    if closed > opened and plain.endswith(")"):
        return plain[:-1].strip()
    return plain


def split_root(stem: str, german: bool) -> tuple[str, str]:
    """Root and what follows it."""
    found = (GERMAN_ROOT if german else ROOT).match(stem) or SMALL_ROOT.match(stem)
    if found:
        refuse_double_sign(found[0], stem[found.end() :])
        return found[0], stem[found.end() :]
    if not stem:
        raise NotUnderstoodError("a bass without a chord")
    if stem[0] in "%𝄎":
        raise NotUnderstoodError("a repeat sign: write the chord out")
    if stem[0] == "H":
        raise NotUnderstoodError(
            "H is German for B natural, and B is then B flat: ask for German names"
        )
    if re.match(r"[a-g](?:b|#)?(?:$|\d|maj|sus|add|\+|°|-)", stem):
        raise NotUnderstoodError(
            "a small letter may mean minor or be a slip: write C or Cm"
        )
    raise NotUnderstoodError(f"{stem[:12]!r} does not start with a note name")


def refuse_double_sign(root_text: str, rest: str) -> None:
    """Refuse ``Ebb9``: a doubly flat root, or a flat ninth over E flat."""
    if root_text[1:] in {"bb", "##"} and re.match(r"5|6|9|1[13]", rest):
        raise NotUnderstoodError(
            f"two signs before {rest[:2]}: put the alteration in brackets"
        )


def with_signed_bass(text: str, stem: str, letter: str, sign: str) -> Chord:
    """Read ``D/f+``, a bass with its sign in another manner, or say what to write.

    A small letter is no second chord; it is read where the bass is a note of the chord.
    """
    written = f"{stem}/{letter.upper()}{'#' if sign in SHARPS else 'b'}"
    meant = read(written, german=False)
    is_member = meant.lowest_fifths - meant.root_fifths in meant.degrees
    if letter.islower() and is_member:
        return replace(meant, text=text)
    raise NotUnderstoodError(
        f"the bass {letter}{sign} may mean two things: write {written}"
    )


def note_of(name: str, german: bool) -> int:
    """A note name on the line of fifths, German or not."""
    if not german:
        return fifths_from_name(name[0].upper() + name[1:])
    if name.startswith("B"):
        return fifths_from_name("Bb")
    letter = name[0].upper().replace("H", "B")
    tail = name[1:].replace("is", "#").replace("es", "b").replace("s", "b")
    return fifths_from_name(letter + tail)
