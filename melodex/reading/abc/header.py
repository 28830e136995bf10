"""The header of an ABC tune: its fields, its voices, its credits.

Conventions: a field of the tune stands before the same field of the file header.
A title is kept as written (``Lads of the Village, The`` is not turned round).

References
----------
The ABC music standard 2.1 (December 2011), sections 2.2.2, 3.1 and 7.1.

Contents: Header, Line, Voice, read_header, credits_of.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from melodex.melody import Credits
from melodex.reading.abc.fields import KeyField, parse_key, read_text
from melodex.reading.abc.voice.tokens import strip_comment

__all__ = [
    "Header",
    "Line",
    "Voice",
    "credits_of",
    "is_field",
    "read_header",
    "voice_of",
]

DIRECTIVE = re.compile(
    r"(?:%%|I:)\s*(abc-copyright|propagate-accidentals|melodex-[\w-]+)\s+(.*)"
)
RIGHTS = re.compile(
    r"copyright|©|\(c\)\s*\d|all rights reserved|public domain|\bCC[ -]", re.I
)
FIELD = re.compile(r"(?![A-Ga-gxyzXZ]:[|:])[A-Za-z+]:")
YEAR = re.compile(r"(?<!\d)(1[2-9]\d\d|20\d\d)(?!\d)")
NAME_OF_VOICE = re.compile(r'\b(?:name|nm)\s*=\s*(?:"([^"]*)"|(\S+))')


class Line(NamedTuple):
    """A line of a tune, comment removed, and its number in the file."""

    number: int
    text: str
    column: int = 0


@dataclass(frozen=True, slots=True)
class Voice:
    """A voice as ``V:`` declares it."""

    name: str
    field: KeyField


@dataclass(slots=True)
class Header:
    """The fields of a tune up to its ``K:``, and the lines that follow."""

    fields: dict[str, list[str]] = field(default_factory=dict)
    voices: dict[str, Voice] = field(default_factory=dict)
    directives: dict[str, str] = field(default_factory=dict)
    key: Line | None = None
    body: list[Line] = field(default_factory=list)
    strangers: list[Line] = field(default_factory=list)
    places: dict[str, int] = field(default_factory=dict)

    def first(self, letter: str) -> str:
        """The first value of a field, or empty."""
        values = self.fields.get(letter)
        return values[0] if values else ""

    def last(self, letter: str) -> str | None:
        """The last value of a field, or None."""
        values = self.fields.get(letter)
        return values[-1] if values else None


def is_field(text: str) -> bool:
    """Whether a line is an information field; ``G:|`` and ``z::`` are music."""
    return bool(FIELD.match(text))


def read_header(lines: Iterable[tuple[int, str]]) -> Header:
    """Read the header of a tune or file and set its body apart."""
    header = Header()
    letter = ""
    for number, raw in lines:
        if raw.startswith(("%%", "I:")):
            take_directive(header, raw)
        text = strip_comment(raw).rstrip()
        if not text:
            continue
        if header.key is not None:
            header.body.append(Line(number, text))
        elif not is_field(text):
            header.strangers.append(Line(number, text))
        elif text[0] == "+":
            continue_field(header, letter, text[2:])
        else:
            letter = text[0]
            take_field(header, number, letter, text[2:].strip())
    return header


def take_directive(header: Header, raw: str) -> None:
    """Keep the few directives that concern the notes or the rights."""
    found = DIRECTIVE.match(raw)
    if found:
        header.directives.setdefault(found[1], found[2].strip())


def take_field(header: Header, number: int, letter: str, value: str) -> None:
    """Keep one field."""
    header.fields.setdefault(letter, []).append(value)
    header.places.setdefault(letter, number)
    if letter == "K":
        header.key = Line(number, value)
    elif letter == "V":
        name, voice = voice_of(value)
        header.voices.setdefault(name, voice)


def continue_field(header: Header, letter: str, value: str) -> None:
    """Add the text of a ``+:`` line to the field before it (3.3)."""
    if letter in header.fields:
        header.fields[letter][-1] += " " + value.strip()


def voice_of(value: str) -> tuple[str, Voice]:
    """The id of a voice, and what its parameters say (7.1)."""
    name, _, rest = value.strip().partition(" ")
    found = NAME_OF_VOICE.search(rest)
    shown = read_text(found[1] or found[2] or "") if found else name
    if "=" not in rest:
        return name, Voice(shown, KeyField(None, {}))
    parameters = " ".join(
        word
        for word in re.findall(r'[\w]+\s*=\s*(?:"[^"]*"|\S+)', rest)
        if word.startswith(("clef", "octave", "transpose", "t="))
    )
    # Letters alone would be taken for a tonic: only parameters go through.
    return name, Voice(
        shown, parse_key(" " + parameters) if parameters else KeyField(None, {})
    )


def credits_of(header: Header, file_header: Header, source: str, part: str) -> Credits:
    """What the fields say about where a tune comes from and whose it is."""

    def text_of(letter: str) -> str:
        return read_text(header.first(letter) or file_header.first(letter))

    composers = header.fields.get("C") or file_header.fields.get("C") or []
    return Credits(
        title=read_text(header.first("T")),
        composer=", ".join(read_text(name) for name in composers if name),
        year=year_of(composers, [text_of("B"), text_of("S")]),
        collection=text_of("B"),
        source=source,
        number=header.first("X"),
        rights=rights_of(header) or rights_of(file_header),
        rhythm=text_of("R"),
        origin=text_of("O"),
        part=part,
    )


def rights_of(header: Header) -> str:
    """The stated copyright: a directive, or a field that speaks of it."""
    stated = header.directives.get("abc-copyright", "")
    if stated:
        return read_text(stated)
    for letter in "ZNCSB":
        for value in header.fields.get(letter, ()):
            if RIGHTS.search(value):
                return read_text(value.removeprefix("abc-copyright").strip())
    return ""


def year_of(makers: Iterable[str], sources: Iterable[str]) -> int | None:
    """The first year named beside a maker, or else in a book or source."""
    for text in makers:
        if found := YEAR.search(text):
            return int(found[1])
    for text in sources:
        for found in YEAR.finditer(text):
            if not counts_tunes(text[: found.start()], text[found.end() :]):
                return int(found[1])
    return None


def counts_tunes(before: str, after: str) -> bool:
    """Whether what looks like a year numbers a tune, or is the date of a copy.

    Books of tunes are cited by their owner and the tune's number (``Smith's 1728``,
    ``1728 Smith's Book``); an early date would make the tune older than it is.
    """
    words = before.split()
    if not words or after.startswith("-"):
        return True
    last = words[-1].casefold()
    return (
        "'" in last or "’" in last or last in {"no", "no.", "nr", "nr.", "#", "p.", "page"}
    )
