"""What more workers save: one question, many, and all compared with all.

A corpus of synthetic tunes (see ``benchmarks.material``) lies in one file and in two
shards. Phrases are asked of the file by this process in one thread, and of the shards by
one and by two workers of a Dask cluster, which its own commands start here, in turn, so
that whatever else the machine does touches all alike. Then many phrases are dealt out by
question, and all tunes are compared with one another, by one and by two workers: the
figures alone, then the whole of ``audit --whole-corpus``. Answers are compared. Seconds
are of the clock; those of each worker's processor stand beside, which tell on a machine
with much else to do how the work falls to them.

Run:  python -m benchmarks.shards.dealt FOLDER [--notes 10000000] [--phrases 40]
          [--corpus FILE] [--keep NAME]
      FOLDER keeps the corpus; ``--only-corpora`` makes it and measures nothing.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from functools import cache, partial
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
from benchmarks.shards.cost import machines
from benchmarks.shards.million import phrase_of
from melodex.corpus.chunks import TuneNotes
from melodex.corpus.reader import Corpus
from melodex.matching.asking import Notes
from melodex.matching.dealing.cluster import Cluster
from melodex.matching.dealing.exchange import Exchange, shared_figures_by
from melodex.matching.dealing.held import Held, Shards, places_of, whole_of, with_whole
from melodex.matching.engine.choice import one_thread
from melodex.melody import Phrase
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.collection.duplicates import steps_by_tune
from melodex.tasks.collection.shards import split
from melodex.tasks.resemble import Resemblance, resemble, resemble_as_asked

ASKED, TIMES = 8, 3
WORKERS = (1, 2)


@cache
def known() -> list[TuneNotes]:
    """The real tunes, read once."""
    return real_tunes()


def corpora(folder: Path, notes: int, whole: Path | None) -> tuple[Path, Path]:
    """The file and the two shards, made where they are not there."""
    folder.mkdir(parents=True, exist_ok=True)
    name = whole.stem if whole else str(notes)
    whole, shards = whole or folder / f"{name}.melodex", folder / f"{name}-in-2"
    if not whole.exists():
        write_corpus(whole, scattered(synthetic_tunes(known(), notes, 23)))
    if not shards.exists():
        split(whole, shards, 2)
    return whole, shards


def phrases_of(count: int, notes: int) -> list[Phrase]:
    """So many phrases of so many notes, of real tunes."""
    long = [tune for tune in known() if len(tune.pitch) >= 40]
    asked = long[:: max(len(long) // count, 1)][:count]
    return [phrase_of(query) for query in queries_from(asked, notes, 7)]


def processor_of(processes: list[int]) -> list[float]:
    """Seconds of the processor of some processes (proc(5): fields 14 and 15 of stat)."""
    found = []
    for process in processes:
        text = Path(f"/proc/{process}/stat").read_text(encoding="ascii")
        fields = text.rpartition(")")[2].split()
        found.append((int(fields[11]) + int(fields[12])) / 100)
    return found


def timed(work: Callable[[], Any], processes: list[int]) -> tuple[Any, dict[str, Any]]:
    """What something gave; seconds of the clock, of this process and of each worker."""
    before, here = processor_of(processes), time.process_time()
    start = time.monotonic()
    found = work()
    seconds = time.monotonic() - start
    after = processor_of(processes)
    return found, {
        "seconds": round(seconds, 4),
        "processor_seconds_here": round(time.process_time() - here, 3),
        "processor_seconds_of_workers": [
            round(last - first, 2) for first, last in zip(before, after, strict=True)
        ],
    }


def told(found: Resemblance) -> list[Any]:
    """What is compared of an answer."""
    return [(m.tune_id, m.points, m.expected_by_chance, m.evidence) for m in found.matches]


def one_question(
    whole: Path, shards: Path, clusters: dict[int, Cluster]
) -> dict[str, dict[str, float]]:
    """Milliseconds of a question by this process and by those who work, in turn."""
    found: dict[str, dict[str, float]] = {}
    with Held.open(whole) as file, Corpus.open(shards) as corpus:
        ways: dict[str, Callable[[Phrase], Resemblance]] = {
            "one file, one thread": partial(resemble, file),
            **{
                f"{count} Dask workers": partial(
                    resemble, corpus, notes=Notes(Shards(cluster, places_of(corpus, count)))
                )
                for count, cluster in clusters.items()
            },
        }
        for notes in (12, 24):
            samples: dict[str, list[float]] = {name: [] for name in ways}
            for phrase in phrases_of(ASKED, notes):
                answers = []
                for _ in range(TIMES):
                    for name, way in ways.items():
                        start = time.perf_counter()
                        answers.append(told(way(phrase)))
                        samples[name].append(1000 * (time.perf_counter() - start))
                assert all(answer == answers[0] for answer in answers)
            found[f"{notes} notes, ms"] = {
                **{name: round(statistics.median(row), 1) for name, row in samples.items()},
                **{f"{name}, least": round(min(row), 1) for name, row in samples.items()},
            }
            print(found[f"{notes} notes, ms"], flush=True)
    return found


def many(whole: Path, dealer: Any, phrases: int, processes: list[int]) -> dict[str, Any]:
    """Seconds of many phrases, dealt out by question to who holds the whole."""
    asked = [(phrase, {"limit": 10}) for phrase in phrases_of(phrases, 24)]
    with Corpus.open(whole) as corpus:
        jobs = [(whole_of(corpus), resemble_as_asked, each) for each in asked]
    # The whole corpus is opened by each before.
    dealer.deal(with_whole, jobs[:4])
    _, row = timed(partial(dealer.deal, with_whole, jobs), processes)
    return {"phrases": len(jobs), **row}


def all_pairs(whole: Path, dealer: Any, processes: list[int]) -> dict[str, Any]:
    """Seconds of the all against all."""
    with Corpus.open(whole) as corpus:
        tunes = steps_by_tune(corpus)
    steps = [tunes[tune_id] for tune_id in sorted(tunes)]
    with tempfile.TemporaryDirectory() as work:
        exchange = Exchange(dealer, Path(work))
        pairs, row = timed(partial(shared_figures_by, exchange, steps, fewest=3), processes)
    return {"tunes": len(steps), "pairs": len(pairs), **row}


def whole_audit(shards: Path, dealer: Any, processes: list[int]) -> dict[str, Any]:
    """Seconds of ``audit --whole-corpus``, with all that the asker does."""
    with tempfile.TemporaryDirectory() as work, Corpus.open(shards) as corpus:
        exchange = Exchange(dealer, Path(work))
        found, row = timed(partial(audit_whole, corpus, exchange=exchange), processes)
    return {"groups": found.groups_in_all, "pairs": found.pairs_in_all, **row}


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--notes", type=int, default=10_000_000)
    parser.add_argument("--corpus", type=Path, help="a file to take instead of one made")
    parser.add_argument("--phrases", type=int, default=40)
    parser.add_argument("--only-corpora", action="store_true")
    said = parser.parse_args()
    whole, shards = corpora(said.folder, said.notes, said.corpus)
    if said.only_corpora:
        return
    one_thread()
    run = about("numpy", "distributed", "music21")
    with Corpus.open(whole) as corpus:
        run["tunes"], run["notes"] = corpus.tune_count, corpus.note_count
    run |= {"many": {}, "all with all": {}, "whole audit": {}}
    with machines(1) as (first, one), machines(2) as (second, two):
        clusters = {1: Cluster(first), 2: Cluster(second)}
        run["one question"] = one_question(whole, shards, clusters)
        for count, processes in zip(WORKERS, (one, two), strict=True):
            name, cluster = f"{count} Dask workers", clusters[count]
            run["many"][name] = many(whole, cluster, said.phrases, processes)
            run["all with all"][name] = all_pairs(whole, cluster, processes)
            run["whole audit"][name] = whole_audit(shards, cluster, processes)
            for part in ("many", "all with all", "whole audit"):
                print(name, part, run[part][name], flush=True)
        for cluster in clusters.values():
            cluster.close()
    keep(said.keep, {"dealt.json": run})


if __name__ == "__main__":
    main()
