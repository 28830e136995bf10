"""Measures of retrieval against a textbook's, scikit-learn's, and scipy's bootstrap."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from scipy.stats import bootstrap
from sklearn.metrics import average_precision_score

from benchmarks.retrieval.judged import measures


def test_average_precision_of_a_worked_example() -> None:
    # Relevant at ranks 1, 3, 6 of four that there are: (1/1 + 2/3 + 3/6 + 0) / 4, after
    # the definition in Manning, Raghavan and Schuetze (2008), section 8.4.
    ranking = [7, 90, 3, 91, 92, 5]
    by_hand = (1 + 2 / 3 + 3 / 6) / 4
    assert measures.average_precision(ranking, {7, 3, 5, 11}) == pytest.approx(by_hand)


@pytest.mark.parametrize("seed", range(20))
def test_average_precision_is_scikit_learns(seed: int) -> None:
    dice = Random(seed)
    ranking = dice.sample(range(60), 60)
    relevant = set(dice.sample(range(60), dice.randint(1, 8)))
    theirs = average_precision_score(
        [tune in relevant for tune in ranking], -np.arange(60, dtype=float)
    )
    assert measures.average_precision(ranking, relevant) == pytest.approx(theirs)


def test_doubtful_tunes_are_left_out_of_one_measure_only() -> None:
    found = measures.outcome_of(0, "start", [4, 9, 8], {9}, {4})
    assert (found.map, found.map_drop) == (0.5, 1.0)
    assert (found.first_is_kin, found.kin_in_ten, found.recall_at_10) == (0.0, 1.0, 1.0)


def test_recall_at_ten_asks_for_no_more_than_ten() -> None:
    found = measures.outcome_of(0, "start", list(range(10)), set(range(5, 25)), set())
    assert found.recall_at_10 == 0.5


def test_intervals_are_those_of_scipys_bootstrap() -> None:
    # With one query to a family, drawing families is drawing queries.
    values = [float(x) for x in np.random.default_rng(3).beta(0.5, 0.5, 150)]
    mean, low, high = measures.interval(range(150), values)
    theirs = bootstrap(
        (values,), np.mean, n_resamples=4000, method="percentile", rng=1
    ).confidence_interval
    assert mean == pytest.approx(np.mean(values))
    assert low == pytest.approx(theirs.low, abs=0.01)
    assert high == pytest.approx(theirs.high, abs=0.01)


def test_queries_of_one_family_count_as_one_observation() -> None:
    values = [float(x) for x in np.random.default_rng(3).beta(0.5, 0.5, 60)]
    alone = measures.interval(range(60), values)
    fourfold = measures.interval(
        [n for n in range(60) for _ in range(4)], np.repeat(values, 4).tolist()
    )
    assert fourfold == pytest.approx(alone)


def test_a_gain_is_drawn_in_pairs() -> None:
    values = [float(x) for x in np.random.default_rng(3).random(50)]
    mean, low, high = measures.difference(range(50), [v + 0.1 for v in values], values)
    assert (mean, low, high) == pytest.approx((0.1, 0.1, 0.1))
