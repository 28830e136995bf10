"""Reading what can be read from a damaged corpus.

Conventions: a table is read in one sweep while that works; where SQLite stops at a
damaged page, the rest is looked up row by row, so that only what stands on that
page is lost.

Contents: every_row, titles.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from melodex.corpus.connection import reading

__all__ = ["every_row", "titles"]

MOST_LOOKED_UP = 2_000_000
"""Rows looked up one by one; a larger number is damage itself."""


def every_row(
    connection: sqlite3.Connection, table: str, columns: str, lost: list[str]
) -> Iterator[sqlite3.Row]:
    """Yield each row of a table that can be read, in order of row number.

    Parameters
    ----------
    connection : sqlite3.Connection
        The damaged corpus.
    table, columns : str
        What to read.
    lost : list of str
        Grows by a message where rows cannot be read.
    """
    last = 0
    try:
        for row in swept(connection, table, columns):
            last = row["row_number"]
            yield row
    except sqlite3.DatabaseError as error:
        lost.append(f"part of the table {table} cannot be read: {error}")
        yield from looked_up(connection, table, columns, last)


def swept(
    connection: sqlite3.Connection, table: str, columns: str
) -> Iterator[sqlite3.Row]:
    """Rows in one sweep, with their numbers."""
    cursor = connection.cursor()
    cursor.row_factory = sqlite3.Row
    # Sorting by row number keeps SQLite from reading an index instead of the table.
    yield from cursor.execute(
        f"SELECT {columns}, rowid AS row_number FROM {table} NOT INDEXED ORDER BY rowid"
    )


def looked_up(
    connection: sqlite3.Connection, table: str, columns: str, after: int
) -> Iterator[sqlite3.Row]:
    """Rows one by one, from a row number on, leaving out those that fail."""
    cursor = connection.cursor()
    cursor.row_factory = sqlite3.Row
    for number in range(after + 1, last_number(connection, table, after) + 1):
        try:
            row = cursor.execute(
                f"SELECT {columns}, rowid AS row_number FROM {table} WHERE rowid = ?",
                [number],
            ).fetchone()
        except sqlite3.DatabaseError:
            continue
        if row is not None and row["row_number"] == number:
            yield row


def last_number(connection: sqlite3.Connection, table: str, after: int) -> int:
    """The highest row number as far as SQLite can still tell."""
    try:
        highest = connection.execute(f"SELECT max(rowid) FROM {table}").fetchone()[0] or 0
    except sqlite3.DatabaseError:
        highest = after + MOST_LOOKED_UP // 100
    return min(int(highest), after + MOST_LOOKED_UP)


def titles(path: Path, tune_ids: Iterable[str]) -> dict[str, str]:
    """Return the titles of some tunes, as far as a damaged corpus still tells them."""
    found: dict[str, str] = {}
    with reading(path) as connection:
        connection.text_factory = lambda data: data.decode("utf-8", "replace")
        for tune_id in tune_ids:
            with suppress(sqlite3.DatabaseError):
                row = connection.execute(
                    "SELECT title FROM tune WHERE tune_id = ?", [tune_id]
                ).fetchone()
                if row is not None:
                    found[tune_id] = str(row[0])
    return found
