"""Spines: the columns of a Humdrum file, as they split, join, change places and end.

Conventions: a *spine* begins with an exclusive interpretation (``**kern``), counted from
0 from the left; a *strand* is what stands in one column of a line: a spine that is split
has several, each a voice of its own, numbered from 1 by the smallest number that is free.

References
----------
Humdrum user guide, spine paths: ``*^`` splits, ``*v`` joins neighbours, ``*x`` exchanges
two, ``*+`` adds one, ``*-`` ends one. From memory, and tried against music21's reading.

Contents: MOST_STRANDS, Strand, next_row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import count

from melodex.errors import HostileInputError, ReadingError

__all__ = ["MOST_STRANDS", "Strand", "next_row"]

MOST_STRANDS = 512
"""Columns of a line: a hundred parts, each with words, loudness and a voice more."""

PATHS = {"*^", "*v", "*x", "*+", "*-"}


@dataclass(slots=True)
class Strand:
    """What stands in one column.

    ``end`` is where its last note ends, in ticks; ``resting`` says that it was a rest.
    """

    spine: int
    kind: str = ""
    voice: int = 1
    end: int | Fraction = 0
    resting: bool = True

    @property
    def sounds(self) -> bool:
        """Whether it holds notes."""
        return self.kind == "**kern"


def next_row(row: list[Strand], tokens: list[str], spines: int) -> tuple[list[Strand], int]:
    """The columns below a line of interpretations, and how many spines there are then.

    Parameters
    ----------
    row : list of Strand
        The columns of the line.
    tokens : list of str
        What stands in them.
    spines : int
        How many spines the file had until here.

    Raises
    ------
    ReadingError
        If the signs make no sense, or there are more columns than any score has.
    """
    if not PATHS.intersection(tokens):
        for strand, token in zip(row, tokens, strict=True):
            if token.startswith("**"):
                strand.kind = token
        return row, spines
    fresh = count(spines)
    below = list(walked(row, tokens, fresh))
    if len(below) > MOST_STRANDS:
        raise HostileInputError(
            f"more than {MOST_STRANDS} columns of notes", limit=MOST_STRANDS
        )
    return below, next(fresh)


def walked(row: list[Strand], tokens: list[str], fresh: Iterator[int]) -> Iterator[Strand]:
    """The columns below, from the left."""
    taken: dict[int, set[int]] = {}
    for strand in row:
        taken.setdefault(strand.spine, set()).add(strand.voice)
    at = 0
    while at < len(row):
        strand, token = row[at], tokens[at]
        at += 1
        if token == "*v":
            first = at - 1
            while at < len(row) and tokens[at] == "*v":
                at += 1
            yield from joined(row[first:at])
        elif token == "*x":
            if at == len(row) or tokens[at] != "*x":
                raise ReadingError(
                    "*x stands alone, without a column to change places with"
                )
            yield row[at]
            yield strand
            at += 1
        elif token != "*-":
            yield strand
            if token == "*^":
                used = taken[strand.spine]
                voice = next(number for number in count(1) if number not in used)
                used.add(voice)
                yield Strand(strand.spine, strand.kind, voice, strand.end, strand.resting)
            elif token == "*+":
                yield Strand(next(fresh), end=strand.end)


def joined(run: list[Strand]) -> Iterator[Strand]:
    """One column for the neighbours of each spine that join, or one for all of them."""
    by_spine: dict[int, list[Strand]] = {}
    for strand in run:
        by_spine.setdefault(strand.spine, []).append(strand)
    apart = all(len(members) > 1 for members in by_spine.values())
    for members in by_spine.values() if apart else [run]:
        kept = min(members, key=lambda strand: (strand.spine, strand.voice))
        kept.end = max(strand.end for strand in members)
        kept.resting = all(strand.resting for strand in members)
        yield kept
