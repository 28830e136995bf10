"""How fast tunes go into a corpus, and what one more costs when it is large.

Invented tunes of about seventy notes are added by the hundred from ABC text, read
and written in one process; then single tunes are added to the full corpus, a
transaction each. Database work is what happens between beginning to write and the
end of the commit (fsync included); preparing rows is told apart from it.

Run:  python benchmarks/adding.py [--tunes N] [--keep NAME]
"""

from __future__ import annotations

import argparse
import json
import platform
import random
import resource
import sqlite3
import statistics
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

from melodex.corpus.checking import check_corpus
from melodex.corpus.preparing import prepared
from melodex.corpus.store import CorpusWriter
from melodex.reading import Choice, FileReading, read_bytes

RUNS = Path(__file__).parent / "runs"
TUNES_PER_FILE = 100
SINGLES = 200


def reading(first: int, tunes: int) -> FileReading:
    """What a file of invented tunes gives."""
    parts = []
    for number in range(first, first + tunes):
        draw = random.Random(number)
        count = draw.randrange(8, 28)
        bars = "|".join("".join(draw.choices("CDEFGABcde", k=4)) for _ in range(count))
        parts.append(f"X:{number}\nT:Air {number}\nM:4/4\nL:1/4\nK:G\n{bars}|\n")
    return read_bytes("\n".join(parts).encode(), "abc", f"load/{first}.abc")


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


def measure(tunes: int) -> dict[str, object]:
    """Fill a corpus, add to it tune by tune, and check it."""
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
        "command": "python benchmarks/adding.py " + " ".join(sys.argv[1:]),
        "date": date.today().isoformat(),
        "machine": platform.machine(),
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
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


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tunes", type=int, default=100_000)
    parser.add_argument("--keep", default="", help="keep as runs/<date>-<NAME>")
    options = parser.parse_args()
    result = measure(options.tunes)
    shown = {
        name: value for name, value in result.items() if name != "samples_milliseconds"
    }
    text = "".join(f"{name}: {value}\n" for name, value in shown.items())
    print(text, end="")
    if options.keep:
        folder = RUNS / f"{result['date']}-{options.keep}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "result.json").write_text(json.dumps(result, indent=1) + "\n")
        (folder / "summary.txt").write_text(text)


if __name__ == "__main__":
    main()
