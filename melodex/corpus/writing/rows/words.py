"""The full-text index over titles, makers and lyrics.

Conventions: sqlite-utils makes the index and the triggers that keep it in step with the
table ``tune_words``. It counts runs of three letters (FTS5's tokenizer ``trigram``,
https://www.sqlite.org/fts5.html, 4.3.4), so that a part of a word is found, and a name
that is nearly right.

Contents: index_words, fill_words, index_holds.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from typing import Any

from sqlite_utils import Database

from melodex.corpus.care.soundness import melody_of
from melodex.corpus.rows import folded, words_of
from melodex.corpus.schema import TABLES, WORDS_INDEX

__all__ = ["fill_words", "index_holds", "index_words"]


def index_words(connection: sqlite3.Connection) -> None:
    """Make the index over ``tune_words`` and what keeps it in step, in a transaction."""
    Database(connection)["tune_words"].enable_fts(  # type: ignore[union-attr]
        ["title", "makers", "lyrics"], tokenize="trigram", create_triggers=True
    )


def fill_words(connection: sqlite3.Connection) -> None:
    """Write the words of every tune anew; a tune that cannot be read has its title."""
    connection.execute("DELETE FROM tune_words")
    rows = connection.execute("SELECT id, title, melody FROM tune ORDER BY id").fetchall()
    for row, title, text in rows:
        melody = melody_of(text)
        if melody is None:
            words = {"title": folded(title), "makers": "", "lyrics": ""}
        else:
            words = words_of(melody)
        connection.execute(
            "INSERT INTO tune_words (tune, title, makers, lyrics) VALUES (?, ?, ?, ?)",
            [row, *words.values()],
        )


def index_holds(connection: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> bool:
    """Whether the index says just what an index made anew of some rows says.

    Parameters
    ----------
    connection : sqlite3.Connection
        A corpus opened for reading.
    rows : iterable of tuple
        Tune, title, makers and lyrics, as the table has them.
    """
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        fresh.execute(TABLES["tune_words"])
        index_words(fresh)
        try:
            fresh.execute("BEGIN")
            fresh.executemany("INSERT INTO tune_words VALUES (?, ?, ?, ?)", rows)
            return said(connection) == said(fresh)
        except sqlite3.Error:
            return False


def said(connection: sqlite3.Connection) -> str:
    """A digest of every term of the index, with each place where it stands."""
    digest = hashlib.sha256()
    (guarded,) = connection.execute("PRAGMA query_only").fetchone()
    # The view of the terms is a temporary table; the corpus itself is opened to be read.
    connection.execute("PRAGMA query_only = OFF")
    try:
        connection.execute(
            f"CREATE VIRTUAL TABLE temp.word_terms USING fts5vocab(main, {WORDS_INDEX}, "
            "instance)"
        )
        for row in connection.execute("SELECT term, doc, col, offset FROM word_terms"):
            digest.update(repr(row).encode())
        connection.execute("DROP TABLE temp.word_terms")
        for row in connection.execute(
            f"SELECT id, sz FROM {WORDS_INDEX}_docsize ORDER BY id"
        ):
            digest.update(repr(row).encode())
    finally:
        connection.execute(f"PRAGMA query_only = {guarded}")
    return digest.hexdigest()
