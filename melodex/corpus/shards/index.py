"""The index of a folder of shards: which files make it up, and how each is known.

Conventions: the index is the JSON file ``shards.json`` in the folder. A shard is a corpus
file of its own; its settings say of which set it is and which of how many. The digest of
a shard is the SHA-256 of the checksums and sizes of its chunks in order: ids are made of
melodies, titles and makers, and stand in the chunks, so another shard, or one to which a
tune was added, has another digest, and reading it costs a row for 2,048 tunes.

Each change of a folder has a number, which counts from 1; the index and each shard that
had part in it keep it.

Contents: INDEX_NAME, FORMAT, Shard, ShardIndex, read_index, write_index, file_of,
refuse_other, fault_of_place, of_another_time, digest_of, is_shards.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Protocol

from melodex.corpus.faults import faults_named
from melodex.errors import REMEDIES, CorpusError
from melodex.files import write_whole
from melodex.melody.shape import UNREADABLE

__all__ = [
    "CHANGE_SETTING",
    "EARLIER_DIGEST_SETTING",
    "FORMAT",
    "INDEX_NAME",
    "MOST_SHARDS",
    "PENDING_NAME",
    "RUN_NAME",
    "SHARD_SETTING",
    "Opened",
    "Shard",
    "ShardIndex",
    "change_in",
    "counts_of",
    "digest_of",
    "fault_of_place",
    "file_of",
    "is_shards",
    "of_another_time",
    "read_index",
    "refuse_other",
    "write_index",
]

INDEX_NAME = "shards.json"
PENDING_NAME = "shards.pending"
"""The file of a change that is being carried out; see
:mod:`melodex.corpus.shards.pending`."""

RUN_NAME = "shards.adding"
"""The file that says how far a run of adding has come: whoever changes the folder
otherwise takes it away, as what it says may hold no longer."""

FORMAT, FORMAT_VERSION = "corpus of melodex in shards", 1
SHARD_SETTING = "shard"
"""The setting of a shard that says which it is: the set, the number, of how many."""

CHANGE_SETTING = "shard_change"
"""The setting of a shard that gives the number of the last change it had part in."""

EARLIER_DIGEST_SETTING = "shard_digest_of_schema_4"
"""The setting of a shard whose ids were lengthened: its digest since, and that from before,
by which it goes in an index of that time until it is changed."""

MOST_SHARDS = 512
"""Of one folder: each is an open file, and systems allow 1,024 to a process."""

MOST_BYTES = 1 << 20
"""Of an index that is read."""

LONGEST_NAME = 255
"""Bytes of a file's name, as file systems have it (NAME_MAX of Linux, ``limits.h``)."""

MOST_COUNTED = 1 << 63
"""No count reaches it: SQLite's integers end there
(https://www.sqlite.org/datatype3.html, 2)."""


@dataclass(frozen=True, slots=True)
class Shard:
    """One file of a folder: its name, what it holds, and its digest."""

    file: str
    tunes: int
    lines: int
    notes: int
    bytes: int
    digest: str
    change: int = 0
    """Number of the last change that it had part in."""


@dataclass(frozen=True, slots=True)
class ShardIndex:
    """The shards of a folder, in order, and the set that they make up."""

    shard_set: str
    shards: tuple[Shard, ...]
    change: int = 0
    """Number of the last change of the folder."""

    def said_in(self, number: int) -> str:
        """What a shard says of itself; numbers count from 1."""
        return f"{self.shard_set} {number} of {len(self.shards)}"


def is_shards(path: Path) -> bool:
    """Whether a path is a folder with an index of shards."""
    return (path / INDEX_NAME).is_file()


def write_index(folder: Path, index: ShardIndex) -> None:
    """Write the index of a folder, whole or not at all."""
    told = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "set": index.shard_set,
        "change": index.change,
        "tunes": sum(shard.tunes for shard in index.shards),
        "notes": sum(shard.notes for shard in index.shards),
        "shards": [asdict(shard) for shard in index.shards],
    }
    text = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
    write_whole(text.encode("utf-8"), folder / INDEX_NAME)


def read_index(folder: Path) -> ShardIndex:
    """Read the index of a folder of shards.

    Raises
    ------
    CorpusError
        If the folder has none, or it cannot be understood.
    """
    place = folder / INDEX_NAME
    with faults_named(place):
        if folder.is_file():
            raise CorpusError(
                "this is one file, and no folder of shards",
                where=str(folder),
                hint=REMEDIES["make shards"],
            )
        if not place.exists():
            raise CorpusError(
                f"this is a folder, and no corpus in shards: it has no {INDEX_NAME}",
                where=str(folder),
                hint=REMEDIES["make shards"],
            )
        if place.is_symlink() or not place.is_file():
            raise CorpusError(
                "the index of the shards is a link or no regular file",
                where=str(place),
                hint=REMEDIES["make shards"],
            )
        with place.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    try:
        if len(content) > MOST_BYTES:
            raise ValueError("it is too large")
        return index_of(parsed(content))
    except UNREADABLE as error:
        why = str(error) if type(error) is ValueError else "something is missing in it"
        raise CorpusError(
            f"the index of the shards cannot be read: {why}",
            where=str(place),
            hint=REMEDIES["make shards"],
        ) from error


def parsed(content: bytes) -> Any:
    """What JSON says."""
    try:
        return json.loads(content)
    except (ValueError, RecursionError) as error:
        # Texts in no encoding and numbers beyond all bounds are faults of JSON here too.
        raise ValueError("it is no JSON") from error


def index_of(told: Mapping[str, Any]) -> ShardIndex:
    """An index of what its JSON says, every value checked for its kind."""
    if told.get("format") != FORMAT:
        raise ValueError("it is no index of shards")
    if told["format_version"] != FORMAT_VERSION:
        raise ValueError("another version of melodex wrote it")
    shards = tuple(shard_of(entry) for entry in told["shards"])
    if not 1 <= len(shards) <= MOST_SHARDS:
        raise ValueError(f"it names {len(shards)} shards, not 1 to {MOST_SHARDS}")
    if len({shard.file for shard in shards}) < len(shards):
        raise ValueError("it names a shard twice")
    for name in ("tunes", "notes"):
        if told[name] != sum(getattr(shard, name) for shard in shards):
            raise ValueError(f"its {name} do not add up")
    change = counted(told.get("change", 0))
    if any(shard.change > change for shard in shards):
        raise ValueError("a shard of it is of a later change than the whole")
    return ShardIndex(of_kind(told["set"], str), shards, change)


def shard_of(entry: Mapping[str, Any]) -> Shard:
    """One shard of an index; its file is a plain name in the folder of the index."""
    name = of_kind(entry["file"], str)
    is_plain = name.isprintable() and not set(name) & set("/\\")
    if not is_plain or name in {"", ".", "..", INDEX_NAME, PENDING_NAME, RUN_NAME}:
        raise ValueError(f"{shortened(name)} is no name of a shard beside it")
    if len(name.encode("utf-8")) > LONGEST_NAME:
        raise ValueError(f"{shortened(name)} is too long for the name of a file")
    return Shard(
        file=name,
        digest=of_kind(entry["digest"], str),
        change=counted(entry.get("change", 0)),
        **{key: counted(entry[key]) for key in ("tunes", "lines", "notes", "bytes")},
    )


def counted(value: Any) -> int:
    """A value, if it is a count."""
    count: int = of_kind(value, int)
    if not 0 <= count < MOST_COUNTED:
        raise ValueError(f"{shortened(count)} is no count")
    return count


def of_kind(value: Any, kind: type) -> Any:
    """A value, if it is of a kind."""
    if type(value) is not kind:
        belongs = "a text" if kind is str else "a whole number"
        raise ValueError(f"{shortened(value)} stands where {belongs} belongs")
    return value


def shortened(value: Any) -> str:
    """A value as a sentence may hold it, however long it is."""
    shown = repr(value)
    return shown if len(shown) <= 40 else f"{shown[:40]}..."


def file_of(folder: Path, index: ShardIndex, number: int) -> Path:
    """The file of a shard, if it is one that may be opened.

    Raises
    ------
    CorpusError
        If it is missing, a link, or no regular file.
    """
    path = folder / index.shards[number - 1].file
    with faults_named(path):
        fault = ""
        if path.is_symlink():
            # What stands elsewhere is neither read nor written.
            fault = "is a link to another place"
        elif not path.exists():
            fault = "is missing"
        elif not path.is_file():
            fault = "is no regular file"
        if fault:
            raise CorpusError(
                f"shard {number} of {len(index.shards)} {fault}",
                where=str(path),
                hint=REMEDIES["bring shard back"],
            )
    return path


class Opened(Protocol):
    """A shard that is open."""

    @property
    def connection(self) -> sqlite3.Connection:
        """To its file."""

    @property
    def path(self) -> Path:
        """Its file."""


def refuse_other(part: Opened, index: ShardIndex, number: int) -> None:
    """Refuse a shard that is not the one that the index means."""
    fault = fault_of_place(part, index, number) or fault_of_content(part, index, number)
    if fault:
        raise CorpusError(fault, where=str(part.path), hint=REMEDIES["bring shard back"])


def fault_of_content(part: Opened, index: ShardIndex, number: int) -> str:
    """What is wrong where a shard holds other tunes than the index says; else empty."""
    shard = index.shards[number - 1]
    if not goes_by(part.connection, shard.digest):
        return (
            f"shard {number} of {len(index.shards)} does not hold what the index says: "
            "it was replaced or changed"
        )
    if counts_of(part.connection) != (shard.tunes, shard.lines, shard.notes):
        return f"the index counts other tunes or notes in shard {number} than it holds"
    if change_in(part.connection) != shard.change:
        return of_another_time(index, number)
    return ""


def fault_of_place(part: Opened, index: ShardIndex, number: int) -> str:
    """What is wrong where a file says that it is another shard, or none; else empty."""
    rows = part.connection.execute(
        "SELECT value FROM setting WHERE name = ?", [SHARD_SETTING]
    ).fetchall()
    said = str(rows[0][0]) if rows else ""
    if said == index.said_in(number):
        return ""
    which = said.split(" ", 1)[-1][:40]
    same = said.split(" ")[0] == index.shard_set
    fault = f"shard {which} of this corpus" if same else "a file of another corpus"
    return f"{fault} stands in the place of shard {number} of {len(index.shards)}"


def of_another_time(index: ShardIndex, number: int) -> str:
    """That a shard has had part in other changes than the index says."""
    return (
        f"shard {number} of {len(index.shards)} is of another time than the index: "
        "it was replaced by an older or a newer one"
    )


def change_in(connection: sqlite3.Connection) -> int:
    """The number of the last change that a shard had part in; 0 for none."""
    rows = connection.execute(
        "SELECT value FROM setting WHERE name = ?", [CHANGE_SETTING]
    ).fetchall()
    said = str(rows[0][0]) if rows else "0"
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 19 else -1


def goes_by(connection: sqlite3.Connection, digest: str) -> bool:
    """Whether a shard is the one that an index knows by a digest."""
    now = digest_of(connection)
    if now == digest:
        return True
    rows = connection.execute(
        "SELECT value FROM setting WHERE name = ?", [EARLIER_DIGEST_SETTING]
    ).fetchall()
    return bool(rows) and str(rows[0][0]) == f"{now} {digest}"


def counts_of(connection: sqlite3.Connection) -> tuple[int, int, int]:
    """How many tunes, lines of tunes and notes stand in the chunks of a file."""
    tunes, lines, notes = connection.execute(
        "SELECT coalesce(sum(piece_count), 0), coalesce(sum(tune_count), 0), "
        "coalesce(sum(note_count), 0) FROM chunk"
    ).fetchone()
    return tunes, lines, notes


def digest_of(connection: sqlite3.Connection) -> str:
    """What tells a shard from any other, as 64 hexadecimal digits."""
    rows = connection.execute(
        "SELECT checksum, tune_count, note_count FROM chunk ORDER BY id"
    ).fetchall()
    told = "\n".join(" ".join(map(str, row)) for row in rows)
    return hashlib.sha256(told.encode("utf-8")).hexdigest()
