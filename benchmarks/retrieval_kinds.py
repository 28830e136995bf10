"""Measure what kinds of change each method gets over: recall at 10 by kind of variant.

Run:  python benchmarks/retrieval_kinds.py [--length 20] [--count 120] [--run NAME]

Variants are made of the middle of tunes drawn from the whole corpus, one kind of
change at a time (``retrieval_variants``); the tune itself is the one right answer.
Intervals are of 95 %, after Wilson (scipy).

Contents: main.
"""

from __future__ import annotations

import argparse
import json
import sys

from retrieval import RUNS, method_of
from retrieval_corpus import judged_corpus
from retrieval_variants import KINDS, variant_queries
from scipy.stats import binomtest

__all__ = ["main"]

METHODS = ("ngrams", "edits", "plain", "ordered")


def main() -> None:
    """Measure every kind, print it, and keep it if a run was named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--length", type=int, default=20)
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--methods", nargs="+", default=list(METHODS), choices=METHODS)
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    parser.add_argument("--run", help="folder below runs/ to keep the figures in")
    options = parser.parse_args()
    tunes, chunks = judged_corpus()
    methods = {n: method_of(n, tunes, chunks, str(options.length)) for n in options.methods}
    command = " ".join(["python", "benchmarks/retrieval_kinds.py", *sys.argv[1:]])
    lines = [
        command,
        f"{len(tunes)} tunes; variants of {options.length} notes, {options.count} a kind",
        "recall at 10 and its 95 % interval; how often the tune came first",
        "",
    ]
    data: dict[str, dict[str, list[float]]] = {}
    for kind in options.kinds:
        queries = variant_queries(tunes, kind, options.length, options.count)
        data[kind] = {}
        for name, method in methods.items():
            rankings = list(method.rankings(queries))
            asked = list(zip(queries, rankings, strict=True))
            ten = sum(not query.relevant.isdisjoint(r[:10]) for query, r in asked)
            first = sum(not query.relevant.isdisjoint(r[:1]) for query, r in asked)
            low, high = binomtest(ten, len(asked)).proportion_ci(method="wilson")
            share = ten / len(asked)
            data[kind][name] = [round(v, 4) for v in (share, low, high, first / len(asked))]
            lines.append(
                f"{kind:17} {name:8} {share:.3f} [{low:.3f}, {high:.3f}]"
                f"  first {first / len(asked):.3f}"
            )
            print(lines[-1], flush=True)
    if options.run:
        folder = RUNS / options.run
        folder.mkdir(parents=True, exist_ok=True)
        kept = {"command": command, "length": options.length, "kinds": data}
        (folder / f"kinds-{options.length}.json").write_text(
            json.dumps(kept, indent=1) + "\n"
        )
        (folder / f"kinds-{options.length}.txt").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
