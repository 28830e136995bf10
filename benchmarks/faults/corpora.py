"""What was tried against a corpus, and what was lost: kills, flips, crowds, bad places.

Kills: a child process adds, removes, copies or migrates from an earlier schema, and is
killed (signal 9) at a random moment; afterwards the corpus must pass its check and hold
every tune whose adding was reported, files whole. Flips: one bit of a corpus is turned at
a random place; the check must find it, or everything that the corpus says must be as
before (SQLite leaves room unused in its pages). Crowd: two processes add, one
reads, one copies. Ctrl-C, full disks, files that may not be written, odd names and a
clock that goes backwards: see ``places``. Seeds are fixed; when a signal strikes
is not.

Run:  python -m benchmarks.faults.corpora [--kills N] [--flips N] [--rounds N]
[--rest] [--places] [--keep NAME]
"""

from __future__ import annotations

import os
import random
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from benchmarks.faults.children import (
    Tell,
    reading,
    restore,
    span_of,
    struck,
    tries_left,
    tune_ids,
)
from benchmarks.faults.earlier import kill_migrating
from benchmarks.faults.places import (
    clock_backwards,
    full_disk,
    odd_names,
    stopped,
    unwritable,
)
from benchmarks.faults.rest import rest
from benchmarks.keeping import about, asker, keep
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import MelodexError


def kill_adding(folder: Path, kills: int, draw: random.Random) -> Counter[str]:
    """Kill a process that adds; each goes on where the last was stopped."""
    path, counts = folder / "adding.melodex", Counter[str]()
    CorpusWriter.open(path).close()
    reported: set[str] = set()
    first, span = 0, 0.0
    while tries_left(counts, kills):

        def add(tell: Tell, start: int = first) -> None:
            with CorpusWriter.open(path) as writer:
                for at in range(start, start + 60, 3):
                    report = writer.add_reading(reading(at))
                    tell(" ".join((str(at + 3), *report.added, *report.unchanged)))

        if not span:
            span = span_of(lambda tell: add(tell, 1_000_000))
            reported |= tune_ids(path)
        told, cut = struck(add, draw.uniform(0, span))
        for line in told:
            next_first, *found = line.split()
            first = int(next_first)
            reported.update(found)
        held = tune_ids(path)
        counts["kills"] += cut
        counts["lost tunes"] += len(reported - held)
        counts["files cut in two"] += len(held - reported) not in {0, 3}
        counts["failed checks"] += bool(check_corpus(path).faults)
        reported |= held
    counts["tunes at the end"] = len(reported)
    return counts


def kill_removing(folder: Path, kills: int, draw: random.Random) -> Counter[str]:
    """Kill a process that removes half of the tunes at once."""
    path, counts = folder / "removing.melodex", Counter[str]()
    with CorpusWriter.open(path) as writer:
        writer.add_readings([reading(at) for at in range(0, 90, 3)])
    whole = path.read_bytes()
    every = sorted(tune_ids(path))

    def remove(tell: Tell) -> None:
        with CorpusWriter.open(path) as writer:
            writer.remove(every[::2])

    span = span_of(remove)
    while tries_left(counts, kills):
        restore(path, whole)
        _, cut = struck(remove, draw.uniform(0, span))
        left = tune_ids(path)
        counts["kills"] += cut
        counts["neither old nor new"] += left not in (set(every), set(every[1::2]))
        counts["failed checks"] += bool(check_corpus(path).faults)
        counts["done before the kill"] += len(left) < len(every)
    return counts


def kill_copying(folder: Path, kills: int, draw: random.Random) -> Counter[str]:
    """Kill a process that makes a backup."""
    path, target, counts = (
        folder / "removing.melodex",
        folder / "copy.melodex",
        Counter[str](),
    )

    def copy(tell: Tell) -> None:
        copy_corpus(path, target)

    span = span_of(copy)
    while tries_left(counts, kills):
        target.unlink(missing_ok=True)
        _, cut = struck(copy, draw.uniform(0, span))
        counts["kills"] += cut
        counts["failed checks"] += bool(check_corpus(path).faults)
        if target.exists():
            counts["done before the kill"] += 1
            counts["broken copies under the name"] += bool(check_corpus(target).faults)
    return counts


def everything(path: Path) -> list[object]:
    """All that a corpus says."""
    with closing(sqlite3.connect(path)) as connection:
        said: list[Any] = connection.execute(
            "SELECT name, type, sql FROM sqlite_master ORDER BY 1"
        ).fetchall()
        for name, kind, sql in list(said):
            if kind == "table":
                columns = "*" if "WITHOUT ROWID" in (sql or "") else "rowid, *"
                said.append(connection.execute(f"SELECT {columns} FROM {name}").fetchall())
        for pragma in ("user_version", "application_id"):
            said.append(connection.execute(f"PRAGMA {pragma}").fetchone())
    return said


def flip(folder: Path, flips: int, draw: random.Random) -> Counter[str]:
    """Turn one bit at a time of a corpus of sixty tunes."""
    path, counts = folder / "flipped.melodex", Counter[str]()
    with CorpusWriter.open(path) as writer:
        writer.add_readings([reading(at) for at in range(0, 60, 3)])
    data, before = path.read_bytes(), everything(path)
    counts["bytes of the file"] = len(data)
    for _ in range(flips):
        damaged = bytearray(data)
        damaged[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        path.write_bytes(damaged)
        counts["flips"] += 1
        try:
            report = check_corpus(path)
        except MelodexError:
            counts["found: it cannot be opened"] += 1
            continue
        if report.touched:
            counts["found, tunes named"] += 1
        elif report.faults:
            counts["found, no tune touched"] += 1
        elif everything(path) == before:
            counts["in unused room, nothing changed"] += 1
        else:
            counts["missed"] += 1
    return counts


def crowd(folder: Path) -> Counter[str]:
    """Two processes add while one reads and one copies."""
    path, counts = folder / "crowd.melodex", Counter[str]()
    CorpusWriter.open(path).close()

    def adding(start: int) -> int:
        child = os.fork()
        if child == 0:
            try:
                with CorpusWriter.open(path) as writer:
                    for at in range(start, start + 300, 3):
                        writer.add_reading(reading(at))
                os._exit(0)
            except BaseException:
                os._exit(3)
        return child

    running = {adding(0), adding(10_000)}
    copies = 0
    while running:
        for child in list(running):
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                running.discard(child)
                counts["writers that failed"] += status != 0
        with Corpus.open(path) as corpus:
            rows = corpus.tunes()
            packed = sum(chunk.tune_count for chunk in corpus.chunks())
            counts["readings"] += 1
            counts["half-read"] += not len(rows) == packed == corpus.tune_count
            counts["half-read"] += len(rows) % 3 != 0
        if counts["readings"] % 5 == 0:
            target = folder / f"crowd-copy-{copies}.melodex"
            copy_corpus(path, target)
            counts["copies"] += 1
            counts["broken copies"] += bool(check_corpus(target).faults)
            copies += 1
    counts["tunes added"] = len(tune_ids(path))
    counts["lost tunes"] = 600 - counts["tunes added"]
    counts["failed checks"] = int(bool(check_corpus(path).faults))
    return counts


def measure(
    seed: int, kills: int, flips: int, rounds: int, places_only: bool, rest_only: bool
) -> dict[str, object]:
    """Try everything, in a folder that is thrown away."""
    draw = random.Random(seed)
    result: dict[str, object] = about() | {"sqlite": sqlite3.sqlite_version}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tries: dict[str, Callable[[], Counter[str]]] = {
            "killed while adding": lambda: kill_adding(folder, kills, draw),
            "killed while removing": lambda: kill_removing(folder, kills, draw),
            "killed while copying": lambda: kill_copying(folder, kills, draw),
            "killed while migrating": lambda: kill_migrating(folder, kills, draw),
            "flipped bits": lambda: flip(folder, flips, draw),
            "two add, one reads, one copies": lambda: crowd(folder),
        }
        still: dict[str, Callable[[], Counter[str]]] = {
            "one file at rest": lambda: rest(folder, rounds, draw),
        }
        places: dict[str, Callable[[], Counter[str]]] = {
            "stopped by Ctrl-C": lambda: stopped(folder, kills, draw),
            "a disk that fills up": lambda: full_disk(folder, draw),
            "files that may not be read or written": lambda: unwritable(folder),
            "a clock that goes backwards": lambda: clock_backwards(folder, draw),
            "odd names": lambda: odd_names(folder),
        }
        asked = places if places_only else tries | still | places
        for what, work in (still if rest_only else asked).items():
            result[what] = dict(work())
            print(f"{what}: {result[what]}", flush=True)
    return result


def main() -> None:
    """Try, print, keep the run if asked, and exit 1 if anything was lost."""
    parser = asker(__doc__)
    parser.add_argument("--kills", type=int, default=100, help="of each of four kinds")
    parser.add_argument("--flips", type=int, default=1000)
    parser.add_argument("--places", action="store_true", help="only bad places and Ctrl-C")
    parser.add_argument("--rounds", type=int, default=200, help="of processes at rest")
    parser.add_argument("--seed", type=int, default=2718)
    parser.add_argument("--rest", action="store_true", help="only rounds of processes")
    options = parser.parse_args()
    result = measure(
        options.seed,
        options.kills,
        options.flips,
        options.rounds,
        options.places,
        options.rest,
    )
    text = "".join(f"{name}: {value}\n" for name, value in result.items())
    keep(options.keep, {"result.json": result, "summary.txt": text})
    bad = ("lost", "failed", "broken", "neither", "half-read", "missed", "cut in two")
    wrong = [
        f"{part}: {name}"
        for part, counts in result.items()
        if isinstance(counts, dict)
        for name, count in counts.items()
        if count and any(word in name for word in bad)
    ]
    if wrong:
        sys.exit("not held: " + "; ".join(wrong))


if __name__ == "__main__":
    main()
