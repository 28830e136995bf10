"""Tune ids of 48 bits made into ids of 64, wherever a corpus of an earlier schema has them.

Conventions: an id is worked out anew from the melody that is stored, in the transaction of
whoever calls, and one row at a time is held in memory. A tune whose melody does not give
the id that it has keeps its digits, with zeros behind them, and stays a fault to a check.
An id that names a tune of which nothing is left (a passage of a set may) stays as it was:
it is the beginning of the id that the tune would have, and is understood as that. A row
that was damaged before stays one.

What a teaching set or an undone change names may stand in another shard of the folder.
Shards are brought up to date in their order, so that nobody writes to one that is looked
into.

Contents: lengthen_ids, lengthen_names, LongerIds.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

from melodex.corpus import schema
from melodex.corpus.chunks import ID_BYTES, LEADING_BYTES, checksum_of
from melodex.corpus.connection import connect, leave
from melodex.corpus.faults import is_busy
from melodex.corpus.rows import row_crc32, unpacked
from melodex.corpus.shards.index import (
    EARLIER_DIGEST_SETTING,
    SHARD_SETTING,
    digest_of,
    file_of,
    is_shards,
    read_index,
)
from melodex.corpus.shards.routing import shard_of_id
from melodex.errors import CorpusError
from melodex.melody.shape import UNREADABLE
from melodex.melody.tune_id import content_id_of, is_beginning, leading, lengthened

__all__ = ["LongerIds", "lengthen_ids", "lengthen_names"]

Row = dict[str, Any]

LOWEST_ROW = -(1 << 63)
"""Below every row number (https://www.sqlite.org/datatype3.html, 2): places that stand
aside have negative ones."""


def lengthen_ids(connection: sqlite3.Connection) -> None:
    """Give every tune its longer id, and everything that names it."""
    with lenient(connection):
        before = digest_of(connection)
        lengthen_tunes(connection)
        ids = LongerIds(connection)
        try:
            lengthen_names(connection, ids)
            lengthen_chunks(connection, ids)
        finally:
            ids.close()
        keep_digest(connection, before)


def lengthen_names(connection: sqlite3.Connection, ids: LongerIds) -> None:
    """Lengthen ids in what names a tune, in a corpus whose tunes have theirs."""
    rewrite(connection, "place", partial(renamed, ids, "piece"))
    rewrite(connection, "lesson_example", partial(renamed, ids, "tune_id"))
    rewrite(connection, "taken_out", partial(kept_anew, ids))


@contextmanager
def lenient(connection: sqlite3.Connection) -> Iterator[None]:
    """Read texts as far as they are texts: a damaged one is left to the check."""
    before = connection.text_factory
    connection.text_factory = lambda data: data.decode("utf-8", "replace")
    try:
        yield
    finally:
        connection.text_factory = before


class LongerIds:
    """Where to ask for the longer id of a tune, by its earlier one.

    Parameters
    ----------
    connection : sqlite3.Connection
        To a corpus whose tunes have their longer ids.
    known : mapping of str to str, optional
        Longer ids by earlier ones, as far as they are known otherwise.
    """

    def __init__(
        self, connection: sqlite3.Connection, known: Mapping[str, str] | None = None
    ) -> None:
        self.connection = connection
        self.known = known or {}
        ((_, _, path), *_) = connection.execute("PRAGMA database_list")
        self.path = Path(path)
        self.others: dict[Path, sqlite3.Connection | None] = {}

    def here(self, known: str) -> str:
        """The id of a tune of this file; empty where there is none."""
        return found_in(self.connection, known) if is_beginning(known) else known

    def of(self, known: str) -> str:
        """The id of a tune that is here, was taken out, or is in another shard."""
        known = self.known.get(known, known)
        if not is_beginning(known):
            return known
        found = self.here(known) or taken_out_of(self.connection, known)
        if not found:
            for other in self.other_shards(known):
                found = found_in(other, known) or taken_out_of(other, known)
                if found:
                    break
        return found or known

    def other_shards(self, known: str) -> Iterator[sqlite3.Connection]:
        """The other shards of the folder, the likeliest one first."""
        folder = self.path.parent
        if not is_shards(folder):
            return
        try:
            index = read_index(folder)
        except CorpusError:
            return
        names = [shard.file for shard in index.shards]
        if self.path.name not in names:
            return
        likely = shard_of_id(known, len(names))
        for number in sorted(range(1, len(names) + 1), key=lambda n: (n != likely, n)):
            place = folder / names[number - 1]
            if place.name != self.path.name and place not in self.others:
                self.others[place] = None
                # One that is gone or damaged is told of when the folder is opened.
                with suppress(CorpusError), not_damaged():
                    other = connect(file_of(folder, index, number))
                    other.text_factory = self.connection.text_factory
                    self.others[place] = other
            if other_one := self.others.get(place):
                yield other_one

    def close(self) -> None:
        """Let go of other shards."""
        for path, other in self.others.items():
            if other:
                leave(other, path)


@contextmanager
def not_damaged() -> Iterator[None]:
    """Go on where a file cannot be read; one that is only busy is waited for."""
    try:
        yield
    except sqlite3.Error as error:
        if is_busy(error):
            raise


def found_in(connection: sqlite3.Connection, known: str) -> str:
    """The longer id of a tune by its earlier one, in a corpus of either schema."""
    with not_damaged():
        # Above every id with that beginning stands the same text and a "g".
        rows = connection.execute(
            "SELECT tune_id, iif(tune_id = ?, melody, '') FROM tune "
            "WHERE tune_id >= ? AND tune_id < ? LIMIT 2",
            [known, known, known + "g"],
        ).fetchall()
        if len(rows) == 1:
            ((tune_id, text),) = rows
            return longer(known, text) if tune_id == known else str(tune_id)
    return ""


def taken_out_of(connection: sqlite3.Connection, known: str) -> str:
    """The longer id of a tune that a change took out."""
    with not_damaged():
        rows = connection.execute(
            "SELECT name, content FROM taken_out WHERE kind = 'tune' "
            "AND name >= ? AND name < ? ORDER BY name DESC LIMIT 1",
            [known, known + "g"],
        ).fetchall()
        for name, packed in rows:
            if name != known:
                return str(name)
            with suppress(*UNREADABLE):
                return longer(known, json.loads(unpacked(packed))["melody"])
            return lengthened(known)
    return ""


def longer(known: str, text: Any) -> str:
    """The id that a melody gives, if it is the one that is known."""
    tune_id = content_id_of(text) if isinstance(text, str) else ""
    return tune_id if leading(tune_id) == known else lengthened(known)


def lengthen_tunes(connection: sqlite3.Connection) -> None:
    """Give each tune its longer id."""
    for row, known in each_row(connection, "tune", "id, tune_id"):
        if is_beginning(str(known)):
            ((text,),) = connection.execute("SELECT melody FROM tune WHERE id = ?", [row])
            connection.execute(
                "UPDATE tune SET tune_id = ? WHERE id = ?", [longer(known, text), row]
            )


def lengthen_chunks(connection: sqlite3.Connection, ids: LongerIds) -> None:
    """Write longer ids into the notes for matching, which keep their order."""
    columns = "id, tune_ids, lengths, notes, pieces, checksum"
    for row, held, *others, checksum in each_row(connection, "chunk", columns):
        if not all(isinstance(column, bytes) for column in (held, *others)):
            continue
        each = [held[at : at + LEADING_BYTES] for at in range(0, len(held), LEADING_BYTES)]
        made = b"".join(bytes.fromhex(of_chunk(one.hex(), ids)) for one in each)
        # Where it did not hold before, it shall not now.
        if checksum_of(held, *others) == checksum:
            checksum = checksum_of(made, *others)
        connection.execute(
            "UPDATE chunk SET tune_ids = ?, checksum = ? WHERE id = ?",
            [made, checksum, row],
        )


def of_chunk(known: str, ids: LongerIds) -> str:
    """The id of a tune of a chunk; what is cut short stays so."""
    if not is_beginning(known):
        return known
    found = ids.here(known)
    return found if len(found) == 2 * ID_BYTES else lengthened(known)


def renamed(ids: LongerIds, column: str, row: Row) -> Row:
    """A row with the longer id in a column that names a tune."""
    return {column: ids.of(str(row[column]))}


def kept_anew(ids: LongerIds, row: Row) -> Row:
    """Something that a change took out, with longer ids in its name and in it."""
    changed: Row = {}
    if row["kind"] in {"tune", "place", "remark"}:
        changed["name"] = ids.of(str(row["name"]))
    if row["kind"] in {"place", "set"}:
        with suppress(*UNREADABLE):
            content = json.loads(unpacked(row["content"]))
            for told in content.get("examples", [content]):
                for name in {"tune_id", "piece"} & told.keys():
                    told[name] = ids.of(str(told[name]))
            packed = zlib.compress(json.dumps(content).encode())
            changed |= {"content": packed, "byte_count": len(packed)}
    return changed


def rewrite(
    connection: sqlite3.Connection, table: str, change: Callable[[Row], Row]
) -> None:
    """Change some columns of every row of a table that carries checksums."""
    names = schema.CHECKED_COLUMNS[table]
    for *values, crc in each_row(connection, table, f"{', '.join(names)}, row_crc32"):
        row = dict(zip(names, values, strict=True))
        changed = {name: value for name, value in change(row).items() if value != row[name]}
        if not changed:
            continue
        if row_crc32(values) == crc:
            changed["row_crc32"] = row_crc32({**row, **changed}[name] for name in names)
        columns = ", ".join(f"{name} = :{name}" for name in changed)
        connection.execute(
            f"UPDATE {table} SET {columns} WHERE id = :id", {**changed, "id": row["id"]}
        )


def each_row(
    connection: sqlite3.Connection, table: str, columns: str
) -> Iterator[tuple[Any, ...]]:
    """Rows one by one, by their number, which is the first column; they may be changed."""
    last = LOWEST_ROW
    sql = f"SELECT {columns} FROM {table} WHERE id > ? ORDER BY id LIMIT 1"
    while found := connection.execute(sql, [last]).fetchone():
        yield found
        last = found[0]


def keep_digest(connection: sqlite3.Connection, before: str) -> None:
    """Let a shard go by the digest that the index of its folder has."""
    if not connection.execute(
        "SELECT 1 FROM setting WHERE name = ?", [SHARD_SETTING]
    ).fetchone():
        return
    ((last,),) = connection.execute("SELECT max(id) FROM setting")
    values = (last + 1, EARLIER_DIGEST_SETTING, f"{digest_of(connection)} {before}")
    connection.execute(
        "INSERT INTO setting (id, name, value, row_crc32) VALUES (?, ?, ?, ?)",
        [*values, row_crc32(values)],
    )
