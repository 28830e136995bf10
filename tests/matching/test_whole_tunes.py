"""Which tunes are near one another, and whether two whole tunes are one.

Neighbors are checked against cosines of scikit-learn's TF-IDF vectors, which are worked
out another way.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.feature_extraction.text import CountVectorizer
from sklearn.metrics.pairwise import cosine_similarity

from melodex.matching.evidence.neighbors import FIGURE_STEPS, Neighbors
from melodex.matching.evidence.whole_tunes import (
    KIN_FEATURES,
    KIN_WEIGHTS,
    WEIGHTS_WITHOUT_BEATS,
    Pair,
    Unrelated,
    WholeTune,
    alignments,
    beats_of,
    evidence_of,
    kin_features,
    pair_of,
    sureness,
)
from melodex.reading.abc.reader import read_abc

steps = st.lists(st.integers(0, 2), max_size=24).map(bytes)


@given(st.lists(steps, min_size=2, max_size=8))
def test_neighbors_come_by_the_cosine_of_their_figures_by_rarity(tunes):
    words = [
        " ".join(
            "".join(map(str, tune[at : at + FIGURE_STEPS]))
            for at in range(len(tune) - FIGURE_STEPS + 1)
        )
        for tune in tunes
    ]
    near = Neighbors(tunes)
    if not any(words):
        assert all(not near.of(place, 5) for place in range(len(tunes)))
        return
    held = CountVectorizer(binary=True).fit_transform(words).toarray()
    rarity = np.log((len(tunes) + 1) / held.sum(axis=0))
    alike = cosine_similarity(held * rarity)
    for place in range(len(tunes)):
        others = [n for n in range(len(tunes)) if n != place and alike[place, n] > 1e-9]
        others.sort(key=lambda n: (-round(alike[place, n], 6), n))
        found = near.of(place, len(tunes))
        assert sorted(found) == sorted(others)
        assert alike[place, found] == pytest.approx(alike[place, others])


def test_nearest_are_asked_for_only_so_many_and_nobody_is_its_own_neighbor():
    row = bytes([2, 2, 1, 2, 2, 2, 1, 7])
    near = Neighbors([row] * 6)
    assert near.of(3, 2) == [0, 1]
    assert near.of(0, 9) == [1, 2, 3, 4, 5]
    assert Neighbors([]).count == 0


TUNE = bytes([62, 64, 65, 67, 69, 72, 74, 72, 69, 67, 65, 64, 62, 60, 62, 65, 67, 65])
OTHER = bytes([67, 67, 60, 72, 70, 58, 66, 61, 73, 64, 59, 71, 63, 74, 60, 68, 57, 70])
UNRELATED = Unrelated(0.2055, -5.367, 1000)


def pair(one: bytes, other: bytes, *, beats: bool = True) -> Pair:
    first, second = (
        WholeTune(pitch, bytes(len(pitch)), bytes(n % 4 for n in range(len(pitch) * beats)))
        for pitch in (one, other)
    )
    ((_, move),) = alignments(first, [second])
    found = pair_of(first, second, move)
    assert found is not None
    return found


@pytest.mark.parametrize("beats", [True, False])
def test_a_tune_in_another_key_is_surely_itself_and_another_is_not(beats):
    same = pair(TUNE, bytes(value + 5 for value in TUNE), beats=beats)
    assert same.likeness == 1
    assert (same.agreeing, same.figures) == (18, len(TUNE) - 8)
    assert same.on_beats == (18 if beats else None)
    assert sureness(evidence_of(same)) > 0.95
    assert sureness(evidence_of(pair(TUNE, OTHER, beats=beats))) < 0.05


def test_the_same_notes_on_other_beats_are_less_surely_one_tune():
    late = WholeTune(TUNE, bytes(18), bytes((n + 1) % 4 for n in range(18)))
    at_once = WholeTune(TUNE, bytes(18), bytes(n % 4 for n in range(18)))
    shifted, same = (pair_of(at_once, other, 0) for other in (late, at_once))
    assert shifted is not None
    assert same is not None
    assert (shifted.on_beats, same.on_beats) == (0, 18)
    assert evidence_of(shifted) < evidence_of(same)


def test_beats_are_levels_and_free_metre_has_none():
    tune = "X:1\nT:A\nM:4/4\nL:1/8\nK:C\nC2DE FGAB|c8|\n"
    metred = read_abc(tune, "a.abc").tunes[0].melody
    assert list(beats_of(metred)) == [0, 2, 3, 1, 3, 2, 3, 0]
    free = read_abc(tune.replace("M:4/4", "M:none"), "a.abc").tunes[0].melody
    assert beats_of(free) == b""


def test_evidence_does_not_depend_on_which_tune_is_named_first():
    longer = TUNE + bytes(value - 2 for value in TUNE[:9])
    assert kin_features(pair(TUNE, longer)) == kin_features(pair(longer, TUNE))


def test_every_feature_has_a_weight_that_speaks_for_kin():
    assert set(KIN_WEIGHTS) == {"constant", *KIN_FEATURES}
    assert set(WEIGHTS_WITHOUT_BEATS) == {"constant", *KIN_FEATURES} - {"beats"}
    for weights in (KIN_WEIGHTS, WEIGHTS_WITHOUT_BEATS):
        assert all(weights[name] > 0 for name in weights if name != "constant")


def test_chance_is_less_likely_the_more_points_and_the_fewer_tunes():
    few, many = (Pair(points, 10, None, 0, 30, 30) for points in (40, 90))
    assert UNRELATED.expected(few) > UNRELATED.expected(many)
    larger = Unrelated(UNRELATED.decay, UNRELATED.log_size, 2000)
    assert larger.expected(many) == pytest.approx(2 * UNRELATED.expected(many))
