"""Calibration of chance: are as many matches seen as the expected numbers say?

For phrases that have no relatives in a corpus, the number of tunes that match with
an expected number of t or less should be t on average. Three ways to have such
phrases:

- ``reversed``: phrases of real tunes read backwards, against the real corpus but for
  the tune that they were cut from and its kin (three rare figures of nine notes in
  common, or more), since parts of tunes run alike both ways;
- ``foreign``: phrases of the Essen collection's Chinese songs, as they stand, against
  Irish and Scottish dance tunes;
- ``synthetic``: phrases and 10,000 tunes from a Markov model of order 2 fitted to the
  real tunes.

Real tunes are the ABC collections of the installed music21 package. Each phrase is
asked with its rhythm and without. Matches of one phrase come in clumps, since tunes
resemble each other: so intervals are of 2,000 samples of phrases drawn with
replacement, and phrases with any such match are counted too (of a share 1 - exp(-t)
if each came alone). Constants are chosen on phrases of another seed than those
reported.

Points are whole numbers, so not every expected number can be stated: a phrase of eight
notes that is found note for note may stand at 0.06, and then nothing can at 0.01. So
matches are also counted against what can be stated: the mean, over phrases, of the
largest expected number that is no larger than t and that some match could have.

Over a corpus of one's own, ``melodex collection chance`` does what ``reversed`` does.

Run:  python -m benchmarks.chance.calibration [--queries 1000] [--seed N] [--workers N]
          [--keep NAME]
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from itertools import pairwise
from random import Random
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import abc_texts
from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
)
from melodex.corpus.packing import pack
from melodex.matching.asking import Here
from melodex.matching.asking import Notes as CorpusNotes
from melodex.matching.engine.choice import engine
from melodex.matching.evidence.kinship import shared_figures
from melodex.matching.query import EncodedQuery
from melodex.reading.abc.reader import read_abc
from melodex.settings import AlignmentCosts
from melodex.tasks.collection.calibration import LEVELS, interval, mean, seen_of

LENGTHS = (8, 12, 24, 40)
SEED = 2026
KIN_FIGURES = 3
COSTS = AlignmentCosts()
Notes = tuple[bytes, bytes]


def real_tunes() -> dict[str, list[Notes]]:
    """Encoded tunes of each collection, exact repetitions left out."""
    seen: set[Notes] = set()
    found: dict[str, list[Notes]] = defaultdict(list)
    for name, text in abc_texts():
        for tune in read_abc(text, name).tunes:
            notes = encode_notes(tune.melody)
            if len(notes[0]) >= 12 and notes not in seen:
                seen.add(notes)
                found[name].append(notes)
    return found


def packed(tunes: Sequence[Notes]) -> list[PackedChunk]:
    """Chunks of tunes, ids in order."""
    named = [TuneNotes(f"{place:012x}0000", *notes) for place, notes in enumerate(tunes)]
    return [
        pack(named[first : first + TUNES_PER_CHUNK])
        for first in range(0, len(named), TUNES_PER_CHUNK)
    ]


def markov_tunes(tunes: Sequence[Notes], count: int, generator: Random) -> list[Notes]:
    """Tunes in which pairs of (step, length class) follow each other as in real ones."""
    following: dict[tuple[tuple[int, int], ...], list[tuple[int, int]]] = defaultdict(list)
    for pitch, lengths in tunes:
        moves = [(b - a, c) for a, b, c in zip(pitch, pitch[1:], lengths[1:], strict=False)]
        for place in range(2, len(moves)):
            following[tuple(moves[place - 2 : place])].append(moves[place])
    contexts = sorted(following)
    made = []
    for _ in range(count):
        length = len(generator.choice(tunes)[0])
        context, line, classes = generator.choice(contexts), [67], [0]
        while len(line) < length:
            step, length_class = generator.choice(following.get(context) or [(0, 0)])
            if not 45 <= line[-1] + step <= 96:
                step = -step
            line.append(min(96, max(45, line[-1] + step)))
            classes.append(length_class)
            context = (context[1], (step, length_class))
        made.append((bytes(line), bytes(classes)))
    return made


def phrases(
    tunes: Sequence[Notes], notes: int, count: int, generator: Random
) -> tuple[list[Notes], list[str]]:
    """Phrases cut at random places, and the ids of the tunes in :func:`packed`."""
    long_enough = [place for place, tune in enumerate(tunes) if len(tune[0]) >= notes]
    cut, own = [], []
    for _ in range(count):
        place = generator.choice(long_enough)
        pitch, lengths = tunes[place]
        start = generator.randrange(len(pitch) - notes + 1)
        own.append(f"{place:012x}0000")
        cut.append((pitch[start : start + notes], lengths[start : start + notes]))
    return cut, own


def calibrate(
    chunks: list[PackedChunk], asked: Sequence[Notes], own: Sequence[frozenset[str]]
) -> dict[str, object]:
    """Matches seen per phrase at each expected number; ``own`` are left out."""
    tunes = sum(chunk.tune_count for chunk in chunks)
    notes = sum(chunk.note_count for chunk in chunks)
    held = CorpusNotes(Here(chunks))
    told = [
        seen_of(held, EncodedQuery(*phrase), relatives, tunes, notes)
        for phrase, relatives in zip(asked, own, strict=True)
    ]
    said = [found for found in told if found]
    seen = {level: [found[0][at] for found in said] for at, level in enumerate(LEVELS)}
    stateable = {level: [found[1][at] for found in said] for at, level in enumerate(LEVELS)}
    unsaid = len(told) - len(said)
    return {
        "phrases": len(asked) - unsaid,
        "without_a_figure": unsaid,
        "seen": {str(level): counts for level, counts in seen.items()},
        "ratio": {str(level): mean(counts) / level for level, counts in seen.items()},
        "interval": {
            str(level): [bound / level for bound in interval(counts)]
            for level, counts in seen.items()
        },
        "stateable": {
            str(level): mean(numbers) / level for level, numbers in stateable.items()
        },
        "ratio_to_stateable": {
            str(level): mean(seen[level]) / max(mean(numbers), 1e-300)
            for level, numbers in stateable.items()
        },
        "phrases_ratio": {
            str(level): mean([count > 0 for count in counts]) / -math.expm1(-level)
            for level, counts in seen.items()
        },
    }


def turned(asked: Sequence[Notes]) -> list[Notes]:
    """Phrases read backwards."""
    return [(pitch[::-1], lengths[::-1]) for pitch, lengths in asked]


def without_rhythm(asked: Sequence[Notes]) -> list[Notes]:
    """Phrases of which no length is known."""
    return [(pitch, bytes([128]) * len(pitch)) for pitch, _ in asked]


@dataclass(frozen=True, slots=True)
class World:
    """A corpus, tunes from which phrases are cut, and whether they are turned round."""

    corpus: Sequence[Notes]
    source: Sequence[Notes]
    backwards: bool = False


def worlds() -> dict[str, World]:
    """The three ways to have phrases without relatives."""
    collections = real_tunes()
    everything = [tune for name in sorted(collections) for tune in collections[name]]
    dances, chinese = (
        [
            tune
            for name in sorted(collections)
            if any(part in name for part in parts)
            for tune in collections[name]
        ]
        for parts in (("oneills", "ryans", "airds"), ("/han",))
    )
    made = markov_tunes(everything, 10_500, Random(SEED))
    return {
        "reversed": World(everything, everything, True),
        "foreign": World(dances, chinese),
        "synthetic": World(made[500:], made[:500]),
    }


def kin_of(tunes: Sequence[Notes]) -> dict[str, frozenset[str]]:
    """Ids of the tunes that share several rare figures with each, and its own."""
    steps = [bytes((b - a) & 0xFF for a, b in pairwise(pitch)) for pitch, _ in tunes]
    found = {place: {place} for place in range(len(tunes))}
    for pair in shared_figures(steps, fewest=KIN_FIGURES):
        found[pair.first].add(pair.second)
        found[pair.second].add(pair.first)
    return {
        f"{place:012x}0000": frozenset(f"{other:012x}0000" for other in others)
        for place, others in found.items()
    }


Job = tuple[str, World, int, bool, int, int]


def row(job: Job) -> tuple[str, dict[str, object]]:
    """One row of results: a world, a length, with rhythm or without."""
    name, world, notes, rhythm, queries, seed = job
    cut, ids = phrases(world.source, notes, queries, Random(f"{seed} {name} {notes}"))
    own = [frozenset[str]()] * queries
    if world.backwards:
        cut = turned(cut)
        kin = kin_of(world.corpus)
        own = [kin[tune_id] for tune_id in ids]
    asked = cut if rhythm else without_rhythm(cut)
    title = f"{name}, {notes} notes, {'with rhythm' if rhythm else 'without'}"
    return title, calibrate(packed(world.corpus), asked, own)


def measure(queries: int, seed: int, workers: int) -> dict[str, Any]:
    """All ways, lengths, and both with and without rhythm."""
    everywhere = worlds()
    jobs: list[Job] = [
        (name, world, notes, rhythm, queries, seed)
        for name, world in everywhere.items()
        for notes in LENGTHS
        for rhythm in (True, False)
    ]
    results = {}
    # Those that take longest first; shown and kept in the order of the table.
    order = sorted(jobs, key=lambda job: -job[2])
    with ProcessPoolExecutor(workers) as pool:
        for title, found in pool.map(row, order):
            results[title] = found
            print(line_of(title, found), flush=True)
    titles = [
        f"{job[0]}, {job[2]} notes, {'with rhythm' if job[3] else 'without'}"
        for job in jobs
    ]
    return {
        **about("music21"),
        "engine": engine().name,
        "tunes": {name: len(world.corpus) for name, world in everywhere.items()},
        "levels": LEVELS,
        "costs": asdict(COSTS),
        "results": {title: results[title] for title in titles},
    }


def line_of(title: str, found: dict[str, Any]) -> str:
    """Ratios with their intervals, and those of phrases."""
    ratios = "  ".join(
        f"{found['ratio'][str(level)]:5.2f} "
        f"({found['interval'][str(level)][0]:.2f}-{found['interval'][str(level)][1]:.2f})"
        for level in LEVELS
    )
    alone = " ".join(f"{found['phrases_ratio'][str(level)]:5.2f}" for level in LEVELS)
    can_be = " ".join(f"{found['ratio_to_stateable'][str(level)]:5.2f}" for level in LEVELS)
    return f"{title:36} {ratios}  phrases {alone}  of stateable {can_be}"


def summary(run: dict[str, Any]) -> str:
    """The run as a table, and how many rows hold the target."""
    results = run["results"]
    levels = [str(level) for level in LEVELS]
    held = {
        (ratio, level): sum(0.5 <= found[ratio][level] <= 2 for found in results.values())
        for ratio in ("ratio", "ratio_to_stateable")
        for level in levels
    }
    lines = [
        run["command"],
        "",
        "Matches seen over matches expected, at expected numbers of 1, 0.1 and 0.01, with",
        "95 % intervals; then phrases with any such match over phrases expected; then",
        "matches seen over what can be stated, since points are whole numbers.",
        "",
        *(line_of(title, found) for title, found in results.items()),
        "",
        *(
            f"Rows within a factor of two, {said}: "
            + ", ".join(f"{held[ratio, lv]} of {len(results)} at {lv}" for lv in levels)
            for ratio, said in (
                ("ratio", "matches expected"),
                ("ratio_to_stateable", "what can be stated"),
            )
        ),
        "",
        *(
            f"Mean of {name or 'all'}: "
            + ", ".join(
                f"{mean([results[title][ratio][lv] for title in titles]):.2f}"
                for ratio in ("ratio", "ratio_to_stateable")
                for lv in levels
            )
            for name in ("", *run["tunes"])
            if (titles := [title for title in results if title.startswith(name)])
        ),
    ]
    return "\n".join(lines) + "\n"


def chart(results: dict[str, dict[str, object]]) -> str:
    """Observed over expected, one line per row of results, as an SVG."""
    width, row, left = 760, 18, 300
    foot = row * (len(results) + 2)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" '
        f'height="{row * (len(results) + 3)}" font-family="sans-serif" font-size="12">',
        f'<text x="{left - 100}" y="14">matches seen over matches expected, at expected '
        "numbers of 1 (disc), 0.1 (ring), 0.01 (cross)</text>",
    ]

    def place(ratio: float) -> float:
        return left + 210 + 100 * max(min(math.log10(max(ratio, 0.01)), 2), -2)

    for ratio in (0.1, 0.5, 1, 2, 10):
        x = place(ratio)
        lines.append(
            f'<line x1="{x}" y1="24" x2="{x}" y2="{foot}" stroke="#bbb"/>'
            f'<text x="{x - 8}" y="{foot + 14}">{ratio}</text>'
        )
    for number, (name, found) in enumerate(results.items()):
        y = 36 + row * number
        lines.append(f'<text x="4" y="{y + 4}">{name}</text>')
        ratios = found["ratio"]
        assert isinstance(ratios, dict)
        lines.append(f'<circle cx="{place(ratios["1.0"])}" cy="{y}" r="4"/>')
        lines.append(
            f'<circle cx="{place(ratios["0.1"])}" cy="{y}" r="4" fill="none" '
            'stroke="#000"/>'
        )
        lines.append(f'<text x="{place(ratios["0.01"]) - 4}" y="{y + 4}">×</text>')
    return "\n".join([*lines, "</svg>"]) + "\n"


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--queries", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--workers", type=int, default=2)
    said = parser.parse_args()
    run = measure(said.queries, said.seed, said.workers)
    print(summary(run))
    files = {"chance.json": json.dumps(run), "summary.txt": summary(run)}
    keep(said.keep, {**files, "chance.svg": chart(run["results"])})


if __name__ == "__main__":
    main()
