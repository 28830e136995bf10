"""Bringing a corpus of an older schema up to date, with a backup made first.

Conventions: ``STEPS[n]`` turns schema n into schema n + 1, inside a transaction
that all steps share; a corpus killed midway is as it was before. A step is
written once and never changed.

Contents: STEPS, upgrade, backup_path.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from melodex.corpus import schema
from melodex.corpus.care.foreign import refuse_triggers
from melodex.corpus.faults import faults_named

__all__ = ["STEPS", "backup_path", "upgrade"]


def keep_what_is_taken_out(connection: sqlite3.Connection) -> None:
    """From schema 1 to 2: what changes take out is kept, and words can be searched."""
    from melodex.corpus.writing.rows.words import fill_words, index_words

    for table in ("folder", "change", "taken_out", "tune_words"):
        connection.execute(schema.TABLES[table].strip())
    for index in schema.INDEXES:
        if " ON taken_out(" in index:
            connection.execute(index)
    index_words(connection)
    fill_words(connection)


def keep_remarks(connection: sqlite3.Connection) -> None:
    """From schema 2 to 3: notes, sources and citations can be written on a tune."""
    connection.execute(schema.TABLES["remark"].strip())
    for index in schema.INDEXES:
        if " ON remark(" in index:
            connection.execute(index)


def keep_lines(connection: sqlite3.Connection) -> None:
    """From schema 3 to 4: a place says which line of its piece stands there.

    Every tune was the only line of its piece; folders and places were read for that.
    """
    connection.execute("DROP VIEW IF EXISTS tune_overview")
    # Whatever refers to these tables goes on to do so by name.
    connection.execute("PRAGMA legacy_alter_table = ON")
    tables = {
        "place": "SELECT place.*, 'top' AS lines, coalesce(tune.tune_id, ''), 1, 1, "
        "coalesce(tune.part, ''), '', '', '', 0, 0, '' FROM place_before AS place "
        "LEFT JOIN tune ON tune.id = place.tune ORDER BY place.id",
        "folder": "SELECT *, 'top' FROM folder_before ORDER BY id",
        "chunk": "SELECT *, tune_count, x'' FROM chunk_before ORDER BY id",
    }
    if has_column(connection, "folder", "lines"):
        # The first step has just made it.
        del tables["folder"]
    for table, rows in tables.items():
        connection.execute(f"ALTER TABLE {table} RENAME TO {table}_before")
        connection.execute(schema.TABLES[table].strip())
        copy_rows(connection, table, rows)
        connection.execute(f"DROP TABLE {table}_before")
    for index in schema.INDEXES:
        if " ON place(" in index:
            connection.execute(index)
    connection.execute(schema.VIEWS["tune_overview"].strip())


def lengthen(connection: sqlite3.Connection) -> None:
    """From schema 4 to 5: ids of tunes have 64 bits, wherever they stand."""
    from melodex.corpus.care.longer_ids import lengthen_ids

    lengthen_ids(connection)
    # What is stored stays as it is, only the comments say more: for such a change SQLite
    # takes the statement alone (https://www.sqlite.org/lang_altertable.html, 7).
    connection.execute("PRAGMA writable_schema = ON")
    for table in ("tune", "chunk", "taken_out"):
        connection.execute(
            "UPDATE sqlite_master SET sql = ? WHERE type = 'table' AND name = ?",
            [schema.TABLES[table].strip(), table],
        )
    connection.execute("PRAGMA writable_schema = OFF")
    # Views come last, for with them everybody reads all definitions anew.
    for name, view in schema.VIEWS.items():
        connection.execute(f"DROP VIEW IF EXISTS {name}")
        connection.execute(view.strip())


def has_column(connection: sqlite3.Connection, table: str, column: str) -> bool:
    """Whether a table has a column."""
    return any(
        row[1] == column for row in connection.execute(f"PRAGMA table_info({table})")
    )


def copy_rows(connection: sqlite3.Connection, table: str, rows: str) -> None:
    """Fill a table anew from one of an earlier schema, each row with its checksum."""
    from melodex.corpus.rows import row_crc32

    checked = schema.CHECKED_COLUMNS.get(table)
    cursor = connection.execute(rows)
    names = [column[0] for column in cursor.description]
    if checked is None:
        connection.executemany(
            f"INSERT INTO {table} VALUES ({', '.join('?' * len(names))})", cursor
        )
        return
    old_crc = names.index("row_crc32")
    columns = ", ".join((*checked, "row_crc32"))
    marks = ", ".join("?" * (len(checked) + 1))
    before = names[:old_crc]
    for row in cursor:
        # A row that was damaged before stays one.
        sound = row_crc32(row[:old_crc]) == row[old_crc]
        values = (*row[:old_crc], *row[old_crc + 1 :])
        crc = row_crc32(values) if sound else row[old_crc]
        connection.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})", (*values, crc)
        )
    assert tuple(before) == checked[: len(before)]


STEPS: dict[int, Callable[[sqlite3.Connection], None]] = {
    1: keep_what_is_taken_out,
    2: keep_remarks,
    3: keep_lines,
    4: lengthen,
}
"""Schema 1 is the first; each later one adds the step that leads to it."""

WAIT_SECONDS = 30.0
"""How long another process may hold the corpus; a migration waits longer than a reader."""
MOST_BACKUPS = 100
"""Numbers that are tried for the name of a backup."""
BLOCK = 1 << 20
"""Bytes that are compared at a time."""


def upgrade(path: Path) -> Path | None:
    """Bring a corpus up to the schema of this version.

    Returns
    -------
    Path or None
        The backup of the corpus as it was, or None where nothing was to be done.

    Raises
    ------
    CorpusError
        If the file or a backup beside it cannot be written.
    BusyCorpusError
        If another process holds the corpus for too long.
    """
    with faults_named(path):
        connection = sqlite3.connect(
            path.absolute(), timeout=WAIT_SECONDS, isolation_level=None
        )
        try:
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE")
            # Another process may have done it while we waited.
            version = schema.state_of(connection, path)
            refuse_triggers(connection, path)
            if not 0 < version < schema.SCHEMA_VERSION:
                connection.execute("ROLLBACK")
                return None
            backup = backup_of(path, version)
            try:
                for step in range(version, schema.SCHEMA_VERSION):
                    STEPS[step](connection)
                connection.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")
            except KeyboardInterrupt:
                # The corpus is as it was: nobody needs the backup, or one for each try.
                connection.execute("ROLLBACK")
                backup.unlink()
                raise
            connection.execute("COMMIT")
        finally:
            # Closing with an open transaction rolls it back.
            connection.close()
    return backup


def backup_of(path: Path, version: int) -> Path:
    """A backup beside the corpus: one that an earlier try has left, or a new one."""
    from melodex.corpus.care.copying import copy_corpus

    backup = backup_path(path, version)
    copy_corpus(path, backup, kept_beside=True)
    for number in range(1, MOST_BACKUPS):
        earlier = named_backup(path, version, number)
        if earlier == backup or not earlier.exists():
            break
        if same_content(earlier, backup):
            backup.unlink()
            return earlier
    return backup


def same_content(one: Path, other: Path) -> bool:
    """Whether two copies hold the same pages, whatever changes SQLite has counted.

    The counters stand at offsets 24 and 92 of the header
    (https://www.sqlite.org/fileformat2.html, 1.3.8 and 1.3.19).
    """
    if one.stat().st_size != other.stat().st_size:
        return False
    with one.open("rb") as first, other.open("rb") as second:
        heads = [bytearray(file.read(100)) for file in (first, second)]
        for head in heads:
            head[24:28] = head[92:96] = bytes(4)
        if heads[0] != heads[1]:
            return False
        while block := first.read(BLOCK):
            if block != second.read(BLOCK):
                return False
    return True


def named_backup(path: Path, version: int, number: int) -> Path:
    """The name of a backup: the first, or one of more."""
    more = f".{number}" if number > 1 else ""
    return path.parent / f"{path.name}.schema-{version}{more}"


def backup_path(path: Path, version: int) -> Path:
    """Where the backup goes: beside the corpus, over nothing that is there."""
    number = 1
    while named_backup(path, version, number).exists():
        number += 1
    return named_backup(path, version, number)
