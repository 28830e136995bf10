"""Which engine does the work: the compiled kernel, or numpy where there is none.

Conventions: both give the same bounds, points, transpositions and alignments;
they differ in speed and in what they import. ``MELODEX_ENGINE`` set to ``c`` or
``numpy`` asks for one of them.

Contents: Engine, engine, one_thread.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Protocol

from melodex.corpus.chunks import PackedChunk
from melodex.errors import SettingsError
from melodex.matching.engine.alignment import Alignment
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

__all__ = ["ENGINE_VARIABLE", "Engine", "engine", "one_thread"]

ENGINE_VARIABLE = "MELODEX_ENGINE"


class Engine(Protocol):
    """What an engine can do; see ``bound.NumpyEngine`` for the meaning of each."""

    @property
    def name(self) -> str:
        """``c`` or ``numpy``."""

    @property
    def chunks_at_once(self) -> int:
        """How many chunks to hand to one call of :meth:`bounds`."""

    @property
    def thread_count(self) -> int:
        """How many threads may call it to good effect."""

    def bounds(
        self,
        chunks: Sequence[PackedChunk],
        counts: Sequence[tuple[int, ...]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[Any]:
        """Upper bounds of all tunes of some chunks, unsigned 16-bit."""

    def histogram(self, bounds: Sequence[Any], size: int) -> list[int]:
        """How many tunes have each bound."""

    def select(self, bounds: Any, low: int, high: int) -> list[tuple[int, int]]:
        """Tunes whose bound lies in a range, as (bound, index)."""

    def notes_at(
        self, chunk: PackedChunk, counts: tuple[int, ...], index: int
    ) -> tuple[bytes, bytes]:
        """Pitches and length classes of one tune of a verified chunk."""

    def drawn(self, ids: Sequence[bytes], seed: int, count: int) -> list[list[int]]:
        """Places of the tunes drawn from chunks with such ids, whatever their order."""

    def gathered(
        self, parts: Sequence[tuple[PackedChunk, Sequence[int]]]
    ) -> tuple[bytes, bytes, bytes]:
        """Ids, lengths and notes of a chunk of some tunes of verified others."""

    def best(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
        floor: int = 0,
    ) -> list[tuple[int, int]]:
        """Exact points of tunes and the transposition that brings them."""

    def reached(
        self,
        tunes: Sequence[tuple[bytes, bytes]],
        query: EncodedQuery,
        costs: AlignmentCosts,
    ) -> list[int]:
        """Points that tunes reach at least; no more is asked of them than to be true."""

    def trace(
        self,
        query: EncodedQuery,
        pitch: bytes,
        length_class: bytes,
        transposition: int,
        costs: AlignmentCosts,
    ) -> Alignment | None:
        """The best alignment under one transposition."""

    def holding(
        self, chunk: PackedChunk, figure: bytes, parts: Sequence[tuple[int, int]]
    ) -> list[bytes]:
        """For each part of a figure, given by its last note and its number of notes,
        and each tune: 2 it has the part, 1 with one note changed, 0 not."""

    def stretches(self, chunk: PackedChunk, own: bytes, worth: bytes, loss: int) -> bytes:
        """Points, to 255, of the best stretch that each tune has in common with one."""

    def leading(self, levels: bytes, pieces: bytes) -> bytes:
        """The highest level of the lines of each piece; as given where there are none."""

    def contours(self, chunk: PackedChunk, signs: bytes, costs: AlignmentCosts) -> Any:
        """Points of a row of signs (0 down, 1 level, 2 up) for each tune."""


def engine() -> Engine:
    """Return the engine in use.

    Raises
    ------
    SettingsError
        If ``MELODEX_ENGINE`` names none, or one that is not installed.
    """
    found: Engine = engine_called(os.environ.get(ENGINE_VARIABLE, ""))
    return found


def one_thread() -> None:
    """Work in one thread from now on: for a process that is one of several that work."""
    setattr(type(engine()), "thread_count", 1)  # noqa: B010 (types take it for a constant)


@lru_cache(maxsize=4)
def engine_called(name: str) -> Engine:
    """The engine of that name; the compiled one where none is named."""
    if name not in {"", "c", "numpy"}:
        raise SettingsError(
            f"there is no engine {name!r}", where=ENGINE_VARIABLE, hint="c or numpy"
        )
    if name != "numpy":
        try:
            from melodex.matching.engine.compiled import CompiledEngine
        except ImportError as error:
            if name == "c":
                raise SettingsError(
                    "the compiled engine is not installed",
                    where=ENGINE_VARIABLE,
                    hint="install melodex again where there is a C compiler",
                ) from error
        else:
            return CompiledEngine()
    from melodex.matching.engine.numpy_engine import NumpyEngine

    return NumpyEngine()
