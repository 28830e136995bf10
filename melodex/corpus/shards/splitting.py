"""A corpus file split into a folder of shards.

Conventions: tunes go by their ids (:mod:`melodex.corpus.shards.routing`), each with all
that belongs to it. What belongs to no tune stands in the first shard: teaching sets, the
folders that are read again, what can be undone. Every shard is made from one state of the
corpus and gets its name when it is whole; the index comes last. So a splitting that was
stopped is gone on with: shards that are there already, of the same state, stay.

Contents: split_corpus, make_shard.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import urllib.parse
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from melodex.corpus.chunks import (
    CHUNK_COLUMNS,
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
)
from melodex.corpus.connection import reading
from melodex.corpus.facets import FACET_TABLES
from melodex.corpus.faults import faults_named
from melodex.corpus.packing import pack, unpack
from melodex.corpus.schema import new_settings
from melodex.corpus.shards.index import (
    INDEX_NAME,
    MOST_SHARDS,
    PENDING_NAME,
    SHARD_SETTING,
    Shard,
    ShardIndex,
    counts_of,
    digest_of,
    write_index,
)
from melodex.corpus.shards.making import NewFile, new_file
from melodex.corpus.shards.routing import routes
from melodex.corpus.writing.rows.packing import by_piece
from melodex.errors import REMEDIES, CorpusError, SettingsError

__all__ = ["MadeShard", "make_shard", "split_corpus"]

OF_TUNES = ("tag", "remark", *FACET_TABLES)
"""Tables whose rows belong to a tune by a column ``tune``, beside places and words."""

HOME_ALONE = ("lesson", "lesson_example", "folder", "change", "taken_out")
"""Tables whose rows belong to no tune: they stand in the first shard."""

CHANGES_AT = 24
"""Where SQLite counts the changes of a file, in four bytes
(https://www.sqlite.org/fileformat2.html, 1.3.7)."""

Progress = Callable[[int, int], None]
MadeShard = tuple[Path, Path, str, int, int]
"""Corpus, folder, name of the set, number of the shard and of how many: what one takes."""


def split_corpus(
    corpus_path: Path,
    folder: Path,
    count: int,
    *,
    dealt: Callable[[Callable[[MadeShard], None], list[MadeShard]], Iterator[None]] = map,
    progress: Progress | None = None,
) -> ShardIndex:
    """Split a corpus file into shards.

    Parameters
    ----------
    corpus_path, folder : Path
        The corpus, and where the shards are to stand; the folder is made.
    count : int
        How many shards, 1 to :data:`~melodex.corpus.shards.index.MOST_SHARDS`.
    dealt : callable, optional
        Makes the shards, as ``map`` does, perhaps several at once.
    progress : callable, optional
        Called with shards made and shards in all.

    Raises
    ------
    SettingsError
        If so many shards cannot be made.
    CorpusError
        If the folder holds shards already or cannot be written, or the corpus is changed
        meanwhile.
    """
    if not 1 <= count <= MOST_SHARDS:
        raise SettingsError(f"a corpus has 1 to {MOST_SHARDS} shards, not {count}")
    refuse_taken(folder)
    shard_set = set_of(corpus_path, count)
    numbers = range(1, count + 1)
    jobs = [(corpus_path, folder, shard_set, number, count) for number in numbers]
    if progress:
        progress(0, count)
    for done, _ in enumerate(dealt(make_shard, jobs), start=1):
        if progress:
            progress(done, count)
    shards = [told(folder / name_of(number, count)) for number in numbers]
    index = ShardIndex(shard_set, tuple(shards))
    write_index(folder, index)
    return index


def refuse_taken(folder: Path) -> None:
    """Make a folder for shards, if it holds none yet."""
    with faults_named(folder):
        if any((folder / name).exists() for name in (INDEX_NAME, PENDING_NAME)):
            raise CorpusError(
                "this folder holds the shards of a corpus already",
                where=str(folder),
                hint=REMEDIES["other folder for shards"],
            )
        folder.mkdir(parents=True, exist_ok=True)


def name_of(number: int, count: int) -> str:
    """The name of a shard's file: names are in order of numbers."""
    return f"shard-{number:0{len(str(count))}}-of-{count}.melodex"


def set_of(corpus_path: Path, count: int) -> str:
    """The name of a set of shards: another for another state of the corpus."""
    with faults_named(corpus_path), reading(corpus_path) as connection:
        connection.execute("BEGIN")
        with corpus_path.open("rb") as file:
            file.seek(CHANGES_AT)
            changes = file.read(4).hex()
        told = f"{digest_of(connection)} {changes} {count}"
    return hashlib.sha256(told.encode("ascii")).hexdigest()[:16]


def make_shard(job: MadeShard) -> None:
    """Make one shard, if it is not there from before."""
    corpus_path, folder, shard_set, number, count = job
    target = folder / name_of(number, count)
    said = f"{shard_set} {number} of {count}"
    with faults_named(target):
        if target.is_symlink() or (target.exists() and not target.is_file()):
            raise CorpusError(
                "a link or no regular file stands where a shard is to stand",
                where=str(target),
                hint=REMEDIES["other folder for shards"],
            )
    if target.exists():
        if setting_of(target) == said:
            return
        # It may be all that is left of another corpus whose index was lost.
        raise CorpusError(
            "a file that is no shard of this corpus as it is now stands in its place",
            where=str(target),
            hint=REMEDIES["other folder for shards"],
        )
    with new_file(target) as made:
        with made.source(corpus_path):
            fill(made, number, count)
            made.put_setting(SHARD_SETTING, said)
        # Only now: what was written before the first row was read counts too.
        if set_of(corpus_path, count) != shard_set:
            raise CorpusError(
                "the corpus was changed meanwhile",
                where=str(corpus_path),
                hint="try again; the shards are made from one state of it",
            )


def setting_of(path: Path) -> str:
    """Which shard a file says it is; empty where it is none."""
    try:
        address = f"file:{urllib.parse.quote(os.fsencode(path.absolute()))}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            rows = connection.execute(
                "SELECT value FROM setting WHERE name = ?", [SHARD_SETTING]
            ).fetchall()
    except sqlite3.Error:
        return ""
    return str(rows[0][0]) if rows else ""


def fill(made: NewFile, number: int, count: int) -> None:
    """Take over what belongs to a shard."""
    connection = made.connection
    shard = routes(connection, count, "source.")
    connection.execute("CREATE TEMP TABLE wanted (tune INTEGER PRIMARY KEY)")
    connection.executemany(
        "INSERT INTO wanted VALUES (?)",
        ([row] for row, place in shard.items() if place == number),
    )
    names = ", ".join(f"'{name}'" for name in new_settings())
    home = number == 1
    made.take("setting", "ORDER BY id" if home else f"WHERE name IN ({names}) ORDER BY id")
    mine = "SELECT tune FROM temp.wanted"
    made.take("tune", f"WHERE id IN ({mine}) ORDER BY id")
    made.take("place", f"WHERE tune IN ({mine}) ORDER BY id")
    for table in ("collection", "kept_source"):
        used = f"SELECT {table} FROM main.place"
        unused = f" OR id NOT IN (SELECT {table} FROM source.place WHERE {table} NOT NULL)"
        made.take(table, f"WHERE id IN ({used}){unused if home else ''} ORDER BY id")
    made.take("read_warning", "WHERE place IN (SELECT id FROM main.place) ORDER BY id")
    for table in (*OF_TUNES, "tune_words"):
        made.take(table, f"WHERE tune IN ({mine}) ORDER BY tune")
    if home:
        for table in HOME_ALONE:
            made.take(table, "ORDER BY id")
    connection.execute("DROP TABLE temp.wanted")
    wanted = {
        row[0] for row in connection.execute("SELECT tune_id FROM main.tune").fetchall()
    }
    for chunk in packed_of(connection, wanted):
        made.put_chunk(chunk)


def packed_of(connection: sqlite3.Connection, wanted: set[str]) -> Iterator[PackedChunk]:
    """The notes of some tunes of the source, packed anew."""
    held: list[TuneNotes] = []
    rows = connection.execute(f"SELECT {CHUNK_COLUMNS} FROM source.chunk ORDER BY id")
    for row in rows.fetchall():
        held += [tune for tune in unpack(PackedChunk(*row)) if tune.tune_id in wanted]
        if len(held) < 2 * TUNES_PER_CHUNK:
            continue
        *full, rest = by_piece(held)
        yield from map(pack, full)
        held = rest
    yield from map(pack, by_piece(held))


def told(path: Path) -> Shard:
    """A shard as the index tells of it."""
    with faults_named(path), reading(path) as connection:
        size = path.stat().st_size
        counts = counts_of(connection)
        return Shard(path.name, *counts, size, digest_of(connection))
