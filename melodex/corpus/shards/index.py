"""The index of a folder of shards: which files make it up, and how each is known.

Conventions: the index is the JSON file ``shards.json`` in the folder. A shard is a corpus
file of its own; its settings say of which set it is and which of how many. The digest of
a shard is the SHA-256 of the checksums and sizes of its chunks in order: ids are made of
melodies, titles and makers, and stand in the chunks, so another shard, or one to which a
tune was added, has another digest, and reading it costs a row for 2,048 tunes.

Contents: INDEX_NAME, FORMAT, Shard, ShardIndex, read_index, write_index, opened_shards,
digest_of, is_shards.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from melodex.corpus.connection import Part, leave
from melodex.corpus.faults import faults_named
from melodex.errors import REMEDIES, CorpusError
from melodex.files import write_whole

__all__ = [
    "FORMAT",
    "INDEX_NAME",
    "MOST_SHARDS",
    "SHARD_SETTING",
    "Shard",
    "ShardIndex",
    "counts_of",
    "digest_of",
    "is_shards",
    "opened_shard",
    "opened_shards",
    "read_index",
    "write_index",
]

INDEX_NAME = "shards.json"
FORMAT, FORMAT_VERSION = "corpus of melodex in shards", 1
SHARD_SETTING = "shard"
"""The setting of a shard that says which it is: the set, the number, of how many."""

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


@dataclass(frozen=True, slots=True)
class ShardIndex:
    """The shards of a folder, in order, and the set that they make up."""

    shard_set: str
    shards: tuple[Shard, ...]

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
    except (ValueError, KeyError, TypeError, AttributeError) as error:
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
    return ShardIndex(of_kind(told["set"], str), shards)


def shard_of(entry: Mapping[str, Any]) -> Shard:
    """One shard of an index; its file is a plain name in the folder of the index."""
    name = of_kind(entry["file"], str)
    is_plain = name.isprintable() and not set(name) & set("/\\")
    if not is_plain or name in {"", ".", "..", INDEX_NAME}:
        raise ValueError(f"{shortened(name)} is no name of a shard beside it")
    if len(name.encode("utf-8")) > LONGEST_NAME:
        raise ValueError(f"{shortened(name)} is too long for the name of a file")
    return Shard(
        file=name,
        digest=of_kind(entry["digest"], str),
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


def opened_shards(folder: Path, opened: Callable[[Path], Part]) -> list[Part]:
    """Open every shard of a folder, in order.

    Parameters
    ----------
    folder : Path
        With an index.
    opened : callable
        Opens one file.

    Raises
    ------
    CorpusError
        If the folder has no index, or a shard is missing, is another one, or was changed.
    """
    index = read_index(folder)
    parts: list[Part] = []
    try:
        for number in range(1, len(index.shards) + 1):
            parts.append(opened_shard(folder, index, number, opened))
    except BaseException:
        for part in parts:
            leave(part.connection, part.path)
        raise
    return parts


def opened_shard(
    folder: Path, index: ShardIndex, number: int, opened: Callable[[Path], Part]
) -> Part:
    """Open one shard of a folder, if it is the one that the index means.

    Raises
    ------
    CorpusError
        If it is missing, is another one, or was changed.
    """
    shard = index.shards[number - 1]
    path = folder / shard.file
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
    part = opened(path)
    try:
        with faults_named(path):
            refuse_other(part, index, number)
    except BaseException:
        leave(part.connection, part.path)
        raise
    return part


def refuse_other(part: Part, index: ShardIndex, number: int) -> None:
    """Refuse a shard that is not the one that the index means."""
    rows = part.connection.execute(
        "SELECT value FROM setting WHERE name = ?", [SHARD_SETTING]
    ).fetchall()
    said = str(rows[0][0]) if rows else ""
    fault, shard = "", index.shards[number - 1]
    if said != index.said_in(number):
        which = said.split(" ", 1)[-1][:40]
        same = said.split(" ")[0] == index.shard_set
        fault = f"shard {which} of this corpus" if same else "a file of another corpus"
        fault = f"{fault} stands in the place of shard {number} of {len(index.shards)}"
    elif digest_of(part.connection) != shard.digest:
        fault = (
            f"shard {number} of {len(index.shards)} does not hold what the index says: "
            "it was replaced or changed"
        )
    elif counts_of(part.connection) != (shard.tunes, shard.lines, shard.notes):
        fault = f"the index counts other tunes or notes in shard {number} than it holds"
    if fault:
        raise CorpusError(fault, where=str(part.path), hint=REMEDIES["bring shard back"])


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
