"""The table of packed notes: adding to it and taking from it at little cost.

Conventions: changes are collected and written by :meth:`ChunkTable.flush`,
inside the transaction of whatever caused them. New tunes go into a chunk of
their own; one before it that is no larger is taken up into it, up to
:data:`~melodex.corpus.chunks.TUNES_PER_CHUNK`. So one more tune seldom rewrites
more than a few, a tune is rewritten at most eleven times (the binary logarithm of
2,048), and a corpus has at most eleven chunks that are not full.

Contents: ChunkTable, TuneNotes.
"""

from __future__ import annotations

import sqlite3

from melodex.corpus.chunks import (
    ID_BYTES,
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    pack,
    unpack,
)

__all__ = ["ChunkTable", "TuneNotes"]


class ChunkTable:
    """The chunks of one corpus, as a writer sees them."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.fresh: dict[str, TuneNotes] = {}
        self.dropped: set[str] = set()

    def forget(self) -> None:
        """Drop what has been collected, as the transaction has come to nothing."""
        self.fresh.clear()
        self.dropped.clear()

    def add(self, notes: TuneNotes) -> None:
        """Collect a tune that is to go in."""
        self.fresh[notes.tune_id] = notes

    def drop(self, tune_id: str) -> None:
        """Collect a tune that is to go out; it may be one collected before."""
        if self.fresh.pop(tune_id, None) is None:
            self.dropped.add(tune_id)

    def flush(self) -> None:
        """Write what has been collected.

        Raises
        ------
        DamagedCorpusError
            If a chunk that has to be rewritten cannot be read.
        """
        if self.dropped:
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
        for first in range(0, len(tunes), TUNES_PER_CHUNK):
            self.write(pack(tunes[first : first + TUNES_PER_CHUNK]))

    def take_out(self) -> None:
        """Rewrite the chunks that hold dropped tunes; empty ones go."""
        wanted = set(self.dropped)
        rows = self.connection.execute("SELECT id, tune_ids FROM chunk").fetchall()
        for number, ids in rows:
            held = {
                ids[at : at + ID_BYTES].hex() for at in range(0, len(ids), ID_BYTES)
            } & wanted
            if not held:
                continue
            kept = [t for t in unpack(self.chunk(number)) if t.tune_id not in held]
            if kept:
                self.write(pack(kept), number)
            else:
                self.connection.execute("DELETE FROM chunk WHERE id = ?", [number])

    def chunk(self, number: int) -> PackedChunk:
        """One chunk of the table."""
        row = self.connection.execute(
            "SELECT tune_ids, lengths, notes, checksum, tune_count, note_count, id "
            "FROM chunk WHERE id = ?",
            [number],
        ).fetchone()
        return PackedChunk(*row)

    def write(self, chunk: PackedChunk, number: int | None = None) -> None:
        """Write a chunk, in place of another or as the last."""
        self.connection.execute(
            "INSERT OR REPLACE INTO chunk "
            "(id, tune_count, note_count, checksum, tune_ids, lengths, notes) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                number,
                chunk.tune_count,
                chunk.note_count,
                chunk.checksum,
                chunk.tune_ids,
                chunk.lengths,
                chunk.notes,
            ],
        )
