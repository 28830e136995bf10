"""Measure how well kin are found: every method on the same judged tunes.

Run:  python benchmarks/retrieval.py [--half reporting] [--judged checked|label]
          [--lengths 8 12 20 whole] [--sample N] [--methods ...] [--run NAME]

Figures are of the reporting half unless asked otherwise, over all 12,647 tunes of
music21's ABC collections. Each has its 95 % interval; each gain over the method before
it has one of its own. The two sets of judgements are described in
``retrieval_judgements``: the checked one favours alignment.

Contents: measured, summary, main.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
import time
from dataclasses import asdict
from pathlib import Path
from random import Random
from typing import Any

from retrieval_corpus import Query, families, judged_corpus, phrase_queries, whole_queries
from retrieval_judgements import PLAIN, JudgedTune
from retrieval_measures import MEASURES, Outcome, difference, interval, outcome_of
from retrieval_methods import Aligned, Edits, Method, Ngrams

from melodex.corpus.chunks import PackedChunk
from melodex.settings import AlignmentCosts

__all__ = ["main"]

RUNS = Path(__file__).parent / "runs"
METHODS = ("ngrams", "edits", "plain", "fitted")
WHOLE_DEPTH = 50
"""Whole tunes take an exact search longest; so many places are enough for them."""


def method_of(
    name: str, tunes: list[JudgedTune], chunks: list[PackedChunk], length: str
) -> Method:
    """A method by its name."""
    depth = {"depth": WHOLE_DEPTH} if length == "whole" else {}
    if name == "ngrams":
        return Ngrams(tunes)
    if name == "edits":
        return Edits(tunes)
    return Aligned(chunks, PLAIN if name == "plain" else AlignmentCosts(), **depth)


def measured(method: Method, queries: list[Query]) -> list[Outcome]:
    """The outcome of each query."""
    return [
        outcome_of(
            query.family,
            query.position,
            method.rank(query.phrase, query.tune),
            query.relevant,
            query.doubtful,
        )
        for query in queries
    ]


def queries_of(
    tunes: list[JudgedTune], options: argparse.Namespace, length: str
) -> list[Query]:
    """The queries of one length, or as many of them as were asked for."""
    judged = families(tunes, options.half, checked=options.judged == "checked")
    if length == "whole":
        queries = whole_queries(tunes, judged)
    else:
        queries = phrase_queries(tunes, judged, int(length))
    if options.sample and options.sample < len(queries):
        queries = Random(7).sample(queries, options.sample)
    return queries


def summary(outcomes: dict[str, list[Outcome]]) -> dict[str, Any]:
    """Every measure of every method, and its gain over the method before."""
    found: dict[str, Any] = {}
    before = None
    for name, rows in outcomes.items():
        kin = [row.family for row in rows]
        entry: dict[str, Any] = {"queries": len(rows), "families": len(set(kin))}
        for measure in MEASURES:
            values = [getattr(row, measure) for row in rows]
            entry[measure] = rounded(interval(kin, values))
            if before is not None:
                older = [getattr(row, measure) for row in outcomes[before]]
                entry[f"{measure}_gain_over_{before}"] = rounded(
                    difference(kin, values, older)
                )
        for position in sorted({row.position for row in rows}):
            here = [row for row in rows if row.position == position]
            entry[f"map_{position}"] = rounded(
                interval([row.family for row in here], [row.map for row in here])
            )
        found[name] = entry
        before = name
    return found


def rounded(values: tuple[float, float, float]) -> list[float]:
    """Mean, low and high to four places."""
    return [round(value, 4) for value in values]


def told(length: str, found: dict[str, Any]) -> list[str]:
    """The summary of one length as lines of text."""
    lines = [f"{length} notes" if length != "whole" else "whole tunes"]
    for name, entry in found.items():
        shown = "  ".join(
            f"{m} {entry[m][0]:.3f} [{entry[m][1]:.3f}, {entry[m][2]:.3f}]"
            for m in MEASURES
        )
        lines.append(f"  {name:9} {shown}  ({entry['queries']} queries)")
        for label in (key for key in entry if key.startswith("map_gain")):
            mean, low, high = entry[label]
            lines.append(f"            {label} {mean:+.3f} [{low:+.3f}, {high:+.3f}]")
    return lines


def main() -> None:
    """Measure what was asked for, print it, and keep it if a run was named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=["tuning", "reporting"], default="reporting")
    parser.add_argument("--judged", choices=["checked", "label"], default="checked")
    parser.add_argument("--lengths", nargs="+", default=["8", "12", "20", "whole"])
    parser.add_argument("--sample", type=int, default=0)
    parser.add_argument("--methods", nargs="+", default=list(METHODS), choices=METHODS)
    parser.add_argument("--run", help="folder below runs/ to keep the figures in")
    options = parser.parse_args()
    tunes, chunks = judged_corpus()
    data: dict[str, Any] = {
        "command": " ".join(["python", "benchmarks/retrieval.py", *sys.argv[1:]]),
        "python": platform.python_version(),
        "machine": platform.machine(),
        "tunes": len(tunes),
        "half": options.half,
        "judged": options.judged,
        "fitted_costs": asdict(AlignmentCosts()),
    }
    lines = [f"{len(tunes)} tunes, {options.half} half, {options.judged} families"]
    for length in options.lengths:
        queries = queries_of(tunes, options, length)
        outcomes: dict[str, list[Outcome]] = {}
        for name in options.methods:
            method = method_of(name, tunes, chunks, length)
            began = time.perf_counter()
            outcomes[name] = measured(method, queries)
            spent = 1000 * (time.perf_counter() - began) / len(queries)
            print(f"{length} {name}: {spent:.1f} ms a query", file=sys.stderr)
        data[length] = summary(outcomes)
        lines += told(length, data[length])
    print("\n".join(lines))
    if options.run:
        keep(options, data, lines)


def keep(options: argparse.Namespace, data: dict[str, Any], lines: list[str]) -> None:
    """Write the figures and their summary."""
    folder = RUNS / options.run
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{options.judged}-{'-'.join(options.lengths)}"
    (folder / f"{name}.json").write_text(json.dumps(data, indent=1) + "\n")
    (folder / f"{name}.txt").write_text("\n".join([data["command"], *lines]) + "\n")


if __name__ == "__main__":
    main()
