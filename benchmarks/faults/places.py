"""Bad places and bad moments for a corpus: stopped, no room, no permission, odd names.

Ctrl-C: signal 2 at random moments of adding, removing, copying and migrating. A disk
that fills up is a file system in memory of a few megabytes (mounting one takes an
administrator), filled to different degrees. Permissions are tried as a user who owns
nothing. Every name is given to a corpus, to a folder of files and to a backup, by way of
the command line. The clock of the machine is not turned: Python's is.

Contents: stopped, full_disk, unwritable, odd_names, clock_backwards.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from unittest import mock

from benchmarks.faults.children import (
    Tell,
    reading,
    restore,
    span_of,
    struck,
    tries_left,
    tune_ids,
)
from benchmarks.faults.earlier import fill_migrating
from melodex.corpus import schema
from melodex.corpus.care import migrations
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, MelodexError

DISK_BYTES = 10 << 20
"""Three times a corpus of 400 tunes, which a migration copies and writes anew, and more."""
FILLINGS = 40
NOBODY = 65534
LONGEST_NAME = 255
"""Bytes of a name on the usual file systems."""

NAMES = (
    *("a?b#c", "per%20cent%", "spa ce & 'quote' \"two\"", "größe-曲", "🎻🎵", "-leading"),
    *("--corpus", "line\nbreak", "tab\there", "back\\slash", "dollar$HOME", "`tick`", "*"),
    *("semi;colon", "pipe|", "<angle>", "~", "~root", "file:x?mode=ro", ":memory:", "...."),
    *("\x1b[31mred", "\x7f", "a" * (LONGEST_NAME - len(".melodex-journal")), "\u202egnp"),
    *(os.fsdecode(b"not-utf-8-\xff\xfe"), "é" * 60, " ", "NUL", "a.melodex-wal"),
)


def stopped(folder: Path, times: int, draw: random.Random) -> Counter[str]:
    """Ctrl-C at random moments of four kinds of work; the next one goes on from there."""
    path, counts = folder / "stopped.melodex", Counter[str]()
    with CorpusWriter.open(path) as writer:
        writer.add_readings([reading(at) for at in range(0, 90, 3)])
    whole, every = path.read_bytes(), sorted(tune_ids(path))

    def add(tell: Tell) -> None:
        with CorpusWriter.open(path) as writer:
            for at in range(300, 420, 3):
                tell(" ".join(writer.add_reading(reading(at)).added))

    def remove(tell: Tell) -> None:
        with CorpusWriter.open(path) as writer:
            writer.remove(every[::2])

    def copy(tell: Tell) -> None:
        copy_corpus(path, folder / "stopped-copy.melodex")

    def step(connection: sqlite3.Connection) -> None:
        for _ in range(4):
            connection.execute("UPDATE tune SET title = title || '!'")
            time.sleep(0.002)

    def migrate(tell: Tell) -> None:
        old = schema.SCHEMA_VERSION
        changed = {old: step}
        with (
            mock.patch.object(migrations, "STEPS", changed),
            mock.patch.object(schema, "SCHEMA_VERSION", old + 1),
        ):
            migrations.upgrade(path)

    for name, work in (
        ("add", add),
        ("remove", remove),
        ("copy", copy),
        ("migrate", migrate),
    ):
        span = 0.0
        each = Counter[str]()
        while tries_left(each, times // 4):
            restore(path, whole)
            (folder / "stopped-copy.melodex").unlink(missing_ok=True)
            if not span:
                span = span_of(work)
                continue
            told, cut = struck(work, draw.uniform(0, span), signal.SIGINT)
            each["kills"] += cut
            held = tune_ids_of_any(path)
            reported = {tune for line in told for tune in line.split()}
            counts["lost tunes"] += len(reported - held)
            if name == "remove":
                counts["neither old nor new"] += held not in (set(every), set(every[1::2]))
            else:
                counts["lost tunes"] += len(set(every) - held)
            counts["left lying about"] += taken_away(folder, path)
            counts["failed checks"] += not sound(path)
        counts[f"stopped in {name}"] += each["kills"]
    restore(path, whole)
    return counts


def taken_away(folder: Path, path: Path) -> int:
    """How many unfinished files lay beside a corpus; backups are no such files."""
    left = {*folder.glob(f".{path.stem}*"), *folder.glob(".stopped-copy*")}
    left = {each for each in left if ".schema-" not in each.name}
    for each in left:
        each.unlink()
    return len(left)


def tune_ids_of_any(path: Path) -> set[str]:
    """Ids of all tunes, whatever the schema's version says."""
    with closing(sqlite3.connect(path)) as connection:
        return {row[0] for row in connection.execute("SELECT tune_id FROM tune")}


def sound(path: Path) -> bool:
    """Whether SQLite finds nothing wrong."""
    with closing(sqlite3.connect(path)) as connection:
        found: str = connection.execute("PRAGMA integrity_check").fetchone()[0]
        return found == "ok"


def full_disk(folder: Path, draw: random.Random) -> Counter[str]:
    """Add, copy and migrate on a disk with less and less room until it says no."""
    counts = Counter[str]()
    disk = folder / "disk"
    disk.mkdir()
    if os.geteuid() != 0:
        counts["not run: mounting takes an administrator"] += 1
        return counts
    words = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(disk)]
    subprocess.run(words, check=True)
    try:
        for number in range(FILLINGS):
            fill_up(disk, number, draw, counts)
        counts += fill_migrating(folder, disk, draw, times=FILLINGS)
    finally:
        subprocess.run(["umount", str(disk)], check=True)
    return counts


def fill_up(disk: Path, number: int, draw: random.Random, counts: Counter[str]) -> None:
    """One corpus on a disk that has only some room left."""
    for left in disk.iterdir():
        left.unlink()
    path, reported = disk / "full.melodex", set[str]()
    with CorpusWriter.open(path) as writer:
        reported |= set(writer.add_reading(reading(number * 10_000)).added)
    room = shutil.disk_usage(disk).free
    # What is taken away at the end has to make room for all that the journal holds to be
    # folded in while the journal is still there, or nothing can be tried then.
    (disk / "ballast").write_bytes(bytes(draw.randrange(room // 2, room)))
    counts["disks filled"] += 1
    try:
        with CorpusWriter.open(path) as writer:
            for at in range(3, 9000, 30):
                given = [reading(number * 10_000 + n) for n in range(at, at + 30, 3)]
                for report in writer.add_readings(given):
                    reported |= set(report.added)
    except CorpusError as error:
        counts["said: " + error.what] += 1
    try:
        counts["lost tunes while full"] += len(reported - tune_ids(path))
    except CorpusError as error:
        # SQLite reads a file whose log is not folded in with an index beside it.
        counts["while full, reading said: " + error.what] += 1
    try:
        copy_corpus(path, disk / "copy.melodex")
        counts["copies that had room"] += 1
    except CorpusError as error:
        counts["copy said: " + error.what] += 1
        counts["broken copies under the name"] += (disk / "copy.melodex").exists()
    (disk / "ballast").unlink()
    (disk / "copy.melodex").unlink(missing_ok=True)
    counts["lost tunes"] += len(reported - tune_ids(path))
    counts["failed checks"] += bool(check_corpus(path).faults)
    with CorpusWriter.open(path) as writer:
        reported |= set(writer.add_reading(reading(number * 10_000 + 9990)).added)
    counts["failed after room was made"] += not reported <= tune_ids(path)


def unwritable(folder: Path) -> Counter[str]:
    """What a user who owns nothing is told, and what stays of the corpus."""
    counts = Counter[str]()
    home = folder / "closed"
    home.mkdir()
    folder.chmod(0o755)
    path = home / "closed.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(reading(0))
    before = path.read_bytes()

    def write(target: Path) -> Callable[[], object]:
        return lambda: CorpusWriter.open(target).close()

    works: dict[str, Callable[[], object]] = {
        "read": lambda: tune_ids(path),
        "check": lambda: check_corpus(path),
        "write": lambda: add_one(path),
        "copy beside it": lambda: copy_corpus(path, home / "copy.melodex"),
        "make another": write(home / "other.melodex"),
        "make one in a folder that cannot be made": write(home / "new" / "o.melodex"),
    }
    for file_mode in (0o644, 0o444, 0o000):
        for folder_mode in (0o755, 0o555, 0o000):
            for name, work in works.items():
                path.chmod(file_mode)
                home.chmod(folder_mode)
                said = as_nobody(work)
                home.chmod(0o755)
                path.chmod(0o644)
                counts["tries"] += 1
                counts["done" if said == "done" else "told in words"] += 1
                counts["failed without words"] += said.startswith("raised")
                if said.startswith("raised"):
                    counts[f"failed {name}: {said[:80]}"] += 1
                counts["failed: the corpus changed"] += path.read_bytes() != before
    return counts


def add_one(path: Path) -> None:
    """Add a file of tunes."""
    with CorpusWriter.open(path) as writer:
        writer.add_reading(reading(500))


def as_nobody(work: Callable[[], object]) -> str:
    """Run work as a user who owns nothing; say what came of it."""

    def run(tell: Tell) -> None:
        if os.geteuid() == 0:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        try:
            work()
            tell("done")
        except MelodexError as error:
            tell(f"said {error.what}")
        except BaseException as error:
            tell(f"raised {error!r}")

    from benchmarks.faults.children import started

    child, pipe = started(run)
    os.waitpid(child, 0)
    with os.fdopen(pipe) as told:
        return told.read().split("\n")[0]


def odd_names(folder: Path) -> Counter[str]:
    """Add, search, check and copy under every odd name, as a shell would ask for it."""
    counts = Counter[str]()
    source = "X:1\nT:Odd\nM:4/4\nL:1/4\nK:G\nGABc|dedB|cAFD|G4|\n"
    for number, name in enumerate(NAMES):
        home = folder / f"odd-{number}"
        tunes = home / f"{name[:200]}-folder"
        tunes.mkdir(parents=True)
        (tunes / f"{name[:200]}.abc").write_text(source)
        corpus, copy = f"{name}.melodex", f"copy {name[:200]}.melodex"
        # Given relative to where we are, as a person types it; ./ only where needed.
        asked = [
            ["add", "--", tunes.name],
            ["list"],
            ["resemble", "5 6 7 1' 2' 3' 2'"],
            ["check"],
            ["backup", "--", copy],
        ]
        counts["names"] += 1
        for words in asked:
            line = [sys.executable, "-m", "melodex", f"--corpus={corpus}", *words]
            done = subprocess.run(line, cwd=home, capture_output=True, check=False)
            counts["commands"] += 1
            failed = done.returncode != 0 or b"Traceback" in done.stderr
            counts["failed commands"] += failed
            if failed:
                counts[f"failed {name!r} {words[0]}: {done.stderr[-200:]!r}"] += 1
        left = sorted(each.name for each in home.iterdir())
        counts["failed: other files appeared"] += left != sorted((corpus, copy, tunes.name))
    return counts


def clock_backwards(folder: Path, draw: random.Random) -> Counter[str]:
    """Work while every look at the clock of the day gives an earlier time."""
    path, counts = folder / "clock.melodex", Counter[str]()
    now = [4_000_000_000.0]

    def earlier() -> float:
        now[0] -= draw.uniform(0, 86_400)
        return now[0]

    with mock.patch("time.time", earlier):
        with CorpusWriter.open(path) as writer:
            for at in range(0, 60, 3):
                writer.add_reading(reading(at))
        os.utime(path, (0, 0))
        with CorpusWriter.open(path) as writer:
            writer.add_reading(reading(60))
            again = writer.add_readings([reading(at) for at in range(0, 63, 3)])
        copy_corpus(path, folder / "clock-copy.melodex")
    counts["files added"] = 21
    counts["lost tunes"] = 63 - len(tune_ids(path))
    counts["failed: added twice"] = sum(len(report.added) for report in again)
    counts["failed checks"] = int(bool(check_corpus(path).faults))
    counts["broken copies"] = int(bool(check_corpus(folder / "clock-copy.melodex").faults))
    return counts
