"""What a terminal can show, and text broken to fit it.

Conventions: every line fits the width that is asked for. Signs for flats, sharps and
relations are Unicode where the terminal can show them, plain ASCII where it cannot.
Colour is an addition: each relation has a mark of its own.

Contents: Style, style_for, paragraphs, wrapped.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Sequence
from typing import TextIO

from melodex.analysis.degrees import INFLECTED_SHAPE, OTHER_SHAPE, SAME_SHAPE
from melodex.records import dataclass
from melodex.tasks.compare.likeness import (
    ALONE,
    AS_ASKED,
    DIFFERENT,
    INFLECTED,
    NOT_ASKED,
    OTHER_LENGTH,
    OTHER_RHYTHM,
    OTHER_WAY,
    SAME,
    SAME_IN_TIME,
    SAME_LENGTH,
    SAME_WAY,
    SHAPE_IN_TIME,
    SHAPE_OTHER_RHYTHM,
)

__all__ = [
    "ACCIDENTAL",
    "MARKS",
    "NARROWEST",
    "PAINTS",
    "SIGNS",
    "WIDEST",
    "Style",
    "columns_shown",
    "paragraphs",
    "style_for",
    "wrapped",
]


MARKS = {
    SAME_IN_TIME: ("●", "o"),
    SAME: ("●", "o"),
    OTHER_RHYTHM: ("◌", ":"),
    INFLECTED: ("◇", "~"),
    DIFFERENT: ("×", "x"),
    SHAPE_IN_TIME: ("□", "s"),
    SAME_SHAPE: ("□", "s"),
    SHAPE_OTHER_RHYTHM: ("▫", ";"),
    INFLECTED_SHAPE: ("◇", "~"),
    OTHER_SHAPE: ("×", "x"),
    ALONE: ("–", "-"),
    SAME_WAY: ("●", "o"),
    OTHER_WAY: ("×", "x"),
    SAME_LENGTH: ("●", "o"),
    OTHER_LENGTH: ("×", "x"),
    AS_ASKED: ("●", "o"),
    NOT_ASKED: ("·", "."),
}


PAINTS = {
    SAME_IN_TIME: "32",
    SAME: "32",
    OTHER_RHYTHM: "36",
    INFLECTED: "33",
    DIFFERENT: "31",
    SHAPE_IN_TIME: "32",
    SAME_SHAPE: "32",
    SHAPE_OTHER_RHYTHM: "36",
    INFLECTED_SHAPE: "33",
    OTHER_SHAPE: "31",
    SAME_WAY: "32",
    OTHER_WAY: "31",
    SAME_LENGTH: "32",
    OTHER_LENGTH: "31",
    AS_ASKED: "32",
}


NARROWEST, WIDEST = 40, 120  # columns of a terminal


ACCIDENTAL = (
    r"(?<=\b[A-G])[b#](?![a-z])"
    r"|(?<=\b[A-G])b(?=b(?:\d|/|m|dim|aug))|(?<=\b[A-G]b)b(?=\d|/|m|dim|aug)"
    r"|(?<=\b[A-G]#)#"
    r"|(?<=\b[A-G])[b#](?=(?:m|maj|min|dim|aug|sus|add|alt)(?![a-z]))"
    r"|\bb(?=[IViv1-79])|#(?=[IViv\d])"
    r"|(?:(?<=[A-GIVivmj]\d)|(?<=[A-G]b\d)|(?<=[A-GIVivmj]1[13]))b(?=(?:5|6|9|13)\b)"
)
"""Signs in names of notes, chords, numerals and degrees; not the letter b in words, nor
in the hexadecimal id of a tune."""


SIGNS = {"b": "♭", "#": "♯"}


@dataclass(frozen=True, slots=True)
class Style:
    """What a terminal can show: its width, whether signs, whether colour."""

    width: int = 80
    signs: bool = True
    colour: bool = False

    def spelled(self, text: str) -> str:
        """A note or degree name with real accidentals where they can be shown."""
        if not self.signs:
            return text
        body = text[0] if text[:1] == "B" else ""
        rest = text[len(body) :]
        # After a slash b is the note, as in G7/b, unless a number follows it.
        return body + re.sub(r"(?<!/)b|(?<=/)b(?=\d)", "♭", rest).replace("#", "♯")

    def spelled_key(self, text: str) -> str:
        """A text with names of keys and numerals, with real accidentals."""
        if not self.signs:
            return text
        return re.sub(ACCIDENTAL, lambda found: SIGNS[found[0]], text)

    def mark(self, relation: str) -> str:
        """The mark of a relation."""
        return MARKS[relation][0 if self.signs else 1]

    def paint(self, text: str, code: str) -> str:
        """Colour a text, where the terminal has colour."""
        return (
            f"\x1b[{code}m{text}\x1b[0m" if self.colour and code and text.strip() else text
        )

    def strong(self, text: str) -> str:
        """Set a heading off, where the terminal can."""
        return self.paint(text, "1")


def style_for(stream: TextIO) -> Style:
    """Find out what a stream can show.

    Colour needs a terminal and no ``NO_COLOR`` in the environment; signs need an
    encoding that has them.
    """
    encoding = getattr(stream, "encoding", None) or "ascii"
    try:
        "♭♯●◌◇×–".encode(encoding)
        signs = True
    except (UnicodeEncodeError, LookupError):
        signs = False
    width = columns_shown()
    terminal = stream.isatty() and os.environ.get("TERM") != "dumb"
    colour = terminal and not os.environ.get("NO_COLOR")
    return Style(max(NARROWEST, min(width, WIDEST)), signs, colour)


def columns_shown() -> int:
    """Columns of the terminal, 80 where there is none.

    As ``shutil.get_terminal_size``, whose module loads three compressors with it.
    """
    said = os.environ.get("COLUMNS", "")
    if said.isdecimal() and int(said) > 0:
        return int(said)
    try:
        stream = sys.__stdout__ or sys.stdout
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (AttributeError, ValueError, OSError):
        return 80


def paragraphs(sentences: Iterable[str], style: Style) -> list[str]:
    """Sentences, each from the start of a line and broken to fit the width."""
    found = list(sentences)
    if not found:
        return []
    import textwrap

    return [line for sentence in found for line in textwrap.wrap(sentence, style.width)]


def wrapped(facts: Sequence[str], style: Style, indent: str = "   ") -> list[str]:
    """Facts separated by semicolons, broken between facts to fit the width.

    A fact that is too long for a line by itself is broken between words.
    """
    lines, line = [], indent
    for place, fact in enumerate(facts):
        piece = fact + (";" if place < len(facts) - 1 else "")
        if len(line) + len(piece) + 1 > style.width and line.strip():
            lines.append(line.rstrip())
            line = indent
        words = [piece] if len(indent) + len(piece) <= style.width else piece.split()
        for word in words:
            if len(line) + len(word) > style.width and line.strip():
                lines.append(line.rstrip())
                line = indent
            line += word + " "
    return [*lines, line.rstrip()]
