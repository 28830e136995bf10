"""The tables of a file made: all of an empty corpus, or those of facets anew.

Conventions: inside a transaction that somebody else begins and ends, in one file.

Contents: create_tables, rebuild_facets.
"""

from __future__ import annotations

from melodex.corpus.care.soundness import melody_of
from melodex.corpus.facets import facet_rows, line_rows
from melodex.corpus.rows import facets_crc32
from melodex.corpus.schema import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    TABLES,
    WORDS_INDEX,
    create_statements,
    facet_statements,
    new_settings,
)
from melodex.corpus.writing.rows.row_writer import RowWriter
from melodex.corpus.writing.rows.words import index_words
from melodex.melody import Melody

__all__ = ["create_tables", "rebuild_facets"]


KEPT = {*TABLES, WORDS_INDEX}
"""Tables that are no facets; SQLite takes capital letters for small ones."""


def create_tables(writer: RowWriter) -> None:
    """Make an empty corpus, inside a transaction."""
    for statement in create_statements():
        writer.first.execute(statement)
    index_words(writer.first.connection)
    for name, value in new_settings().items():
        writer.put_setting(name, value)
    writer.first.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    writer.first.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def rebuild_facets(writer: RowWriter) -> None:
    """Make the facets of every tune of one file anew, inside a transaction.

    A tune whose melody is damaged has none until it is repaired: it stops no other.
    """
    create_facet_tables(writer)
    for (row,) in writer.rows("SELECT id FROM tune ORDER BY id"):
        text = writer.rows("SELECT melody FROM tune WHERE id = ?", [row])[0][0]
        melody = melody_of(text)
        if melody is None:
            crc = facets_crc32({})
            writer.do("UPDATE tune SET facet_crc32 = ? WHERE id = ?", [crc, row])
        else:
            put_facets(writer, row, melody)


def create_facet_tables(writer: RowWriter) -> None:
    """Make today's facet tables in place of those that the file has.

    Which those are the file says itself: nothing that it names is dropped which holds what
    cannot be worked out anew.
    """
    for table in writer.setting("facet_tables").split():
        if table.isidentifier() and table.lower() not in KEPT:
            writer.first.execute(f"DROP TABLE IF EXISTS {table}")
    for statement in facet_statements():
        writer.first.execute(statement)
    writer.put_setting("facet_tables", new_settings()["facet_tables"])
    writer.put_setting("facet_version", new_settings()["facet_version"])


def put_facets(writer: RowWriter, row: int, melody: Melody) -> None:
    """Write the facets of one tune, whose old ones are gone, and their checksum."""
    mains = "SELECT 1 FROM place JOIN tune ON tune.id = place.tune WHERE tune.id = ? "
    mains += "AND (place.line_count = 1 OR place.piece = tune.tune_id) LIMIT 1"
    tables = facet_rows(melody) if writer.rows(mains, [row]) else line_rows(melody)
    for table, found in tables.items():
        writer.insert_facets(table, row, found)
    writer.do("UPDATE tune SET facet_crc32 = ? WHERE id = ?", [facets_crc32(tables), row])
