"""What a tune differs by from another that it is kin to, in words.

Conventions: the two are aligned whole, as matching aligns them. Key, mode and metre are
those of the rows; all else is counted on the alignment: pitches and lengths that differ,
notes that one tune alone has between those that both have, and what lies before and after,
which is a part left out where it is long.

Contents: PART, differences.
"""

from __future__ import annotations

from melodex.corpus.chunks import TuneNotes
from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import engine
from melodex.matching.query import EncodedQuery
from melodex.settings import MAX_QUERY_NOTES, AlignmentCosts

__all__ = ["PART", "differences"]

PART = 8
"""Notes from which on what lies outside is a part: two bars of four (our choice)."""


def differences(
    first: TuneNotes, other: TuneNotes, one: TuneRow, row: TuneRow
) -> tuple[str, ...]:
    """Say what the other tune has otherwise.

    Parameters
    ----------
    first, other : TuneNotes
        The notes of both.
    one, row : TuneRow
        Both as lists show them.

    Returns
    -------
    tuple of str
        The same notes in the same metre and mode give ``the same`` alone.
    """
    found = aligned(first, other)
    if found is None:
        return ()
    said = [
        *by_name(one, row),
        *by_notes(first, other, found),
        *by_parts(first, other, found),
    ]
    return tuple(said) or ("the same",)


def aligned(first: TuneNotes, other: TuneNotes) -> Alignment | None:
    """The best alignment of two tunes."""
    costs = AlignmentCosts()
    size = min(len(first.pitch), MAX_QUERY_NOTES)
    query = EncodedQuery(first.pitch[:size], first.length_class[:size])
    ((_, move),) = engine().best([(other.pitch, other.length_class)], query, costs)
    return engine().trace(query, other.pitch, other.length_class, move, costs)


def by_name(one: TuneRow, row: TuneRow) -> list[str]:
    """Key, mode and metre, where both are known and not the same."""
    said = []
    tonic, _, mode = one.key.partition(" ")
    other_tonic, _, other_mode = row.key.partition(" ")
    if mode and other_mode and mode != other_mode:
        said.append(f"{row.key}, not {one.key}")
    elif tonic and other_tonic and tonic != other_tonic:
        said.append(f"in {other_tonic}, not {tonic}")
    if one.metre != row.metre:
        said.append(f"{row.metre or 'free metre'}, not {one.metre or 'free metre'}")
    return said


def by_notes(first: TuneNotes, other: TuneNotes, found: Alignment) -> list[str]:
    """What differs between the notes that both have, and between them."""
    move = found.transposition_semitones
    both = [(i, j) for i, j in found.pairs if i is not None and j is not None]
    pitches = sum(first.pitch[i] + move != other.pitch[j] for i, j in both)
    lengths = sum(first.length_class[i] != other.length_class[j] for i, j in both)
    more = sum(i is None for i, _ in found.pairs)
    fewer = sum(j is None for _, j in found.pairs)
    of = f" of {len(both)}"
    return [
        *counted(pitches, "pitch", "pitches", f"{of} otherwise"),
        *counted(lengths, "length", "lengths", f"{of} otherwise"),
        *counted(more, "note", "notes", " put in"),
        *counted(fewer, "note", "notes", " left out"),
    ]


def counted(count: int, one: str, many: str, rest: str) -> list[str]:
    """A count in words, nothing for none."""
    return [f"{count} {one if count == 1 else many}{rest}"] if count else []


def by_parts(first: TuneNotes, other: TuneNotes, found: Alignment) -> list[str]:
    """Parts that one of them lacks, at either end."""
    said = []
    for place, mine, theirs in (
        ("beginning", found.query_span[0], found.tune_span[0]),
        (
            "end",
            len(first.pitch) - 1 - found.query_span[1],
            len(other.pitch) - 1 - found.tune_span[1],
        ),
    ):
        if mine >= PART and theirs >= PART:
            said.append(f"another {place}: {theirs} notes for {mine}")
        elif mine >= PART:
            said.append(f"without {mine} notes at the {place}")
        elif theirs >= PART:
            said.append(f"{theirs} notes more at the {place}")
    return said
