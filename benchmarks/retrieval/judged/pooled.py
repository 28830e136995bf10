"""Measure every method on the pooled judgements, whatever tunes are called.

Run:  python -m benchmarks.retrieval.judged.pooled [--ways] [--keep NAME]

For each query the pairs of the pool are judged by ``rule``; a pair that was
read note for note (``readings.json``: first and second tune, class, reason) has the class
of the reading. A phrase is asked for in kin of its tune that hold its bars; kin that do
not hold them, and pairs of which nothing can be said, count neither way.

MAP takes tunes outside the pool for no kin; bpref looks at judged tunes alone. Intervals
are by family: queries that share kin. What is printed are figures of the reporting half,
without tunes of label families that the weights were fitted on.

References
----------
Buckley and Voorhees (2004), "Retrieval evaluation with incomplete information", Proc.
SIGIR, 25-32: bpref.

Contents: bpref, Judged, judged_queries, measured, agreement,
fitted_on, main.
"""

from __future__ import annotations

import json
import os
import pickle
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.keeping import about, asker, command, keep
from benchmarks.retrieval.asked import by_kind, by_ranx, by_way
from benchmarks.retrieval.corpus import CACHE_VARIABLE, Query, judged_corpus
from benchmarks.retrieval.judged.labels import JUDGEMENTS, JudgedTune, joined
from benchmarks.retrieval.judged.measures import average_precision, difference, interval
from benchmarks.retrieval.judged.pool import (
    DEPTHS,
    POOL_LENGTHS,
    POOLED,
    drawn_queries,
    half_of_tune,
    pooled,
)
from benchmarks.retrieval.judged.rule import (
    DOUBTFUL,
    KIN,
    NOT_KIN,
    Layout,
    evidence_of,
    holds,
    judged,
    laid_out,
)

__all__ = ["agreement", "bpref", "judged_queries", "main", "measured"]

READINGS = Path(__file__).parent / "readings.json"
EVERY = 2
"""Every second drawn query is judged: the rule takes some milliseconds for a pair."""

Rankings = dict[str, dict[str, list[list[int]]]]
Pair = tuple[int, int]


def bpref(
    ranking: Sequence[int], relevant: Collection[int], others: Collection[int]
) -> float:
    """How rarely judged tunes that are no kin stand above kin (2004, as trec_eval has it).

    Examples
    --------
    >>> bpref([9, 3, 8, 4], {3, 4}, {8, 9})
    0.25
    """
    above, total = 0, 0.0
    most = min(len(relevant), len(others))
    for tune in ranking:
        if tune in others:
            above += 1
        elif tune in relevant:
            total += 1.0 - (min(above, len(relevant)) / most if most else 0.0)
    return total / len(relevant)


@dataclass(frozen=True, slots=True)
class Judged:
    """A query, its place among all that were drawn, and what its pool holds."""

    query: Query
    place: int
    kin: frozenset[int]
    doubtful: frozenset[int]
    others: frozenset[int]


def readings(tunes: Sequence[JudgedTune]) -> dict[Pair, str]:
    """The class of each pair that was read."""
    places = {(tune.source, tune.number): n for n, tune in enumerate(tunes)}
    rows = json.loads(READINGS.read_text(encoding="utf-8"))["pairs"]
    found = {}
    for row in rows:
        pair = sorted(places[source, number] for source, number in row[:2])
        found[pair[0], pair[1]] = row[2]
    return found


def classes(tunes: Sequence[JudgedTune], pairs: Collection[Pair]) -> dict[Pair, str]:
    """What the rule says of pairs, kept where a cache is named."""
    folder = os.environ.get(CACHE_VARIABLE)
    path = Path(folder) / "pairs.pickle" if folder else None
    known: dict[Pair, str] = {}
    if path and path.exists():
        known = pickle.loads(path.read_bytes())
    layouts: dict[int, Layout] = {}
    for pair in sorted(set(pairs) - set(known)):
        for tune in pair:
            layouts.setdefault(tune, laid_out(tunes[tune].melody))
        known[pair] = judged(evidence_of(layouts[pair[0]], layouts[pair[1]]))
    if path:
        path.write_bytes(pickle.dumps(known))
    return known


def in_pool(rankings: Rankings, length: str, place: int) -> set[int]:
    """The best of every method for one query."""
    return {
        tune for name in POOLED for tune in rankings[length][name][place][: DEPTHS[length]]
    }


def judged_queries(
    tunes: Sequence[JudgedTune], queries: dict[str, list[Query]], rankings: Rankings
) -> dict[str, list[Judged]]:
    """All queries with the classes of their pools; all lengths of a tune share them."""
    pools: dict[int, set[int]] = {}
    for length in POOL_LENGTHS:
        for place in range(0, len(queries[length]), EVERY):
            tune = queries[length][place].tune
            pools.setdefault(tune, set()).update(in_pool(rankings, length, place))
    pairs = {(min(t, o), max(t, o)) for t, pool in pools.items() for o in pool}
    said = {**classes(tunes, pairs), **readings(tunes)}
    found: dict[str, list[Judged]] = {}
    for length in POOL_LENGTHS:
        found[length] = [
            split(tunes, queries[length][place], place, pools, said)
            for place in range(0, len(queries[length]), EVERY)
        ]
    return found


def split(
    tunes: Sequence[JudgedTune],
    query: Query,
    place: int,
    pools: dict[int, set[int]],
    said: dict[Pair, str],
) -> Judged:
    """The pool of a query by classes; kin that lack the bars of a phrase are doubtful."""
    groups: dict[str, set[int]] = {KIN: set(), DOUBTFUL: set(), NOT_KIN: set()}
    for other in pools[query.tune]:
        pair = min(query.tune, other), max(query.tune, other)
        groups[said[pair]].add(other)
    melody = tunes[query.tune].melody
    count = len(query.phrase.melody)
    if count < len(melody):
        own, first = laid_out(melody), query.phrase.first_note
        low = min(melody.bar)
        bars = melody.bar[first] - low, melody.bar[first + count - 1] - low
        lacking = {
            other
            for other in groups[KIN]
            if not holds(own, laid_out(tunes[other].melody), *bars)
        }
        groups[KIN] -= lacking
        groups[DOUBTFUL] |= lacking
    return Judged(
        query,
        place,
        frozenset(groups[KIN]),
        frozenset(groups[DOUBTFUL]),
        frozenset(groups[NOT_KIN]),
    )


def families(found: Sequence[Judged]) -> dict[int, int]:
    """The number of the family of each tune: those that kinship joins."""
    groups = joined(
        (j.query.tune, other) for j in found for other in {*j.kin, j.query.tune}
    )
    return {tune: number for number, group in enumerate(groups) for tune in group}


def measured(
    found: Sequence[Judged], rankings: dict[str, list[list[int]]], family: dict[int, int]
) -> dict[str, Any]:
    """Every measure of every method."""
    asked = [j for j in found if j.kin]
    kinds = [family[j.query.tune] for j in asked]
    result: dict[str, Any] = {"queries": len(asked), "families": len(set(kinds))}
    for name in POOLED:
        result[name] = {
            measure: [round(v, 4) for v in interval(kinds, values)]
            for measure, values in rows_of(asked, rankings[name]).items()
        }
    ours, theirs = (rows_of(asked, rankings[name]) for name in ("evidence", "alignment"))
    result["evidence over alignment"] = {
        measure: [round(v, 4) for v in difference(kinds, values, theirs[measure])]
        for measure, values in ours.items()
    }
    return result


def rows_of(asked: Sequence[Judged], rankings: list[list[int]]) -> dict[str, list[float]]:
    """Every measure of one method, a value for each query."""
    rows: dict[str, list[float]] = {"map": [], "recall_at_10": [], "bpref": []}
    for j in asked:
        ranking = [t for t in rankings[j.place] if t not in j.doubtful]
        rows["map"].append(average_precision(ranking, j.kin))
        here = sum(t in j.kin for t in ranking[:10])
        rows["recall_at_10"].append(here / min(len(j.kin), 10))
        rows["bpref"].append(bpref(ranking, j.kin, j.others))
    return rows


def agreement(tunes: Sequence[JudgedTune], half: str) -> dict[str, Any]:
    """How often rule and reading say the same of the pairs of a half, and kappa."""
    places = {(tune.source, tune.number): n for n, tune in enumerate(tunes)}
    rows = json.loads(READINGS.read_text(encoding="utf-8"))["pairs"]
    names = (KIN, DOUBTFUL, NOT_KIN)
    counts: Counter[Pair] = Counter()
    for one, other, read, _ in rows:
        first, second = places[tuple(one)], places[tuple(other)]
        if half_of_tune(tunes[first]) == half:
            evidence = evidence_of(
                laid_out(tunes[first].melody), laid_out(tunes[second].melody)
            )
            counts[names.index(read), names.index(judged(evidence))] += 1
    table = np.asarray([[counts[a, b] for b in range(3)] for a in range(3)])
    total = table.sum()
    same = np.trace(table) / total
    chance = (table.sum(0) * table.sum(1)).sum() / total**2
    return {
        "rows_read_columns_rule": table.tolist(),
        "same": round(float(same), 4),
        "kappa": round(float((same - chance) / (1 - chance)), 4),
    }


def of_labels(tunes: Sequence[JudgedTune], found: Sequence[Judged]) -> dict[str, int]:
    """How many kin share a label with the query's tune, and how many bear others."""
    same = Counter(
        bool(set(tunes[j.query.tune].labels) & set(tunes[other].labels))
        for j in found
        for other in j.kin
    )
    return {"in common": same[True], "others": same[False]}


def fitted_on(tunes: Sequence[JudgedTune]) -> set[int]:
    """Tunes of the label families whose tuning half the weights in use were fitted on."""
    data = json.loads(JUDGEMENTS.read_text(encoding="utf-8"))
    places = {(tune.source, tune.number): n for n, tune in enumerate(tunes)}
    return {
        places[source, number]
        for entry in data["families"]
        if entry["half"] == "tuning"
        for source, number in entry["tunes"]
    }


def rankings_of(tunes: list[JudgedTune], chunks: Any) -> Rankings:
    """The pool's rankings, kept where a cache is named."""
    folder = os.environ.get(CACHE_VARIABLE)
    path = Path(folder) / "pooled.pickle" if folder else None
    if path and path.exists():
        known: Rankings = pickle.loads(path.read_bytes())
        return known
    found = pooled(tunes, chunks)
    if path:
        path.write_bytes(pickle.dumps(found))
    return found


def main() -> None:
    """Judge, measure, print, and keep if a run was named."""
    parser = asker(__doc__)
    parser.add_argument("--ways", action="store_true", help="by way of asking, too")
    options = parser.parse_args()
    tunes, chunks = judged_corpus()
    rankings, queries = rankings_of(tunes, chunks), drawn_queries(tunes)
    found = judged_queries(tunes, queries, rankings)
    family = families([j for rows in found.values() for j in rows])
    data: dict[str, Any] = {**about("scikit-learn", "rapidfuzz", "music21")}
    lines = [command(), f"{len(tunes)} tunes, pooled judgements, reporting half"]
    for half in ("tuning", "reporting"):
        data[f"rule_and_reading_{half}"] = agreement(tunes, half)
        lines.append(f"rule and reading, {half}: {data[f'rule_and_reading_{half}']}")
    used = fitted_on(tunes)
    for length, rows in found.items():
        here = [
            j
            for j in rows
            if j.query.tune not in used and half_of_tune(tunes[j.query.tune]) == "reporting"
        ]
        entry = measured(here, rankings[length], family)
        asked = [j for j in here if j.kin]
        more: dict[str, Any] = {
            "kin_by_label": of_labels(tunes, here),
            "evidence_by_ranx": by_ranx(asked, rankings[length]["evidence"]),
        }
        if length == "whole":
            more["by_kind"] = by_kind(tunes, asked, rankings[length]["evidence"])
        elif options.ways:
            more["by_way"] = by_way(tunes, chunks, asked)
        data[length] = {**entry, **more}
        lines += ["", f"{length}: {entry['queries']} queries, {entry['families']} families"]
        lines += [f"  {name}: {value}" for name, value in more.items()]
        lines += [
            f"  {name:14} "
            + "  ".join(f"{m} {v[0]:.3f} [{v[1]:.3f}, {v[2]:.3f}]" for m, v in row.items())
            for name, row in entry.items()
            if isinstance(row, dict)
        ]
    print("\n".join(lines))
    keep(options.keep, {"pooled.json": data, "pooled.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
