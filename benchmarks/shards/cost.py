"""What shards and dealing out cost: seconds, memory, and what more workers save.

Synthetic tunes (see ``benchmarks.material``) are written to one file, which is split,
joined and copied. Then, in turn over the one file and over the shards, the same phrases are
searched for with all that chance needs. Last, near-duplicates of all tunes are looked for
by this process alone, by one and by two processes, and by one and by two workers of a Dask
cluster that its own commands start here; the pairs are compared. Seconds of the clock
depend on what else the machine does; seconds of the processor do less.

Run:  python -m benchmarks.shards.cost [--notes 3000000] [--keep NAME]
"""

from __future__ import annotations

import resource
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import (
    queries_from,
    real_tunes,
    scattered,
    synthetic_tunes,
    write_corpus,
)
from melodex.corpus.reader import Corpus
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import OWN_BEST, measure_null
from melodex.matching.dealing.cluster import Cluster
from melodex.matching.dealing.dealer import Here, Processes
from melodex.matching.dealing.exchange import Exchange, shared_figures_by
from melodex.matching.search import search
from melodex.settings import AlignmentCosts
from melodex.tasks.collection.duplicates import steps_by_tune
from melodex.tasks.collection.shards import join, split
from melodex.tasks.collection.upkeep import backup

COSTS = AlignmentCosts()
COUNTS = (2, 4)
PHRASES, TIMES = 10, 2
EMPTY_TASKS = 200


def timed(work: Callable[[], Any]) -> tuple[Any, dict[str, float]]:
    """What something gave, and its seconds of the clock and of all processors."""
    start, before = time.monotonic(), processor_seconds()
    found = work()
    return found, {
        "seconds": round(time.monotonic() - start, 3),
        "processor_seconds": round(processor_seconds() - before, 3),
    }


def processor_seconds() -> float:
    """Of this process and of those that it started and that have ended."""
    both = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(usage.ru_utime + usage.ru_stime for usage in both)


def most_megabytes(processes: list[int]) -> float:
    """The most memory that one of some processes has held (VmHWM, proc(5))."""
    most = 0
    for process in processes:
        text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
        most = max(most, *(int(x.split()[1]) for x in text.splitlines() if "VmHWM" in x))
    return round(most / 1024, 1)


def files(folder: Path, whole: Path) -> dict[str, Any]:
    """Seconds that splitting, joining and copying take."""
    found: dict[str, Any] = {"bytes": whole.stat().st_size}
    for count in COUNTS:
        work = partial(split, whole, folder / f"in-{count}", count)
        _, found[f"split into {count}"] = timed(work)
    shards = folder / f"in-{COUNTS[-1]}"
    _, found["joined"] = timed(partial(join, shards, folder / "joined.melodex"))
    _, found["copied"] = timed(partial(backup, shards, folder / "copy"))
    return found


def searches(folder: Path, whole: Path) -> dict[str, Any]:
    """Milliseconds of opening, searching and measuring chance, over a file and shards."""
    places = {"one file": whole} | {f"{n} shards": folder / f"in-{n}" for n in COUNTS}
    found: dict[str, Any] = {}
    asked = [tune for tune in real_tunes() if len(tune.pitch) >= 30][:: 12_000 // PHRASES]
    for notes in (12, 24):
        queries = queries_from(asked, notes, 7)
        samples: dict[str, list[float]] = {name: [] for name in places}
        told: dict[str, list[Any]] = {name: [] for name in places}
        for _ in range(TIMES):
            for name, path in places.items():
                for query in queries:
                    start = time.perf_counter()
                    with Corpus.open(path) as corpus:
                        chunks = list(corpus.chunks())
                        hits = search(chunks, query, limit=OWN_BEST, costs=COSTS)
                        fit = fit_points(measure_null(chunks, query, COSTS, hits))
                    samples[name].append(1000 * (time.perf_counter() - start))
                    told[name].append((hits, fit))
        assert all(each == told["one file"] for each in told.values())
        found[f"{notes} notes"] = {
            name: round(statistics.median(row), 1) for name, row in samples.items()
        }
    return found


@contextmanager
def machines(count: int) -> Iterator[tuple[str, list[int]]]:
    """A scheduler and workers, each started by its own command."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = str(listening.getsockname()[1])
    address = f"tcp://127.0.0.1:{port}"
    dask = [sys.executable, "-m", "dask"]
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started = [
        subprocess.Popen(
            [*dask, "scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard"],
            **quiet,
        )
    ]
    worker = [*dask, "worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    started += [subprocess.Popen(worker, **quiet) for _ in range(count)]
    try:
        from distributed import Client

        with Client(address, timeout=60) as client:
            client.wait_for_workers(count, timeout=60)
        yield address, [process.pid for process in started[1:]]
    finally:
        for process in started:
            process.terminate()
            process.wait()


def all_pairs(folder: Path, whole: Path) -> dict[str, Any]:
    """Seconds of the all against all by whoever works, and the memory of each."""
    with Corpus.open(whole) as corpus:
        tunes = steps_by_tune(corpus)
    steps = [tunes[tune_id] for tune_id in sorted(tunes)]
    notes = sum(map(len, steps)) + len(steps)
    found: dict[str, Any] = {"tunes": len(steps), "notes": notes}
    alone = partial(shared_figures_by, None, steps, fewest=3)
    expected, found["this process"] = timed(alone)

    def dealt(name: str, dealer: Any, processes: Callable[[], list[int]]) -> None:
        with tempfile.TemporaryDirectory(dir=folder) as work:
            exchange = Exchange(dealer, Path(work))
            pairs, row = timed(partial(shared_figures_by, exchange, steps, fewest=3))
            assert pairs == expected
        if held := processes():
            row["most_megabytes_of_a_worker"] = most_megabytes(held)
        found[name] = row
        print(name, row, flush=True)

    dealt("exchange, this process", Here(), list)
    for count in (1, 2):
        pool = Processes(count)
        pool.deal(abs, range(count))
        dealt(f"{count} processes", pool, partial(list, pool.pool._processes))
        pool.close()
    for count in (1, 2):
        with machines(count) as (address, workers):
            cluster = Cluster(address)
            cluster.deal(abs, range(count))
            dealt(f"{count} Dask workers", cluster, partial(list, workers))
            if count == 1:
                found["empty tasks"] = empty_tasks(cluster)
            cluster.close()
    return found


def empty_tasks(cluster: Cluster) -> dict[str, float]:
    """Milliseconds of a task with nothing to do: alone, and among many."""
    samples = [timed(partial(cluster.deal, abs, [0]))[1]["seconds"] for _ in range(40)]
    _, many = timed(partial(cluster.deal, abs, range(EMPTY_TASKS)))
    return {
        "milliseconds of one": round(1000 * statistics.median(samples), 2),
        "milliseconds of each of many": round(1000 * many["seconds"] / EMPTY_TASKS, 2),
    }


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--notes", type=int, default=3_000_000)
    said = parser.parse_args()
    run = about("numpy", "distributed")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole = folder / "whole.melodex"
        tunes = scattered(synthetic_tunes(real_tunes(), said.notes, 23))
        write_corpus(whole, tunes)
        for part in (files, searches, all_pairs):
            run[part.__name__] = part(folder, whole)
            print(run[part.__name__], flush=True)
    keep(said.keep, {"cost.json": run})


if __name__ == "__main__":
    main()
