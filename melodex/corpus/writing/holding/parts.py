"""A file of a corpus as a writer has it open, with what it is told written down.

Conventions: most corpora are one file and so one part. Where several files are changed
together, what each of them is told is handed to a recorder as it is said, so that a change
that is stopped between two of them can be carried out to its end
(:mod:`melodex.corpus.shards.pending`).

Contents: OpenPart, Recorder.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from melodex.corpus.connection import taking_turns
from melodex.corpus.writing.holding.journal import WAIT_SECONDS, set_journal
from melodex.corpus.writing.rows.packing import ChunkTable
from melodex.errors import CorpusError

__all__ = ["OpenPart", "Recorder"]

Values = Sequence[Any] | dict[str, Any]
Recorder = Callable[[str, Any], None]
"""Takes a statement and its values, or a list of values."""

LEAST_ROOM = 1 << 20
"""Bytes that are worth the work of giving them back."""

LEAST_SHARE = 0.25
"""Of the file that is free when it is made smaller; our choice."""

CHANGING = ("INSERT", "UPDATE", "DELETE")
"""How statements begin that change rows."""


class OpenPart:
    """One file of a corpus, opened for writing.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the file; transactions are begun and ended by whoever opened it.
    path : Path
        The file.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self.connection = connection
        self.path = path
        self.inode = path.stat().st_ino
        self.database = Database(connection)
        self.chunks = ChunkTable(self)
        self.recorder: Recorder | None = None

    def rows(self, sql: str, values: Values = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement that reads."""
        return list(self.connection.execute(sql, values).fetchall())

    def execute(self, sql: str, values: Values = ()) -> sqlite3.Cursor:
        """Do what a statement says; what changes nothing is not written down."""
        cursor: sqlite3.Cursor = self.database.execute(sql, values)
        if self.recorder and cursor.rowcount and sql.lstrip().startswith(CHANGING):
            self.recorder(sql, values)
        return cursor

    def executemany(self, sql: str, rows: list[tuple[Any, ...]]) -> None:
        """Do what a statement says, once for each row."""
        self.connection.executemany(sql, rows)
        if self.recorder and rows:
            self.recorder(sql, rows)

    def refuse_replaced(self, what: str) -> None:
        """Refuse to write into a file that no longer goes by its name."""
        try:
            same = self.path.stat().st_ino == self.inode
        except FileNotFoundError:
            same = False
        if not same:
            raise CorpusError(
                "the corpus was moved or replaced meanwhile",
                where=str(self.path),
                hint=f"try again; {what}",
            )

    def close(self) -> None:
        """Let go of the file, and leave one plain file if nobody else has it open."""
        with taking_turns(self.path):
            with suppress(sqlite3.Error):
                set_journal(self.connection, "DELETE")
                # Where somebody reads, the file has at least all that they do not need.
                self.connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
            self.connection.close()

    def give_room_back(self) -> None:
        """Make the file smaller where much of it is free and nobody else is at work."""
        (free,) = self.rows("PRAGMA freelist_count")[0]
        (pages,) = self.rows("PRAGMA page_count")[0]
        (size,) = self.rows("PRAGMA page_size")[0]
        if free * size < LEAST_ROOM or free < pages * LEAST_SHARE:
            return
        self.connection.execute("PRAGMA busy_timeout = 0")
        # It takes as much room as is left for a moment; without it nothing is wrong.
        with suppress(sqlite3.OperationalError):
            self.connection.execute("VACUUM")
        self.connection.execute(f"PRAGMA busy_timeout = {round(WAIT_SECONDS * 1000)}")
