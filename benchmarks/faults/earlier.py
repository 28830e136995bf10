"""A corpus as an earlier version would have written it, and what bringing it up to date
comes to when it is killed, has no room, or is done twice at once.

Conventions: the tables are those of ``tests/corpus/versions``, a small corpus that each
version itself wrote; the rows are those of a corpus of today, column by column, with the
checksums of their time.

Contents: of_schema, kill_migrating, fill_migrating.
"""

from __future__ import annotations

import gzip
import os
import random
import shutil
import sqlite3
import tempfile
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

from benchmarks.faults.children import (
    Tell,
    reading,
    restore,
    started,
    struck,
    tries_left,
    tune_ids,
)
from melodex.corpus import schema
from melodex.corpus.care import migrations
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.chunks import ID_BYTES, LEADING_BYTES, checksum_of
from melodex.corpus.rows import row_crc32
from melodex.corpus.writing.rows.words import fill_words, index_words
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError
from melodex.melody.tune_id import leading

VERSIONS = Path(__file__).parents[2] / "tests" / "corpus" / "versions"
EARLIER = range(1, schema.SCHEMA_VERSION)
TUNES_OF_A_DISK = 400
"""Enough that a migration needs more pages than SQLite holds in memory at once."""


def of_schema(path: Path, version: int, target: Path) -> None:
    """Write a corpus of today as a corpus of an earlier schema at another place."""
    target.unlink(missing_ok=True)
    target.touch()
    with (
        tempfile.NamedTemporaryFile() as kept,
        closing(sqlite3.connect(target, isolation_level=None)) as connection,
    ):
        packed = VERSIONS / f"schema-{version}.melodex.gz"
        kept.write(gzip.decompress(packed.read_bytes()))
        kept.flush()
        connection.execute("ATTACH ? AS model", (kept.name,))
        connection.execute("ATTACH ? AS today", (str(path),))
        connection.execute("BEGIN")
        made = connection.execute(
            "SELECT type, name, sql FROM model.sqlite_master WHERE sql IS NOT NULL "
            "AND name NOT LIKE 'tune_words_%' AND name NOT LIKE 'sqlite_%'"
        ).fetchall()
        for kind in ("table", "index", "view"):
            for what, name, sql in made:
                if what == kind:
                    connection.execute(sql)
                if what == kind == "table" and name != "tune_words":
                    copy_rows(connection, name)
        # Facets in the tables of then are of the kind of then: to be made anew.
        connection.execute(
            "UPDATE main.setting SET (value, row_crc32) = (SELECT value, row_crc32 "
            "FROM model.setting WHERE name = 'facet_version') WHERE name = 'facet_version'"
        )
        if any(name == "tune_words" for _, name, _ in made):
            index_words(connection)
            fill_words(connection)
        connection.execute("COMMIT")
        (number,) = connection.execute("PRAGMA model.application_id").fetchone()
        connection.execute(f"PRAGMA application_id = {number}")
        connection.execute(f"PRAGMA user_version = {version}")


def copy_rows(connection: sqlite3.Connection, table: str) -> None:
    """Rows of today in the columns of then."""
    columns = [row[1] for row in connection.execute(f"PRAGMA main.table_info({table})")]
    names = ", ".join(columns)
    rows = [
        of_then(dict(zip(columns, row, strict=True)))
        for row in connection.execute(f"SELECT {names} FROM today.{table}")
    ]
    if table in schema.CHECKED_COLUMNS and columns[-1] == "row_crc32":
        rows = [(*row[:-1], row_crc32(row[:-1])) for row in rows]
    marks = ", ".join("?" * len(columns))
    connection.executemany(f"INSERT INTO main.{table} ({names}) VALUES ({marks})", rows)


def of_then(row: dict[str, Any]) -> tuple[Any, ...]:
    """A row of today with ids as they were before schema 5."""
    for name in {"tune_id", "piece"} & row.keys():
        row[name] = leading(row[name])
    if "tune_ids" in row:
        ids = row["tune_ids"]
        row["tune_ids"] = b"".join(
            ids[at : at + LEADING_BYTES] for at in range(0, len(ids), ID_BYTES)
        )
        row["checksum"] = checksum_of(
            row["tune_ids"], row["lengths"], row["notes"], row.get("pieces", b"")
        )
    return tuple(row.values())


def held(path: Path) -> set[str]:
    """The tunes of a corpus, by the digits that ids had before schema 5."""
    return {leading(tune_id) for tune_id in tune_ids(path)}


def made_earlier(folder: Path, name: str, tunes: int) -> dict[int, Path]:
    """Corpora of every earlier schema that hold the same tunes."""
    path = folder / f"{name}.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_readings([reading(at) for at in range(0, tunes, 3)])
    found = {version: folder / f"{name}-{version}.melodex" for version in EARLIER}
    for version, target in found.items():
        of_schema(path, version, target)
    return found


def version_of(path: Path) -> int:
    """The schema that a file says it has."""
    with closing(sqlite3.connect(path)) as connection:
        found: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return found


def kill_migrating(folder: Path, kills: int, draw: random.Random) -> Counter[str]:
    """Kill a process, or one of two at once, that brings each earlier schema to today's."""
    counts = Counter[str]()
    for version, path in made_earlier(folder, "migrating", 300).items():
        whole = path.read_bytes()
        each = Counter[str]()
        span = span_of_one(path)
        while tries_left(each, -(-kills // len(EARLIER))):
            restore(path, whole)
            each += killed_once(
                path, version, draw.uniform(0, span), each["tries"] % 2 == 1
            )
        del each["tries"]
        counts[f"kills from schema {version}"] = each["kills"]
        counts += each
    return counts


def span_of_one(path: Path) -> float:
    """Seconds that bringing a corpus up to date takes when nobody kills it."""
    from benchmarks.faults.children import span_of

    return span_of(lambda tell: migrations.upgrade(path))


def killed_once(path: Path, version: int, seconds: float, by_two: bool) -> Counter[str]:
    """Bring a corpus up to date, by one process or two; kill one; open it again."""
    counts = Counter[str]()

    def upgrade(tell: Tell) -> None:
        migrations.upgrade(path)

    with closing(sqlite3.connect(path)) as connection:
        every = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
    other = started(upgrade) if by_two else None
    _, cut = struck(upgrade, seconds)
    if other:
        _, status = os.waitpid(other[0], 0)
        os.close(other[1])
        counts["failed processes"] += status != 0
        counts["two at once"] += 1
    counts["kills"] += cut
    stands_at = version_of(path)
    counts["done before the next opening"] += stands_at == schema.SCHEMA_VERSION
    counts["neither old nor new"] += stands_at not in {version, schema.SCHEMA_VERSION}
    counts["lost tunes"] += len(every - held(path))
    # A writer makes facets of an older kind anew, which a check asks for.
    CorpusWriter.open(path).close()
    counts["failed checks"] += bool(check_corpus(path).faults)
    backups = list(path.parent.glob(f"{path.name}.schema-*"))
    counts["failed: more than one backup"] += len(backups) > 1
    for backup in backups:
        counts["broken backups"] += version_of(backup) != version
        with closing(sqlite3.connect(backup)) as connection:
            rows = connection.execute("SELECT tune_id FROM tune").fetchall()
        counts["broken backups"] += {row[0] for row in rows} != every
    return counts


def fill_migrating(
    folder: Path, disk: Path, draw: random.Random, times: int
) -> Counter[str]:
    """Bring earlier corpora up to date on a disk with less room than that takes."""
    counts = Counter[str]()
    earlier = made_earlier(folder, "filling", TUNES_OF_A_DISK)
    for number in range(times):
        version = draw.choice(EARLIER)
        for left in disk.iterdir():
            left.unlink()
        path = disk / "earlier.melodex"
        shutil.copyfile(earlier[version], path)
        with closing(sqlite3.connect(path)) as connection:
            every = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
        room = shutil.disk_usage(disk).free
        # From no room at all to some more than a copy and the new tables take.
        left_free = min(room - 1, round(3.5 * path.stat().st_size * number / times))
        (disk / "ballast").write_bytes(bytes(room - left_free))
        counts["migrations on a full disk"] += 1
        try:
            migrations.upgrade(path)
            counts["migrations that had room"] += 1
        except CorpusError as error:
            counts["migrating said: " + error.what] += 1
            counts["failed: changed without being done"] += version_of(path) != version
        (disk / "ballast").unlink()
        counts["lost tunes"] += len(every - held(path))
        CorpusWriter.open(path).close()
        counts["failed checks"] += bool(check_corpus(path).faults)
        counts["failed after room was made"] += version_of(path) != schema.SCHEMA_VERSION
    return counts
