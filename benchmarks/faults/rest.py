"""One file at rest: rounds of processes on one corpus, with and without kills.

In a round one to eight processes add, remove, undo, read, check and copy at once; in
every second round some of them are killed (signal 9) at a random moment. When all have
ended, the file alone is copied as ``cp`` copies it: it must pass SQLite's check, and hold
every tune whose adding was reported and none whose removal was. Where somebody was
killed, one reading comes first, which has to fold the journal in. Parts that killed
copies have left must be gone after the next copy.

Contents: rest.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import time
from collections import Counter
from contextlib import closing
from functools import partial
from pathlib import Path

from benchmarks.faults.children import Tell, reading, started
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.connection import journal_bytes
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.files import PART_MARK

MOST_PROCESSES = 8
TURNS = 3
LONGEST_BEFORE_A_KILL = 0.4


def work(path: Path, seed: int, tell: Tell) -> None:
    """A few things in turn; what is on disk is told."""
    draw = random.Random(seed)
    mine: list[str] = []
    for turn in range(TURNS):
        kind = draw.choice(["add", "add", "remove", "read", "check", "copy"])
        if kind == "add":
            with CorpusWriter.open(path) as writer:
                added = writer.add_reading(reading(100 * seed + 10 * turn)).added
                tell(" ".join(("added", *added)))
                mine += added
        elif kind == "remove" and mine:
            gone = mine.pop()
            tell(f"removing {gone}")
            with CorpusWriter.open(path) as writer:
                writer.remove([gone])
            tell(f"removed {gone}")
        elif kind == "check":
            if check_corpus(path).faults:
                raise ValueError("a check failed")
        elif kind == "copy":
            copy_corpus(path, path.with_name(f"copy-{seed % 8}"), replace=True)
        else:
            with Corpus.open(path) as corpus:
                corpus.tunes()
                time.sleep(draw.uniform(0, 0.02))


def alone(path: Path) -> set[str] | None:
    """What a plain copy of the file holds; None where SQLite finds fault with it."""
    copy = path.with_name("alone")
    shutil.copyfile(path, copy)
    with closing(sqlite3.connect(f"file:{copy}?immutable=1", uri=True)) as connection:
        try:
            (verdict,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
            rows = connection.execute("SELECT tune_id FROM tune").fetchall()
        except sqlite3.DatabaseError:
            return None
    return {row[0] for row in rows} if verdict == "ok" else None


def rest(folder: Path, rounds: int, draw: random.Random) -> Counter[str]:
    """Many rounds on one corpus."""
    home = folder / "rest"
    home.mkdir()
    path, counts = home / "rest.melodex", Counter[str]()
    CorpusWriter.open(path).close()
    there: set[str] = set()
    unsure: set[str] = set()
    for number in range(rounds):
        kills = number % 2 == 1
        children = [
            started(partial(work, path, 1000 + 8 * number + worker))
            for worker in range(draw.randint(1, MOST_PROCESSES))
        ]
        counts["rounds"] += 1
        counts["processes"] += len(children)
        if kills:
            time.sleep(draw.uniform(0, LONGEST_BEFORE_A_KILL))
            for child, _ in draw.sample(children, draw.randint(1, len(children))):
                os.kill(child, signal.SIGKILL)
        killed = ended(children, there, unsure, counts)
        if killed:
            counts["rounds with a kill"] += 1
            counts["of those: the file alone was whole at once"] += not journal_bytes(path)
            Corpus.open(path).close()
        counts["failed to leave one file"] += bool(journal_bytes(path))
        held = alone(path)
        counts["broken copies"] += held is None
        if held is not None:
            counts["lost tunes"] += len(there - held - unsure)
            # Of those who were killed, what was not told may be there or not.
            unsure.clear()
            there = held
    copy_corpus(path, home / "last")
    counts["broken: parts of killed copies left"] = sum(
        PART_MARK in each.name for each in home.iterdir()
    )
    counts["failed checks"] = int(bool(check_corpus(path).faults))
    counts["tunes at the end"] = len(there)
    return counts


def ended(
    children: list[tuple[int, int]],
    there: set[str],
    unsure: set[str],
    counts: Counter[str],
) -> int:
    """Wait for all; learn what they told; return how many were killed."""
    killed = 0
    for child, pipe in children:
        _, status = os.waitpid(child, 0)
        killed += os.WIFSIGNALED(status)
        counts["failed processes"] += not os.WIFSIGNALED(status) and status != 0
        with os.fdopen(pipe) as told:
            for line in told.read().split("\n")[:-1]:
                what, *ids = line.split()
                if what == "added":
                    there.update(ids)
                elif what == "removing":
                    unsure.update(ids)
                else:
                    there.difference_update(ids)
    counts["kills"] += killed
    return killed
