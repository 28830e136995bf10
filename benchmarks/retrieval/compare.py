"""Measure how well kin are found: every method on the same judged tunes.

Run:  python -m benchmarks.retrieval.compare [--half reporting] [--lengths 8 12 20 whole]
          [--methods ...] [--said degrees] [--label-share .35] [--keep NAME]

Figures are of the reporting half unless asked otherwise, over all 12,647 tunes of
music21's ABC collections. Each has its 95 % interval; each gain over another
method has one of its own, on the queries that both were asked. The two sets of judgements
are described in ``judged.labels``: the checked one favours alignment.

All checked families are asked for, but of the label families, which are twice as many
and of which half the pairs share a title and no music, a drawn share; and the edit
distance, which takes longest, is asked for the families of a smaller share of labels.

Contents: measured, summary, main.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from benchmarks.keeping import about, asker, command, keep
from benchmarks.retrieval.corpus import (
    SAYS,
    Family,
    Query,
    families,
    judged_corpus,
    phrase_queries,
    said_as,
    whole_queries,
)
from benchmarks.retrieval.fits.costs import fitted_on_tuning
from benchmarks.retrieval.judged.labels import PLAIN, JudgedTune
from benchmarks.retrieval.judged.measures import (
    MEASURES,
    Outcome,
    difference,
    interval,
    outcome_of,
)
from benchmarks.retrieval.methods import Aligned, Edits, Method, Ngrams, Ordered
from melodex.corpus.chunks import PackedChunk

__all__ = ["main"]

METHODS = ("ngrams", "edits", "plain", "fitted", "ordered")
AGAINST = {
    "edits": ("ngrams",),
    "plain": ("ngrams", "edits"),
    "fitted": ("plain",),
    "ordered": ("plain",),
}
"""Which methods each is to beat."""

JUDGED = ("checked", "label")
WHOLE_DEPTH = 50
"""Whole tunes take an exact search longest; so many places are enough for them."""

Asked = tuple[int, str]
"""Which phrase was asked for: the place of its tune, and where in it."""


def method_of(
    name: str, tunes: list[JudgedTune], chunks: list[PackedChunk], length: str
) -> Method:
    """A method by its name."""
    if name == "ngrams":
        return Ngrams(tunes)
    if name == "edits":
        return Edits(tunes)
    depth = {"depth": WHOLE_DEPTH} if length == "whole" else {}
    if name == "fitted":
        return Aligned(chunks, fitted_on_tuning(tunes).costs, **depth)
    aligned = Aligned(chunks, PLAIN, **depth)
    return Ordered(tunes, aligned) if name == "ordered" else aligned


def queries_of(
    tunes: list[JudgedTune], judged: list[Family], length: str, said: str
) -> dict[Asked, Query]:
    """The queries of one length, said in one way."""
    if length == "whole":
        queries = whole_queries(tunes, judged)
    else:
        queries = phrase_queries(tunes, judged, int(length))
    return {
        (query.tune, query.position): replace(query, phrase=said_as(query.phrase, said))
        for query in queries
    }


def measured(
    queries: dict[Asked, Query], rankings: dict[Asked, list[int]]
) -> dict[Asked, Outcome]:
    """The outcome of each query that was asked for."""
    return {
        asked: outcome_of(
            query.family, query.position, rankings[asked], query.relevant, query.doubtful
        )
        for asked, query in queries.items()
        if asked in rankings
    }


def summary(outcomes: dict[str, dict[Asked, Outcome]]) -> dict[str, Any]:
    """Every measure of every method, and its gains over those that it is to beat."""
    found: dict[str, Any] = {}
    for name, rows in outcomes.items():
        kin = [row.family for row in rows.values()]
        entry: dict[str, Any] = {"queries": len(rows), "families": len(set(kin))}
        for measure in MEASURES:
            values = [getattr(row, measure) for row in rows.values()]
            entry[measure] = rounded(interval(kin, values))
        for position in sorted({row.position for row in rows.values()}):
            here = [row for row in rows.values() if row.position == position]
            entry[f"map_{position}"] = rounded(
                interval([row.family for row in here], [row.map for row in here])
            )
        entry["gain_over"] = {
            other: gains(rows, outcomes[other])
            for other in AGAINST.get(name, ())
            if other in outcomes
        }
        found[name] = entry
    return found


def gains(ours: dict[Asked, Outcome], theirs: dict[Asked, Outcome]) -> dict[str, Any]:
    """What one method gains over another on the queries that both were asked."""
    both = [asked for asked in ours if asked in theirs]
    kin = [ours[asked].family for asked in both]
    return {
        measure: rounded(
            difference(
                kin,
                [getattr(ours[asked], measure) for asked in both],
                [getattr(theirs[asked], measure) for asked in both],
            )
        )
        for measure in MEASURES
    }


def rounded(values: tuple[float, float, float]) -> list[float]:
    """Mean, low and high to four places."""
    return [round(value, 4) for value in values]


def told(title: str, found: dict[str, Any]) -> list[str]:
    """The summary of one length as lines of text."""
    lines = ["", title]
    for name, entry in found.items():
        lines.append(
            f"  {name}  ({entry['queries']} queries, {entry['families']} families)"
        )
        for measure in MEASURES:
            mean, low, high = entry[measure]
            line = f"    {measure:13} {mean:.3f} [{low:.3f}, {high:.3f}]"
            for other, gained in entry["gain_over"].items():
                more, least, most = gained[measure]
                line += f"   over {other} {more:+.3f} [{least:+.3f}, {most:+.3f}]"
            lines.append(line)
        places = [key for key in entry if key.startswith("map_") and key != "map_drop"]
        if len(places) > 1:
            shown = ", ".join(f"{key[4:]} {entry[key][0]:.3f}" for key in places)
            lines.append(f"    map at the {shown}")
    return lines


def ranked(
    method: Method, queries: dict[Asked, Query], title: str
) -> dict[Asked, list[int]]:
    """What a method answers to all queries."""
    began = time.process_time()
    found = dict(zip(queries, method.rankings(list(queries.values())), strict=True))
    spent = 1000 * (time.process_time() - began) / max(1, len(queries))
    print(f"{title}: {len(queries)} queries, {spent:.1f} ms each", file=sys.stderr)
    return found


def compared(
    tunes: list[JudgedTune],
    chunks: list[PackedChunk],
    options: argparse.Namespace,
    length: str,
) -> dict[str, dict[str, Any]]:
    """All methods on the queries of one length, judged in both ways."""

    def asked(checked: bool, share: float) -> dict[Asked, Query]:
        judged = families(tunes, options.half, checked=checked, share=share)
        return queries_of(tunes, judged, length, options.said)

    sets = {
        "checked": asked(True, options.checked_share),
        "label": asked(False, options.label_share),
    }
    outcomes: dict[str, dict[str, dict[Asked, Outcome]]] = {name: {} for name in JUDGED}
    for name in options.methods:
        wanted = {**sets["label"], **sets["checked"]}
        if name == "edits":
            few = asked(False, options.edits_share)
            wanted = {key: query for key, query in wanted.items() if key in few}
        method = method_of(name, tunes, chunks, length)
        rankings = ranked(method, wanted, f"{length} {name}")
        for judged in JUDGED:
            if isinstance(method, Ordered):
                before = dict(zip(wanted, method.before, strict=True))
                outcomes[judged].setdefault("plain", measured(sets[judged], before))
            outcomes[judged][name] = measured(sets[judged], rankings)
    return {judged: summary(outcomes[judged]) for judged in JUDGED}


def parsed(arguments: Sequence[str]) -> argparse.Namespace:
    """What was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--half", choices=["tuning", "reporting"], default="reporting")
    parser.add_argument("--lengths", nargs="+", default=["8", "12", "20", "whole"])
    parser.add_argument("--methods", nargs="+", default=list(METHODS), choices=METHODS)
    parser.add_argument("--said", choices=SAYS, default="passage")
    parser.add_argument("--checked-share", type=float, default=1.0)
    parser.add_argument("--label-share", type=float, default=0.35)
    parser.add_argument("--edits-share", type=float, default=0.2)
    return parser.parse_args(arguments)


def main() -> None:
    """Measure what was asked for, print it, and keep it if a run was named."""
    options = parsed(sys.argv[1:])
    tunes, chunks = judged_corpus()
    for length in options.lengths:
        found = compared(tunes, chunks, options, length)
        data = {
            **about("rapidfuzz", "scikit-learn", "music21"),
            "tunes": len(tunes),
            "half": options.half,
            "said": options.said,
            "shares_of_labels": {
                "checked": options.checked_share,
                "label": options.label_share,
                "edits": options.edits_share,
            },
            "plain_costs": asdict(PLAIN),
            "length": length,
            **found,
        }
        notes = f"{length} notes" if length != "whole" else "whole tunes"
        lines = [
            command(),
            f"{len(tunes)} tunes, {options.half} half, {notes} said as {options.said}",
        ]
        for judged in JUDGED:
            lines += told(f"{notes}, {judged} families", found[judged])
        print("\n".join(lines))
        name = f"{length}-{options.said}"
        keep(options.keep, {f"{name}.json": data, f"{name}.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
