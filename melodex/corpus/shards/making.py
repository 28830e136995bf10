"""A corpus file made of rows of another: a shard of a whole, a whole of shards.

Conventions: rows keep their numbers and so their checksums; a row number is that of one
row over all shards of a set. The file that is made is written without a journal, as a
part that nobody knows yet, and gets its name when SQLite finds no fault with it.

Contents: NewFile, attached, new_file.
"""

from __future__ import annotations

import os
import sqlite3
import urllib.parse
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from melodex.corpus.chunks import CHUNK_COLUMNS, PackedChunk, pieces_in
from melodex.corpus.faults import faults_named
from melodex.corpus.rows import row_crc32
from melodex.corpus.schema import APPLICATION_ID, SCHEMA_VERSION, create_statements
from melodex.corpus.writing.rows.words import index_words
from melodex.errors import REMEDIES, CorpusError
from melodex.files import part_beside, put_in_place

__all__ = ["NewFile", "new_file"]

CACHE = 32 << 10
"""Kibibytes of pages that stay in memory while a file is made."""


class NewFile:
    """A corpus file that is being made.

    Parameters
    ----------
    connection : sqlite3.Connection
        Of the new file, in a transaction; what rows are taken from is ``source``.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection

    def tables(self) -> list[str]:
        """The tables that hold rows, in the order in which they were made."""
        rows = self.connection.execute(
            "SELECT name FROM main.sqlite_master WHERE type = 'table' "
            "AND name NOT LIKE 'tune_words_fts%' AND name NOT LIKE 'sqlite_%'"
        )
        return [row[0] for row in rows]

    def columns(self, table: str) -> list[str]:
        """The columns of a table."""
        rows = self.connection.execute(f"SELECT name FROM pragma_table_info('{table}')")
        return [row[0] for row in rows]

    def take(self, table: str, clause: str = "", *, once: bool = False) -> None:
        """Take rows of the source: all, or those that a clause picks; each once if so."""
        columns = ", ".join(self.columns(table))
        verb = "INSERT OR IGNORE" if once else "INSERT"
        self.connection.execute(
            f"{verb} INTO main.{table} ({columns}) "
            f"SELECT {columns} FROM source.{table} {clause}"
        )

    def put_chunk(self, chunk: PackedChunk) -> None:
        """Write a chunk as the last."""
        self.connection.execute(
            f"INSERT INTO main.chunk ({CHUNK_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                chunk.tune_ids,
                chunk.lengths,
                chunk.notes,
                chunk.checksum,
                chunk.tune_count,
                chunk.note_count,
                None,
                chunk.pieces,
                pieces_in(chunk),
            ],
        )

    def put_setting(self, name: str, value: str) -> None:
        """Write a setting that the source does not have."""
        (last,) = self.connection.execute("SELECT max(id) FROM main.setting").fetchone()
        row = ((last or 0) + 1, name, value)
        self.connection.execute(
            "INSERT INTO main.setting (id, name, value, row_crc32) VALUES (?, ?, ?, ?)",
            [*row, row_crc32(row)],
        )

    @contextmanager
    def source(self, path: Path) -> Iterator[None]:
        """Have a corpus at hand to take rows from, in one state of it."""
        address = f"file:{urllib.parse.quote(os.fsencode(path.absolute()))}?mode=ro"
        with faults_named(path):
            self.connection.execute("ATTACH ? AS source", [address])
            try:
                self.connection.execute("BEGIN")
                yield
                self.connection.execute("COMMIT")
            finally:
                with suppress(sqlite3.Error):
                    if self.connection.in_transaction:
                        self.connection.execute("ROLLBACK")
                    self.connection.execute("DETACH source")


@contextmanager
def new_file(target: Path, *, replace: bool = False) -> Iterator[NewFile]:
    """A new corpus file, which gets its name when all went well.

    Raises
    ------
    CorpusError
        If the place cannot be written, or has a file already.
    """
    try:
        with part_beside(target) as part:
            with faults_named(target), closing(empty(part)) as connection:
                yield NewFile(connection)
                verdict = connection.execute("PRAGMA main.quick_check(1)").fetchone()[0]
            if verdict != "ok":
                raise CorpusError(
                    f"what was made does not pass SQLite's check: {verdict}",
                    where=str(target),
                    hint=REMEDIES["check"],
                )
            put_in_place(part, target, replace)
    except FileExistsError as error:
        raise CorpusError(
            "there is a file already", where=str(target), hint=REMEDIES["replace"]
        ) from error
    except OSError as error:
        raise CorpusError(
            f"the file cannot be made: {error.strerror}",
            where=str(target),
            hint=REMEDIES["other corpus"],
        ) from error


def empty(part: Path) -> sqlite3.Connection:
    """A corpus with all its tables and no rows, not even settings."""
    address = f"file:{urllib.parse.quote(os.fsencode(part.absolute()))}?mode=rw"
    connection = sqlite3.connect(address, uri=True, isolation_level=None)
    try:
        for pragma in ("journal_mode = OFF", "synchronous = OFF", f"cache_size = -{CACHE}"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("BEGIN")
        for statement in create_statements():
            connection.execute(statement)
        index_words(connection)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        if connection.in_transaction:
            connection.execute("COMMIT")
    except BaseException:
        connection.close()
        raise
    return connection
