"""An ABC file taken apart: file header, tunes, and the lines in each.

Conventions: lines are counted from 1. A tune starts at its ``X:`` field and ends
at an empty line or the next ``X:``. Fields before the first tune, in a block
without music, are the file header; other text between tunes is nobody's tune.

References
----------
The ABC music standard 2.1 (December 2011), sections 2.2 and 3.3.

Contents: TuneText, split_file, tunes_in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["TuneText", "split_file", "tunes_in"]

FIELD = re.compile(r"[A-Za-z+]:")


@dataclass(frozen=True, slots=True)
class TuneText:
    """One tune as it stands: the number of its first line, and its lines."""

    first_line: int
    lines: tuple[str, ...]


def split_file(text: str) -> tuple[TuneText, list[TuneText]]:
    """Take a file apart into its header, which is empty without a tune, and its tunes.

    Examples
    --------
    >>> header, tunes = split_file("M:3/4\\n\\nX:1\\nK:C\\nabc\\n\\nsome words\\n")
    >>> header.lines, [(tune.first_line, len(tune.lines)) for tune in tunes]
    (('M:3/4',), [(3, 3)])
    """
    found = list(tunes_in(text))
    header = found[0][0] if found else TuneText(1, ())
    return header, [tune for _, tune in found]


def tunes_in(text: str) -> Iterator[tuple[TuneText, TuneText]]:
    """Yield the file header with every tune, one at a time."""
    header = TuneText(1, ())
    is_settled = False
    for block in blocks(text):
        if block.lines[0].startswith("X:") or looks_like_tune(block.lines):
            is_settled = True
            yield header, block
        elif not is_settled and not header.lines:
            fields = tuple(line for line in block.lines if is_header_line(line))
            header = TuneText(block.first_line, fields)


def lines_of(text: str) -> Iterator[str]:
    """Yield lines one at a time: all of a large file at once take three times its size."""
    start = 0
    while (end := text.find("\n", start)) >= 0:
        yield text[start:end]
        start = end + 1
    yield text[start:]


def blocks(text: str) -> Iterator[TuneText]:
    """Runs of lines between empty lines, cut again before every ``X:``."""
    first, lines = 1, list[str]()
    inside_text = False
    for number, line in enumerate(lines_of(text), 1):
        if line.startswith("%%begin"):
            inside_text = True
        elif line.startswith(("%%end", "X:")):
            inside_text = False
        if inside_text or line.startswith("%%endtext"):
            # Typeset text may hold anything; an empty comment keeps the line count.
            line = "%"
        blank = not line or line.isspace()
        if lines and (blank or line.startswith("X:")):
            yield TuneText(first, tuple(lines))
            lines = []
        if not blank:
            first = first if lines else number
            lines.append(line)
    if lines:
        yield TuneText(first, tuple(lines))


def is_header_line(line: str) -> bool:
    """Whether a line of the first block belongs to the file header."""
    return bool(FIELD.match(line)) or line.startswith("%%")


def looks_like_tune(lines: tuple[str, ...]) -> bool:
    """Whether a block without ``X:`` is a tune all the same: it has a key and music."""
    keys = [place for place, line in enumerate(lines) if line.startswith("K:")]
    return bool(keys) and any(
        not FIELD.match(line) and not line.startswith("%") for line in lines[keys[0] + 1 :]
    )
