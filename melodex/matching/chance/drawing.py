"""Tunes drawn from a corpus, by their ids and a seed alone.

Conventions: those are drawn whose ids, scattered by the seed, are lowest. So what is
drawn is the same in whatever order tunes were added, whoever wrote the chunks and
whatever was taken out in between; a tune more or less in the corpus is a tune more or
less among those drawn, or one in place of another, and never another sample.

Chunks that cannot be trusted are left out: the search says so.

Contents: DrawnTune, drawn_tunes, drawn_chunks.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence

from melodex.corpus.chunks import (
    ID_BYTES,
    TUNES_PER_CHUNK,
    PackedChunk,
    checksum_of,
    verify,
)
from melodex.errors import DamagedCorpusError
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import in_threads

__all__ = ["DrawnTune", "drawn_chunks", "drawn_tunes"]


DrawnTune = tuple[bytes, tuple[bytes, bytes]]
"""The id of a tune as six bytes; its pitches and length classes."""


def drawn_tunes(chunks: Sequence[PackedChunk], seed: int, count: int) -> list[DrawnTune]:
    """Draw tunes without replacement.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        The corpus.
    seed : int
        Of 64 bits.
    count : int
        How many at most.

    Returns
    -------
    list of DrawnTune
        In order of their ids; those without notes are left out.
    """
    worker = engine()
    tunes = [
        (
            chunk.tune_ids[ID_BYTES * place : ID_BYTES * (place + 1)],
            worker.notes_at(chunk, verify(chunk), place),
        )
        for chunk, places in drawn_places(chunks, seed, count)
        for place in places
    ]
    return sorted((tune_id, notes) for tune_id, notes in tunes if notes[0])


def drawn_chunks(chunks: Sequence[PackedChunk], seed: int, count: int) -> list[PackedChunk]:
    """Draw tunes as :func:`drawn_tunes` does, as chunks to search in.

    Where no more than ``count`` are there, these are the chunks that came.
    """
    if sum(chunk.tune_count for chunk in chunks) <= count:
        return list(chunks)
    groups: list[list[tuple[PackedChunk, Sequence[int]]]] = [[]]
    held = 0
    for chunk, places in drawn_places(chunks, seed, count):
        if groups[-1] and held + len(places) > TUNES_PER_CHUNK:
            groups.append([])
            held = 0
        groups[-1].append((chunk, places))
        held += len(places)
    return in_threads(gathered, groups, engine().thread_count) if groups[0] else []


def drawn_places(
    chunks: Sequence[PackedChunk], seed: int, count: int
) -> Iterator[tuple[PackedChunk, list[int]]]:
    """Chunks that can be trusted and the places of what was drawn from each."""
    sound = [chunk for chunk in chunks if is_sound(chunk)]
    if not sound:
        return
    drawn = engine().drawn([chunk.tune_ids for chunk in sound], seed, count)
    yield from ((c, places) for c, places in zip(sound, drawn, strict=True) if places)


def is_sound(chunk: PackedChunk) -> bool:
    """Whether a chunk can be trusted."""
    try:
        verify(chunk)
    except DamagedCorpusError:
        return False
    return True


def gathered(parts: Sequence[tuple[PackedChunk, Sequence[int]]]) -> PackedChunk:
    """Some tunes of some chunks as one chunk."""
    ids, lengths, notes = engine().gathered(parts)
    tunes = len(ids) // ID_BYTES
    counts = struct.unpack(f"<{tunes}I", lengths)
    chunk = PackedChunk(
        tune_ids=ids,
        lengths=lengths,
        notes=notes,
        checksum=checksum_of(ids, lengths, notes),
        tune_count=tunes,
        note_count=sum(counts),
    )
    # Made of what has been verified just now.
    object.__setattr__(chunk, "known_counts", counts)
    return chunk
