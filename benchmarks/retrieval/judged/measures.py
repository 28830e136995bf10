"""How good a ranking is, and how sure that is.

Conventions: a ranking is a list of tunes, best first; an answer that is not in it has
been found nowhere. Intervals are of 95 %, by drawing whole families with replacement,
since the queries of a family are not independent; differences are drawn in pairs.

Contents: average_precision, Outcome, outcome_of, interval, difference.

References
----------
Manning, Raghavan and Schuetze (2008), Introduction to Information Retrieval, section
8.4: average precision. Efron and Tibshirani (1993), An Introduction to the Bootstrap.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "MEASURES",
    "Outcome",
    "average_precision",
    "difference",
    "interval",
    "outcome_of",
]

MEASURES = ("map", "map_drop", "first_is_kin", "kin_in_ten", "recall_at_10")
RESAMPLES, SEED = 2000, 5


def average_precision(ranking: Sequence[int], relevant: Collection[int]) -> float:
    """Mean of the precision at each relevant tune, 0 for those never found.

    Examples
    --------
    >>> round(average_precision([3, 9, 4], {3, 4}), 4)
    0.8333
    >>> average_precision([3], {3, 4})
    0.5
    """
    found, total = 0, 0.0
    for rank, tune in enumerate(ranking, start=1):
        if tune in relevant:
            found += 1
            total += found / rank
    return total / len(relevant)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one query.

    ``map_drop`` leaves out tunes of the same label whose kinship nobody confirmed.
    """

    family: int
    position: str
    map: float
    map_drop: float
    first_is_kin: float
    kin_in_ten: float
    recall_at_10: float


def outcome_of(
    family: int,
    position: str,
    ranking: Sequence[int],
    relevant: Collection[int],
    doubtful: Collection[int],
) -> Outcome:
    """Measure one ranking, from which the query's own tune has been left out."""
    ten = [tune in relevant for tune in ranking[:10]]
    return Outcome(
        family,
        position,
        average_precision(ranking, relevant),
        average_precision([t for t in ranking if t not in doubtful], relevant),
        float(any(ten[:1])),
        float(any(ten)),
        sum(ten) / min(len(relevant), 10),
    )


def interval(
    families: Sequence[int], values: Sequence[float]
) -> tuple[float, float, float]:
    """Mean of values, and its interval."""
    sums, counts = by_family(families, values)
    dice = np.random.default_rng(SEED)
    drawn = dice.integers(0, len(sums), (RESAMPLES, len(sums)))
    means = sums[drawn].sum(axis=1) / counts[drawn].sum(axis=1)
    low, high = np.percentile(means, [2.5, 97.5])
    return float(sums.sum() / counts.sum()), float(low), float(high)


def difference(
    families: Sequence[int], ours: Sequence[float], theirs: Sequence[float]
) -> tuple[float, float, float]:
    """Mean gain of ours over theirs on the same queries, and its interval."""
    return interval(families, [a - b for a, b in zip(ours, theirs, strict=True)])


def by_family(
    families: Sequence[int], values: Sequence[float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sum of the values and number of queries of each family."""
    _, places = np.unique(np.asarray(families), return_inverse=True)
    return (
        np.bincount(places, weights=np.asarray(values)).astype(np.float64),
        np.bincount(places).astype(np.float64),
    )
