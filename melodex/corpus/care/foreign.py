"""What a corpus defines that melodex did not: it may hide tunes, or take them away.

A file that comes from elsewhere is opened as it is, and SQLite does what it says: in the
place of a table may stand a view that never ends, or a column that is worked out anew
wherever it is read; a trigger may delete rows of one table whenever another is written.

Conventions: tables of ours are plain ones. Views under other names than theirs are read by
nobody here and are left alone, and so are tables. What a trigger may do is compared with
what sqlite-utils makes, without quotation marks and white space, of which it has changed
the use.

References
----------
SQLite, "Defense Against The Dark Arts", https://www.sqlite.org/security.html, 1.

Contents: FACET_NAMES, refuse_in_place_of_tables, refuse_triggers, foreign_triggers.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from pathlib import Path

from melodex.errors import REMEDIES, DamagedCorpusError

__all__ = [
    "FACET_NAMES",
    "foreign_triggers",
    "refuse_in_place_of_tables",
    "refuse_triggers",
]

FACET_NAMES = (
    "tune_facet",
    "key_span",
    "modal_passage",
    "section",
    "chord",
    "note_on_chord",
    "device",
    "returning_figure",
)
"""Names of the tables of facets, whose own room loads the analysis."""

INDEXED = "title, makers, lyrics"
NEW, OLD = (", ".join(f"{at}.{n}" for n in INDEXED.split(", ")) for at in ("new", "old"))
PUT = f"INSERT INTO tune_words_fts (rowid, {INDEXED}) VALUES (new.rowid, {NEW});"
TAKE = (
    f"INSERT INTO tune_words_fts (tune_words_fts, rowid, {INDEXED}) "
    f"VALUES ('delete', old.rowid, {OLD});"
)
TRIGGERS = {
    "tune_words_ai": f"AFTER INSERT ON tune_words BEGIN {PUT} END",
    "tune_words_ad": f"AFTER DELETE ON tune_words BEGIN {TAKE} END",
    "tune_words_au": f"AFTER UPDATE ON tune_words BEGIN {TAKE} {PUT} END",
}
"""What keeps the index of words in step with its table, by the names of the triggers."""

BETWEEN = dict.fromkeys(map(ord, " \n\r\t\"'`[]"))
"""Quotation marks and white space, to be taken out of a statement."""

WORKED_OUT = (2, 3)
"""What SQLite gives as ``hidden`` of a column that is worked out, kept or not
(https://www.sqlite.org/pragma.html#pragma_table_xinfo)."""


def refuse_in_place_of_tables(
    connection: sqlite3.Connection, path: Path, names: Collection[str]
) -> None:
    """Refuse a corpus in which something else stands where a table belongs.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the corpus.
    path : Path
        Where it is, for what is said.
    names : collection of str
        Of the tables.

    Raises
    ------
    DamagedCorpusError
        If one of them is a view or a virtual table, or works a column out.
    """
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'view' "
        "OR type = 'table' AND sql LIKE 'CREATE VIRTUAL%' "
        "UNION ALL SELECT each.name FROM sqlite_master AS each, "
        "pragma_table_xinfo(each.name) AS held WHERE each.type = 'table' "
        f"AND each.sql NOT LIKE 'CREATE VIRTUAL%' AND held.hidden IN {WORKED_OUT}"
    ).fetchall()
    known = {name.lower() for name in names}
    for (name,) in rows:
        if str(name).lower() in known:
            raise DamagedCorpusError(
                f"what it holds as {name} is no table of melodex's",
                where=str(path),
                hint=REMEDIES["other corpus"],
            )


def foreign_triggers(connection: sqlite3.Connection) -> list[str]:
    """Names of the triggers that melodex did not make."""
    rows = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    ).fetchall()
    return [str(name) for name, sql in rows if not is_ours(str(name), str(sql))]


def is_ours(name: str, sql: str) -> bool:
    """Whether a trigger does what the one of that name is to do."""
    wanted = f"CREATE TRIGGER {name} {TRIGGERS.get(name, '')}"
    return name in TRIGGERS and plain(sql) == plain(wanted)


def plain(sql: str) -> str:
    """A statement without quotation marks and white space, in small letters."""
    return sql.translate(BETWEEN).lower()


def refuse_triggers(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse to change a corpus that would change more by itself.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the corpus.
    path : Path
        Where it is, for what is said.

    Raises
    ------
    DamagedCorpusError
        If it has a trigger that melodex did not make.
    """
    if names := foreign_triggers(connection):
        raise DamagedCorpusError(
            f"the corpus has a trigger {names[0]!r} that melodex did not make: whatever is "
            "written may change something else too",
            where=str(path),
            hint=REMEDIES["repair"],
        )
