"""How fast ABC is read: every ABC collection in the installed music21 package.

One warm-up pass, then timed passes over the same texts, already decoded, in one
thread; what is read is counted beside the times. CPU seconds are given next to the
clock's, because other work on the machine lengthens only the latter.

Run:  python -m benchmarks.reading.abc [--passes N] [--keep NAME]
"""

from __future__ import annotations

import statistics
import time
from collections import Counter

from benchmarks.keeping import about, asker, keep, line_by_line
from benchmarks.material import abc_texts
from melodex.reading.abc.reader import read_abc


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
    texts = abc_texts()
    _, _, counts = one_pass(texts)
    samples = [one_pass(texts)[:2] for _ in range(passes)]
    clock = statistics.median(sample[0] for sample in samples)
    cpu = statistics.median(sample[1] for sample in samples)
    return {
        **about("music21"),
        "files": len(texts),
        "characters": sum(len(text) for _, text in texts),
        "counts": dict(counts),
        "clock_seconds": [round(sample[0], 3) for sample in samples],
        "cpu_seconds": [round(sample[1], 3) for sample in samples],
        "tunes_per_clock_second": round(counts["read"] / clock),
        "tunes_per_cpu_second": round(counts["read"] / cpu),
    }


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = asker(__doc__)
    parser.add_argument("--passes", type=int, default=3)
    options = parser.parse_args()
    result = measure(options.passes)
    print(line_by_line(result))
    keep(options.keep, {"result.json": result, "summary.txt": line_by_line(result)})


if __name__ == "__main__":
    main()
