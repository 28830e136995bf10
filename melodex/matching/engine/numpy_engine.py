"""The numpy engine: an upper bound for every tune, and exact points for a few.

Conventions: a block is a few tunes of like length that lie side by side in a chunk;
blocks are gathered into arrays wide enough to be worth a call of numpy and small
enough for the processor's cache, and worked out in :mod:`melodex.matching.engine.lanes`,
which says how.

This engine and the compiled one give the same bounds, points and alignments.

Contents: NumpyEngine.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from melodex.corpus.chunks import (
    ID_BYTES,
    LANES,
    LEADING_BYTES,
    PackedChunk,
    TuneNotes,
    notes_at,
    verify,
)
from melodex.corpus.packing import pack
from melodex.matching.engine.alignment import Alignment, best_transposition, trace
from melodex.matching.engine.lanes import (
    ABSENT,
    NEVER,
    Bytes,
    bounds_of_lanes,
    contours_of_lanes,
    held_in_lanes,
    points_of_lanes,
    stretches_of_lanes,
)
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

__all__ = ["NumpyEngine"]

CELLS_AT_ONCE = 1 << 15
"""Rows times lanes of one array: a dozen of them stay in the processor's cache."""

MATRIX_CELLS = 1 << 22
"""Notes times lanes at most: one very long tune must not widen all others."""


LIKE_LENGTH = 0.8
"""Tunes shorter than this share of the longest beside them would waste room."""


class NumpyEngine:
    """Bounds and exact points with numpy; the method is told in ``bound_lanes``."""

    name = "numpy"

    chunks_at_once = 64
    """Blocks of like length from many chunks are worked on side by side."""
    thread_count = 1
    """Calls on small arrays hold the interpreter; threads would only fight for it."""

    def bounds(
        self,
        chunks: Sequence[PackedChunk],
        counts: Sequence[tuple[int, ...]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[npt.NDArray[np.uint16]]:
        """Return an upper bound of the points of each tune of some chunks.

        Parameters
        ----------
        chunks : sequence of PackedChunk
            Verified.
        counts : sequence of tuple of int
            Notes per tune of each chunk, from :func:`melodex.corpus.chunks.verify`.
        query : EncodedQuery
            The phrase.
        costs : AlignmentCosts
            Points for pairs and gaps.

        Returns
        -------
        list of arrays of uint16, of shape (tunes,)
            One for each chunk.
        """
        found = [np.zeros(chunk.tune_count, np.uint16) for chunk in chunks]
        blocks = blocks_of(chunks, counts)
        for group in groups_of(blocks, lanes_at_once(query)):
            lanes = lanes_of(group, chunks)
            bounds = bounds_of_lanes(*lanes, query, costs)
            place = 0
            for block in group:
                part = bounds[place : place + len(block.lengths)]
                found[block.chunk][block.first : block.first + len(part)] = part
                place += len(part)
        return found

    def histogram(self, bounds: Sequence[Any], size: int) -> list[int]:
        """Count how many tunes have each bound, from 0 to size - 1."""
        counts = np.zeros(size, np.int64)
        for part in bounds:
            counts += np.bincount(part, minlength=size)
        return [int(count) for count in counts]

    def select(self, bounds: Any, low: int, high: int) -> list[tuple[int, int]]:
        """Return (bound, index) of the tunes whose bound lies in [low, high]."""
        places = np.flatnonzero((bounds >= low) & (bounds <= high))
        return list(zip(bounds[places].tolist(), places.tolist(), strict=True))

    def notes_at(
        self, chunk: PackedChunk, counts: tuple[int, ...], index: int
    ) -> tuple[bytes, bytes]:
        """Return the pitches and length classes of one tune of a verified chunk."""
        return notes_at(chunk, counts, index)

    def drawn(self, ids: Sequence[bytes], seed: int, count: int) -> list[list[int]]:
        """Return the places of the tunes drawn from chunks with such ids.

        Those whose scattered ids are lowest: the last step of SplitMix64 (Steele, Lea
        and Flood 2014, Proc. OOPSLA, 453-472) of id and seed.
        """
        key = scattered(np.asarray([seed], np.uint64))
        orders = [scattered(numbers_of(part, 0, LEADING_BYTES) ^ key) for part in ids]
        total = sum(len(order) for order in orders)
        if count >= total:
            return [list(range(len(order))) for order in orders]
        every = np.concatenate(orders)
        limit = np.partition(every, count - 1)[count - 1]
        # Of ids that agree in what they are scattered by, the rest decides.
        rests = [numbers_of(part, LEADING_BYTES, ID_BYTES) for part in ids]
        same = np.sort(np.concatenate(rests)[every == limit])
        rest = same[count - 1 - np.count_nonzero(every < limit)]
        return [
            np.flatnonzero((order < limit) | ((order == limit) & (last <= rest))).tolist()
            for order, last in zip(orders, rests, strict=True)
        ]

    def gathered(
        self, parts: Sequence[tuple[PackedChunk, Sequence[int]]]
    ) -> tuple[bytes, bytes, bytes]:
        """Return ids, lengths and notes of a chunk of some tunes of verified others."""
        made = pack(
            TuneNotes(
                chunk.tune_ids[ID_BYTES * place : ID_BYTES * (place + 1)].hex(),
                *notes_at(chunk, verify(chunk), place),
            )
            for chunk, places in parts
            for place in places
        )
        return made.tune_ids, made.lengths, made.notes

    def best(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
        floor: int = 0,
    ) -> list[tuple[int, int]]:
        """Return the exact points of tunes and the transposition that brings them.

        Parameters
        ----------
        tunes : sequence of (bytes, bytes)
            Pitches and length classes of each.
        floor : int
            Of a tune whose points stay below it, neither need be right.

        Returns
        -------
        list of (points, transposition)
            The transposition counts from the encoded phrase.
        """
        order = sorted(range(len(tunes)), key=lambda index: -len(tunes[index][0]))
        found: list[tuple[int, int]] = [(0, 0)] * len(tunes)
        batch: list[tuple[int, int]] = []
        for index in order:
            if not tunes[index][0]:
                continue
            moves = transpositions(query, costs, tunes[index][0], floor)
            batch += [(index, move) for move in moves]
            if len(batch) >= lanes_at_once(query):
                keep_best(found, batch, tunes, query, costs)
                batch = []
        keep_best(found, batch, tunes, query, costs)
        return found

    def reached(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[int]:
        """Return 0 for each tune: here it would take as long as their exact points."""
        return [0] * len(tunes)

    def trace(
        self,
        query: EncodedQuery,
        pitch: bytes,
        length_class: bytes,
        transposition: int,
        costs: AlignmentCosts,
    ) -> Alignment | None:
        """Return the best alignment under one transposition."""
        return trace(query, pitch, length_class, transposition, costs)

    def holding(
        self, chunk: PackedChunk, figure: bytes, parts: Sequence[tuple[int, int]]
    ) -> list[bytes]:
        """Return for each part 2, 1 or 0 a tune: it has the part, nearly, or not.

        A window agrees with a part when all its notes lie the same interval above
        it; with one note changed when all but one do, and then either the first or
        the second note is among those that agree.
        """
        found = np.zeros((len(parts), chunk.tune_count), np.uint8)
        for block in blocks_of([chunk], [verify(chunk)]):
            pitch, _, lengths = lanes_of([block], [chunk])
            here = slice(block.first, block.first + len(lengths))
            for row, (last, notes) in zip(found, parts, strict=True):
                cut = figure[last + 1 - notes : last + 1]
                row[here] = held_in_lanes(pitch, lengths, cut)
        return [row.tobytes() for row in found]

    def stretches(self, chunk: PackedChunk, own: bytes, worth: bytes, loss: int) -> bytes:
        """Return the points of the best stretch that each tune has in common with one."""
        found = np.zeros(chunk.tune_count, np.uint8)
        blocks = blocks_of([chunk], [verify(chunk)])
        for group in groups_of(blocks, max(CELLS_AT_ONCE // len(own), 16 * LANES)):
            pitch, _, lengths = lanes_of(group, [chunk])
            points = stretches_of_lanes(pitch, lengths, own, worth, loss)
            place = 0
            for block in group:
                part = points[place : place + len(block.lengths)]
                found[block.first : block.first + len(part)] = part
                place += len(part)
        return found.tobytes()

    def leading(self, levels: bytes, pieces: bytes) -> bytes:
        """Return the highest level among the lines of each piece of a chunk."""
        if not pieces:
            return levels
        firsts = np.frombuffer(pieces, dtype="<u2").astype(np.intp)
        highest = np.zeros(len(levels), dtype=np.uint8)
        np.maximum.at(highest, firsts, np.frombuffer(levels, dtype=np.uint8))
        leading: bytes = highest[firsts == np.arange(len(firsts))].tobytes()
        return leading

    def contours(
        self, chunk: PackedChunk, signs: bytes, costs: AlignmentCosts
    ) -> npt.NDArray[np.uint16]:
        """Return the points of a row of signs (0 down, 1 level, 2 up) for each tune."""
        found = np.zeros(chunk.tune_count, np.uint16)
        blocks = blocks_of([chunk], [verify(chunk)])
        for group in groups_of(blocks, max(CELLS_AT_ONCE // len(signs), 16 * LANES)):
            pitch, _, lengths = lanes_of(group, [chunk])
            points = contours_of_lanes(pitch, lengths, signs, costs)
            place = 0
            for block in group:
                part = points[place : place + len(block.lengths)]
                found[block.first : block.first + len(part)] = part
                place += len(part)
        return found


def numbers_of(ids: bytes, first: int, end: int) -> npt.NDArray[np.uint64]:
    """Some bytes of each id as whole numbers, their highest byte first."""
    columns = np.frombuffer(ids, np.uint8).reshape(-1, ID_BYTES)[:, first:end]
    weights = np.uint64(256) ** np.arange(end - first - 1, -1, -1, dtype=np.uint64)
    numbers: npt.NDArray[np.uint64] = columns.astype(np.uint64) @ weights
    return numbers


def scattered(numbers: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Numbers of 64 bits sent elsewhere, different ones to different places."""
    numbers = (numbers ^ (numbers >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    numbers = (numbers ^ (numbers >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return numbers ^ (numbers >> np.uint64(31))


def lanes_at_once(query: EncodedQuery) -> int:
    """How many lanes to work on together: whole blocks, fitting the cache."""
    return max(CELLS_AT_ONCE // query.note_count // LANES, 16) * LANES


def transpositions(
    query: EncodedQuery, costs: AlignmentCosts, pitch: bytes, floor: int
) -> list[int]:
    """Transpositions that could reach the floor: enough phrase pitches are there."""
    there = set(pitch)
    least = -(-floor // costs.best_pair)
    lowest, highest = min(there) - max(query.pitch), max(there) - min(query.pitch)
    return [
        move
        for move in range(lowest, highest + 1)
        if floor <= 0 or sum(wanted + move in there for wanted in query.pitch) >= least
    ]


@dataclass(frozen=True, slots=True)
class Block:
    """Tunes that stand side by side in a chunk: which chunk, first tune, place."""

    chunk: int
    first: int
    place: int
    lengths: tuple[int, ...]


def blocks_of(
    chunks: Sequence[PackedChunk], counts: Sequence[tuple[int, ...]]
) -> list[Block]:
    """The blocks of some chunks, longest tunes first."""
    found = []
    for number in range(len(chunks)):
        place = 0
        for first in range(0, len(counts[number]), LANES):
            lengths = counts[number][first : first + LANES]
            found.append(Block(number, first, place, lengths))
            place += 2 * sum(lengths)
    return sorted(found, key=lambda block: -block.lengths[0])


def groups_of(blocks: Sequence[Block], width: int) -> Iterator[list[Block]]:
    """Blocks to work on together: not too many, and of like length."""
    group: list[Block] = []
    for block in blocks:
        longest = group[0].lengths[0] if group else 0
        full = len(group) * LANES >= min(width, max(MATRIX_CELLS // max(longest, 1), 1))
        uneven = block.lengths[0] < LIKE_LENGTH * longest
        if group and (full or (uneven and len(group) * LANES >= width // 4)):
            yield group
            group = []
        group.append(block)
    if group:
        yield group


def lanes_of(
    group: Sequence[Block], chunks: Sequence[PackedChunk]
) -> tuple[Bytes, Bytes, npt.NDArray[np.int64]]:
    """Pitches and length classes of shape (notes, lanes), and the notes per lane."""
    lengths = np.concatenate([np.asarray(block.lengths, np.int64) for block in group])
    pitch = np.full((max(int(lengths[0]), 1), len(lengths)), NEVER, np.uint8)
    classes = np.full(pitch.shape, ABSENT, np.uint8)
    start = 0
    for block in group:
        notes = chunks[block.chunk].notes
        size, lanes = sum(block.lengths), len(block.lengths)
        there = np.arange(block.lengths[0])[:, None] < lengths[start : start + lanes]
        side = slice(start, start + lanes)
        for target, place in ((pitch, block.place), (classes, block.place + size)):
            values = np.frombuffer(notes, np.uint8, size, place) if size else 0
            target[: len(there), side][there] = values
        start += lanes
    return pitch, classes, lengths


def keep_best(
    found: list[tuple[int, int]],
    batch: Sequence[tuple[int, int]],
    tunes: Sequence[tuple[bytes, bytes]],
    query: EncodedQuery,
    costs: AlignmentCosts,
) -> None:
    """Work out (tune, transposition) lanes and keep the best of each tune."""
    if not batch:
        return
    widest = max(LANES, MATRIX_CELLS // len(tunes[batch[0][0]][0]))
    for start in range(0, len(batch), widest):
        part = batch[start : start + widest]
        points = points_of_lanes(part, tunes, query, costs)
        for (index, move), value in zip(part, points, strict=True):
            found[index] = best_transposition([found[index], (value, move)])
