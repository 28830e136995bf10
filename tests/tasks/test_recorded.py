"""A recording under a score: points, times between them, what is said of the ends."""

import math

import numpy as np
import pytest

from melodex.errors import PassageError
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.recording.loudness import LoudnessCurve, power_at
from melodex.reading.result import Choice
from melodex.tasks.describe.recorded import (
    Point,
    clock,
    read_points,
    recorded_sentences,
    recorded_under,
)

TUNE = "X:1\nT:Eight bars\nL:1/4\nM:4/4\nK:C\n" + "CDEF|" * 8 + "\n"


def tune() -> Melody:
    """Eight bars of four quarters."""
    return read_abc(TUNE, "eight.abc", Choice()).tunes[0].melody


def curve(*levels: float, seconds: float = 2.0) -> LoudnessCurve:
    """A recording that is so loud for so many seconds each."""
    steps = [np.full(round(10 * seconds), power_at(level)) for level in levels]
    power = np.concatenate(steps)
    return LoudnessCurve(power, len(power) / 10)


def test_points_are_read_in_any_order() -> None:
    told = (Point(1, 12.0), Point(35, 110.0))
    for text in ("1=0:12,35=1:50", "bar 35 at 1:50; bar 1 at 0:12", "1 = 12, 35 = 110"):
        assert read_points(text) == told
    assert clock(110.0) == "1:50"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1=0:12", "two points at least"),
        ("", "two points at least"),
        ("1=0:12, noon", "is no point"),
        ("1=0:12, 1=0:20", "does not come after"),
        ("1=0:20, 9=0:12", "does not come after"),
    ],
)
def test_points_that_say_nothing_are_refused(text: str, said: str) -> None:
    with pytest.raises(PassageError, match=said):
        read_points(text)


def test_bars_lie_evenly_between_points() -> None:
    # Bar 3 at 2 s, bar 5 at 6 s, bar 7 at 8 s: two bars of 2 s, two of 1 s.
    found = recorded_under(
        tune(),
        "song.wav",
        curve(-40, -30, -20, -10),
        (Point(3, 2), Point(5, 6), Point(7, 8)),
    )
    assert [(bar.bar, bar.start, bar.end) for bar in found.bars] == [
        (3, 2, 4), (4, 4, 6), (5, 6, 7), (6, 7, 8),
    ]  # fmt: skip
    loud = [bar.loudness for bar in found.bars]
    assert loud == pytest.approx([-30, -20, -10, -10])
    assert "4 of 8 bars lie between the points that were given." in found.remarks
    said = " ".join(recorded_sentences(found))
    assert "Loudest in bar 5 (-10.0 LUFS), softest in bar 3 (-30.0)." in said


def test_what_the_recording_does_not_hold_is_said() -> None:
    found = recorded_under(tune(), "short.wav", curve(-20, -20), (Point(1, 0), Point(8, 7)))
    assert [bar.bar for bar in found.bars] == [1, 2, 3, 4]
    assert found.remarks[0].startswith(
        "The recording ends at 0:04, before the point at 0:07"
    )
    silent = LoudnessCurve(np.concatenate([curve(-20).power, np.zeros(20)]), 4.0)
    quiet = recorded_under(tune(), "half.wav", silent, (Point(1, 0), Point(5, 4)))
    assert [bar.loudness is None for bar in quiet.bars] == [False, False, True, True]
    assert "Nothing is heard in bars 3, 4." in quiet.remarks
    assert math.isfinite(quiet.integrated)


def test_points_beyond_score_or_recording_are_refused() -> None:
    with pytest.raises(PassageError, match="bar 9 is not in this score"):
        recorded_under(tune(), "a.wav", curve(-20), (Point(1, 0), Point(9, 2)))
    with pytest.raises(PassageError, match="before the first point"):
        recorded_under(tune(), "a.wav", curve(-20), (Point(1, 5), Point(8, 9)))
