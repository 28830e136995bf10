"""Metre, against music21's own beat strengths and common practice."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.melody import TICKS_PER_QUARTER, Metre, beat_strength, duration_class


@pytest.mark.parametrize(
    ("top", "bottom"), [(4, 4), (2, 4), (3, 4), (6, 8), (9, 8), (2, 2)]
)
def test_beat_strengths_agree_with_music21_down_to_the_beat_and_its_parts(
    top: int, bottom: int
) -> None:
    from music21 import meter

    reference = meter.TimeSignature(f"{top}/{bottom}")
    step = TICKS_PER_QUARTER // 2
    metre = Metre(top, bottom)
    for place in range(0, metre.bar_ticks, step):
        expected = reference.getAccentWeight(place / TICKS_PER_QUARTER)
        assert beat_strength(place, metre) == expected, place / TICKS_PER_QUARTER


# Common practice, no source.
@pytest.mark.parametrize(
    ("metre", "kind"),
    [
        (Metre(2, 4), "simple"),
        (Metre(3, 4), "simple"),
        (Metre(4, 4, "C"), "simple"),
        (Metre(3, 8), "simple"),
        (Metre(6, 8), "compound"),
        (Metre(9, 8), "compound"),
        (Metre(12, 8), "compound"),
        (Metre(5, 4), "irregular"),
        (Metre(7, 8, groups=(2, 2, 3)), "irregular"),
    ],
)
def test_metres_fall_into_the_classes_of_the_handbooks(metre: Metre, kind: str) -> None:
    assert metre.kind == kind


@given(
    st.integers(1, 32),
    st.sampled_from([1, 2, 4, 8, 16, 32]),
    st.integers(0, 10**7),
)
def test_a_downbeat_is_strongest_and_every_strength_is_a_power_of_two(
    top: int, bottom: int, place: int
) -> None:
    metre = Metre(top, bottom)
    assert beat_strength(0, metre) == 1
    assert beat_strength(place, metre) in {2.0**-i for i in range(7)}


def test_duration_classes_stand_a_factor_of_the_root_of_two_apart() -> None:
    quarter = TICKS_PER_QUARTER
    lengths = [
        quarter // 4,
        quarter // 3,
        quarter // 2,
        quarter,
        3 * quarter // 2,
        2 * quarter,
    ]
    assert [duration_class(ticks) for ticks in lengths] == [-4, -3, -2, 0, 1, 2]
    assert duration_class(0) == -128
