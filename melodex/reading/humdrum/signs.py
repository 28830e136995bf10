"""Signs between the notes of Humdrum: keys, metres, bar lines, clefs, chord symbols.

Conventions: each function takes one token and gives a small record, or None where the
token is no such sign. Keys sound as they are written.

References
----------
Humdrum user guide, tandem interpretations of ``**kern``: ``*k[f#c#]``, ``*D:``, ``*d:``,
``*d:dor``, ``*M6/8``, ``*M3/8+2/8``, ``*met(c|)``, ``*MM120``, ``*clefG2``; bar lines
``=12``, ``=12a``, ``==``, ``=:|!``, ``=!|:``, ``=||``, ``=-``. From memory, and tried
against music21's reading.

Contents: BarSign, bar_sign, clef_name, chord_symbol, metre_sign, metre_symbol,
signature_sign, tempo_sign, tonic_sign.
"""

from __future__ import annotations

import re

from melodex.melody import Key, Metre, fifths_from_name, pitch_class_name
from melodex.reading.musicxml.harmony import KIND_SIGNS
from melodex.records import dataclass

__all__ = [
    "BarSign",
    "bar_sign",
    "chord_symbol",
    "clef_name",
    "metre_sign",
    "metre_symbol",
    "signature_sign",
    "tempo_sign",
    "tonic_sign",
]

MOST_BEATS = 128
BEAT_TYPES = {1, 2, 4, 8, 16, 32, 64, 128}
MODES_BY_SIGN = {
    "ion": "ionian",
    "dor": "dorian",
    "phr": "phrygian",
    "lyd": "lydian",
    "mix": "mixolydian",
    "mi": "mixolydian",
    "aeo": "aeolian",
    "loc": "locrian",
}
"""``mi`` stands for ``mix`` in some files of music21's corpus, cut short."""
FIGURES = {"c": ("C", 4, 4), "c|": ("C|", 2, 2)}
"""Signs of metre, with the beats and the note value that they stand for."""
CLEF_LINES = {"G": "2", "F": "4", "C": "3"}


@dataclass(frozen=True, slots=True)
class BarSign:
    """A bar line: the number of the bar that it opens, -1 for none, and what it shows."""

    number: int = -1
    repeat_end: bool = False
    repeat_start: bool = False
    style: str = ""


def bar_sign(token: str) -> BarSign:
    """Read a bar line.

    Examples
    --------
    >>> bar_sign("=12a:|!|:")
    BarSign(number=12, repeat_end=True, repeat_start=True, style='')
    >>> bar_sign("=="), bar_sign("=1-").number
    (BarSign(number=-1, repeat_end=False, repeat_start=False, style='final'), 1)
    """
    text = token[:40]
    found = re.match(r"={1,2}\s*(\d{1,6})?", text)
    number = int(found[1]) if found and found[1] else -1
    style = ""
    if text.startswith("=="):
        style = "final"
    elif "||" in text:
        style = "double"
    elif "-" in text:
        style = "none"
    return BarSign(
        number,
        re.search(r":[|!]", text) is not None,
        re.search(r"[|!]:", text) is not None,
        style,
    )


def signature_sign(token: str) -> int | None:
    """Sharps (+) or flats (-) of a signature.

    Examples
    --------
    >>> signature_sign("*k[b-e-]"), signature_sign("*k[]"), signature_sign("*d:")
    (-2, 0, None)
    """
    found = re.fullmatch(r"\*k\[((?:[a-gA-G](?:#{1,2}|-{1,2}|n)?){0,14})\]X?", token)
    return found[1].count("#") - found[1].count("-") if found else None


def tonic_sign(token: str) -> Key | None:
    """Tonic and mode that a file states.

    Examples
    --------
    >>> str(tonic_sign("*B-:")), str(tonic_sign("*f#:")), str(tonic_sign("*D:dor"))
    ('Bb major', 'F# minor', 'D dorian')
    """
    found = re.fullmatch(r"\*([a-gA-G])(#{1,2}|-{1,2})?:([a-z]{0,12})", token)
    if not found:
        return Key(0, "none") if token.startswith("*?:") else None
    letter, sign, word = found[1], (found[2] or "").replace("-", "b"), found[3]
    plain = "major" if letter.isupper() else "minor"
    return Key(fifths_from_name(letter + sign), MODES_BY_SIGN.get(word[:3], plain))


def metre_sign(token: str) -> Metre | None:
    """The metre of ``*M6/8``; None for free metre or what is no metre.

    Examples
    --------
    >>> str(metre_sign("*M6/8")), metre_sign("*M3/8+2/8").groups, metre_sign("*MX")
    ('6/8', (3, 2), None)
    """
    pairs = re.findall(r"(\d{1,3}(?:\+\d{1,3}){0,15})(?:/(\d{1,3}))?", token[2:60])
    if not pairs or len(pairs) > 8 or not pairs[-1][1]:
        return None
    unit = max(int(under or 1) for _, under in pairs)
    groups: list[int] = []
    for figures, under in pairs:
        own = int(under or pairs[-1][1])
        if own not in BEAT_TYPES or unit % own:
            return None
        groups += [int(figure) * (unit // own) for figure in figures.split("+")]
    if not 0 < sum(groups) <= MOST_BEATS or min(groups) < 1:
        return None
    return Metre(sum(groups), unit, "", tuple(groups) if len(groups) > 1 else ())


def metre_symbol(token: str, metre: Metre | None) -> Metre | None:
    """The metre with the sign of ``*met(c)``, where the two go together."""
    found = re.fullmatch(r"\*met\((c\|?)\)", token)
    if not found or metre is None:
        return None
    symbol, *usual = FIGURES[found[1]]
    if usual != [metre.numerator, metre.denominator]:
        return None
    return Metre(metre.numerator, metre.denominator, symbol)


def tempo_sign(token: str) -> float | None:
    """Quarters a minute of ``*MM120``."""
    found = re.fullmatch(r"\*MM(\d{1,4}(?:\.\d{1,4})?)", token)
    tempo = float(found[1]) if found else 0.0
    return tempo if 1 <= tempo <= 2000 else None


def clef_name(token: str) -> str:
    """Sign and line of ``*clefGv2``, without the octave; ``X`` for percussion.

    Examples
    --------
    >>> clef_name("*clefGv2"), clef_name("*clefF4"), clef_name("*clefX"), clef_name("*k[]")
    ('G2', 'F4', 'X', '')
    """
    found = re.fullmatch(r"\*clef([GFCX])[v^]*(\d?)[v^]*", token)
    if not found:
        return ""
    sign = found[1]
    return sign if sign == "X" else sign + (found[2] or CLEF_LINES[sign])


def chord_symbol(token: str) -> str:
    """A chord of an ``**mxhm`` spine as musicians write it; empty where it has no root.

    Examples
    --------
    >>> chord_symbol("B- dominant"), chord_symbol("A minor-seventh/E"), chord_symbol("none")
    ('Bb7', 'Am7/E', '')
    """
    pattern = r"([A-G])(#{1,2}|-{1,2})?(?:[ :]([a-z0-9-]{1,30}))?(?:/([A-G])(#|-)?)?"
    found = re.fullmatch(pattern, token.strip())
    if not found:
        return ""
    letter, sign, kind, bass, bass_sign = found.groups()
    suffix = KIND_SIGNS.get(kind or "major")
    if suffix is None:
        return ""
    root = pitch_class_name(fifths_from_name(letter + (sign or "").replace("-", "b")))
    under = f"/{bass}{(bass_sign or '').replace('-', 'b')}" if bass else ""
    return root + suffix + under
