"""Writing rows, inside a transaction that somebody else begins and ends.

Conventions: sqlite-utils carries the statements (``holding.parts``), and rows are made
by :mod:`melodex.corpus.writing.preparing`. A row is written with its checksum. What nothing
refers to any more is taken out.

Contents: RowWriter, is_used.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from typing import Any

from melodex.corpus.rows import folded, row_crc32, storable
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.shards.routing import shard_of_id
from melodex.corpus.writing.holding.parts import OpenPart
from melodex.corpus.writing.preparing import PreparedFile, PreparedTune, Row
from melodex.corpus.writing.taken_out import TakenOut

__all__ = ["RowWriter", "is_used"]


OF_TUNES = {"place", "tag", "remark", "tune_words"}
"""Tables whose rows stand where the tune stands that their column ``tune`` names."""


class RowWriter:
    """The tables of one corpus, as a writer sees them.

    Parameters
    ----------
    parts : sequence of OpenPart
        The files that make it up, most often one. What belongs to a tune stands in one
        of them, what belongs to none in the first; a row number is that of no row of
        another file.
    """

    def __init__(self, parts: Sequence[OpenPart]) -> None:
        self.parts = parts
        self.first = parts[0]
        self.taken = TakenOut(self)
        self.lined: set[int] = set()
        """Tunes whose place among the lines of a piece may have changed."""
        self.stands: dict[int, OpenPart] = {}
        """Where tunes stand, by row number, as far as it was asked in a transaction."""
        self.leads: dict[str, str] = {}
        """The lowest id of the lines of its piece, of tunes that are being added."""

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement that reads, file by file."""
        if len(self.parts) == 1:
            return self.first.rows(sql, values)
        return [row for part in self.parts for row in part.rows(sql, values)]

    def do(self, sql: str, values: Any = ()) -> int:
        """Change or delete rows in whatever file they stand; return how many."""
        return sum(part.execute(sql, values).rowcount for part in self.parts)

    def forget(self) -> None:
        """What was collected for a transaction has come to nothing."""
        for part in self.parts:
            part.chunks.forget()
        self.lined.clear()
        self.stands.clear()
        self.leads.clear()
        self.taken.forget()

    def part_of(self, tune_row: int) -> OpenPart:
        """The file that a tune stands in."""
        if len(self.parts) == 1:
            return self.first
        if tune_row not in self.stands:
            for part in self.parts:
                if part.rows("SELECT 1 FROM tune WHERE id = ?", [tune_row]):
                    self.stands[tune_row] = part
                    break
        return self.stands[tune_row]

    def part_for(self, tune_id: str) -> OpenPart:
        """The file that a new tune goes to."""
        if len(self.parts) == 1:
            return self.first
        lead = self.leads.get(tune_id, tune_id)
        return self.parts[shard_of_id(lead, len(self.parts)) - 1]

    def setting(self, name: str) -> str:
        """The value of a setting; empty where there is none."""
        rows = self.first.rows("SELECT value FROM setting WHERE name = ?", [name])
        return rows[0][0] if rows else ""

    def put_setting(self, name: str, value: str, part: OpenPart | None = None) -> None:
        """Write a setting, inside a transaction; of one file alone where that is named."""
        part = part or self.first
        part.execute("DELETE FROM setting WHERE name = ?", [name])
        (last,) = part.rows("SELECT coalesce(max(id), 0) FROM setting")[0]
        self.insert("setting", {"id": last + 1, "name": name, "value": value}, part)

    def collection_row(self, name: str) -> int:
        """Row number of a collection, made where there is none."""
        rows = self.rows("SELECT id FROM collection WHERE name = ?", [name])
        if rows:
            return int(rows[0][0])
        return self.insert("collection", {"name": name})

    def bring(self, table: str, row: int, part: OpenPart) -> None:
        """Have a row in a file too that may stand in several."""
        if part.rows(f"SELECT 1 FROM {table} WHERE id = ?", [row]):
            return
        for other in self.parts:
            if other is not part and self.copied(table, "id", row, other, part):
                return

    def copied(
        self, table: str, column: str, row: int, source: OpenPart, part: OpenPart
    ) -> int:
        """Copy the rows of a table whose column has a value; return how many."""
        names = [
            name for (name,) in part.rows(f"SELECT name FROM pragma_table_info('{table}')")
        ]
        columns, marks = ", ".join(names), ", ".join("?" * len(names))
        rows = source.rows(f"SELECT {columns} FROM {table} WHERE {column} = ?", [row])
        part.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)
        return len(rows)

    def put_tune(self, tune: PreparedTune) -> int:
        """Write a tune, its facets and its notes; return its row number."""
        part = self.part_for(tune.tune_id)
        row = self.insert("tune", tune.tune, part)
        self.stands[row] = part
        for table, facets in tune.facets.items():
            self.insert_facets(table, row, facets)
        self.insert("tune_words", {"tune": row, **tune.words})
        if tune.notes.pitch:
            # A sheet of chords alone has nothing to be searched for notes.
            part.chunks.add(tune.notes)
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
        part = self.part_of(tune_row)
        self.bring("collection", collection, part)
        values: Row = {
            "tune": tune_row,
            "file": file.file,
            "source": storable(file.source),
            "number": tune.number,
            "occurrence": tune.occurrence,
            "collection": collection,
            "kept_source": self.kept_row(tune, part),
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
        number = self.insert("place", values, part)
        for warning in tune.warnings:
            self.insert(
                "read_warning",
                {
                    "place": number,
                    "line": warning.line,
                    "column_number": warning.column,
                    "text": storable(warning.text),
                },
                part,
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
        self.do("DELETE FROM place WHERE id = ?", [place])
        kept = old[names.index("kept_source")]
        if kept != values["kept_source"]:
            self.drop_kept(kept)
        return False

    def kept_row(self, tune: PreparedTune, part: OpenPart) -> int | None:
        """Row number of the kept source of a tune, written where it is new."""
        if not tune.kept:
            return None
        digest = hashlib.sha256(tune.kept).hexdigest()
        rows = self.rows("SELECT id FROM kept_source WHERE sha256 = ?", [digest])
        if rows:
            self.bring("kept_source", rows[0][0], part)
            return int(rows[0][0])
        return self.insert(
            "kept_source",
            {
                "sha256": digest,
                "kept_format": tune.kept_format,
                "byte_count": len(tune.kept),
                "bytes": zlib.compress(tune.kept),
            },
            part,
        )

    def insert(self, table: str, row: Row, part: OpenPart | None = None) -> int:
        """Write a row with its checksum, in the file that it belongs in; its number."""
        checked = CHECKED_COLUMNS.get(table)
        is_counted = checked or (table == "tune" and len(self.parts) > 1)
        if is_counted and "id" not in row:
            lasts = self.rows(f"SELECT coalesce(max(id), 0) FROM {table}")
            # Places that stand aside have negative numbers.
            row = {"id": max(0, *(last for (last,) in lasts)) + 1, **row}
        if checked:
            row = {**row, "row_crc32": row_crc32(row[name] for name in checked)}
        if part is None:
            part = self.part_of(row["tune"]) if table in OF_TUNES else self.first
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        cursor = part.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", row)
        return int(cursor.lastrowid or 0)

    def insert_facets(self, table: str, tune_row: int, facets: Sequence[Row]) -> None:
        """Write the rows of one tune in a facet table; the tune has their checksum."""
        if not facets:
            return
        names = tuple(facets[0])
        marks = ", ".join("?" * (len(names) + 1))
        self.part_of(tune_row).executemany(
            f"INSERT INTO {table} (tune, {', '.join(names)}) VALUES ({marks})",
            [(tune_row, *map(facet.__getitem__, names)) for facet in facets],
        )

    def drop_tune(self, row: int) -> None:
        """Take out one tune with its facets, places, tags and notes."""
        tune_id = self.rows("SELECT tune_id FROM tune WHERE id = ?", [row])[0][0]
        kept = self.rows("SELECT DISTINCT kept_source FROM place WHERE tune = ?", [row])
        part = self.part_of(row)
        self.taken.take_tune(row)
        part.execute("DELETE FROM tune WHERE id = ?", [row])
        self.stands.pop(row, None)
        for (source,) in kept:
            self.drop_kept(source)
        part.chunks.drop(tune_id)

    def drop_kept(self, row: int | None) -> None:
        """Take out a kept source that no place refers to any more."""
        if row is None:
            return
        unused = [part for part in self.parts if not is_used(part, row)]
        if len(unused) == len(self.parts):
            self.taken.take_source(row)
        for part in unused:
            part.execute("DELETE FROM kept_source WHERE id = ?", [row])

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


def is_used(part: OpenPart, kept: int) -> bool:
    """Whether a place of a file refers to a kept source."""
    return bool(part.rows("SELECT 1 FROM place WHERE kept_source = ? LIMIT 1", [kept]))
