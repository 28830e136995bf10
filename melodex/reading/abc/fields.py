"""The values of ABC information fields: metre, unit length, tempo, key, text.

Conventions: every parser takes the text after the colon, comments removed, and
returns None (or the words that are left over) where it does not understand, so
that the caller can say where that stood. Pitch alterations are dictionaries from
the letters A to G to sharps (+) or flats (-).

References
----------
The ABC music standard 2.1 (December 2011), sections 3.1.6 to 3.1.14, 4.6, 8.2.

Contents: parse_metre, parse_unit, default_unit, parse_tempo, parse_key,
KeyField, read_text.
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from melodex.melody import MODES, Key, Metre, fifths_of

__all__ = [
    "KeyField",
    "default_unit",
    "parse_key",
    "parse_metre",
    "parse_tempo",
    "parse_unit",
    "read_text",
]

GREATEST_NUMERATOR = 64
"""Beats of a bar that are believed; our choice, beyond every metre in the sources."""
DENOMINATORS = frozenset({1, 2, 4, 8, 16, 32, 64})
"""Note values that a metre counts in."""
FREE = frozenset({"none", "free", ""})
LETTERS = "ABCDEFG"
NO_ALTERATIONS = dict.fromkeys(LETTERS, 0)

PLAIN_METRE = re.compile(r"\(?\s*(\d{1,3}(?:\s*\+\s*\d{1,3})*)\s*\)?\s*/\s*(\d{1,3})")
FRACTION = re.compile(r"(\d{1,4})\s*/\s*(\d{1,4})|1\b")
TEMPO_BEATS = re.compile(
    r"(\d{1,3}\s*/\s*\d{1,3}(?:\s+\d{1,3}\s*/\s*\d{1,3}){0,15})\s*=\s*(\d{1,4}(?:\.\d{1,3})?)"
)
TEMPO_OF_UNIT = re.compile(r"(?:C\s*(\d{0,2})\s*=\s*)?(\d{1,4}(?:\.\d{1,3})?)$")


@lru_cache(maxsize=1024)
def parse_metre(text: str) -> tuple[bool, Metre | None]:
    """Read an ``M:`` field: whether it was understood, and the metre, None if free.

    Examples
    --------
    >>> str(parse_metre("C|")[1]), str(parse_metre("(2+2+3)/8")[1]), parse_metre("none")
    ('C|', '2+2+3/8', (True, None))
    """
    text = text.strip()
    if text in {"C", "c"}:
        return True, Metre(4, 4, "C")
    if text in {"C|", "c|"}:
        return True, Metre(2, 2, "C|")
    if text.lower() in FREE or text[:4].lower() == "frei":
        return True, None
    found = PLAIN_METRE.match(text)
    if not found:
        return False, None
    understood = found.end() == len(text)
    groups = tuple(int(part) for part in found[1].split("+"))
    numerator, denominator = sum(groups), int(found[2])
    if not 1 <= numerator <= GREATEST_NUMERATOR or denominator not in DENOMINATORS:
        return False, None
    if 0 in groups:
        return False, None
    groups = groups if len(groups) > 1 else ()
    return understood, Metre(numerator, denominator, "", groups)


@lru_cache(maxsize=1024)
def parse_unit(text: str) -> Fraction | None:
    """Read an ``L:`` field as a fraction of a whole note; None if not understood."""
    found = FRACTION.fullmatch(text.strip())
    if not found:
        return None
    if found[1] is None:
        return Fraction(1)
    if not int(found[1]) or int(found[2]) not in {*DENOMINATORS, 128, 256, 512}:
        return None
    unit = Fraction(int(found[1]), int(found[2]))
    return unit if unit <= 4 else None


def default_unit(metre: Metre | None) -> Fraction:
    """The unit length of a tune without ``L:`` (3.1.7): a sixteenth below 3/4."""
    if metre is not None and 4 * metre.numerator < 3 * metre.denominator:
        return Fraction(1, 16)
    return Fraction(1, 8)


def parse_tempo(text: str, unit: Fraction) -> float | None:
    """Read a ``Q:`` field as quarter notes a minute; None if it gives no number.

    Examples
    --------
    >>> parse_tempo('"Allegro" 3/8=60', Fraction(1, 8)), parse_tempo("120", Fraction(1, 8))
    (90.0, 60.0)
    """
    text = re.sub(r'"[^"]*"?', " ", text).strip()
    found = TEMPO_BEATS.fullmatch(text)
    beat: Fraction
    if found:
        parts = [part.split("/") for part in re.findall(r"\d+\s*/\s*\d+", found[1])]
        if any(not int(bottom) for _, bottom in parts):
            return None
        beat = sum((Fraction(int(a), int(b)) for a, b in parts), Fraction(0))
    else:
        found = TEMPO_OF_UNIT.fullmatch(text)
        if not found:
            return None
        beat = unit * int(found[1] or 1)
    quarters = float(beat * 4 * Fraction(found[2]))
    return quarters if 0 < quarters < 10_000 else None


@dataclass(frozen=True, slots=True)
class KeyField:
    """What a ``K:`` field (or the like part of a ``V:`` field) says.

    Parameters
    ----------
    key : Key or None
        None where the field names a clef or a transposition only.
    alterations : dict of str to int
        What the signature does to each letter.
    printed_fifths : int
        Sharps (+) or flats (-) of the printed signature.
    stated : bool
        Whether a mode was written; a bare tonic is major by the standard, but
        collections often write it for the signature alone.
    octaves, semitones : int or None
        Transposition by clef or ``octave=``, and by ``transpose=``.
    leftover : tuple of str
        Words that were not understood.
    clef : str
        The clef as it is written, such as ``bass``; empty where none is.
    """

    key: Key | None
    alterations: dict[str, int]
    printed_fifths: int = 0
    stated: bool = True
    octaves: int | None = None
    semitones: int | None = None
    leftover: tuple[str, ...] = ()
    clef: str = ""


MODE_WORDS = {
    "m": "minor",
    "min": "minor",
    "maj": "major",
    **{name[:3]: name for name in MODES if name not in {"major", "minor"}},
}
GERMAN_TONICS = {
    "H": "B",
    "Es": "Eb",
    "As": "Ab",
    "Des": "Db",
    "Ges": "Gb",
    "Ces": "Cb",
    "Fis": "F#",
    "Cis": "C#",
    "Gis": "G#",
    "Dis": "D#",
    "Ais": "A#",
}
TONIC = re.compile(r"([A-G])([#b♯♭]?)\s*([A-Za-z]*)(.*)", re.S)
GERMAN = re.compile(r"(H|[EA]s|(?:[DGC]es)|(?:[FCGDA]is))(?:\s+([A-Za-z]*)(.*))?", re.S)
# Not the "=b" of "clef=bass".
EXPLICIT = re.compile(r"(\^\^|__|\^|_|(?<![A-Za-z]{2})=)([A-Ga-g])")
CLEF = re.compile(
    r"(?:clef=)?\"?(?:treble|alto|tenor|bass|perc|none|[GFC])\d?(?P<shift>[+^_-]8(?:va)?|8)?"
    r"\"?",
    re.I,
)
PLACEMENT = re.compile(
    r"(?:middle|m|stafflines|staffscale|stem|style|name|nm|snm|subname|sname|score|sound|"
    r"shift|instrument|map|merge|up|down|cue|gchords|dyn|lyrics|staves|bracket|brace)"
    r"(?:=\S*)?",
    re.I,
)


@lru_cache(maxsize=1024)
def parse_key(text: str) -> KeyField:
    """Read a ``K:`` field: tonic, mode, accidentals, clef and transposition.

    Examples
    --------
    >>> field = parse_key("D Phr ^f clef=treble-8")
    >>> str(field.key), field.alterations["F"], field.octaves
    ('D phrygian', 1, -1)
    """
    text = text.strip()
    if not text or re.match(r"none\b", text, re.I):
        return with_parameters(Key(0, "none"), dict(NO_ALTERATIONS), 0, True, text[4:])
    if text[:2] in {"HP", "Hp"}:
        # Pipers read F and C as sharp whether or not the signature is printed.
        printed = 2 if text[1] == "p" else 0
        return with_parameters(Key(3, "mixolydian"), signature(2), printed, True, text[2:])
    tonic, accidental, word, rest = tonic_parts(text)
    if not tonic or (CLEF.fullmatch(text.split()[0]) and len(text.split()[0]) > 2):
        return with_parameters(None, {}, 0, True, text)
    tonic_fifths = fifths_of(tonic, {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(accidental, 0))
    mode = MODE_WORDS.get(word.lower()[:3], "")
    if word.lower() == "exp":
        return explicit_key(tonic_fifths, rest)
    if not mode:
        rest = word + rest
    key = Key(tonic_fifths, mode or "major")
    if abs(key.signature_fifths) > 14:
        return with_parameters(Key(0, "none"), dict(NO_ALTERATIONS), 0, False, text)
    alterations = signature(key.signature_fifths)
    return with_parameters(key, alterations, None, bool(mode), rest)


def tonic_parts(text: str) -> tuple[str, str, str, str]:
    """Split a key into letter, accidental, the word after it and the rest."""
    found = GERMAN.fullmatch(text)
    if found:
        tonic = GERMAN_TONICS[found[1]]
        return tonic[0], tonic[1:], found[2] or "", found[3] or ""
    found = TONIC.match(text)
    return (found[1], found[2], found[3], found[4]) if found else ("", "", "", "")


def signature(fifths: int) -> dict[str, int]:
    """What a usual signature does to each letter."""
    alterations = dict(NO_ALTERATIONS)
    order = "FCGDAEB" if fifths > 0 else "BEADGCF"
    for place in range(abs(fifths)):
        alterations[order[place % 7]] += 1 if fifths > 0 else -1
    return alterations


def explicit_key(tonic_fifths: int, rest: str) -> KeyField:
    """A key whose signature is spelled out (``exp``); the mode is what fits it."""
    alterations = dict(NO_ALTERATIONS)
    field = with_parameters(Key(tonic_fifths, "major"), alterations, None, False, rest)
    fits = [
        mode
        for mode, offset in MODES.items()
        if signature(tonic_fifths - offset) == field.alterations
    ]
    letter = "FCGDAEB"[(tonic_fifths + 1) % 7]
    third = LETTERS[(LETTERS.index(letter) + 2) % 7]
    third_fifths = fifths_of(third, field.alterations[third]) - tonic_fifths
    guess = "minor" if third_fifths == -3 else "major"
    return KeyField(
        Key(tonic_fifths, fits[0] if fits else guess),
        field.alterations,
        field.printed_fifths,
        bool(fits),
        field.octaves,
        field.semitones,
        field.leftover,
        field.clef,
    )


def with_parameters(
    key: Key | None,
    alterations: dict[str, int],
    printed_fifths: int | None,
    stated: bool,
    rest: str,
) -> KeyField:
    """Finish a key with what follows it: accidentals, clef, transposition."""
    octaves = semitones = None
    clef = ""
    leftover = []
    rest = re.sub(r'="[^"]*"', "=", rest)
    for sign, letter in EXPLICIT.findall(rest):
        if alterations:
            change = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}[sign]
            alterations[letter.upper()] = change
    for word in EXPLICIT.sub(" ", rest).replace(",", " ").split():
        found = CLEF.fullmatch(word)
        value = re.fullmatch(r"(octave|transpose|t)=([+-]?\d{1,2})", word, re.I)
        if found:
            clef = word.removeprefix("clef=").strip('"')
            octaves = clef_octaves(found["shift"]) if found["shift"] else octaves
        elif re.fullmatch(r"[+^_-]8(va)?", word, re.I):
            octaves = clef_octaves(word)
        elif value and value[1].lower() == "octave":
            octaves = int(value[2])
        elif value:
            semitones = int(value[2])
        elif not PLACEMENT.fullmatch(word):
            leftover.append(word)
    if printed_fifths is None:
        printed_fifths = sum(alterations.values())
    return KeyField(
        key,
        alterations,
        printed_fifths,
        stated,
        octaves,
        semitones,
        tuple(leftover),
        clef,
    )


def clef_octaves(shift: str) -> int:
    """An octave up for a clef with an 8 above it, else one down."""
    return 1 if shift[0] in "+^" else -1


MARKS = {
    "'": "\u0301",
    "`": "\u0300",
    "^": "\u0302",
    "~": "\u0303",
    '"': "\u0308",
    ",": "\u0327",
    "=": "\u0304",
    "v": "\u030c",
    "u": "\u0306",
}
LIGATURES = {"AE": "Æ", "ae": "æ", "OE": "Œ", "oe": "œ", "ss": "ß", "aa": "å", "AA": "Å"}
LIGATURES |= {"/o": "ø", "/O": "Ø", "DH": "Ð", "dh": "ð", "TH": "Þ", "th": "þ"}
ESCAPE = re.compile(r"\\(u[0-9A-Fa-f]{4}|[A-Za-z/][A-Za-z]|['`^~\",=vu][A-Za-z]|[\\%&-])")


def read_text(text: str) -> str:
    """Resolve the escapes of an ABC text string (8.2).

    Examples
    --------
    >>> read_text("Caf\\\\'e &amp; \\\\u00e9")
    'Café & é'
    """
    text = text.strip()
    if "&" in text:
        text = html.unescape(text)
    return ESCAPE.sub(unescaped, text) if "\\" in text else text


def unescaped(found: re.Match[str]) -> str:
    """The character that one escape stands for."""
    body = found[1]
    if len(body) == 5:
        point = int(body[1:], 16)
        return "\ufffd" if 0xD800 <= point < 0xE000 else chr(point)
    if body in LIGATURES:
        return LIGATURES[body]
    if len(body) == 2 and body[0] in MARKS:
        return unicodedata.normalize("NFC", body[1] + MARKS[body[0]])
    return body if len(body) == 1 else found[0]
