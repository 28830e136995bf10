"""The compiled engine: a thin skin over ``_kernel``, which has the same methods.

Conventions: see ``bound``, whose engine gives the same results; here chunks go to
the kernel one by one, since it releases the interpreter and threads run at once.

Contents: CompiledEngine.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Sequence
from typing import Any

from melodex.corpus.chunks import ID_BYTES, PackedChunk
from melodex.errors import PhraseError
from melodex.matching.engine import _kernel
from melodex.matching.engine.alignment import Alignment, described
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

__all__ = ["CompiledEngine"]

if getattr(_kernel, "ID_BYTES", 0) != ID_BYTES:
    # Built of the source of another version, and not anew since.
    raise ImportError("the compiled engine is that of another version of melodex")

MOST_THREADS = 8
"""Beyond this, reading the corpus file is what takes the time."""


class CompiledEngine:
    """Bounds, exact points and alignments in compiled code."""

    name = "c"
    chunks_at_once = 1
    thread_count = min(os.cpu_count() or 1, MOST_THREADS)

    def bounds(
        self,
        chunks: Sequence[PackedChunk],
        counts: Sequence[tuple[int, ...]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[bytes]:
        """Upper bounds of all tunes of some chunks, unsigned 16-bit."""
        numbers = costs.numbers
        return [
            _kernel.bounds(
                chunk.notes, chunk.lengths, query.pitch, query.length_class, numbers
            )
            for chunk in chunks
        ]

    def histogram(self, bounds: Sequence[Any], size: int) -> list[int]:
        """Count how many tunes have each bound, from 0 to size - 1."""
        return _kernel.histogram(list(bounds), size)

    def select(self, bounds: Any, low: int, high: int) -> list[tuple[int, int]]:
        """Return (bound, index) of the tunes whose bound lies in [low, high]."""
        return _kernel.select(bounds, low, high)

    def notes_at(
        self, chunk: PackedChunk, counts: tuple[int, ...], index: int
    ) -> tuple[bytes, bytes]:
        """Return the pitches and length classes of one tune of a verified chunk."""
        return _kernel.notes_at(chunk.notes, chunk.lengths, index)

    def drawn(self, ids: Sequence[bytes], seed: int, count: int) -> list[list[int]]:
        """Return the places of the tunes drawn from chunks with such ids.

        Parameters
        ----------
        ids : sequence of bytes
            8 for each tune of each chunk.
        seed : int
            Of 64 bits; another seed draws others.
        count : int
            How many tunes; all where there are fewer.

        Returns
        -------
        list of list of int
            For each chunk, rising. Those drawn are the same however tunes are shared
            out among chunks, and a tune more or less changes one of them at most.
        """
        places = _kernel.drawn(list(ids), seed, count)
        return [memoryview(part).cast("I").tolist() for part in places]

    def gathered(
        self, parts: Sequence[tuple[PackedChunk, Sequence[int]]]
    ) -> tuple[bytes, bytes, bytes]:
        """Return ids, lengths and notes of a chunk of some tunes of verified others.

        Parameters
        ----------
        parts : sequence of (PackedChunk, sequence of int)
            Chunks, and the places of the tunes wanted of each, rising.
        """
        return _kernel.gathered(
            [
                (chunk.notes, chunk.lengths, chunk.tune_ids, array("I", places))
                for chunk, places in parts
            ]
        )

    def best(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
        floor: int = 0,
    ) -> list[tuple[int, int]]:
        """Return the exact points of tunes and the transposition that brings them.

        Of a tune whose points stay below the floor, neither need be right.
        """
        return _kernel.best(
            list(tunes), query.pitch, query.length_class, costs.numbers, floor
        )

    def reached(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[int]:
        """Return points that tunes reach at least, most of them close to their best."""
        return _kernel.reached(list(tunes), query.pitch, query.length_class, costs.numbers)

    def trace(
        self,
        query: EncodedQuery,
        pitch: bytes,
        length_class: bytes,
        transposition: int,
        costs: AlignmentCosts,
    ) -> Alignment | None:
        """Return the best alignment under one transposition.

        Raises
        ------
        PhraseError
            If costs make an alignment possible that is too long to lay out.
        """
        try:
            points, pairs = _kernel.trace(
                query.pitch,
                query.length_class,
                pitch,
                length_class,
                transposition,
                costs.numbers,
            )
        except OverflowError as error:
            raise PhraseError(f"{error}", hint="ask for fewer bars") from error
        if points <= 0:
            return None
        return described(points, transposition + query.moved_semitones, pairs, 0)

    def holding(
        self, chunk: PackedChunk, figure: bytes, parts: Sequence[tuple[int, int]]
    ) -> list[bytes]:
        """Return for each part 2, 1 or 0 a tune: it has the part, nearly, or not."""
        asked = bytes(value for part in parts for value in part)
        found = _kernel.holding(chunk.notes, chunk.lengths, figure, asked)
        tunes = chunk.tune_count
        return [found[first * tunes : (first + 1) * tunes] for first in range(len(parts))]

    def stretches(self, chunk: PackedChunk, own: bytes, worth: bytes, loss: int) -> bytes:
        """Return the points of the best stretch that each tune has in common with one.

        Parameters
        ----------
        own : bytes of length n, at most 4096
            Pitches of the own tune.
        worth : bytes of length n
            Points for the step to each note; the first is not looked at.
        loss : int
            Points that a changed note costs, 0 to 255.

        Returns
        -------
        bytes
            One for each tune; more than 255 points count as 255.
        """
        return _kernel.stretches(chunk.notes, chunk.lengths, own, worth, loss)

    def leading(self, levels: bytes, pieces: bytes) -> bytes:
        """Return the highest level among the lines of each piece of a chunk.

        Parameters
        ----------
        levels : bytes
            One for each tune.
        pieces : bytes
            Of the chunk; where it is empty, the levels come back as they are.
        """
        return _kernel.leading(levels, pieces) if pieces else levels

    def contours(self, chunk: PackedChunk, signs: bytes, costs: AlignmentCosts) -> bytes:
        """Return the points of a row of signs for each tune, unsigned 16-bit."""
        return _kernel.contours(
            chunk.notes,
            chunk.lengths,
            signs,
            costs.same_pitch[3],
            -costs.far_pitch[3],
            -costs.gap,
        )
