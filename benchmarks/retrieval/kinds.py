"""Measure what kinds of change each method gets over: recall at 10 by kind of variant.

Run:  python -m benchmarks.retrieval.kinds [--length 20] [--count 120] [--keep NAME]

Variants are made of the middle of tunes drawn from the whole corpus, one kind of
change at a time (``variants``); the tune itself is the one right answer.
Intervals are of 95 %, after Wilson (scipy).

Contents: main.
"""

from __future__ import annotations

from scipy.stats import binomtest

from benchmarks.keeping import about, asker, command, keep
from benchmarks.retrieval.compare import method_of
from benchmarks.retrieval.corpus import judged_corpus
from benchmarks.retrieval.variants import KINDS, variant_queries

__all__ = ["main"]

METHODS = ("ngrams", "edits", "plain", "ordered")


def main() -> None:
    """Measure every kind, print it, and keep it if a run was named."""
    parser = asker(__doc__)
    parser.add_argument("--length", type=int, default=20)
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--methods", nargs="+", default=list(METHODS), choices=METHODS)
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    options = parser.parse_args()
    tunes, chunks = judged_corpus()
    methods = {n: method_of(n, tunes, chunks, str(options.length)) for n in options.methods}
    lines = [
        command(),
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
    run = about("rapidfuzz", "scikit-learn") | {"length": options.length, "kinds": data}
    name = f"kinds-{options.length}"
    keep(options.keep, {f"{name}.json": run, f"{name}.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
