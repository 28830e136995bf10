"""Every two commands that write, at once on one corpus: is it as if one came first?

A corpus is made that has something for each command to do. Two commands are started at
once on a copy of it, now the one and now the other a little earlier. Then the corpus must
be as one of the two orders would have left it; where a command says that it could not be
done, as the other alone would have. It must pass the check, and the file alone be whole.
A command that ends by anything but an error in words has failed.

Run:  python -m benchmarks.faults.pairs [--rounds N] [--seed N] [--keep NAME]
"""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from functools import partial
from itertools import combinations_with_replacement
from pathlib import Path
from typing import Any

from benchmarks.faults.children import Tell, started
from benchmarks.keeping import about, asker, keep, line_by_line
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.connection import journal_bytes
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import MelodexError
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.refresh import differences, refresh
from melodex.tasks.collection.holdings import remove_from, remove_tunes, tag_tunes
from melodex.tasks.collection.remarks import write_remark
from melodex.tasks.collection.undo import undo
from melodex.tasks.lesson import keeping, sets

AS_LISTED = {("remove a file", "undo"): ("undo", "remove what was listed")}
"""What two commands may leave besides: a removal takes no more than it has listed, though
what the other brings back lies in the same file."""

LONGEST_HEAD_START = 0.06
"""Seconds by which one may begin earlier: about what a short command takes."""

SET = "For Monday"


def abc(first: int, tunes: int = 3) -> str:
    """A file of invented tunes."""
    out = []
    for number in range(first, first + tunes):
        draw = random.Random(number)
        bars = "|".join("".join(draw.choices("CDEFGABcde", k=8)) for _ in range(8))
        out.append(f"X:{number}\nT:Air {number}\nM:4/4\nL:1/8\nK:G\n{bars}|\n")
    return "\n".join(out)


def make(folder: Path) -> Path:
    """A corpus with a folder, a set, a removal that can be undone, and things to come."""
    home, more = folder / "home", folder / "more"
    for place in (home, more):
        place.mkdir()
    for first in (0, 10, 20):
        (home / f"{first}.abc").write_text(abc(first), encoding="utf-8")
    path = folder / "base.melodex"
    add_paths(path, [home])
    with Corpus.open(path) as corpus:
        found = [
            keeping.found_by_hand(corpus, f"Air {number}", bars="1-4") for number in (0, 1)
        ]
    keeping.keep(path, SET, found, create=True)
    remove_tunes(path, ["Air 21"])
    (home / "30.abc").write_text(abc(30), encoding="utf-8")
    (home / "10.abc").unlink()
    (more / "40.abc").write_text(abc(40), encoding="utf-8")
    return path


def keep_passage(path: Path) -> None:
    """Keep a passage in the set."""
    with Corpus.open(path) as corpus:
        found = keeping.found_by_hand(corpus, "Air 2", bars="5-8")
    keeping.keep(path, SET, [found])


def refreshed(path: Path, *, remove_gone: bool) -> None:
    """Bring the corpus in step with its folder."""
    refresh(path, differences(path), remove_gone=remove_gone)


def compacted(path: Path) -> None:
    """What another program may do."""
    with closing(sqlite3.connect(path, timeout=30)) as connection:
        connection.execute("VACUUM")


COMMANDS: dict[str, Callable[[Path], object]] = {
    "add": lambda path: add_paths(path, [path.parent.parent / "more"]),
    "refresh": partial(refreshed, remove_gone=False),
    "refresh, gone": partial(refreshed, remove_gone=True),
    "remove": lambda path: remove_tunes(path, ["Air 2"]),
    "remove a file": lambda path: remove_from(path, source=str(home_of(path) / "20.abc")),
    "undo": undo,
    "repair": repair_corpus,
    "backup": lambda path: copy_corpus(path, path.with_name("copy"), replace=True),
    "compact": compacted,
    "tag": lambda path: tag_tunes(path, "slow", ["Air 1", "Air 2"]),
    "remark": lambda path: write_remark(path, "Air 22", "Heard on a barge"),
    "keep": keep_passage,
    "drop": lambda path: sets.drop(path, SET, [1]),
    "note": lambda path: sets.annotate(path, SET, 2, "slowly"),
    "topic": lambda path: sets.alter_lesson(path, SET, topic="Turns"),
    "level": lambda path: sets.alter_lesson(path, SET, level="two"),
}


def listed_removed(path: Path) -> None:
    """What a removal of a file does that has listed two tunes of it."""
    with Corpus.open(path) as corpus:
        only = [row.tune_id for row in corpus.tunes() if row.title in {"Air 20", "Air 22"}]
    with CorpusWriter.open(path) as writer:
        remove_places(writer, source=str(home_of(path) / "20.abc"), only=only)


def home_of(path: Path) -> Path:
    """The folder that the corpus was made from."""
    return path.parent.parent / "home"


HIDDEN: dict[str, Callable[[Path], object]] = {"remove what was listed": listed_removed}
"""What is never run at once with another."""

STATE = {
    "tunes": "SELECT tune_id, title, melody FROM tune",
    "places": "SELECT file, number, occurrence, tune_id FROM place "
    "JOIN tune ON tune.id = place.tune",
    "tags": "SELECT tune_id, name FROM tag JOIN tune ON tune.id = tag.tune",
    "remarks": "SELECT tune_id, text FROM remark JOIN tune ON tune.id = remark.tune",
    "sets": "SELECT name, topic, level, notes FROM lesson",
    "passages": "SELECT name, position, tune_id, first_note, last_note, note "
    "FROM lesson_example JOIN lesson ON lesson.id = lesson_example.lesson",
    "folders": "SELECT path FROM folder",
    "changes": "SELECT kind, (SELECT group_concat(name) FROM (SELECT name FROM taken_out "
    "WHERE change = change.id AND kind IN ('tune', 'set') ORDER BY name)) FROM change",
}


def state_of(path: Path) -> dict[str, list[Any]]:
    """All that a musician could miss."""
    with Corpus.open(path) as corpus:
        found = {name: sorted(corpus.query(sql), key=str) for name, sql in STATE.items()}
        found["matched"] = [(corpus.tune_count, corpus.note_count)]
    return found


def run(name: str, path: Path, tell: Tell) -> None:
    """One command; what it says where it could not be done."""
    try:
        (COMMANDS | HIDDEN)[name](path)
    except MelodexError as error:
        tell(f"said: {error}")
    except sqlite3.OperationalError as error:
        # Of the other program, which waits as long as it was told to.
        if name != "compact":
            raise
        tell(f"said: {error}")


class Pairs:
    """Pairs of commands on copies of one corpus."""

    def __init__(self, folder: Path, draw: random.Random) -> None:
        self.folder, self.draw = folder, draw
        self.base = make(folder)
        self.counts: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.known: dict[tuple[str, ...], dict[str, list[Any]]] = {}

    def copy(self) -> Path:
        """A fresh copy, beside nothing."""
        home = self.folder / "copy"
        shutil.rmtree(home, ignore_errors=True)
        home.mkdir()
        return Path(shutil.copy(self.base, home / "tunes.melodex"))

    def after(self, *names: str) -> dict[str, list[Any]]:
        """What some commands leave, one after the other."""
        if names not in self.known:
            path = self.copy()
            for name in names:
                run(name, path, lambda said: None)
            self.known[names] = state_of(path)
        return self.known[names]

    def at_once(self, names: tuple[str, str]) -> None:
        """Two commands on one corpus."""
        orders = [self.after(*names), self.after(*reversed(names))]
        if names in AS_LISTED:
            orders.append(self.after(*AS_LISTED[names]))
        path = self.copy()
        head_start = self.draw.uniform(0, LONGEST_HEAD_START)
        children = []
        for name in names if self.draw.random() < 0.5 else names[::-1]:
            children.append((name, *started(partial(run, name, path))))
            time.sleep(head_start)
            head_start = 0.0
        refused = []
        for name, child, pipe in children:
            _, status = os.waitpid(child, 0)
            with os.fdopen(pipe) as told:
                said = told.read().strip()
            if status:
                self.fault(names, f"{name} failed")
            if said:
                self.counts["commands that could not be done, in words"] += 1
                refused.append((name, said))
        self.counts["pairs"] += 1
        if len(refused) == 2:
            orders.append(self.after())
        for name, _ in refused:
            other = names[1 - names.index(name)]
            orders.append(self.after(other))
        if journal_bytes(path):
            self.fault(names, "the file alone is not whole")
        found = state_of(path)
        if found not in orders:
            differing = [
                part for part in found if all(found[part] != o[part] for o in orders)
            ]
            self.fault(names, f"as in no order: {differing or 'parts of both'}; {refused}")
        if check_corpus(path).faults:
            self.fault(names, "the check fails")

    def fault(self, names: tuple[str, str], what: str) -> None:
        """Count what did not hold."""
        self.counts["failed"] += 1
        self.wrong.append(f"{names[0]} and {names[1]}: {what}")
        print(self.wrong[-1], flush=True)


def main() -> None:
    """Try, print, keep the run if asked, and exit 1 if anything did not hold."""
    parser = asker(__doc__)
    parser.add_argument("--rounds", type=int, default=3, help="of every pair")
    parser.add_argument("--seed", type=int, default=314)
    parser.add_argument("--only", nargs="*", choices=list(COMMANDS), default=list(COMMANDS))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        pairs = Pairs(Path(name), random.Random(options.seed))
        for _ in range(options.rounds):
            for names in combinations_with_replacement(options.only, 2):
                pairs.at_once(names)
    result: dict[str, Any] = {**about(), "sqlite": sqlite3.sqlite_version}
    result |= {"commands": list(COMMANDS), **pairs.counts, "wrong": pairs.wrong}
    text = line_by_line(result)
    print(text)
    keep(options.keep, {"result.json": result, "summary.txt": text})
    if pairs.wrong:
        sys.exit(f"{len(pairs.wrong)} did not hold")


if __name__ == "__main__":
    main()
