"""Whether a single thing of a corpus is as it was written.

Conventions: what is damaged comes back as None, as a fault in words, or not at all; nothing
is raised for it.

Contents: MOST_LINES, definitions, FacetTables, tune_faults, melody_of, gaps, kept_bytes,
ids_in.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

from melodex.corpus.chunks import ID_BYTES
from melodex.corpus.rows import facets_crc32, tune_columns, unpacked
from melodex.melody import Melody
from melodex.melody.shape import UNREADABLE
from melodex.melody.tune_id import content_id_of

__all__ = [
    "MOST_LINES",
    "FacetTables",
    "definitions",
    "gaps",
    "ids_in",
    "kept_bytes",
    "melody_of",
    "tune_faults",
]

MOST_LINES = 100
"""Of SQLite's own findings, and of what a set lacks; more say nothing new."""


def definitions(connection: sqlite3.Connection) -> set[tuple[str, str, str, str]]:
    """Kind, name, table and statement of all that a file defines."""
    rows = connection.execute(
        "SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_master"
    )
    return {(str(kind), str(name), str(table), str(sql)) for kind, name, table, sql in rows}


class FacetTables:
    """The facet rows of tunes as they are stored."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        row = connection.execute("SELECT value FROM setting WHERE name = 'facet_tables'")
        found = row.fetchone()
        present = {
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table'"
            )
        }
        self.names = [
            name for name in (found[0].split() if found else []) if name in present
        ]

    def rows(self, tune: int) -> dict[str, list[dict[str, Any]]]:
        """The rows of one tune, by table."""
        cursor = self.connection.cursor()
        cursor.row_factory = sqlite3.Row
        return {
            name: [
                dict(row)
                for row in cursor.execute(f"SELECT * FROM {name} WHERE tune = ?", [tune])
            ]
            for name in self.names
        }


def tune_faults(row: sqlite3.Row, facets: FacetTables) -> Iterator[str]:
    """What is wrong with a row of ``tune`` and its facets."""
    melody = melody_of(row["melody"])
    if melody is None or content_id_of(row["melody"]) != row["tune_id"]:
        yield "the melody has changed"
    elif any(row[name] != value for name, value in tune_columns(melody).items()):
        yield "the plain columns differ from the melody"
    try:
        if facets_crc32(facets.rows(row["id"])) != row["facet_crc32"]:
            yield "the facets have changed"
    except sqlite3.DatabaseError as error:
        yield f"the facets cannot be read: {error}"


def melody_of(text: Any) -> Melody | None:
    """A melody from its JSON, or None if it is damaged."""
    try:
        return Melody.from_dict(json.loads(text))
    except UNREADABLE:
        return None


def gaps(examples: Iterable[Mapping[str, Any] | sqlite3.Row]) -> Iterator[tuple[int, int]]:
    """Sets and positions that no passage has: positions count from 1 without a gap.

    At most :data:`MOST_LINES` of a set: a forged position may lie anywhere.
    """
    held: dict[int, set[int]] = {}
    for row in examples:
        if isinstance(row["position"], int):
            held.setdefault(row["lesson"], set()).add(row["position"])
    for number, positions in held.items():
        free = (p for p in range(1, max(positions)) if p not in positions)
        for position in islice(free, MOST_LINES):
            yield number, position


def kept_bytes(packed: Any, sha256: Any) -> bytes | None:
    """A kept source unpacked, or None if it is damaged."""
    try:
        data = unpacked(packed)
    except ValueError:
        return None
    return data if hashlib.sha256(data).hexdigest() == sha256 else None


def ids_in(blob: Any) -> list[str]:
    """Tune ids as far as a chunk still names them."""
    if not isinstance(blob, bytes):
        return []
    ends = range(ID_BYTES, len(blob) + 1, ID_BYTES)
    return [blob[end - ID_BYTES : end].hex() for end in ends]
