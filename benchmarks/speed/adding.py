"""How fast tunes go into a corpus, and what one more costs when it is large.

Invented tunes of about seventy notes are added by the hundred from ABC text, read
and written in one process; then single tunes are added to the full corpus, a
transaction each. Database work is what happens between beginning to write and the
end of the commit (fsync included); preparing rows is told apart from it.

Before that the whole of ``add`` is timed, files on disk to corpus on disk, with one
process and with several in turn: invented tunes, and O'Neill, Ryan and Aird as they
stand in music21's corpus. Starting the processes counts.

Run:  python -m benchmarks.speed.adding [--tunes N] [--rounds N] [--keep NAME]
"""

from __future__ import annotations

import os
import random
import resource
import sqlite3
import statistics
import tempfile
import time
from pathlib import Path

from benchmarks.keeping import about, asker, keep
from benchmarks.material import MUSIC21
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.writing.preparing import prepared
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import Choice, FileReading, read_bytes
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.pool import usual_workers

TUNES_PER_FILE = 100
SINGLES = 200
FILES_OF_WHOLE_WAY = 40
COLLECTIONS = ("airdsAirs", "oneills1850", "ryansMammoth")


def invented(first: int, tunes: int) -> str:
    """ABC of some invented tunes."""
    parts = []
    for number in range(first, first + tunes):
        draw = random.Random(number)
        count = draw.randrange(8, 28)
        bars = "|".join("".join(draw.choices("CDEFGABcde", k=4)) for _ in range(count))
        parts.append(f"X:{number}\nT:Air {number}\nM:4/4\nL:1/4\nK:G\n{bars}|\n")
    return "\n".join(parts)


def reading(first: int, tunes: int) -> FileReading:
    """What a file of invented tunes gives."""
    return read_bytes(invented(first, tunes).encode(), "abc", f"load/{first}.abc")


def whole_way(rounds: int) -> dict[str, object]:
    """The whole of ``add`` with one process and with several, in turn."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "invented"
        folder.mkdir()
        for first in range(0, FILES_OF_WHOLE_WAY * TUNES_PER_FILE, TUNES_PER_FILE):
            text = invented(first, TUNES_PER_FILE)
            (folder / f"{first:06}.abc").write_text(text)
        paths = {
            "invented, no repeats marked": [folder],
            "O'Neill, Ryan and Aird": [MUSIC21 / name for name in COLLECTIONS],
        }
        return {what: timed_in_turn(given, rounds) for what, given in paths.items()}


def timed_in_turn(paths: list[Path], rounds: int) -> dict[str, object]:
    """Tunes a second of the clock and of all processors, by number of processes."""
    add_paths(Path(tempfile.mkdtemp()) / "warm.melodex", paths[:1], workers=1)
    tries: dict[str, list[dict[str, float]]] = {}
    for _ in range(rounds):
        for workers in dict.fromkeys((1, usual_workers())):
            with tempfile.TemporaryDirectory() as folder:
                cpu, clock = processor_seconds(), time.perf_counter()
                added = add_paths(Path(folder) / "c.melodex", paths, workers=workers).added
                seconds = time.perf_counter() - clock
                busy = processor_seconds() - cpu
            tries.setdefault(f"{workers} reading", []).append(
                {
                    "tunes": added,
                    "tunes per second of the clock": round(added / seconds),
                    "tunes per second of one processor": round(added / busy),
                    "load of the machine": round(os.getloadavg()[0], 1),
                }
            )
    return dict(tries)


def processor_seconds() -> float:
    """Of this process and of those that it started and that have ended."""
    mine, theirs = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return mine.ru_utime + mine.ru_stime + theirs.ru_utime + theirs.ru_stime


def fill(writer: CorpusWriter, tunes: int) -> dict[str, float]:
    """Add many tunes; seconds of the clock and of the processor, by kind of work."""
    seconds = {"making the text and reading it": 0.0, "rows": 0.0, "database": 0.0}
    cpu = time.process_time()
    for first in range(0, tunes, TUNES_PER_FILE):
        marks = [time.perf_counter()]
        given = reading(first, TUNES_PER_FILE)
        marks.append(time.perf_counter())
        rows = prepared(given, "load", Choice())
        marks.append(time.perf_counter())
        writer.add_prepared([rows])
        marks.append(time.perf_counter())
        for name, start, end in zip(seconds, marks, marks[1:], strict=False):
            seconds[name] += end - start
    seconds["processor, all of it"] = time.process_time() - cpu
    return seconds


def singles(writer: CorpusWriter, first: int) -> list[float]:
    """Milliseconds of database work for single tunes."""
    found = []
    for number in range(first, first + SINGLES):
        rows = prepared(reading(number, 1), "load", Choice())
        start = time.perf_counter()
        writer.add_prepared([rows])
        found.append(1000 * (time.perf_counter() - start))
    return found


def measure(tunes: int, rounds: int) -> dict[str, object]:
    """Time the whole way; fill a corpus, add to it tune by tune, and check it."""
    whole = whole_way(rounds)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "load.melodex"
        with CorpusWriter.open(path) as writer:
            seconds = fill(writer, tunes)
            one_by_one = singles(writer, tunes)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        start = time.perf_counter()
        report = check_corpus(path)
        check_seconds = time.perf_counter() - start
    clock = (
        seconds["rows"] + seconds["database"] + seconds["making the text and reading it"]
    )
    ordered = sorted(one_by_one)
    return {
        **about(),
        "sqlite": sqlite3.sqlite_version,
        "whole way": whole,
        "tunes": report.tune_count,
        "notes": report.note_count,
        "bytes": report.byte_count,
        "chunks": report.chunk_count,
        "faults": len(report.faults),
        "seconds": {name: round(value, 2) for name, value in seconds.items()},
        "tunes per second of the clock": round(tunes / clock),
        "tunes per second of the processor": round(tunes / seconds["processor, all of it"]),
        "one more tune, milliseconds of database work": {
            "median": round(statistics.median(ordered), 2),
            "95 %": round(ordered[int(0.95 * len(ordered))], 2),
            "largest": round(ordered[-1], 2),
        },
        "peak memory before the check, MB": memory,
        "seconds of the check": round(check_seconds, 1),
        "samples_milliseconds": [round(value, 2) for value in one_by_one],
    }


def told(result: dict[str, object], indent: str = "") -> list[str]:
    """A result line by line, all but the raw samples."""
    lines: list[str] = []
    for name, value in result.items():
        if name == "samples_milliseconds":
            continue
        if isinstance(value, dict):
            lines += [f"{indent}{name}:", *told(value, indent + "  ")]
        elif isinstance(value, list):
            lines += [f"{indent}{name}:", *(f"{indent}  {row}" for row in value)]
        else:
            lines.append(f"{indent}{name}: {value}")
    return lines


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = asker(__doc__)
    parser.add_argument("--tunes", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    result = measure(options.tunes, options.rounds)
    text = "".join(f"{line}\n" for line in told(result))
    print(text, end="")
    keep(options.keep, {"result.json": result, "summary.txt": text})


if __name__ == "__main__":
    main()
