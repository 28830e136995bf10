"""The words of an engraving: chord symbols, numerals, keys and degrees, set to be read.

Conventions: a text is parted into runs, some of them raised. The picture and its notes are
said in words too, for those who do not see it.

Contents: chord_runs, degree_text, key_text, numeral_runs, readable_text, with_signs,
note_title, described.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from melodex.analysis.harmony.chords import parse_chord
from melodex.melody import degree_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.notation.pitch import spoken_pitch

__all__ = [
    "SIGNPOST",
    "chord_runs",
    "degree_text",
    "described",
    "key_text",
    "note_title",
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


def note_title(part: StaffPart, note: int) -> str:
    """A note in words: part, pitch, bar, degree, relation."""
    words = [spoken_pitch(part.melody.midi[note], part.melody.fifths[note])]
    words.append(f"bar {part.melody.bar[note]}")
    hidden = note in part.hidden
    if part.degrees and (degree := part.degrees[note]) is not None and not hidden:
        words.append(f"degree {degree_name(degree)}")
    if part.relations and part.relations[note]:
        words.append(part.relations[note])
    return (f"{part.label}: " if part.label else "") + ", ".join(words)


def described(parts: Sequence[StaffPart]) -> str:
    """A picture in words."""
    out = []
    for part in parts:
        melody = part.melody
        if not len(melody):
            out.append(f"{part.label}: rests")
            continue
        bars = f"bars {melody.bar[0]} to {melody.bar[-1]}"
        key = "" if melody.key.mode == "none" else f" in {melody.key}"
        name = f"{part.label}: " if part.label else ""
        out.append(f"{name}{readable_text(melody.title)}, {bars}, {len(melody)} notes{key}")
    return ". ".join(out) + "."
