"""Costs and settings: what the bound relies on is demanded."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.errors import SettingsError
from melodex.settings import AlignmentCosts, CorpusSettings

GOOD = AlignmentCosts()


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"same_pitch": (-1, 1, 1, 1)}, "same pitch"),
        ({"same_pitch": (0, 0, 0, 0)}, "same pitch"),
        ({"same_pitch": (101, 0, 0, 0)}, "same pitch"),
        ({"near_pitch": (1, -1, -1, -1)}, "other pitches"),
        ({"far_pitch": (0, -1, -1, -201)}, "other pitches"),
        ({"gap": 0}, "gap"),
        ({"same_pitch": (1, 1, 1)}, "four whole numbers"),
        ({"near_pitch": (-1, -1, -1, -0.5)}, "four whole numbers"),
    ],
)
def test_costs_that_would_break_the_bound_are_refused(
    changes: dict[str, object], reason: str
) -> None:
    with pytest.raises(SettingsError, match=reason):
        AlignmentCosts(**changes)  # type: ignore[arg-type]


@given(
    st.integers(-127, 127),
    st.one_of(st.just(-128), st.integers(-12, 12)),
    st.one_of(st.just(-128), st.integers(-12, 12)),
)
def test_a_pair_has_the_same_points_seen_from_either_side(
    apart: int, first: int, second: int
) -> None:
    there = GOOD.pair_points(apart, first, second)
    assert there == GOOD.pair_points(-apart, second, first)
    assert there <= GOOD.best_pair


def test_corpus_settings_come_back_as_they_were_written() -> None:
    settings = CorpusSettings()
    stored = {name: str(value) for name, value in settings.to_dict().items()}
    assert CorpusSettings.from_dict({**stored, "later": "1"}) == settings


@pytest.mark.parametrize("data", [{}, {"encoding_version": "x", "ngram_length": 4}])
def test_a_corpus_that_does_not_state_its_settings_is_refused(
    data: dict[str, object],
) -> None:
    with pytest.raises(SettingsError, match="does not state"):
        CorpusSettings.from_dict(data)


def test_settings_that_differ_from_the_corpus_are_refused() -> None:
    mine, theirs = CorpusSettings(), CorpusSettings(ngram_length=9)
    mine.require_same(CorpusSettings())
    with pytest.raises(SettingsError, match="ngram_length is 9 in the corpus"):
        mine.require_same(theirs, where="old.melodex")
