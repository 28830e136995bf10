"""A passage sung back and marked: what is wrong by construction is said to be wrong."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from Bio.Align import PairwiseAligner
from click.testing import CliRunner

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.tasks.recording.marking import (
    GAP_COST,
    HALF_STEP_COST,
    LEFT_OUT,
    OTHER_PITCH,
    PUT_IN,
    RIGHT,
    WRONG_COST,
    MarkedSinging,
    faults,
    mark_passage,
    traced,
)
from tests.reading.sounding import tones, wav

STAIR = (60, 64, 67, 65, 64, 62, 64, 65)
"""Bars 1 and 2 of Salt Stair."""


@pytest.fixture
def taught(tmp_path: Path, shelf_file: Path) -> Path:
    """A corpus with a set of one passage."""
    path = tmp_path / "taught.melodex"
    with scripting.open(path) as corpus:
        corpus.add(shelf_file)
        corpus.new_lesson("Stairs").keep("Salt Stair", bars="1-2")
    return path


@pytest.fixture
def sung(tmp_path: Path, taught: Path):
    """Mark a line of semitones, of given lengths."""

    def mark(midi, seconds=0.4, **options) -> MarkedSinging:
        file = tmp_path / "sung.wav"
        file.write_bytes(wav(tones(midi, seconds)))
        with Corpus.open(taught) as opened:
            return mark_passage(opened, "Stairs", 1, str(file), **options)

    return mark


def verdicts(found: MarkedSinging) -> list[str]:
    return [note.verdict for note in found.notes]


def test_what_is_sung_right_in_another_key_is_right(sung) -> None:
    found = sung(np.array(STAIR) + 5.2)
    assert verdicts(found) == [RIGHT] * 8
    assert found.move == 5
    assert all(note.is_in_time for note in found.notes)
    assert found.summary[:2] == (
        "8 of 8 notes are right.",
        "7 of 7 lengths are in time.",
    )
    assert "It was sung up a perfect fourth from where it is written." in found.summary


def test_the_key_counts_where_it_is_asked_for(sung) -> None:
    assert verdicts(sung(np.array(STAIR) + 12, in_key=True)) == [RIGHT] * 8
    found = sung(np.array(STAIR) + 5, in_key=True)
    assert found.count(RIGHT) < 4


def test_each_fault_is_found_where_it_was_made(sung) -> None:
    # The fourth a tone too high, the sixth left out, one more put in at the end.
    found = sung([60, 64, 67, 67 + 2, 64, 64, 65, 70])
    wrong = {
        (note.verdict, note.wanted, note.off_semitones)
        for note in found.notes
        if note.verdict != RIGHT
    }
    assert wrong == {(OTHER_PITCH, 3, 4), (LEFT_OUT, 5, 0), (PUT_IN, None, 0)}
    assert "1 on another pitch, 1 left out, 1 put in." in found.summary


def test_a_length_out_of_time_is_said_and_the_tempo_is_not(sung) -> None:
    found = sung(STAIR, [0.3, 0.3, 0.3, 0.6, 0.3, 0.15, 0.3, 0.3])
    assert verdicts(found) == [RIGHT] * 8
    assert {n.wanted: n.length_words for n in found.notes if n.length_words} == {
        3: "long",
        5: "short",
    }


def test_a_flat_note_is_right_and_said_to_be_flat(sung) -> None:
    line = np.array(STAIR, float)
    line[2] -= 0.4
    found = sung(line)
    assert verdicts(found) == [RIGHT] * 8
    assert "Note 3 is flat for the line." in found.summary


def test_what_is_laid_against_what_costs_as_little_as_biopython_says() -> None:
    # Needleman and Wunsch (1970) with linear gaps, by an implementation that is not ours.
    aligner = PairwiseAligner(mode="global")
    aligner.open_gap_score = aligner.extend_gap_score = -GAP_COST
    dice = np.random.default_rng(11)
    for _ in range(40):
        wanted, sung = (dice.integers(0, 6, dice.integers(3, 12)) for _ in "ab")
        letters = "ABCDEF"
        scores = aligner.substitution_matrix = square(letters)
        assert scores is not None
        theirs = aligner.score(*("".join(letters[n] for n in s) for s in (wanted, sung)))
        assert faults(wanted.tolist(), sung.tolist(), 0)[-1][-1] == -theirs
        links = traced(wanted.tolist(), sung.tolist(), 0)
        assert [i for i, _ in links if i is not None] == list(range(len(wanted)))
        assert [j for _, j in links if j is not None] == list(range(len(sung)))


def square(letters: str):
    from Bio.Align.substitution_matrices import Array

    costs = Array(letters, dims=2)
    for a, one in enumerate(letters):
        for b, other in enumerate(letters):
            off = abs(a - b)
            costs[one, other] = -(
                0 if not off else HALF_STEP_COST if off == 1 else WRONG_COST
            )
    return costs


def test_a_passage_that_is_not_there_or_too_long_is_refused(
    taught: Path, tmp_path: Path
) -> None:
    file = tmp_path / "sung.wav"
    file.write_bytes(wav(tones(STAIR)))
    with (
        Corpus.open(taught) as opened,
        pytest.raises(LessonError, match="no passage 2"),
    ):
        mark_passage(opened, "Stairs", 2, str(file))


def test_the_command_and_python_say_the_same(taught: Path, tmp_path: Path) -> None:
    file = tmp_path / "sung.wav"
    file.write_bytes(wav(tones([60, 64, 67, 69, 64, 62, 64, 65], 0.4)))
    asked = ["--corpus", str(taught), "lesson", "mark", "Stairs", "1", str(file)]
    done = CliRunner().invoke(melodex, asked)
    assert done.exit_code == 0, done.output
    assert "7 of 8 notes are right." in done.output
    lines = done.output.splitlines()
    wanted, marks, heard = next(
        (one, two, three)
        for (one, two), (_, three) in pairwise(pairwise(lines))
        if one.strip().startswith("wanted")
    )
    assert wanted.split()[1:] == ["C4", "E4", "G4", "F4", "E4", "D4", "E4", "F4"]
    assert len(set(marks.split())) == 2
    assert heard.split()[1:] == ["C4", "E4", "G4", "A4", "E4", "D4", "E4", "F4"]
    data = CliRunner().invoke(melodex, [*asked, "--format", "json"])
    found = scripting.open(taught).lesson("Stairs").mark(1, file)
    assert json.loads(data.output) == found.to_dict()
    assert str(found).splitlines()[0] == "Salt Stair, bars 1-2"
    assert found.rows()[3]["verdict"] == OTHER_PITCH
    assert len(found) == 8
    assert found[3].off_semitones == 4
    assert "other pitch" in found._repr_html_()
