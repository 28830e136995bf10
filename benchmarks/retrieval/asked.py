"""Pooled judgements by way of asking, by what kin differ in, and recomputed elsewhere.

Conventions: the judgements are those of ``judged.pooled``, and so is the half; a phrase is
asked for as a passage of its tune, with its lengths but without metre and place, and as
degrees alone. Kin of a whole tune are sorted by what they have otherwise; one may count in
several kinds, and in none. What is found is recall at 10.

Contents: WAYS, KINDS, by_way, by_kind, by_ranx.

References
----------
Bassani (2022), "ranx: A Blazing-Fast Python Library for Ranking Evaluation and Comparison",
ECIR 2022: the outside check of MAP, recall and bpref.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from benchmarks.retrieval.corpus import SAYS, said_as
from benchmarks.retrieval.judged.labels import PLAIN, JudgedTune
from benchmarks.retrieval.judged.measures import average_precision
from benchmarks.retrieval.methods import Aligned, Ordered
from melodex.corpus.chunks import PackedChunk
from melodex.melody import Melody

if TYPE_CHECKING:
    from benchmarks.retrieval.judged.pooled import Judged

__all__ = ["KINDS", "WAYS", "by_kind", "by_ranx", "by_way"]

WAYS = SAYS
ORNAMENTED, SHORTENED = 1.15, 0.75
"""Ratio of notes to bar from which one has more ornament, and of bars from which one has
parts that the other lacks (our choice)."""


def notes_a_bar(melody: Melody) -> float:
    """Notes in a bar on average."""
    return len(melody) / (melody.bar[-1] - melody.bar[0] + 1)


def other_metre(one: Melody, other: Melody) -> bool:
    """Another time signature, or none in one of them."""
    return one.metre != other.metre


def other_mode(one: Melody, other: Melody) -> bool:
    """Another mode, where both are known."""
    return "none" not in (one.key.mode, other.key.mode) and one.key.mode != other.key.mode


def more_notes(one: Melody, other: Melody) -> bool:
    """In the same metre, more notes to a bar in one of them."""
    few, many = sorted((notes_a_bar(one), notes_a_bar(other)))
    return one.metre == other.metre and many >= ORNAMENTED * few


def parts_left_out(one: Melody, other: Melody) -> bool:
    """In the same metre, a good deal shorter."""
    few, many = sorted(m.bar[-1] - m.bar[0] + 1 for m in (one, other))
    return one.metre == other.metre and few <= SHORTENED * many


KINDS: dict[str, Callable[[Melody, Melody], bool]] = {
    "other metre": other_metre,
    "other mode": other_mode,
    "ornament": more_notes,
    "parts left out": parts_left_out,
    "none of these": lambda one, other: (
        not any(
            kind(one, other)
            for kind in (other_metre, other_mode, more_notes, parts_left_out)
        )
    ),
}
"""What two kin differ in (the kinds are common practice, no source)."""


def by_way(
    tunes: list[JudgedTune], chunks: list[PackedChunk], asked: Sequence[Judged]
) -> dict[str, dict[str, float]]:
    """MAP and recall at 10 of phrases said in each way, in the order of evidence."""
    found = {}
    for way in WAYS:
        queries = [
            replace(j.query, phrase=said_as(j.query.phrase, way)) for j in asked if j.kin
        ]
        method = Ordered(tunes, Aligned(chunks, PLAIN, depth=100))
        precision, recall = [], []
        kin = [j for j in asked if j.kin]
        for j, ranking in zip(kin, method.rankings(queries), strict=True):
            told = [tune for tune in ranking if tune not in j.doubtful]
            precision.append(average_precision(told, j.kin))
            recall.append(sum(t in j.kin for t in told[:10]) / min(len(j.kin), 10))
        found[way] = {
            "queries": len(kin),
            "map": round(sum(precision) / len(kin), 4),
            "recall_at_10": round(sum(recall) / len(kin), 4),
        }
    return found


def by_kind(
    tunes: Sequence[JudgedTune], asked: Sequence[Judged], rankings: Sequence[list[int]]
) -> dict[str, dict[str, float]]:
    """How many kin of each kind are among the first ten."""
    counts: dict[str, list[bool]] = defaultdict(list)
    for j in asked:
        told = [tune for tune in rankings[j.place] if tune not in j.doubtful][:10]
        for other in j.kin:
            pair = tunes[j.query.tune].melody, tunes[other].melody
            for name, kind in KINDS.items():
                if kind(*pair):
                    counts[name].append(other in told)
    return {
        name: {"kin": len(rows), "in_ten": round(sum(rows) / len(rows), 4)}
        for name, rows in counts.items()
    }


def by_ranx(asked: Sequence[Judged], rankings: Sequence[list[int]]) -> dict[str, float]:
    """The means of MAP and bpref as ranx works them out, from the same judgements."""
    from ranx import Qrels, Run, evaluate

    judged: dict[str, dict[str, int]] = {}
    runs: dict[str, dict[str, float]] = {}
    for j in asked:
        name = str(j.place)
        judged[name] = {**{str(t): 1 for t in j.kin}, **{str(t): 0 for t in j.others}}
        told = [tune for tune in rankings[j.place] if tune not in j.doubtful]
        runs[name] = {str(tune): 1.0 / n for n, tune in enumerate(told, start=1)}
    found: dict[str, Any] = evaluate(Qrels(judged), Run(runs), ["map", "bpref"])
    return {name: round(float(value), 4) for name, value in found.items()}
