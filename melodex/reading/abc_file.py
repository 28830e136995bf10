"""An ABC file taken apart: file header, tunes, and the lines in each.

Conventions: lines are counted from 1. A tune starts at its ``X:`` field and ends
at an empty line or the next ``X:``. Fields before the first tune, in a block
without music, are the file header; other text between tunes is nobody's tune.

References
----------
The ABC music standard 2.1 (December 2011), sections 2.2 and 3.3.

Contents: TuneText, split_file.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["TuneText", "split_file"]

FIELD = re.compile(r"[A-Za-z+]:")


@dataclass(frozen=True, slots=True)
class TuneText:
    """One tune as it stands: the number of its first line, and its lines."""

    first_line: int
    lines: tuple[str, ...]


def split_file(text: str) -> tuple[TuneText, list[TuneText]]:
    """Take a file apart into its header and its tunes.

    Examples
    --------
    >>> header, tunes = split_file("M:3/4\\n\\nX:1\\nK:C\\nabc\\n\\nsome words\\n")
    >>> header.lines, [(tune.first_line, len(tune.lines)) for tune in tunes]
    (('M:3/4',), [(3, 3)])
    """
    header = TuneText(1, ())
    tunes = []
    for block in blocks(text):
        if block.lines[0].startswith("X:") or looks_like_tune(block.lines):
            tunes.append(block)
        elif not tunes and not header.lines:
            fields = tuple(line for line in block.lines if is_header_line(line))
            header = TuneText(block.first_line, fields)
    return header, tunes


def blocks(text: str) -> list[TuneText]:
    """Runs of lines between empty lines, cut again before every ``X:``."""
    found = []
    first, lines = 1, list[str]()
    inside_text = False
    for number, line in enumerate(text.split("\n"), 1):
        if line.startswith("%%begin"):
            inside_text = True
        elif line.startswith(("%%end", "X:")):
            inside_text = False
        if inside_text or line.startswith("%%endtext"):
            # Typeset text may hold anything; an empty comment keeps the line count.
            line = "%"
        blank = not line or line.isspace()
        if lines and (blank or line.startswith("X:")):
            found.append(TuneText(first, tuple(lines)))
            lines = []
        if not blank:
            first = first if lines else number
            lines.append(line)
    if lines:
        found.append(TuneText(first, tuple(lines)))
    return found


def is_header_line(line: str) -> bool:
    """Whether a line of the first block belongs to the file header."""
    return bool(FIELD.match(line)) or line.startswith("%%")


def looks_like_tune(lines: tuple[str, ...]) -> bool:
    """Whether a block without ``X:`` is a tune all the same: it has a key and music."""
    keys = [place for place, line in enumerate(lines) if line.startswith("K:")]
    return bool(keys) and any(
        not FIELD.match(line) and not line.startswith("%") for line in lines[keys[0] + 1 :]
    )
