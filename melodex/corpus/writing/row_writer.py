"""Writing rows, inside a transaction that somebody else begins and ends.

Conventions: sqlite-utils has its home here and in ``store``; it carries the
statements, and rows are made by :mod:`melodex.corpus.writing.preparing`. A row is written
with its checksum. What nothing refers to any more is taken out. A tune that another
displaces may come again further on in its file, and every tune has a place: until the
file's last part is in, its old place stands aside, under the negative of its row
number and occurrence, so that one who is stopped in between can go on.

Contents: RowWriter.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Sequence
from typing import Any

from sqlite_utils import Database

from melodex.corpus.facets import facet_rows, line_rows
from melodex.corpus.rows import facets_crc32, folded, row_crc32, storable
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.tune_rows import FIRST_PLACE
from melodex.corpus.writing.packing import ChunkTable
from melodex.corpus.writing.preparing import PreparedFile, PreparedTune, Row
from melodex.corpus.writing.taken_out import TakenOut
from melodex.melody import Melody

__all__ = ["RowWriter"]


class RowWriter:
    """The tables of one corpus, as a writer sees them."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.database = Database(connection)
        self.chunks = ChunkTable(connection)
        self.taken = TakenOut(self)
        self.lined: set[int] = set()
        """Tunes whose place among the lines of a piece may have changed."""

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement that reads."""
        return list(self.database.execute(sql, values).fetchall())

    def setting(self, name: str) -> str:
        """The value of a setting; empty where there is none."""
        rows = self.rows("SELECT value FROM setting WHERE name = ?", [name])
        return rows[0][0] if rows else ""

    def put_setting(self, name: str, value: str) -> None:
        """Write a setting, inside a transaction."""
        self.database.execute("DELETE FROM setting WHERE name = ?", [name])
        self.insert("setting", {"name": name, "value": value})

    def collection_row(self, name: str) -> int:
        """Row number of a collection, made where there is none."""
        rows = self.rows("SELECT id FROM collection WHERE name = ?", [name])
        if rows:
            return int(rows[0][0])
        return self.insert("collection", {"name": name})

    def put_tune(self, tune: PreparedTune) -> int:
        """Write a tune, its facets and its notes; return its row number."""
        row = self.insert("tune", tune.tune)
        for table, facets in tune.facets.items():
            self.insert_facets(table, row, facets)
        self.insert("tune_words", {"tune": row, **tune.words})
        if tune.notes.pitch:
            # A sheet of chords alone has nothing to be searched for notes.
            self.chunks.add(tune.notes)
        return row

    def put_place(
        self,
        file: PreparedFile,
        tune: PreparedTune,
        place: int | None,
        tune_row: int,
        collection: int,
    ) -> None:
        """Write where a tune stands and what was odd there, if that is news."""
        values: Row = {
            "tune": tune_row,
            "file": file.file,
            "source": storable(file.source),
            "number": tune.number,
            "occurrence": tune.occurrence,
            "collection": collection,
            "kept_source": self.kept_row(tune),
            "part": storable(file.choice.part),
            "voice": storable(file.choice.voice),
            "chord_note": storable(file.choice.chord_note),
            "lines": storable(file.choice.lines),
            **tune.line_columns(),
        }
        if place is not None:
            if self.place_stands(place, values):
                return
            values["id"] = place
        if values["line_count"] > 1:
            self.lined.add(tune_row)
        number = self.insert("place", values)
        for warning in tune.warnings:
            self.insert(
                "read_warning",
                {
                    "place": number,
                    "line": warning.line,
                    "column_number": warning.column,
                    "text": storable(warning.text),
                },
            )

    def place_stands(self, place: int, values: Row) -> bool:
        """Whether a place is already as it should be; else it makes room."""
        names = [name for name in CHECKED_COLUMNS["place"] if name != "id"]
        found = self.rows(f"SELECT {', '.join(names)} FROM place WHERE id = ?", [place])
        if not found:
            return False
        old = found[0]
        if old == tuple(values[name] for name in names):
            return True
        if old[names.index("line_count")] > 1:
            self.lined.add(old[names.index("tune")])
        if old[names.index("tune")] != values["tune"]:
            self.taken.take_place(place)
        self.database.execute("DELETE FROM place WHERE id = ?", [place])
        kept = old[names.index("kept_source")]
        if kept != values["kept_source"]:
            self.drop_kept(kept)
        return False

    def kept_row(self, tune: PreparedTune) -> int | None:
        """Row number of the kept source of a tune, written where it is new."""
        if not tune.kept:
            return None
        digest = hashlib.sha256(tune.kept).hexdigest()
        rows = self.rows("SELECT id FROM kept_source WHERE sha256 = ?", [digest])
        if rows:
            return int(rows[0][0])
        return self.insert(
            "kept_source",
            {
                "sha256": digest,
                "kept_format": tune.kept_format,
                "byte_count": len(tune.kept),
                "bytes": zlib.compress(tune.kept),
            },
        )

    def insert(self, table: str, row: Row) -> int:
        """Write a row with its checksum; return its row number."""
        checked = CHECKED_COLUMNS.get(table)
        if checked:
            if "id" not in row:
                last = self.rows(f"SELECT coalesce(max(id), 0) FROM {table}")[0][0]
                # Places that stand aside have negative numbers.
                row = {"id": max(last, 0) + 1, **row}
            row = {**row, "row_crc32": row_crc32(row[name] for name in checked)}
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        cursor = self.connection.execute(
            f"INSERT INTO {table} ({names}) VALUES ({marks})", row
        )
        return int(cursor.lastrowid or 0)

    def insert_facets(self, table: str, tune_row: int, facets: Sequence[Row]) -> None:
        """Write the rows of one tune in a facet table; the tune has their checksum."""
        if not facets:
            return
        names = tuple(facets[0])
        marks = ", ".join("?" * (len(names) + 1))
        self.connection.executemany(
            f"INSERT INTO {table} (tune, {', '.join(names)}) VALUES ({marks})",
            [(tune_row, *map(facet.__getitem__, names)) for facet in facets],
        )

    def set_aside(self, place: int, tune_row: int) -> None:
        """Keep the last place of a tune that is about to be displaced from it."""
        if self.rows(
            "SELECT 1 FROM place WHERE tune = ? AND id <> ? LIMIT 1", [tune_row, place]
        ):
            return
        # What an earlier run set aside here has to make room.
        self.drop_set_aside("id = ?", -place)
        names = CHECKED_COLUMNS["place"]
        row = self.rows(f"SELECT {', '.join(names)} FROM place WHERE id = ?", [place])[0]
        values = dict(zip(names, row, strict=True))
        values["id"], values["occurrence"] = -place, -values["occurrence"]
        self.insert("place", values)

    def drop_set_aside(self, clause: str, value: Any) -> None:
        """Take out places that stand aside, and the tunes that have no other place.

        Their tags and remarks go to what displaced them.
        """
        for place, tune, kept, line_count in self.rows(
            "SELECT id, tune, kept_source, line_count FROM place "
            f"WHERE id < 0 AND {clause} ORDER BY id DESC",
            [value],
        ):
            if line_count > 1:
                self.lined.add(tune)
            self.database.execute("DELETE FROM place WHERE id = ?", [place])
            self.drop_kept(kept)
            if self.rows("SELECT 1 FROM place WHERE tune = ? LIMIT 1", [tune]):
                continue
            for (new,) in self.rows("SELECT tune FROM place WHERE id = ?", [-place]):
                for (name,) in self.rows("SELECT name FROM tag WHERE tune = ?", [tune]):
                    self.put_tag(new, name)
                for remark in self.remarks_on(tune):
                    self.put_remark(new, remark)
            self.drop_tune(tune)

    def drop_tune(self, row: int) -> None:
        """Take out one tune with its facets, places, tags and notes."""
        tune_id = self.rows("SELECT tune_id FROM tune WHERE id = ?", [row])[0][0]
        kept = self.rows("SELECT DISTINCT kept_source FROM place WHERE tune = ?", [row])
        self.taken.take_tune(row)
        self.database.execute("DELETE FROM tune WHERE id = ?", [row])
        for (source,) in kept:
            self.drop_kept(source)
        self.chunks.drop(tune_id)

    def drop_kept(self, row: int | None) -> None:
        """Take out a kept source that no place refers to any more."""
        if row is None or self.rows(
            "SELECT 1 FROM place WHERE kept_source = ? LIMIT 1", [row]
        ):
            return
        self.taken.take_source(row)
        self.database.execute("DELETE FROM kept_source WHERE id = ?", [row])

    def flush_notes(self) -> None:
        """Write the notes for matching, lines of a piece together."""
        if self.lined:
            self.group_lines()
        self.chunks.flush()

    def group_lines(self) -> None:
        """Put every tune that is a line of a piece with the other lines of it."""
        rows = self.rows(
            "WITH lined AS (SELECT value AS id FROM json_each(?)), touched AS "
            f"(SELECT first.piece AS piece FROM lined JOIN tune ON tune.id = lined.id "
            f"JOIN place AS first ON first.id = {FIRST_PLACE}) "
            "SELECT DISTINCT tune.tune_id, first.piece FROM place "
            "JOIN tune ON tune.id = place.tune "
            f"JOIN place AS first ON first.id = {FIRST_PLACE} "
            "WHERE place.piece IN (SELECT piece FROM touched) "
            "AND first.piece = place.piece",
            [json.dumps(sorted(self.lined))],
        )
        pieces: dict[str, list[str]] = {}
        for tune_id, piece in rows:
            pieces.setdefault(piece, []).append(tune_id)
        for piece, tune_ids in pieces.items():
            shared = f"lines of {piece}" if len(tune_ids) > 1 else ""
            for tune_id in tune_ids:
                self.chunks.group(tune_id, shared)
        self.lined.clear()

    def put_tag(self, tune_row: int, name: str) -> bool:
        """Put a word on a tune, inside a transaction; say whether it is news."""
        if self.rows("SELECT 1 FROM tag WHERE tune = ? AND name = ?", [tune_row, name]):
            return False
        self.insert("tag", {"tune": tune_row, "name": name})
        return True

    def put_remark(self, tune_row: int, remark: Row) -> int:
        """Write what the musician said of a tune, inside a transaction; its number."""
        names = ("kind", "first_bar", "last_bar", "text", "made_at")
        row = {"tune": tune_row, **{name: remark[name] for name in names}}
        return self.insert("remark", {**row, "text_folded": folded(row["text"])})

    def remarks_on(self, tune_row: int) -> list[Row]:
        """What the musician said of a tune, as :meth:`put_remark` takes it."""
        rows = self.rows(
            "SELECT kind, first_bar, last_bar, text, made_at FROM remark "
            "WHERE tune = ? ORDER BY id",
            [tune_row],
        )
        names = ("kind", "first_bar", "last_bar", "text", "made_at")
        return [dict(zip(names, row, strict=True)) for row in rows]

    def put_facets(self, row: int, melody: Melody) -> None:
        """Write the facets of one tune, whose old ones are gone, and their checksum."""
        mains = "SELECT 1 FROM place JOIN tune ON tune.id = place.tune WHERE tune.id = ? "
        mains += "AND (place.line_count = 1 OR place.piece = tune.tune_id) LIMIT 1"
        tables = facet_rows(melody) if self.rows(mains, [row]) else line_rows(melody)
        for table, found in tables.items():
            self.insert_facets(table, row, found)
        self.database.execute(
            "UPDATE tune SET facet_crc32 = ? WHERE id = ?", [facets_crc32(tables), row]
        )
