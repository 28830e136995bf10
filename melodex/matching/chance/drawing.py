"""Tunes drawn from a corpus, by their ids and a seed alone.

Conventions: those are drawn whose ids, scattered by the seed, are lowest. So what is
drawn is the same in whatever order tunes were added, whoever wrote the chunks and
whatever was taken out in between; a tune more or less in the corpus is a tune more or
less among those drawn, or one in place of another, and never another sample.

What is scattered are the digits that ids had before schema 5, so that a corpus that comes
from then gives the samples of then; the others decide where two ids agree in them.

A piece of several lines is drawn whole, by the id of the first of them in their chunk.

Chunks that cannot be trusted are left out: the search says so.

Contents: DrawnTune, drawn_ids, drawn_tunes, drawn_ids_and_tunes, drawn_chunks,
drawn_of_each_part, without_lines.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Sequence

from melodex.corpus.chunks import (
    ID_BYTES,
    TUNES_PER_CHUNK,
    PackedChunk,
    checksum_of,
    firsts_of,
    leads_of,
    lines_led,
    pieces_in,
    regrouped,
    verify,
)
from melodex.errors import DamagedCorpusError
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import in_threads

__all__ = [
    "DrawnTune",
    "drawn_chunks",
    "drawn_ids",
    "drawn_ids_and_tunes",
    "drawn_of_each_part",
    "drawn_tunes",
    "without_lines",
]


DrawnTune = tuple[bytes, tuple[tuple[bytes, bytes], ...]]
"""The id of a tune as eight bytes; pitches and length classes of each of its lines."""

DrawnPieces = tuple[PackedChunk, list[list[int]]]
"""A chunk, and the places of the lines of each piece that was drawn from it."""


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
    return tunes_at(drawn_places(chunks, seed, count))


def drawn_ids(chunks: Sequence[PackedChunk], seed: int, count: int) -> bytes:
    """The ids of the tunes that :func:`drawn_tunes` draws, one after the other.

    Those of tunes without notes are among them.
    """
    return ids_at(drawn_places(chunks, seed, count))


def drawn_ids_and_tunes(
    chunks: Sequence[PackedChunk], seed: int, count: int
) -> tuple[bytes, list[DrawnTune]]:
    """What :func:`drawn_ids` and :func:`drawn_tunes` draw, drawn once."""
    places = list(drawn_places(chunks, seed, count))
    return ids_at(places), tunes_at(places)


def drawn_of_each_part(ids: Sequence[bytes], seed: int, count: int) -> list[int]:
    """How many of the tunes that are drawn from a whole each of its parts has.

    Parameters
    ----------
    ids : sequence of bytes
        Those drawn from each part, of :func:`drawn_ids`. Those drawn from the whole are
        among them, and are those that would be drawn from the part if only so many were.
    seed, count
        As for the whole.
    """
    return [len(places) for places in engine().drawn(ids, seed, count)]


def drawn_chunks(chunks: Sequence[PackedChunk], seed: int, count: int) -> list[PackedChunk]:
    """Draw tunes as :func:`drawn_tunes` does, as chunks to search in.

    Where no more than ``count`` are there, these are the chunks that came.
    """
    if sum(map(pieces_in, chunks)) <= count:
        return list(chunks)
    groups: list[list[tuple[PackedChunk, Sequence[int]]]] = [[]]
    held = 0
    for chunk, pieces in drawn_places(chunks, seed, count):
        places = sorted(line for lines in pieces for line in lines)
        if groups[-1] and held + len(places) > TUNES_PER_CHUNK:
            groups.append([])
            held = 0
        groups[-1].append((chunk, places))
        held += len(places)
    return in_threads(gathered, groups, engine().thread_count) if groups[0] else []


def without_lines(
    chunks: Sequence[PackedChunk], hidden: frozenset[str]
) -> list[PackedChunk]:
    """Chunks without some lines, so that nothing else is counted or drawn from them.

    A chunk that cannot be trusted stays as it is: the search says so.
    """
    kept = []
    for chunk in chunks:
        if not is_sound(chunk):
            kept.append(chunk)
            continue
        ids = [tune_id.hex() for tune_id in each_id(chunk.tune_ids)]
        places = [place for place, tune_id in enumerate(ids) if tune_id not in hidden]
        if len(places) == len(ids):
            kept.append(chunk)
        elif places:
            kept.append(gathered([(chunk, places)]))
    return kept


def tunes_at(places: Iterable[DrawnPieces]) -> list[DrawnTune]:
    """The tunes that were drawn, in order of their ids; those without notes left out."""
    worker = engine()
    tunes = [
        (
            id_at(chunk, lines[0]),
            tuple(worker.notes_at(chunk, verify(chunk), x) for x in lines),
        )
        for chunk, pieces in places
        for lines in pieces
    ]
    return sorted((tune_id, lines) for tune_id, lines in tunes if lines[0][0])


def ids_at(places: Iterable[DrawnPieces]) -> bytes:
    """The ids of the tunes that were drawn, one after the other."""
    return b"".join(id_at(chunk, lines[0]) for chunk, pieces in places for lines in pieces)


def id_at(chunk: PackedChunk, place: int) -> bytes:
    """The id of the tune at a place of a chunk."""
    return chunk.tune_ids[ID_BYTES * place : ID_BYTES * (place + 1)]


def drawn_places(
    chunks: Sequence[PackedChunk], seed: int, count: int
) -> Iterator[DrawnPieces]:
    """Chunks that can be trusted and the lines of each piece that was drawn from them."""
    sound = [chunk for chunk in chunks if is_sound(chunk)]
    if not sound:
        return
    leading = [leads_of(chunk) for chunk in sound]
    drawn = engine().drawn([ids for _, ids in leading], seed, count)
    for chunk, (leads, _), places in zip(sound, leading, drawn, strict=True):
        if places and leads:
            yield chunk, lines_led(chunk, [leads[place] for place in places])
        elif places:
            yield chunk, [[place] for place in places]


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
    pieces = pieces_of(parts, ids)
    chunk = PackedChunk(
        tune_ids=ids,
        lengths=lengths,
        notes=notes,
        checksum=checksum_of(ids, lengths, notes, pieces),
        tune_count=tunes,
        note_count=sum(counts),
        pieces=pieces,
        piece_count=sum(set_of_firsts(pieces)) if pieces else -1,
    )
    # Made of what has been verified just now.
    object.__setattr__(chunk, "known_counts", counts)
    return chunk


def pieces_of(parts: Sequence[tuple[PackedChunk, Sequence[int]]], ids: bytes) -> bytes:
    """Which of some tunes taken together are lines of one piece, in their new order."""
    if not any(chunk.pieces for chunk, _ in parts):
        return b""
    leader: dict[bytes, bytes] = {}
    for chunk, places in parts:
        firsts, held = firsts_of(chunk), each_id(chunk.tune_ids)
        leads = [held[firsts[place]] for place in places]
        leader.update(zip([held[place] for place in places], leads, strict=True))
    return regrouped([leader[tune_id] for tune_id in each_id(ids)])


def each_id(ids: bytes) -> list[bytes]:
    """The ids of tunes, one by one."""
    return [ids[at : at + ID_BYTES] for at in range(0, len(ids), ID_BYTES)]


def set_of_firsts(pieces: bytes) -> list[bool]:
    """For each tune whether it is the first one of its piece."""
    firsts = struct.unpack(f"<{len(pieces) // 2}H", pieces)
    return [place == first for place, first in enumerate(firsts)]
