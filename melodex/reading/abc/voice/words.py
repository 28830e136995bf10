"""Lyrics of an ABC tune: syllables under notes.

Conventions: a ``w:`` line goes with the notes written since the last block of
``w:`` lines; several in a row are verses. A tied note is written twice, so it
takes two places, as the standard counts; a hyphen stays at the end of its
syllable, so that a word can be put together again.

References
----------
The ABC music standard 2.1 (December 2011), sections 5.1 and 5.2.

Contents: align, BAR.
"""

from __future__ import annotations

import re

from melodex.melody import Lyric
from melodex.reading.abc.fields import read_text

__all__ = ["BAR", "align"]

BAR = -1
"""Stands for a bar line among the indexes of written notes."""

SYLLABLE = re.compile(
    r"(?P<sign>[-_*|])|(?P<text>(?:\\-|[^\s\-_*|\\]++|\\){1,500})(?P<hyphen>-?)|\s++"
)
"""A group is repeated so often at most: of each time the engine remembers where it was."""


def align(line: str, written: list[int], verse: int) -> tuple[list[Lyric], int]:
    """Set one line of syllables under notes.

    Parameters
    ----------
    line : str
        What follows ``w:``.
    written : list of int
        Index of the sounding note of each written note, :data:`BAR` for a bar line.
    verse : int
        From 1.

    Returns
    -------
    tuple of list of Lyric and int
        The syllables set, and how many found no note.

    Examples
    --------
    >>> words, _ = align("A-men_ *to|all", [0, 1, 2, 3, 4, BAR, 5], 1)
    >>> [(word.note, word.text) for word in words]
    [(0, 'A-'), (1, 'men'), (4, 'to'), (5, 'all')]
    """
    lyrics: list[Lyric] = []
    place, unplaced = 0, 0
    after_hyphen = False
    for found in SYLLABLE.finditer(line):
        sign, text = found["sign"], found["text"]
        if sign == "|":
            place = next_bar(written, place)
        elif sign or text:
            if sign == "-" and not after_hyphen and not found.start():
                continue
            place = next_note(written, place)
            if place >= len(written):
                unplaced += bool(text)
                continue
            if text:
                words = read_text(text.replace("~", " ")) + found["hyphen"]
                lyrics.append(Lyric(written[place], words, verse))
            place += 1
        after_hyphen = bool(sign == "-" or found["hyphen"])
    return lyrics, unplaced


def next_note(written: list[int], place: int) -> int:
    """The first place at or after one that is a note."""
    while place < len(written) and written[place] == BAR:
        place += 1
    return place


def next_bar(written: list[int], place: int) -> int:
    """The place after the next bar line."""
    while place < len(written) and written[place] != BAR:
        place += 1
    return place + 1
