"""How fast the exact search is, side by side with everything it could be done with.

    python -m benchmarks.speed.search [--notes 1000000 10000000] [--queries 5] [--passes 5]
                               [--skip PART ...] [--keep NAME]

Parts, all in one run: ``search`` (the compiled and the numpy engine, and the
compiled one run exhaustively, on real and synthetic corpora, hits compared),
``judge`` (parasail per tune over every transposition, pitch only), ``growth``
(with notes and with phrase length), ``adding`` (bytes a note, adding one tune),
``cold`` (the command line from a fresh process, and its memory) and ``music21``
(a script as a user would write it today).

Each sample is the clock's seconds and the CPU's; a warm-up pass comes first.
Ratios are taken between the smallest samples of one run, of the CPU's seconds
where both sides work in one thread, since other work on the machine lengthens the
clock's. Real tunes are read from the installed music21.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import benchmarks.material as corpora
import benchmarks.speed.others as others
from benchmarks.keeping import ROOT, about, asker, keep
from melodex.corpus.chunks import PackedChunk, TuneNotes, verify
from melodex.corpus.packing import unpack
from melodex.matching.engine.choice import ENGINE_VARIABLE, Engine
from melodex.matching.engine.compiled import CompiledEngine
from melodex.matching.engine.numpy_engine import NumpyEngine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import AlignmentCosts

PARTS = ("search", "judge", "growth", "adding", "cold", "music21")
LENGTHS = (12, 24, 40)
COSTS = AlignmentCosts()
SEED = 20
TOP = 20
Sample = tuple[float, float]


def timed(work: Callable[[], Any]) -> tuple[Sample, Any]:
    """Clock and CPU seconds of one call, and its result."""
    clock, cpu = time.perf_counter(), time.process_time()
    result = work()
    return (
        round(time.perf_counter() - clock, 6),
        round(time.process_time() - cpu, 6),
    ), result


def samples(work: Callable[[], Any], passes: int) -> tuple[list[Sample], Any]:
    """A warm-up, then so many samples; the last result."""
    work()
    found = [timed(work) for _ in range(passes)]
    return [sample for sample, _ in found], found[-1][1]


def least(found: list[Sample], which: int = 1) -> float:
    """The smallest sample: 0 the clock's, 1 the CPU's."""
    return min(sample[which] for sample in found)


def say(text: str) -> None:
    """Progress, to standard error."""
    print(text, file=sys.stderr, flush=True)


# ---- search -----------------------------------------------------------------------


def ranked(
    points: list[tuple[int, int]], tunes: list[TuneNotes], limit: int = TOP
) -> list[tuple[int, str]]:
    """The best tunes of an exhaustive run."""
    found = sorted((-p, t.tune_id) for (p, _), t in zip(points, tunes, strict=True))
    return [(-p, tune_id) for p, tune_id in found[:limit] if p < 0]


def one_thread(chunks: list[PackedChunk], query: EncodedQuery) -> list[Any]:
    """A search with the compiled engine in one thread."""
    threads, CompiledEngine.thread_count = CompiledEngine.thread_count, 1
    try:
        return search(chunks, query, limit=TOP)
    finally:
        CompiledEngine.thread_count = threads


def bound_only(worker: Engine, chunks: list[PackedChunk], query: EncodedQuery) -> None:
    """The bound pass alone, in one thread, chunks already checked."""
    counts = [verify(chunk) for chunk in chunks]
    worker.bounds(chunks, counts, query, COSTS)


def share_aligned(
    worker: CompiledEngine, chunks: list[PackedChunk], query: EncodedQuery, last: int
) -> float:
    """Share of tunes whose bound reaches the points of the last one returned."""
    bounds = worker.bounds(chunks, [()] * len(chunks), query, COSTS)
    reaching = sum(len(worker.select(part, last, 65535)) for part in bounds)
    return reaching / sum(chunk.tune_count for chunk in chunks)


def search_part(
    name: str, tunes: list[TuneNotes], queries: int, passes: int
) -> list[dict[str, Any]]:
    """Every way of searching one corpus, for phrases of several lengths."""
    chunks = corpora.packed(tunes)
    tunes = [tune for chunk in chunks for tune in unpack(chunk)]
    chosen = [t for t in tunes if 60 <= len(t.pitch) <= 200]
    chosen = chosen[:: max(len(chosen) // queries, 1)][:queries]
    rows = []
    for notes in LENGTHS:
        for number, query in enumerate(corpora.queries_from(chosen, notes, SEED)):
            say(f"search: {name}, {notes} notes, phrase {number + 1}")
            row = {
                "corpus": name,
                "tunes": len(tunes),
                "notes": sum(len(t.pitch) for t in tunes),
                "phrase_notes": notes,
                "phrase": number,
            }
            rows.append(row | every_way(chunks, tunes, query, passes))
    return rows


def every_way(
    chunks: list[PackedChunk], tunes: list[TuneNotes], query: EncodedQuery, passes: int
) -> dict[str, Any]:
    """One phrase, searched in every way: samples, and whether hits agree."""
    columns = [(tune.pitch, tune.length_class) for tune in tunes]
    compiled, twin, few = CompiledEngine(), NumpyEngine(), max(passes // 2, 1)
    os.environ[ENGINE_VARIABLE] = "c"
    threads, hits = samples(lambda: search(chunks, query, limit=TOP), passes)
    single, _ = samples(lambda: one_thread(chunks, query), passes)
    bound, _ = samples(lambda: bound_only(compiled, chunks, query), passes)
    exhaustive, points = samples(lambda: compiled.best(columns, query, COSTS), few)
    os.environ[ENGINE_VARIABLE] = "numpy"
    plain, twin_hits = samples(lambda: search(chunks, query, limit=TOP), few)
    plain_bound, _ = samples(lambda: bound_only(twin, chunks, query), 1)
    truth = ranked(points, tunes)
    last = hits[-1].points
    return {
        "compiled, threads": threads,
        "compiled, one thread": single,
        "compiled, bound only": bound,
        "compiled, exhaustive": exhaustive,
        "numpy": plain,
        "numpy, bound only": plain_bound,
        "hits": len(hits),
        "last_points": last,
        "recall": recall(hits, truth),
        "recall_numpy": recall(twin_hits, truth),
        "engines_agree": hits == twin_hits,
        "share_aligned": share_aligned(compiled, chunks, query, last),
        "exhaustive_to_search": least(exhaustive) / least(single),
    }


def recall(hits: list[Any], truth: list[tuple[int, str]]) -> float:
    """Share of the exhaustive best that were found, each in its place."""
    found = [(hit.points, hit.tune_id) for hit in hits]
    return sum(a == b for a, b in zip(found, truth, strict=False)) / len(truth)


# ---- growth -----------------------------------------------------------------------


def growth_part(tunes: list[TuneNotes], passes: int) -> list[dict[str, Any]]:
    """Seconds for parts of a corpus, and for longer phrases, one thread."""
    os.environ[ENGINE_VARIABLE] = "c"
    source = next(tune for tune in tunes if 220 <= len(tune.pitch) <= 300)
    query = corpora.queries_from([source], 200, SEED)[0]
    rows = []
    dice = random.Random(SEED)
    mixed = dice.sample(tunes, len(tunes))
    for share in (0.1, 0.2, 0.5, 1.0):
        part = corpora.packed(mixed[: int(share * len(tunes))])
        for notes in (12,) if share < 1 else (8, 12, 24, 40, 63, 64, 100, 200):
            cut = EncodedQuery(query.pitch[:notes], query.length_class[:notes])
            say(f"growth: {share:.0%} of the corpus, {notes} notes")
            rows.append(grown(part, cut, min(passes, 3)))
    return rows


def grown(part: list[PackedChunk], cut: EncodedQuery, passes: int) -> dict[str, Any]:
    """One phrase over one part of a corpus, one thread."""
    found, _ = samples(lambda: one_thread(part, cut), passes)
    bound, _ = samples(lambda: bound_only(CompiledEngine(), part, cut), passes)
    return {
        "notes": sum(chunk.note_count for chunk in part),
        "phrase_notes": cut.note_count,
        "samples": found,
        "bound_only": bound,
    }


# ---- cold -------------------------------------------------------------------------


def cold_part(
    paths: dict[str, Path], passes: int, phrases: dict[str, str]
) -> list[dict[str, Any]]:
    """The command line from fresh processes, started by a small one."""
    wanted = [
        {"name": name, "path": str(path), "phrase": phrases[name], "passes": passes}
        for name, path in paths.items()
    ]
    say("cold: fresh processes")
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.speed.cold"],
        cwd=ROOT,
        input=json.dumps(wanted),
        capture_output=True,
        text=True,
        check=True,
    )
    rows: list[dict[str, Any]] = json.loads(done.stdout)
    return rows


def steps_text(query: EncodedQuery) -> str:
    """A phrase as it is typed in steps."""
    pairs = zip(query.pitch, query.pitch[1:], strict=False)
    return " ".join(f"{b - a:+d}" if b != a else "0" for a, b in pairs)


# ---- the whole --------------------------------------------------------------------


def run(options: argparse.Namespace) -> dict[str, Any]:
    """All parts that are wanted."""
    wanted = [part for part in PARTS if part not in options.skip]
    result: dict[str, Any] = {
        **about("numpy", "parasail", "music21"),
    }
    say("reading the real tunes")
    real = corpora.real_tunes()
    named = {"real": real}
    for notes in options.notes:
        say(f"drawing {notes} notes")
        tunes = corpora.synthetic_tunes(real, notes, SEED)
        named[f"synthetic {notes:,}"] = corpora.planted(tunes, tunes[:200:9], SEED)
    largest = named[list(named)[-1]]
    # Millions of objects that only the benchmark holds would slow the collector.
    gc.collect()
    gc.freeze()
    if "search" in wanted:
        result["search"] = [
            row
            for name, tunes in named.items()
            for row in search_part(name, tunes, options.queries, options.passes)
        ]
    if "judge" in wanted:
        os.environ[ENGINE_VARIABLE] = "c"
        result["judge"] = [
            row
            for name in dict.fromkeys(("real", list(named)[-1]))
            for row in others.judge_part(name, named[name], 1 + (name == "real"))
        ]
    if "growth" in wanted:
        result["growth"] = growth_part(largest, options.passes)
    if "adding" in wanted or "cold" in wanted:
        result |= stored_parts(named, wanted, options.passes)
    if "music21" in wanted:
        result["music21"] = others.script_part(samples)
    return result


def stored_parts(
    named: dict[str, list[TuneNotes]], wanted: list[str], passes: int
) -> dict[str, Any]:
    """What needs corpus files."""
    result: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        paths: dict[str, Path] = {}
        phrases: dict[str, str] = {}
        for name in ("real", list(named)[-1]):
            tunes = named[name][:100_000]
            label = f"{name}, {len(tunes):,} tunes"
            say(f"writing a corpus: {label}")
            paths[label] = Path(folder) / f"{len(paths)}.melodex"
            corpora.write_corpus(paths[label], tunes)
            chosen = [tune for tune in tunes if 60 <= len(tune.pitch) <= 200]
            phrases[label] = steps_text(corpora.queries_from(chosen[:1], 12, SEED)[0])
        if "cold" in wanted:
            result["cold"] = cold_part(paths, 3 * passes, phrases)
        if "adding" in wanted:
            result["adding"] = [
                others.adding_part(label, path, passes) for label, path in paths.items()
            ]
    return result


def main() -> None:
    """Run from the command line."""
    parser = asker(__doc__)
    parser.add_argument("--notes", type=int, nargs="*", default=[1_000_000, 10_000_000])
    parser.add_argument("--queries", type=int, default=5)
    parser.add_argument("--passes", type=int, default=5)
    parser.add_argument("--skip", nargs="*", choices=PARTS, default=[])
    options = parser.parse_args()
    result = run(options)
    keep(options.keep, {"speed.json": result, "summary.txt": others.summary(result)})
    print(others.summary(result))


if __name__ == "__main__":
    main()
