"""What a change takes out is kept for a while, so that the change can be undone.

Conventions: whatever deletes a tune, a place, a kept source or the rows of a teaching
set hands it over here first, inside the same transaction. One command makes one change,
however many transactions it needs. What is older than :data:`DAYS_KEPT`, but for the last
:data:`CHANGES_KEPT`, or more than :data:`BYTES_KEPT` in all, the oldest first, is let go; a
change that is larger than that by itself is named, and not kept.

Contents: TakenOut, KeptChange, DAYS_KEPT, CHANGES_KEPT, BYTES_KEPT.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol

from melodex.corpus.schema import CHECKED_COLUMNS, LAST_CHANGE

__all__ = ["BYTES_KEPT", "CHANGES_KEPT", "DAYS_KEPT", "KeptChange", "TakenOut"]

DAYS_KEPT = 30
"""Days for which a change can be undone; our choice."""
CHANGES_KEPT = 10
"""So many changes stay however old they seem; our choice. A clock that is years ahead for
a moment, or that was years behind, makes all of them seem old."""
BYTES_KEPT = 64 * 1024 * 1024
"""Bytes (64 MiB) for which changes are kept; our choice."""


@dataclass(frozen=True, slots=True)
class KeptChange:
    """A change by its number, and whether what it took out was not too large to keep."""

    number: int
    is_whole: bool


class Rows(Protocol):
    """What is asked of a writer, which itself calls this module."""

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement."""

    def do(self, sql: str, values: Any = ()) -> int:
        """Change or delete rows; return how many."""

    def setting(self, name: str) -> str:
        """The value of a setting; empty where there is none."""

    def put_setting(self, name: str, value: str) -> None:
        """Write a setting."""

    def insert(self, table: str, row: dict[str, Any]) -> int:
        """Write a row with its checksum; return its row number."""

    def remarks_on(self, tune_row: int) -> list[dict[str, Any]]:
        """What the musician said of a tune."""


class TakenOut:
    """What the changes of one writer take out, written as it goes."""

    def __init__(self, writer: Rows) -> None:
        self.writer = writer
        self.kind = ""
        self.current: KeptChange | None = None
        self.last: KeptChange | None = None
        self.sources: set[str] = set()
        self.size = 0

    def doing(self, kind: str, *, anew: bool = False) -> None:
        """Say what is being done; what follows is part of it until something else is."""
        if anew or kind != self.kind:
            self.kind, self.current, self.last, self.size = kind, None, None, 0
            self.sources.clear()

    def settle(self) -> None:
        """What was written is on disk."""
        self.last = self.current

    def forget(self) -> None:
        """What was written since the last commit has come to nothing."""
        self.current = self.last
        self.sources.clear()

    def take_tune(self, row: int) -> None:
        """Keep a tune, its tags and remarks, and the places where it still stands."""
        if not self.kind:
            return
        tune_id, title, text = self.writer.rows(
            "SELECT tune_id, title, melody FROM tune WHERE id = ?", [row]
        )[0]
        tags = self.writer.rows("SELECT name FROM tag WHERE tune = ?", [row])
        content = {
            "melody": text,
            "tags": [name for (name,) in tags],
            "remarks": self.writer.remarks_on(row),
        }
        for (place,) in self.writer.rows("SELECT id FROM place WHERE tune = ?", [row]):
            self.take_place(place)
        self.take("tune", tune_id, json.dumps(content).encode(), title)

    def take_place(self, place: int) -> None:
        """Keep where a tune stood, with what was odd there."""
        if not self.kind or place < 0:
            return
        names = [name for name in CHECKED_COLUMNS["place"] if name not in PLACE_NUMBERS]
        row = self.writer.rows(
            f"SELECT tune.tune_id, collection.name, kept_source.sha256, "
            f"{', '.join(f'place.{name}' for name in names)} FROM place "
            "JOIN tune ON tune.id = place.tune "
            "JOIN collection ON collection.id = place.collection "
            "LEFT JOIN kept_source ON kept_source.id = place.kept_source "
            "WHERE place.id = ?",
            [place],
        )[0]
        content = dict(zip(("tune_id", "collection", "sha256", *names), row, strict=True))
        content["id"] = place
        content["warnings"] = self.writer.rows(
            "SELECT text, line, column_number FROM read_warning WHERE place = ?", [place]
        )
        self.take("place", row[0], json.dumps(content).encode())

    def take_source(self, row: int) -> None:
        """Keep a source that no place refers to any more."""
        if not self.kind:
            return
        digest, kept_format, data = self.writer.rows(
            "SELECT sha256, kept_format, bytes FROM kept_source WHERE id = ?", [row]
        )[0]
        if digest not in self.sources:
            self.sources.add(digest)
            self.take("source", digest, data, kept_format, is_packed=True)

    def take_set(self, name: str, content: dict[str, Any], what: str) -> None:
        """Keep a teaching set as it was, and what is done to it, in a word or two."""
        self.take("set", name, json.dumps(content).encode(), what)

    def take_remark(self, tune_id: str, title: str, remark: dict[str, Any]) -> None:
        """Keep what the musician said of a tune that stays."""
        self.take("remark", tune_id, json.dumps(remark).encode(), title)

    def take(
        self, kind: str, name: str, data: bytes, title: str = "", *, is_packed: bool = False
    ) -> None:
        """Write what is taken out; of a source, the format stands for a title."""
        if self.current is None:
            self.current = KeptChange(self.put_change(None, is_whole=True), is_whole=True)
        if not self.current.is_whole:
            return
        packed = data if is_packed else zlib.compress(data)
        self.size += len(packed)
        if self.size > BYTES_KEPT:
            self.give_up()
            return
        self.writer.insert(
            "taken_out",
            {
                "change": self.current.number,
                "kind": kind,
                "name": name,
                "title": title,
                "byte_count": len(packed),
                "content": packed,
            },
        )

    def put_change(self, number: int | None, *, is_whole: bool) -> int:
        """Write the row of a change; return its number."""
        row = {
            "done_at": now().isoformat(timespec="seconds"),
            "kind": self.kind,
            "is_whole": int(is_whole),
        }
        if number is None:
            # A number is given once: who has seen it undoes that change or none.
            number = 1 + int(self.writer.setting(LAST_CHANGE) or 0)
            self.writer.put_setting(LAST_CHANGE, str(number))
        return self.writer.insert("change", {"id": number, **row})

    def give_up(self) -> None:
        """Keep of a change that is too large only that it was made."""
        assert self.current is not None
        number = self.current.number
        self.writer.do("DELETE FROM change WHERE id = ?", [number])
        self.put_change(number, is_whole=False)
        self.current = KeptChange(number, is_whole=False)

    def prune(self) -> None:
        """Let go of what is too old, and of the oldest where it is too much."""
        if self.current is None:
            return
        before = (now() - timedelta(days=DAYS_KEPT)).isoformat(timespec="seconds")
        self.writer.do(
            "DELETE FROM change WHERE done_at < ? AND id NOT IN "
            "(SELECT id FROM change ORDER BY id DESC LIMIT ?)",
            [before, CHANGES_KEPT],
        )
        sizes = self.writer.rows(
            "SELECT change, sum(byte_count) FROM taken_out GROUP BY change ORDER BY change"
        )
        spare = sum(size for _, size in sizes) - BYTES_KEPT
        for number, size in sizes:
            if spare <= 0 or number == self.current.number:
                break
            self.writer.do("DELETE FROM change WHERE id = ?", [number])
            spare -= size


PLACE_NUMBERS = {"id", "tune", "collection", "kept_source"}
"""Columns that count rows of this file; what they lead to is kept in their place."""


def now() -> datetime:
    """The time in UTC, without its zone, as it is written."""
    return datetime.now(UTC).replace(tzinfo=None)
