"""Files dropped onto a page: few enough, and small enough together, to be held."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from melodex.workbench import bench as module
from melodex.workbench.bench import Bench
from tests.reading.sounding import tones, wav

TUNE = "X:1\nT:Tune {number}\nM:4/4\nL:1/4\nK:C\nC D E F | G A B c |\n%{padding}\n"


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "corpus.melodex", tmp_path)


def drop(bench: Bench, number: int, padding: int = 0) -> str:
    """Drop a file; return its id."""
    data = TUNE.format(number=number, padding="x" * padding).encode()
    return bench.take_files([(f"{number}.abc", data)])[0].id


def test_the_files_dropped_first_go_when_all_together_are_too_large(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_BYTES_AT_HAND", 10_000)
    first = drop(bench, 1, 4_000)
    second = drop(bench, 2, 4_000)
    assert list(bench.at_hand) == [first, second]
    third = drop(bench, 3, 4_000)
    assert list(bench.at_hand) == [second, third]
    # One that is larger than all may be is read all the same, and stays alone.
    large = drop(bench, 4, 20_000)
    assert list(bench.at_hand) == [large]
    assert list(bench.at_hand) != [drop(bench, 5)]


def test_no_more_files_stay_at_hand_than_their_number_allows(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_AT_HAND", 3)
    ids = [drop(bench, number) for number in range(5)]
    assert list(bench.at_hand) == ids[-3:]


def test_a_recording_at_hand_is_a_tune_like_any_other(bench: Bench) -> None:
    pitches = [64, 67, 64, 60, 64, 60, 65, 69, 65, 64, 60]
    file = bench.take_files([("hum.WAV", wav(tones(pitches)))])[0]
    assert [list(melody.midi) for melody in file.melodies] == [pitches]
    assert file.refusals == ()
    assert bench.passage(file.address_of(0), None).label.startswith("hum.WAV")


def test_a_recording_without_a_line_says_why(bench: Bench) -> None:
    file = bench.take_files([("quiet.wav", wav(np.zeros(16_000)))])[0]
    assert file.melodies == ()
    assert ["silent" in refusal.reason for refusal in file.refusals] == [True]
