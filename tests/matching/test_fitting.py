"""Fitting costs: log odds worked by hand, signs, and answers that do not vary."""

from __future__ import annotations

import math
from random import Random

import pytest

from benchmarks.retrieval.fits.pairs import KinPair, as_costs, fit_costs, kinds_of_any_two
from melodex.errors import EmptyMelodyError
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts


def kin(seed: int, changes: float) -> KinPair:
    """A random melody and a copy in which some pitches and lengths are others."""
    generator = Random(seed)
    pitch, line = 67, []
    for _ in range(40):
        pitch = min(84, max(52, pitch + generator.choice([-4, -2, -1, 0, 1, 2, 3])))
        line.append(pitch)
    lengths = [generator.choice([0, 254, 2]) for _ in line]
    other = [p + (generator.random() < changes) * generator.choice([-2, 5]) for p in line]
    classes = [0 if generator.random() < changes else c for c in lengths]
    return KinPair(EncodedQuery(bytes(line), bytes(lengths)), bytes(other), bytes(classes))


def test_points_are_the_log_odds_that_a_calculation_by_hand_gives() -> None:
    # Half of the answering pairs are the same in pitch and length, a tenth of any two:
    # odds of 5, ln 5 = 1.609; a far pitch with other lengths .05 against .4: ln 1/8.
    answering = dict.fromkeys([(p, n) for p in range(3) for n in range(3)], 0.05)
    any_two = dict.fromkeys(answering, 0.0625)
    answering[0, 0], any_two[0, 0], any_two[2, 2] = 0.5, 0.1, 0.4
    fitted = as_costs(answering, any_two, math.log(0.1), 4, 1)
    assert fitted.odds[0] == pytest.approx(math.log(5))
    assert fitted.odds[8] == pytest.approx(math.log(1 / 8))
    assert fitted.points_per_unit == pytest.approx(4 / math.log(5))
    assert fitted.costs.same_pitch[0] == 4
    assert fitted.costs.far_pitch[2] == round(4 * math.log(1 / 8) / math.log(5))
    assert fitted.costs.gap == round(4 * math.log(0.1) / math.log(5))


def test_any_two_notes_are_counted_all_against_all() -> None:
    pair = KinPair(EncodedQuery(bytes([60, 64]), bytes(2)), bytes([60, 61, 70]), bytes(3))
    # 60 is the same as 60, near 61, far from 70; 64 is far from all three.
    assert kinds_of_any_two(pair, 0) == {(0, 0): 1.0, (1, 0): 1.0, (2, 0): 4.0}


def test_kin_melodies_make_agreement_pay_and_difference_cost() -> None:
    fitted = fit_costs([kin(seed, 0.2) for seed in range(30)])
    costs = fitted.costs
    assert costs.same_pitch[0] == 4
    assert costs.same_pitch[0] >= costs.same_pitch[2]
    assert max(costs.near_pitch + costs.far_pitch) <= 0
    assert costs.gap < 0
    assert fitted.pairs == 30
    assert fit_costs([kin(seed, 0.2) for seed in range(30)]) == fitted
    assert isinstance(costs, AlignmentCosts)


def test_more_alike_kin_make_differences_dearer() -> None:
    alike = fit_costs([kin(seed, 0.05) for seed in range(30)])
    less = fit_costs([kin(seed, 0.4) for seed in range(30)])
    assert alike.odds[8] / alike.odds[0] < less.odds[8] / less.odds[0]


def test_near_copies_can_be_left_out() -> None:
    with pytest.raises(EmptyMelodyError, match="known length in common"):
        fit_costs([kin(1, 0.0)], most_alike=0.9)


def test_melodies_without_lengths_teach_nothing() -> None:
    unknown = bytes([128]) * 4
    pair = KinPair(
        EncodedQuery(bytes([60, 62, 64, 65]), unknown), bytes(range(60, 64)), unknown
    )
    with pytest.raises(EmptyMelodyError, match="known length in common"):
        fit_costs([pair])
