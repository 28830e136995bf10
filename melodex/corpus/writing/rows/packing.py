"""The table of packed notes: adding to it and taking from it at little cost.

Conventions: changes are collected and written by :meth:`ChunkTable.flush`,
inside the transaction of whatever caused them. New tunes go into a chunk of
their own; one before it that is no larger is taken up into it, up to
:data:`~melodex.corpus.chunks.TUNES_PER_CHUNK`. So one more tune seldom rewrites
more than a few, a tune is rewritten at most eleven times (the binary logarithm of
2,048), and a corpus has at most eleven chunks that are not full. Lines of one piece
stand in one chunk.

Contents: ChunkTable, TuneNotes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Protocol

from melodex.corpus.chunks import (
    CHUNK_COLUMNS,
    ID_BYTES,
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    pieces_in,
)
from melodex.corpus.packing import pack, unpack

__all__ = ["ChunkTable", "TuneNotes"]


class Told(Protocol):
    """What is told what to do: a connection to a file, or what stands before one."""

    def execute(self, sql: str, values: Sequence[Any] = ..., /) -> Any:
        """Do what a statement says."""


class ChunkTable:
    """The chunks of one file of a corpus, as a writer sees them."""

    def __init__(self, connection: Told) -> None:
        self.connection = connection
        self.fresh: dict[str, TuneNotes] = {}
        self.dropped: set[str] = set()
        self.moving: dict[str, str] = {}

    def forget(self) -> None:
        """Drop what has been collected, as the transaction has come to nothing."""
        self.fresh.clear()
        self.dropped.clear()
        self.moving.clear()

    def add(self, notes: TuneNotes) -> None:
        """Collect a tune that is to go in."""
        self.fresh[notes.tune_id] = notes

    def drop(self, tune_id: str) -> None:
        """Collect a tune that is to go out; it may be one collected before."""
        if self.fresh.pop(tune_id, None) is None:
            self.dropped.add(tune_id)

    def group(self, tune_id: str, piece: str) -> None:
        """Collect a tune that is to stand with all others of its piece."""
        if tune_id in self.fresh:
            self.fresh[tune_id] = replace(self.fresh[tune_id], piece=piece)
        else:
            self.moving[tune_id] = piece

    def flush(self) -> None:
        """Write what has been collected.

        Raises
        ------
        DamagedCorpusError
            If a chunk that has to be rewritten cannot be read.
        """
        if self.dropped or self.moving:
            self.take_out()
        if self.fresh:
            self.put_in()
        self.forget()

    def put_in(self) -> None:
        """Write new tunes, with the last chunks where those are no larger."""
        tunes = list(self.fresh.values())
        while True:
            last = self.connection.execute(
                "SELECT id, tune_count FROM chunk ORDER BY id DESC LIMIT 1"
            ).fetchone()
            if last is None or last[1] >= TUNES_PER_CHUNK or last[1] > len(tunes):
                break
            tunes = unpack(self.chunk(last[0])) + tunes
            self.connection.execute("DELETE FROM chunk WHERE id = ?", [last[0]])
        for part in by_piece(tunes):
            self.write(pack(part))

    def take_out(self) -> None:
        """Rewrite the chunks that hold dropped tunes; empty ones go."""
        wanted = {*self.dropped, *self.moving}
        rows = self.connection.execute("SELECT id, tune_ids FROM chunk").fetchall()
        for number, ids in rows:
            held = {
                ids[at : at + ID_BYTES].hex() for at in range(0, len(ids), ID_BYTES)
            } & wanted
            if not held:
                continue
            tunes = unpack(self.chunk(number))
            kept = [t for t in tunes if t.tune_id not in held]
            for tune in tunes:
                if tune.tune_id in self.moving and tune.tune_id not in self.dropped:
                    piece = self.moving[tune.tune_id]
                    self.fresh[tune.tune_id] = replace(tune, piece=piece)
            if kept:
                self.write(pack(kept), number)
            else:
                self.connection.execute("DELETE FROM chunk WHERE id = ?", [number])

    def chunk(self, number: int) -> PackedChunk:
        """One chunk of the table."""
        row = self.connection.execute(
            f"SELECT {CHUNK_COLUMNS} FROM chunk WHERE id = ?", [number]
        ).fetchone()
        return PackedChunk(*row)

    def write(self, chunk: PackedChunk, number: int | None = None) -> None:
        """Write a chunk, in place of another or as the last."""
        self.connection.execute(
            f"INSERT OR REPLACE INTO chunk ({CHUNK_COLUMNS}) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                chunk.tune_ids,
                chunk.lengths,
                chunk.notes,
                chunk.checksum,
                chunk.tune_count,
                chunk.note_count,
                number,
                chunk.pieces,
                pieces_in(chunk),
            ],
        )


def by_piece(tunes: list[TuneNotes]) -> Iterator[list[TuneNotes]]:
    """Tunes by as many as a chunk holds, no piece torn apart."""
    pieces: dict[str, list[TuneNotes]] = {}
    for tune in tunes:
        pieces.setdefault(tune.piece or tune.tune_id, []).append(tune)
    part: list[TuneNotes] = []
    for lines in pieces.values():
        if part and len(part) + len(lines) > TUNES_PER_CHUNK:
            yield part
            part = []
        part += lines
    if part:
        yield part
