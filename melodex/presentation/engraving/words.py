"""The words of an engraving: chord symbols, numerals, keys and degrees, set to be read.

Conventions: a text is parted into runs, some of them raised.

Contents: chord_runs, degree_text, key_text, numeral_runs, readable_text, with_signs.
"""

from __future__ import annotations

import re

from melodex.analysis.harmony.chords import parse_chord
from melodex.melody import (
    degree_name,
)

__all__ = [
    "SIGNPOST",
    "chord_runs",
    "degree_text",
    "key_text",
    "numeral_runs",
    "readable_text",
    "with_signs",
]

LONGEST_TEXT = 28
"""Characters; more would run into the next bar."""


def readable_text(text: str) -> str:
    """Text without control characters, and not too long to print."""
    clean = "".join(c for c in text if c.isprintable()).strip()
    return clean if len(clean) <= LONGEST_TEXT else clean[: LONGEST_TEXT - 1] + "…"


def with_signs(text: str) -> str:
    """ASCII accidentals as the signs themselves."""
    return text.replace("b", "♭").replace("#", "♯")


def degree_text(degree: int) -> str:
    """A degree with its signs: ``♭3``."""
    return with_signs(degree_name(degree))


KEY_NAME = re.compile(r"\b([A-G])(b+|#+)(?= )")

SIGNPOST = re.compile(
    r"(?:(?:to |da)?coda|segno|fine|d\.? ?[cs]\.?(?: al .*)?|da ?capo.*|dal ?segno.*)[.)]*",
    re.IGNORECASE,
)
"""Words that send the player elsewhere (common practice, no source)."""

CHORD = re.compile(
    r"([(\[]?[A-G])([#b♯♭]*)"
    r"(\s?(?i:min(?:or)?|mi)|m(?!a(?!dd|lt|ug))|dim(?:inished)?|aug(?:mented)?|-|)"
    r"(.*?)((?:/\s?[A-Ga-g][#b♯♭]*)?)"
)

NUMERAL = re.compile(r"([#b♯♭]*)([ivIV]+|Ger|Fr|It)(.*?)((?:(?:/| over ).+)?)")


def chord_runs(text: str) -> list[tuple[str, bool]]:
    """A chord symbol as runs of text, each with whether it is raised."""
    text = readable_text(text)
    found = CHORD.fullmatch(text)
    if not found or not parse_chord(text).sounds:
        return [(text, False)]
    root, sign, kind, rest, bass = found.groups()
    if kind.strip().lower() in {"mi", "min", "minor"}:
        kind = "m"
    rest = re.sub(r"b(?=\d)", "♭", rest).replace("#", "♯")
    return [
        (root + with_signs(sign) + kind, False),
        (rest, True),
        (with_signs(bass), False),
    ]


def numeral_runs(text: str) -> list[tuple[str, bool]]:
    """A Roman numeral as runs of text, each with whether it is raised."""
    text = readable_text(text)
    found = NUMERAL.fullmatch(text)
    if not found:
        return [(text, False)]
    sign, roman, rest, target = found.groups()
    rest = re.sub(r"b(?=\d)", "♭", rest).replace("#", "♯")
    return [(with_signs(sign) + roman, False), (rest, True), (with_signs(target), False)]


def key_text(name: str) -> str:
    """The name of a key with its signs."""
    return KEY_NAME.sub(lambda found: found[1] + with_signs(found[2]), name)
