"""How fast ABC is read: every ABC collection in the installed music21 package.

One warm-up pass, then timed passes over the same texts, already decoded, in one
thread; what is read is counted beside the times. CPU seconds are given next to the
clock's, because other work on the machine lengthens only the latter.

Run:  python benchmarks/reading.py [--passes N] [--keep NAME]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import sys
import time
from collections import Counter
from datetime import date
from pathlib import Path

import music21

from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode

RUNS = Path(__file__).parent / "runs"


def collection_texts() -> list[tuple[str, str]]:
    """Names and decoded texts of every ABC file of music21's corpus."""
    root = Path(music21.__file__).parent / "corpus"
    files = sorted(root.rglob("*.abc"))
    return [(f.relative_to(root).as_posix(), decode(f.read_bytes())) for f in files]


def one_pass(texts: list[tuple[str, str]]) -> tuple[float, float, Counter[str]]:
    """Read everything once: clock seconds, CPU seconds, and what came of it."""
    counts: Counter[str] = Counter()
    clock, cpu = time.perf_counter(), time.process_time()
    for name, text in texts:
        reading = read_abc(text, name)
        counts["read"] += len(reading.tunes)
        counts["refused"] += len(reading.refusals)
        for tune in reading.tunes:
            counts["notes"] += len(tune.melody)
            counts["warned"] += bool(tune.warnings)
            counts["warnings"] += len(tune.warnings)
            counts["of 12 notes or more"] += len(tune.melody) >= 12
    return time.perf_counter() - clock, time.process_time() - cpu, counts


def measure(passes: int) -> dict[str, object]:
    """Warm up, measure, and gather everything that a later run is compared with."""
    texts = collection_texts()
    _, _, counts = one_pass(texts)
    samples = [one_pass(texts)[:2] for _ in range(passes)]
    clock = statistics.median(sample[0] for sample in samples)
    cpu = statistics.median(sample[1] for sample in samples)
    return {
        "command": "python benchmarks/reading.py " + " ".join(sys.argv[1:]),
        "date": date.today().isoformat(),
        "load_average_of_1_5_15_minutes": [round(load, 1) for load in os.getloadavg()],
        "machine": f"{platform.machine()}, {processor()}",
        "python": platform.python_version(),
        "music21": music21.__version__,
        "files": len(texts),
        "characters": sum(len(text) for _, text in texts),
        "counts": dict(counts),
        "clock_seconds": [round(sample[0], 3) for sample in samples],
        "cpu_seconds": [round(sample[1], 3) for sample in samples],
        "tunes_per_clock_second": round(counts["read"] / clock),
        "tunes_per_cpu_second": round(counts["read"] / cpu),
    }


def processor() -> str:
    """The processor's name, where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or "unknown"
    names = [
        line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")
    ]
    return f"{len(names)} x {names[0]}" if names else "unknown"


def summary(result: dict[str, object]) -> str:
    """The result as a few lines of text."""
    return "\n".join(f"{name}: {value}" for name, value in result.items()) + "\n"


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--passes", type=int, default=3)
    parser.add_argument("--keep", default="", help="keep as runs/<date>-<NAME>")
    options = parser.parse_args()
    result = measure(options.passes)
    print(summary(result), end="")
    if options.keep:
        folder = RUNS / f"{result['date']}-{options.keep}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "result.json").write_text(json.dumps(result, indent=1) + "\n")
        (folder / "summary.txt").write_text(summary(result))


if __name__ == "__main__":
    main()
