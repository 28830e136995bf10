"""A change of several shards that is carried out to its end, whoever is stopped.

Conventions: what every shard is to be told is written to :data:`PENDING_NAME` in the
folder, and gets that name when it is complete and on disk. From then on the change is
made: it is carried out shard by shard, each in one transaction that also notes the number
of the change (:data:`~melodex.corpus.shards.index.CHANGE_SETTING`); then the index is
written, and then the file goes. Whoever opens the folder and finds it carries out the
rest, holding the turn at the first shard. So no state between is ever seen.

The file is JSON line by line, packed (zlib): set and number of the change, then shard,
statement and values each. It may come from elsewhere with the folder: of its statements
SQLite is let do only what changes rows.

Contents: PendingChange, carry_out, settle.
"""

from __future__ import annotations

import base64
import json
import os
import sqlite3
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any

from melodex.corpus.connection import Part, leave
from melodex.corpus.faults import faults_named, named_fault
from melodex.corpus.shards.index import (
    PENDING_NAME,
    Opened,
    ShardIndex,
    change_in,
    counts_of,
    digest_of,
    file_of,
    read_index,
    refuse_other,
    write_index,
)
from melodex.corpus.writing.holding.journal import begin, open_for_writing
from melodex.errors import REMEDIES, CorpusError
from melodex.files import flush_folder, part_beside, put_in_place
from melodex.melody.shape import UNREADABLE

__all__ = ["PendingChange", "carry_out", "settle"]

LEVEL = 1
"""Of zlib, the fastest: the file lives for milliseconds."""

BLOCK = 1 << 20
"""Bytes that are read or unpacked at once."""

LONGEST_LINE = 1 << 28
"""Bytes: a source of 16 MB, the most that is kept of one, is 22 MB as text."""


class PendingChange:
    """What shards are told in one transaction, written down as it is said; use ``with``.

    Parameters
    ----------
    folder : Path
        Of the shards.
    index : ShardIndex
        Their state before the change.

    Attributes
    ----------
    number : int
        Of the change.
    touched : set of int
        Numbers of the shards that were told something.
    """

    def __init__(self, folder: Path, index: ShardIndex) -> None:
        self.folder = folder
        self.number = index.change + 1
        self.shard_set = index.shard_set
        self.touched: set[int] = set()
        self.holding = ExitStack()
        self.packing = zlib.compressobj(LEVEL)
        self.part: Path | None = None

    def __enter__(self) -> PendingChange:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.holding.close()

    def recorder_of(self, number: int) -> Callable[[str, Any], None]:
        """What writes down what one shard is told."""

        def record(sql: str, values: Any) -> None:
            if self.part is None:
                self.start()
            self.touched.add(number)
            self.put([number, sql, values])

        return record

    def start(self) -> None:
        """Begin the file, under a name that nobody looks for."""
        self.part = self.holding.enter_context(part_beside(self.folder / PENDING_NAME))
        self.file = self.holding.enter_context(self.part.open("wb"))
        self.put([self.shard_set, self.number])

    def put(self, line: list[Any]) -> None:
        """Write a line."""
        text = json.dumps(line, default=as_text, separators=(",", ":"))
        self.file.write(self.packing.compress(text.encode("ascii") + b"\n"))

    @property
    def is_sealed(self) -> bool:
        """Whether it has its name, or had it."""
        return self.part is not None and not self.part.exists()

    def seal(self) -> None:
        """Give the file its name: from now on the change is made."""
        assert self.part is not None
        self.file.write(self.packing.flush())
        self.file.flush()
        os.fsync(self.file.fileno())
        put_in_place(self.part, self.folder / PENDING_NAME, True)


def as_text(value: Any) -> Any:
    """A value that JSON does not know."""
    if isinstance(value, bytes | memoryview):
        return {"base64": base64.b64encode(value).decode("ascii")}
    raise TypeError(f"{type(value).__name__} is no value of SQLite")


def from_text(told: dict[str, Any]) -> Any:
    """What was written by :func:`as_text`."""
    return base64.b64decode(told["base64"]) if set(told) == {"base64"} else told


def lines_of(folder: Path) -> Iterator[list[Any]]:
    """The lines of the change that is written down in a folder.

    Raises
    ------
    CorpusError
        If it is damaged.
    """
    place = folder / PENDING_NAME
    unpacking = zlib.decompressobj()
    begun: list[bytes] = []
    size = 0
    try:
        if place.is_symlink() or not place.is_file():
            raise ValueError("no regular file")
        with place.open("rb") as file:
            while not unpacking.eof:
                packed = unpacking.unconsumed_tail or file.read(BLOCK)
                if not packed:
                    raise ValueError("it ends too soon")
                *whole, rest = unpacking.decompress(packed, BLOCK).split(b"\n")
                for line in whole:
                    text = b"".join((*begun, line))
                    yield list(json.loads(text, object_hook=from_text))
                    begun, size = [], 0
                begun.append(rest)
                size += len(rest)
                if size > LONGEST_LINE:
                    raise ValueError("a line of it has no end")
    except (*UNREADABLE, zlib.error) as error:
        raise damaged(folder) from error


def damaged(folder: Path) -> CorpusError:
    """The error for a change that cannot be carried out."""
    return CorpusError(
        "a change of the corpus was stopped half-way, and what was written down of it "
        "cannot be carried out",
        where=str(folder / PENDING_NAME),
        hint=REMEDIES["bring folder back"],
    )


def carry_out(
    folder: Path, parts: Sequence[Opened], mine: PendingChange | None = None
) -> ShardIndex:
    """Carry out the change that is written down in a folder, if there is one.

    Parameters
    ----------
    folder : Path
        Of the shards.
    parts : sequence of Opened
        All its shards in order; the first is in a transaction, and so are all or none of
        the others. They are so afterwards.
    mine : PendingChange, optional
        A change of which all shards were told already; the one that is found may be
        another's, who has carried this one out and written down the next.

    Returns
    -------
    ShardIndex
        As it is afterwards.

    Raises
    ------
    CorpusError
        If a shard is not the one that the change was made for.
    """
    index = read_index(folder)
    if not (folder / PENDING_NAME).exists():
        return index
    lines = lines_of(folder)
    head = next(lines, None)
    try:
        shard_set, number = head or ("", 0)
    except ValueError as error:
        raise damaged(folder) from error
    if shard_set != index.shard_set or number not in (index.change, index.change + 1):
        raise damaged(folder)
    told = mine.touched if mine and mine.number == number else None
    touched = told or told_to(folder, index, parts, number, lines)
    if touched is None:
        # The turn was let go of meanwhile.
        return carry_out(folder, parts)
    shards = list(index.shards)
    for each in touched:
        part = parts[each - 1]
        with faults_named(part.path):
            tunes, held, notes = counts_of(part.connection)
            shards[each - 1] = replace(
                shards[each - 1],
                tunes=tunes,
                lines=held,
                notes=notes,
                bytes=part.path.stat().st_size,
                digest=digest_of(part.connection),
                change=number,
            )
    index = ShardIndex(index.shard_set, tuple(shards), number)
    write_index(folder, index)
    with faults_named(folder):
        (folder / PENDING_NAME).unlink(missing_ok=True)
        flush_folder(folder)
    return index


def told_to(
    folder: Path,
    index: ShardIndex,
    parts: Sequence[Opened],
    number: int,
    lines: Iterator[list[Any]],
) -> set[int] | None:
    """Tell shards what a change tells them, those that were not told yet.

    Returns the shards that it touches, or None where somebody else may have had the turn.
    """
    touched: dict[int, bool] = {}
    held = {each for each, part in enumerate(parts, 1) if part.connection.in_transaction}
    late: list[Opened] = []
    try:
        for each, sql, values in lines:
            part = parts[each - 1]
            if each not in touched:
                touched[each] = is_late(part, index, each, number)
                if touched[each]:
                    late.append(part)
                    if each not in held:
                        begin(part.connection, part.path)
                    part.connection.set_authorizer(only_rows)
            if touched[each]:
                tell(part.connection, sql, values)
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError) as error:
        raise damaged(folder) from error
    except (sqlite3.Error, sqlite3.Warning) as error:
        if isinstance(error, sqlite3.Error) and named_fault(error, folder):
            raise
        raise damaged(folder) from error
    finally:
        for part in late:
            part.connection.set_authorizer(None)
    # The first comes last: with it goes the turn.
    for part in sorted(late, key=lambda part: part is parts[0]):
        with faults_named(part.path):
            part.connection.execute("COMMIT")
            if part is parts[0] or parts.index(part) + 1 in held:
                begin(part.connection, part.path)
    return None if parts[0] in late else set(touched)


def is_late(part: Opened, index: ShardIndex, each: int, number: int) -> bool:
    """Whether a shard was not told yet; another than was meant is refused."""
    with faults_named(part.path):
        if change_in(part.connection) == number:
            return False
        refuse_other(part, index, each)
        return True


def tell(connection: sqlite3.Connection, sql: str, values: Any) -> None:
    """Do what a statement says, once for each row where there are several."""
    if isinstance(values, list) and values and isinstance(values[0], list):
        connection.executemany(sql, values)
    else:
        connection.execute(sql, values)


def only_rows(action: int, first: str | None, *_: Any) -> int:
    """Let SQLite do what changes rows, and nothing else."""
    if action in ROWS or (action, first) == (sqlite3.SQLITE_PRAGMA, "data_version"):
        return sqlite3.SQLITE_OK
    return sqlite3.SQLITE_DENY


ROWS = {
    sqlite3.SQLITE_SELECT,
    sqlite3.SQLITE_READ,
    sqlite3.SQLITE_INSERT,
    sqlite3.SQLITE_UPDATE,
    sqlite3.SQLITE_DELETE,
    sqlite3.SQLITE_FUNCTION,
    sqlite3.SQLITE_TRANSACTION,
}
"""What a pending change may do; the index of words asks for its ``data_version`` too."""


def settle(folder: Path, index: ShardIndex) -> None:
    """Carry out what a stopped writer left in a folder, or wait for one at work.

    Raises
    ------
    CorpusError
        If that cannot be done here.
    """
    if not (folder / PENDING_NAME).exists():
        return
    with ExitStack() as stack:
        parts = []
        for number in range(1, len(index.shards) + 1):
            path = file_of(folder, index, number)
            with faults_named(path):
                part = Part(open_for_writing(path), path)
            stack.callback(leave, part.connection, path)
            parts.append(part)
        with faults_named(parts[0].path):
            begin(parts[0].connection, parts[0].path)
            try:
                carry_out(folder, parts)
            finally:
                with suppress(sqlite3.Error):
                    if parts[0].connection.in_transaction:
                        parts[0].connection.execute("ROLLBACK")
