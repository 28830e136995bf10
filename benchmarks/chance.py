"""Calibration of chance: are as many matches seen as the expected numbers say?

For phrases that have no relatives in a corpus, the number of tunes that match with
an expected number of t or less should be t on average. Three ways to have such
phrases:

- ``reversed``: phrases of real tunes read backwards, against the real corpus but for
  the tune that they were cut from, of which parts run alike both ways;
- ``foreign``: phrases of the Essen collection's Chinese songs, as they stand, against
  Irish and Scottish dance tunes;
- ``synthetic``: phrases and 10,000 tunes from a Markov model of order 2 fitted to the
  real tunes.

Real tunes are the ABC collections of the installed music21 package. Each phrase is
asked with its rhythm and without.

Run:  python benchmarks/chance.py [--queries 1000] [--keep NAME]
"""

from __future__ import annotations

import argparse
import json
import math
import platform
from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from random import Random

from reading import collection_texts

from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
    pack,
)
from melodex.matching.chance import expected_by_chance, fit_points, measure_null
from melodex.matching.engine import engine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.reading.abc import read_abc
from melodex.settings import AlignmentCosts

RUNS = Path(__file__).parent / "runs"
LENGTHS = (8, 12, 24, 40)
LEVELS = (10.0, 1.0, 0.1, 0.01)
LIMIT = 200
COSTS = AlignmentCosts()
Notes = tuple[bytes, bytes]


def real_tunes() -> dict[str, list[Notes]]:
    """Encoded tunes of each collection, exact repetitions left out."""
    seen: set[Notes] = set()
    found: dict[str, list[Notes]] = defaultdict(list)
    for name, text in collection_texts():
        for tune in read_abc(text, name).tunes:
            notes = encode_notes(tune.melody)
            if len(notes[0]) >= 12 and notes not in seen:
                seen.add(notes)
                found[name].append(notes)
    return found


def packed(tunes: Sequence[Notes]) -> list[PackedChunk]:
    """Chunks of tunes, ids in order."""
    named = [TuneNotes(f"{place:012x}", *notes) for place, notes in enumerate(tunes)]
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
        own.append(f"{place:012x}")
        cut.append((pitch[start : start + notes], lengths[start : start + notes]))
    return cut, own


def calibrate(
    chunks: list[PackedChunk], asked: Sequence[Notes], own: Sequence[str]
) -> dict[str, object]:
    """Matches seen per phrase at each expected number."""
    tunes = sum(chunk.tune_count for chunk in chunks)
    notes = sum(chunk.note_count for chunk in chunks)
    seen = {level: [] for level in LEVELS}
    unsaid = 0
    for (pitch, lengths), tune_id in zip(asked, own, strict=True):
        query = EncodedQuery(pitch, lengths)
        fit = fit_points(measure_null(chunks, query, COSTS))
        if fit is None:
            unsaid += 1
            continue
        hits = search(chunks, query, limit=LIMIT, costs=COSTS, exclude=frozenset({tune_id}))
        told = [
            expected_by_chance(fit, hit.points, corpus_tunes=tunes, corpus_notes=notes)
            for hit in hits
        ]
        for level in LEVELS:
            seen[level].append(sum(expected <= level for expected in told))
    return {
        "phrases": len(asked) - unsaid,
        "without_a_figure": unsaid,
        "seen": {str(level): counts for level, counts in seen.items()},
        "ratio": {
            str(level): sum(counts) / max(len(counts), 1) / level
            for level, counts in seen.items()
        },
    }


def turned(asked: Sequence[Notes]) -> list[Notes]:
    """Phrases read backwards."""
    return [(pitch[::-1], lengths[::-1]) for pitch, lengths in asked]


def without_rhythm(asked: Sequence[Notes]) -> list[Notes]:
    """Phrases of which no length is known."""
    return [(pitch, bytes([128]) * len(pitch)) for pitch, _ in asked]


def measure(queries: int) -> dict[str, object]:
    """All ways, lengths, and both with and without rhythm."""
    generator = Random(20)
    collections = real_tunes()
    everything = [tune for name in sorted(collections) for tune in collections[name]]
    dances = [
        tune
        for name in sorted(collections)
        if name.startswith(("oneills", "ryans", "airds"))
        for tune in collections[name]
    ]
    chinese = [
        tune for name in sorted(collections) if "/han" in name for tune in collections[name]
    ]
    made = markov_tunes(everything, 10_500, generator)
    worlds = {
        "reversed": (packed(everything), everything, turned),
        "foreign": (packed(dances), chinese, list),
        "synthetic": (packed(made[500:]), made[:500], list),
    }
    results = {}
    for world, (chunks, source, change) in worlds.items():
        for notes in LENGTHS:
            cut, own = phrases(source, notes, queries, generator)
            own = own if world == "reversed" else [""] * queries
            asked = change(cut)
            for rhythm, form in (
                ("with rhythm", asked),
                ("without", without_rhythm(asked)),
            ):
                found = calibrate(chunks, form, own)
                results[f"{world}, {notes} notes, {rhythm}"] = found
                ratios = "  ".join(f"{r:5.2f}" for r in found["ratio"].values())
                print(f"{world:10} {notes:3} notes {rhythm:12} {ratios}", flush=True)
    return {
        "command": f"python benchmarks/chance.py --queries {queries}",
        "python": platform.python_version(),
        "machine": platform.machine(),
        "engine": engine().name,
        "tunes": {"real": len(everything), "dances": len(dances), "synthetic": 10_000},
        "levels": LEVELS,
        "results": results,
    }


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
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=int, default=1000)
    parser.add_argument("--keep", default="")
    said = parser.parse_args()
    run = measure(said.queries)
    if said.keep:
        folder = RUNS / f"{date.today().isoformat()}-{said.keep}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "chance.json").write_text(json.dumps(run) + "\n", encoding="utf-8")
        (folder / "chance.svg").write_text(chart(run["results"]), encoding="utf-8")


if __name__ == "__main__":
    main()
