"""How long questions would take over more tunes and workers than there are here.

What is *measured*, here and now, in seconds of the processor (so that a machine with much
else to do measures about the same as an idle one): searching, counting and drawing for a
million of 16 million notes (of fewer the bound that spares work spares less) and one
thread; what a question takes beside, wherever notes lie; the four rounds of comparing all
with all, for a tune, a figure and a pair; what a folder of shards takes on disk. What a
call and a task cost on the way to a worker is measured by ``benchmarks.shards.cost`` and
``benchmarks.shards.dealt``, and given here as it was found.

What is *computed* from that: tunes fall into shards by chance (drawn, multinomial), each
worker holds a shard in one thread, a piece of work goes to whoever is free first, the
scheduler hands out one at a time, and whatever is written or read goes through one shared
folder. *Assumed*, and said with the figures: the network and the shared folder, that
workers are as fast as this machine, and that nothing else is done there.

Run:  python -m benchmarks.shards.simulation [--notes 16000000] [--keep NAME]
"""

from __future__ import annotations

import heapq
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.keeping import about, asker, keep
from benchmarks.material import packed, queries_from, real_tunes, synthetic_tunes
from melodex.corpus.chunks import TuneNotes
from melodex.matching.asking import Here, Notes, Question, count, fetch, look, offered_by
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import NULL_SAMPLE, SEARCHED_TUNES
from melodex.matching.dealing.dealer import Here as Alone
from melodex.matching.dealing.exchange import (
    FIGURES_AT_ONCE,
    TUNES_AT_ONCE,
    Exchange,
    shared_figures_dealt,
)
from melodex.matching.engine.choice import one_thread
from melodex.matching.evidence.figures import figure_of_steps
from melodex.matching.evidence.kinship import steps_of
from melodex.matching.evidence.ngrams import ngrams_of
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts()
NOTES_A_TUNE = 70
"""Of synthetic tunes, which are as long as real ones."""

ROUNDS_OF_A_QUESTION = 3
"""Look, fetch, count; one who holds all looks and fetches at once."""

SIZES = (100_000, 1_000_000, 10_000_000)
WORKERS = (1, 2, 4, 8, 16, 32, 64)
PHRASES = 10


@dataclass(frozen=True, slots=True)
class Assumed:
    """What is not here to be measured.

    Parameters
    ----------
    link_megabytes : float
        A second, of a worker's network: one gigabit, less what frames take.
    folder_megabytes : float
        A second, of the shared folder, all workers together: one disk behind one link.
    latency_seconds : float
        Of a message there and back between two machines of one room.
    """

    link_megabytes: float = 117.0
    folder_megabytes: float = 117.0
    latency_seconds: float = 0.0005


@dataclass(frozen=True, slots=True)
class Parts:
    """Seconds of one thread, measured; bytes as they are.

    ``call`` and ``task`` are on the way to a worker and back, on this machine.
    """

    search_million_notes: dict[int, float]
    count_million_notes: float
    back_search_all: float
    fixed: float
    look_bytes: float
    figures_tune: float
    pairs_figure: float
    counted_pair: float
    summed_pair: float
    last_pair: float
    figures_a_tune: float
    pairs_a_figure: float
    call: float
    task: float
    bytes_a_tune: float = 3960.0
    """Of a corpus file without analysis, see the run of a million."""
    notes_bytes: float = 2.14


def spent(work: Callable[[], Any], times: int = 1) -> tuple[Any, float]:
    """What something gave, and the seconds of this process that it took, the least."""
    least, found = float("inf"), None
    for _ in range(times):
        start = time.process_time()
        found = work()
        least = min(least, time.process_time() - start)
    return found, least


def measured(notes: int, call: float, task: float) -> Parts:
    """What one thread takes for each part, over synthetic tunes."""
    one_thread()
    model = real_tunes()
    tunes = synthetic_tunes(model, notes, 23)
    chunks = packed(tunes)
    millions = sum(len(tune.pitch) for tune in tunes) / 1e6
    asked = [tune for tune in model if len(tune.pitch) >= 40][:: 12_000 // PHRASES]
    searching = {}
    for length in (12, 24, 40):
        questions = asking(queries_from(asked, length, 7))
        _, seconds = spent(partial(look, chunks, (questions, 0, False)), 3)
        searching[length] = seconds / len(questions) / millions
    questions = asking(queries_from(asked, 24, 7))
    drawing: list[tuple[Question, tuple[int, int], bool | None]] = [
        (question, (0, SEARCHED_TUNES), False) for question in questions
    ]
    _, back = spent(partial(fetch, chunks, drawing), 2)
    back /= len(questions) * min(1.0, len(tunes) / SEARCHED_TUNES)
    counting = 0.0
    for question in questions:
        pitch = question.query.pitch
        # What a question counts is parts of its phrase: its n-grams, and what hits share.
        figures = [figure_of_steps(ngram) for ngram in sorted(ngrams_of(pitch))]
        figures += [pitch[first : first + 10] for first in range(0, len(pitch) - 10, 2)]
        _, seconds = spent(partial(count, chunks, (figures, pitch)), 2)
        counting += seconds / len(questions)
    return Parts(
        search_million_notes=searching,
        count_million_notes=counting / millions,
        back_search_all=back,
        fixed=fixed_part(model, questions),
        look_bytes=16_000.0,
        call=call,
        task=task,
        **exchanged(tunes),
    )


def asking(queries: Sequence[EncodedQuery]) -> list[Question]:
    """Phrases as they are asked."""
    return [Question(query, 100, COSTS) for query in queries]


def fixed_part(model: list[TuneNotes], questions: list[Question]) -> float:
    """What the fit of chance takes, on a corpus that is all sample: nothing else grows."""
    few = packed(synthetic_tunes(model, NULL_SAMPLE * NOTES_A_TUNE, 5))
    notes = Notes(Here(few))

    def work() -> None:
        for answer in notes.answers(questions):
            assert answer.null is not None
            fit_points(answer.null)

    _, seconds = spent(work, 2)
    return seconds / len(questions)


def exchanged(tunes: Sequence[Any]) -> dict[str, float]:
    """What each round of comparing all with all takes."""
    steps = [steps_of(tune.pitch) for tune in tunes]
    rounds: list[float] = []
    held: list[list[Any]] = []

    class Timed(Alone):
        """This process, whose rounds are timed."""

        def deal(self, work, items, progress=None, done=None):
            found, seconds = spent(partial(super().deal, work, items))
            rounds.append(seconds)
            held.append(found)
            return found

    with tempfile.TemporaryDirectory() as folder:
        exchange = Exchange(Timed(), Path(folder))
        _, whole = spent(partial(shared_figures_dealt, steps, exchange, fewest=3))
        counted = Path(folder).glob("figures-*/counted-*.npy")
        pairs = sum(len(np.load(name, mmap_mode="r")) for name in counted)
    figures = sum(held[0])
    return {
        "figures_tune": rounds[0] / len(steps),
        "pairs_figure": rounds[1] / figures,
        "counted_pair": rounds[2] / max(pairs, 1),
        "summed_pair": rounds[3] / max(pairs, 1),
        "last_pair": (whole - sum(rounds)) / max(pairs, 1),
        "figures_a_tune": figures / len(steps),
        "pairs_a_figure": pairs / figures,
    }


def dealt(jobs: Sequence[float], workers: int, parts: Parts, said: Assumed) -> float:
    """Seconds until the last of some pieces of work is done by whoever is free first."""
    free = [0.0] * workers
    heapq.heapify(free)
    for number, seconds in enumerate(jobs):
        # The scheduler hands out one after the other.
        start = max(heapq.heappop(free), number * parts.task / workers)
        heapq.heappush(free, start + seconds + parts.task + said.latency_seconds)
    return max(free)


def shards_by_chance(tunes: int, count: int) -> np.ndarray:
    """How many tunes fall into each shard."""
    return np.random.default_rng(tunes + count).multinomial(tunes, [1 / count] * count)


def one_question(tunes: int, workers: int, parts: Parts, said: Assumed) -> float:
    """Seconds of a phrase of 24 notes, a shard to each worker."""
    largest = int(shards_by_chance(tunes, workers).max())
    most = largest * NOTES_A_TUNE / 1e6
    own = parts.search_million_notes[24] + parts.count_million_notes
    back = parts.back_search_all * largest / tunes
    sent = workers * (parts.look_bytes + 8 * offered_by(workers)) / 1e6
    rounds = ROUNDS_OF_A_QUESTION - (workers == 1)
    way = rounds * (parts.call + said.latency_seconds)
    return own * most + back + parts.fixed + way + sent / said.link_megabytes


def batch(tunes: int, workers: int, parts: Parts, said: Assumed, phrases: int) -> float:
    """Seconds of many phrases of 24 notes, each to one who holds the whole corpus."""
    notes = tunes * NOTES_A_TUNE / 1e6
    each = (parts.search_million_notes[24] + parts.count_million_notes) * notes
    each += parts.back_search_all + parts.fixed
    return dealt([each] * phrases, workers, parts, said)


def all_pairs(tunes: int, workers: int, parts: Parts, said: Assumed) -> dict[str, float]:
    """Seconds of comparing all with all, and what the folder and the asker take."""
    figures = parts.figures_a_tune * tunes
    pairs = parts.pairs_a_figure * figures
    slices = -(-tunes // TUNES_AT_ONCE)
    first = dealt([parts.figures_tune * tunes / slices] * slices, workers, parts, said)
    ranges = max(int(-(-figures // FIGURES_AT_ONCE)), 2 * workers)
    second = dealt([parts.pairs_figure * figures / ranges] * ranges, workers, parts, said)
    third = dealt([parts.counted_pair * pairs / ranges] * ranges, workers, parts, said)
    fourth = dealt([parts.summed_pair * pairs / ranges] * ranges, workers, parts, said)
    # Figures and holders are written and read, pairs too, and pairs with what they count
    # to; steps go out with the work.
    exchanged_megabytes = 2 * (16 * figures + 8 * pairs + 16 * pairs) / 1e6
    steps_megabytes = NOTES_A_TUNE * tunes / 1e6
    moved = (
        exchanged_megabytes / said.folder_megabytes + steps_megabytes / said.link_megabytes
    )
    return {
        "seconds": first + second + third + fourth + parts.last_pair * pairs + moved,
        "of them moving": moved,
        "of them the asker alone": parts.last_pair * pairs,
        "exchanged gigabytes": exchanged_megabytes / 1000,
    }


def simulated(parts: Parts, said: Assumed) -> list[dict[str, Any]]:
    """A row for each size and number of workers."""
    rows = []
    for tunes in SIZES:
        for workers in WORKERS:
            pairs = all_pairs(tunes, workers, parts, said)
            rows.append(
                {
                    "tunes": tunes,
                    "workers": workers,
                    "gigabytes of shards": tunes * parts.bytes_a_tune / 1e9,
                    "megabytes of notes a worker": tunes
                    * NOTES_A_TUNE
                    * parts.notes_bytes
                    / workers
                    / 1e6,
                    "one question, seconds": one_question(tunes, workers, parts, said),
                    "1,000 questions, seconds": batch(tunes, workers, parts, said, 1000),
                    **{f"all with all, {name}": value for name, value in pairs.items()},
                }
            )
    return [
        {
            name: float(f"{value:.3g}") if value < 1e5 else value
            for name, value in row.items()
        }
        for row in rows
    ]


def table(rows: Sequence[dict[str, Any]]) -> str:
    """The rows as a table of text."""
    names = [
        "tunes",
        "workers",
        "one question, seconds",
        "1,000 questions, seconds",
        "all with all, seconds",
        "all with all, of them moving",
    ]
    lines = [" | ".join(names)]
    lines += [" | ".join(f"{row[name]:,}" for name in names) for row in rows]
    return "\n".join(lines)


def main() -> None:
    """Measure, compute, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--notes", type=int, default=16_000_000)
    parser.add_argument("--call", type=float, default=0.003, help="seconds of a call")
    parser.add_argument("--task", type=float, default=0.0105, help="seconds of a task")
    asked = parser.parse_args()
    parts, said = measured(asked.notes, asked.call, asked.task), Assumed()
    run = about("numpy", "music21")
    run["measured"], run["assumed"] = asdict(parts), asdict(said)
    run["computed"] = simulated(parts, said)
    text = table(run["computed"])
    print(run["measured"], text, sep="\n")
    keep(asked.keep, {"simulation.json": run, "table.txt": text})


if __name__ == "__main__":
    main()
