"""Inputs built to do harm, each tried once: what was refused, what was slow or large.

Each kind is tried in a process of its own, input after input, from numbers that follow
one another; a number is enough to draw its input again. Files are read, analysed and
made into rows, as adding does; words, options and damaged corpora go through the command
line in this process. An input is taken or refused in words; anything else is a crash: an
exception that is not ours, a traceback, the end of the process. Time is that of the
processor, memory the most that the process held while it was at the input, with all that
Python and its libraries take before it.

Run:  python -m benchmarks.faults.hostile [--count N] [--seed N] [--only KIND ...]
          [--keep NAME]
      python -m benchmarks.faults.hostile --again KIND NUMBER
"""

from __future__ import annotations

import io
import json
import os
import re
import resource
import shutil
import sqlite3
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from contextlib import closing, redirect_stderr, redirect_stdout, suppress
from pathlib import Path
from random import Random
from typing import Any

from benchmarks.faults.built import broken, by_bytes, scores
from benchmarks.faults.built.broken import NUMBERS, WORDS, packed_set, size, value
from benchmarks.faults.fuzz_seeds import demo_corpus, seeds
from benchmarks.faults.fuzz_targets import phrase_target
from benchmarks.keeping import about, asker, keep
from melodex.analysis.keys import with_centres
from melodex.cli import COMMANDS, melodex
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.preparing import prepared
from melodex.errors import MelodexError
from melodex.presentation import pages
from melodex.presentation.data.forms import as_json
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.reading import Choice, read_data
from melodex.reading.recording.reader import read_recording
from melodex.reading.result import ReadTune
from melodex.tasks.describe.describe import describe
from melodex.tasks.lesson.file import read_set
from melodex.tasks.passage import passage_of

MOST_SECONDS = 2.0
MOST_MB = 200.0
END_SECONDS = 60
"""Of the processor for one input, after which the process is ended."""

SCORES = {**scores.MAKERS, **by_bytes.MAKERS}
MAKERS = {**broken.MAKERS, **SCORES}
KINDS = (*MAKERS, "sets")
SHARES = {"options": 0.15, "corpora": 0.05, "words": 0.5}
"""Of the count of the others: these go through a whole command each."""

NAMES = {
    "abc": "a.abc",
    "sheets": "a.musicxml",
    "archives": "a.mxl",
    "midi": "a.mid",
    "kern": "a.krn",
    "mei": "a.mei",
}

Target = Callable[[bytes], str]


def file_target(name: str) -> Target:
    """Reads a file as adding does, its name known."""

    def target(data: bytes) -> str:
        reading = read_data(data, name)
        if not reading.tunes and not reading.refusals:
            raise AssertionError("neither read nor refused")
        prepared(reading, "", Choice(), f"/{name}")
        return "taken" if reading.tunes else "refused"

    return target


def score_target(name: str) -> Target:
    """Reads every line of a file as adding does; describes, maps and writes one.

    Nothing is engraved: that is done by a library, in a process that can be ended.
    """
    lines = Choice(lines="all")

    def target(data: bytes) -> str:
        reading = read_data(data, name, lines)
        if not reading.tunes and not reading.refusals:
            raise AssertionError("neither read nor refused")
        prepared(reading, "", lines, f"/{name}")
        for tune in reading.tunes[:1]:
            with suppress(MelodexError):
                shown(tune)
        return "taken" if reading.tunes else "refused"

    return target


def shown(tune: ReadTune) -> None:
    """What ``describe`` and ``print`` do with a tune, all but engraving."""
    passage = passage_of(with_centres(tune.melody), "", False)
    found = describe(passage, texture=tune.texture)
    as_text(found, Style())
    as_json(found)
    pages.rendered(found, "svg")
    for form in ("abc", "musicxml", "midi"):
        with suppress(MelodexError):
            pages.rendered(passage, form)


def sound_target(data: bytes) -> str:
    """Hears a recording."""
    try:
        read_recording(data, "a.wav")
    except MelodexError:
        return "refused"
    return "taken"


def words_target(corpus: Path) -> Target:
    """Looks for tunes by words, by a title, and by a name."""
    opened = Corpus.open(corpus)

    def target(data: bytes) -> str:
        text = data.decode("utf-8", "surrogatepass")
        try:
            opened.tunes(words=text)
            opened.tunes(title=text)
            opened.resolve(text)
        except MelodexError:
            return "refused"
        return "taken"

    return target


def typed_target(data: bytes) -> str:
    """Reads a phrase."""
    return "taken" if phrase_target(data) == "read" else "refused"


def set_target(data: bytes) -> str:
    """Reads a packed set."""
    try:
        read_set(data, "set.zip")
    except MelodexError:
        return "refused"
    return "taken"


def run(arguments: list[str]) -> str:
    """One command in this process, as a person would type it."""
    # With bytes beneath, as a terminal has: paper and pictures are written there.
    out, told = (
        io.TextIOWrapper(io.BytesIO(), "utf-8", "backslashreplace") for _ in range(2)
    )
    try:
        with redirect_stdout(out), redirect_stderr(told):
            melodex.main(arguments, prog_name="melodex")
    except SystemExit as ended:
        if ended.code not in {0, 1, 2}:
            raise AssertionError(f"exit {ended.code}: {words_in(told)}") from ended
        if ended.code and not (words_in(told) + words_in(out)).strip():
            raise AssertionError(
                f"exit {ended.code} without a word: {arguments}"
            ) from ended
        return "refused" if ended.code else "taken"


def words_in(stream: io.TextIOWrapper) -> str:
    """What was written to a stream over bytes in memory."""
    stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    return stream.buffer.getvalue().decode("utf-8", "replace")


LOOKING = [name for name in COMMANDS if name not in {"add", "demo", "undo", "workbench"}]
"""Commands that may be drawn; none that serves, or fills the folder."""


def option_names(command: str) -> list[str]:
    """What a command and its parts understand."""
    context: Any = None
    found = melodex.get_command(context, command)
    parts = [found, *getattr(found, "commands", {}).values()]
    return sorted({o for part in parts for p in part.params for o in p.opts if o[0] == "-"})


def options_target(corpus: Path) -> Target:
    """Draws a command, options and values, and runs it on a copy of the corpus."""
    copy = corpus.with_name("options.melodex")
    options = {name: [*option_names(name), "--help"] for name in LOOKING}
    keeping = ("--output", "--backup-to", "--write")

    def target(data: bytes) -> str:
        draw = Random(data)
        shutil.copyfile(corpus, copy)
        command = draw.choice(LOOKING)
        given = [command]
        for _ in range(draw.randint(0, 5)):
            name = draw.choice(options[command])
            some = (
                *WORDS,
                *NUMBERS,
                "1-4",
                "C",
                "The Eel Trap",
                "json",
                "html",
                "5 4 3 2 1",
            )
            given += [name] if name not in keeping and draw.random() < 0.7 else []
            given += [draw.choice(some)] if draw.random() < 0.8 else []
        given = [word.replace("\0", "").replace("/", "_") for word in given]
        return run(["--corpus", str(copy), *given])

    return target


def corpora_target(corpus: Path) -> Target:
    """Changes a corpus through SQL as nobody should, and asks it four questions."""
    copy = corpus.with_name("damaged.melodex")

    def target(data: bytes) -> str:
        draw = Random(data)
        for suffix in ("", "-wal", "-shm"):
            Path(f"{copy}{suffix}").unlink(missing_ok=True)
        shutil.copyfile(corpus, copy)
        with closing(sqlite3.connect(copy)) as connection:
            for _ in range(draw.randint(1, 4)):
                damage(connection, draw)
            connection.commit()
        asked = (["list"], ["resemble", "5 4 3 2 1"], ["show", "The Eel Trap"], ["check"])
        return ",".join([run(["--corpus", str(copy), *each]) for each in asked][-1:])

    return target


def damage(connection: sqlite3.Connection, draw: Random) -> None:
    """Change one cell, one row, or what the file is made of."""
    kinds = (
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
    )
    table = draw.choice([row[0] for row in connection.execute(kinds)])
    try:
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    except sqlite3.Error:
        # What was done before has taken away what an index is made of.
        return
    column = draw.choice(columns)
    told = value(draw)
    cell: Any = told if isinstance(told, int | float | None) else json.dumps(told)
    if isinstance(cell, int) and abs(cell) >> 63:
        cell = str(cell)
    if draw.random() < 0.2:
        cell = draw.choice((b"\xff\xfe", bytes(size(draw, 1 << 20)), b"[" * size(draw)))
    kind = draw.random()
    try:
        if kind < 0.85:
            where = "WHERE rowid = (SELECT rowid FROM {0} ORDER BY random() LIMIT 1)"
            where = where.format(table) if draw.random() < 0.7 else ""
            connection.execute(f"UPDATE {table} SET {column} = ? {where}", (cell,))
        elif kind < 0.92:
            connection.execute(f"DROP TABLE {table}")
        elif kind < 0.96:
            connection.execute(f"PRAGMA user_version = {draw.choice((-1, 0, 1, 3, 99))}")
        else:
            endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n)"
            connection.execute("DROP VIEW IF EXISTS tune_overview")
            connection.execute(f"CREATE VIEW tune_overview AS {endless} SELECT i FROM n")
    except sqlite3.Error:
        # Its own rules refuse the change.
        return


def target_of(kind: str, folder: Path) -> tuple[Callable[[int], bytes], Target]:
    """What draws the input of a number, and what it is tried on."""
    os.chdir(folder)
    corpus = demo_corpus(folder)
    if kind == "sets":
        good = seeds("set", corpus)[0]
        return lambda number: packed_set(Random(number), good), set_target
    make = MAKERS[kind]
    name = NAMES.get(kind.split()[0])
    if kind == "sound":
        target: Target = sound_target
    elif name:
        target = (score_target if kind in SCORES else file_target)(name)
    elif kind == "phrases":
        target = typed_target
    else:
        makers = {
            "words": words_target,
            "options": options_target,
            "corpora": corpora_target,
        }
        target = makers[kind](corpus)
    return lambda number: make(Random(number)), target


# Trying, in a process that may end


def peak_mb() -> float:
    """The most that this process has held since it was last told to count anew."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    found = re.search(r"VmHWM:\s*(\d+)", status)
    return int(found[1]) / 1024 if found else 0.0


def tried(kind: str, numbers: range, log: Path) -> None:
    """Try inputs one after the other, a line of the log for each; never returns."""
    soft = resource.getrusage(resource.RUSAGE_SELF)
    with tempfile.TemporaryDirectory() as folder, log.open("a", encoding="utf-8") as out:
        draw, target = target_of(kind, Path(folder))
        for number in numbers:
            data = draw(number)
            out.write(f"{number}\t")
            out.flush()
            soft = resource.getrusage(resource.RUSAGE_SELF)
            limit = int(soft.ru_utime + soft.ru_stime) + END_SECONDS
            resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))
            Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
            start = time.process_time()
            try:
                became = target(data)
            except Exception:
                became = "crash " + json.dumps(traceback.format_exc()[-1500:])
            spent = time.process_time() - start
            out.write(f"{len(data)}\t{spent:.4f}\t{peak_mb():.1f}\t{became}\n")
    sys.stdout.flush()
    os._exit(0)


def of_kind(kind: str, first: int, count: int) -> dict[str, Any]:
    """Try so many inputs of a kind; a process that ends costs the input it was at."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        log.touch()
        done = 0
        while done < count:
            pid = os.fork()
            if not pid:
                tried(kind, range(first + done, first + count), log)
            _, status = os.waitpid(pid, 0)
            lines = log.read_text(encoding="utf-8").splitlines()
            if status and lines and lines[-1].count("\t") < 2:
                with log.open("a", encoding="utf-8") as out:
                    out.write(f"0\t{END_SECONDS}\t0\tcrash ended with {status}\n")
            elif status:
                raise RuntimeError(f"{kind} could not begin: {status}")
            done = len(log.read_text(encoding="utf-8").splitlines())
        rows = [line.split("\t", 4) for line in log.read_text("utf-8").splitlines()]
    return summed(rows)


def summed(rows: list[list[str]]) -> dict[str, Any]:
    """Counts of a kind, and the inputs that stand out, by their numbers."""
    slow = max(rows, key=lambda row: float(row[2]))
    large = max(rows, key=lambda row: float(row[3]))
    crashed = [row for row in rows if row[4].startswith("crash")]
    return {
        "tried": len(rows),
        "taken": sum(row[4].startswith("taken") for row in rows),
        "refused": sum(row[4].startswith("refused") for row in rows),
        "crashes": len(crashed),
        "beyond the time": [int(r[0]) for r in rows if float(r[2]) > MOST_SECONDS][:20],
        "beyond the memory": [int(r[0]) for r in rows if float(r[3]) > MOST_MB][:20],
        "slowest": {
            "number": int(slow[0]),
            "bytes": int(slow[1]),
            "seconds": float(slow[2]),
        },
        "largest": {"number": int(large[0]), "bytes": int(large[1]), "MB": float(large[3])},
        "bytes": sum(int(row[1]) for row in rows),
        "seconds": round(sum(float(row[2]) for row in rows), 1),
        "first crashes": {row[0]: row[4] for row in crashed[:8]},
    }


def told(results: dict[str, dict[str, Any]]) -> str:
    """A table of what became of them."""
    lines = [
        f"{'kind':15}{'tried':>8}{'taken':>8}{'refused':>9}{'crashes':>8}{'> 2 s':>7}"
        f"{'>200 MB':>8}{'slowest':>9}{'largest':>9}"
    ]
    for kind, found in results.items():
        over = [len(found[f"beyond the {what}"]) for what in ("time", "memory")]
        lines.append(
            f"{kind:15}{found['tried']:8,}{found['taken']:8,}{found['refused']:9,}"
            f"{found['crashes']:8}{over[0]:7}{over[1]:8}"
            f"{found['slowest']['seconds']:7.2f} s{found['largest']['MB']:6.0f} MB"
        )
    everything = sum(found["tried"] for found in results.values())
    return "\n".join([*lines, f"{everything:,} inputs in all", ""])


def main() -> None:
    """Try every kind, or draw one input again."""
    parser = asker(__doc__)
    parser.add_argument(
        "--count", type=int, default=1000, help="inputs of each kind of file"
    )
    parser.add_argument("--seed", type=int, default=0, help="the first number")
    parser.add_argument("--only", nargs="*", choices=KINDS, default=KINDS)
    parser.add_argument("--again", nargs=2, metavar=("KIND", "NUMBER"))
    asked = parser.parse_args()
    if asked.again:
        with tempfile.TemporaryDirectory() as folder:
            draw, target = target_of(asked.again[0], Path(folder))
            data = draw(int(asked.again[1]))
            print(len(data), data[:300])
            print(target(data))
        return
    results = {}
    for kind in asked.only:
        count = max(1, int(asked.count * SHARES.get(kind, 1.0)))
        results[kind] = of_kind(kind, asked.seed, count)
        print(told({kind: results[kind]}), flush=True)
    result = {**about("sqlite-utils", "defusedxml", "click"), "kinds": results}
    keep(asked.keep, {"result.json": result, "summary.txt": told(results)})


if __name__ == "__main__":
    main()
