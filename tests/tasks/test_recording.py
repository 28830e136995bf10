"""A recording finds its tune: in one answer over all readings, at every door."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import ReadingError
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.presentation.data.forms import as_json
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.tasks.compare import compare
from melodex.tasks.passage import find_passage, recording_of
from melodex.tasks.recording import resemble_recording
from tests.reading.sounding import tones, wav

STAIR = (60, 64, 67, 65, 64, 62, 64, 65, 67, 69, 67, 65)
"""The first twelve notes of Salt Stair; the shelf's other stair has them in minor."""


@pytest.fixture
def hummed(tmp_path: Path) -> Path:
    """Salt Stair a fourth higher, a third of a semitone sharp."""
    path = tmp_path / "hummed.wav"
    path.write_bytes(wav(tones(np.array(STAIR) + 5.3)))
    return path


@pytest.fixture
def shelf_corpus(tmp_path: Path, corpus: Corpus) -> Path:
    """Where the corpus lies."""
    return tmp_path / "corpus.melodex"


def test_a_recording_finds_its_tune_and_says_how_it_was_read(
    corpus: Corpus, hummed: Path
) -> None:
    found = resemble_recording(corpus, str(hummed), limit=3)
    best = found.matches[0]
    assert best.passage.whole.title == "Salt Stair"
    assert best.asked is not None
    assert best.likeness.agreeing == len(STAIR)
    told = as_text(found, Style(signs=False))
    assert "hummed.wav  (12 notes;" in told
    assert "Heard: F4 A4 C5" in told
    assert "cents sharp of 440 Hz" in told
    assert f"read {best.asked.words}" in told
    data = json.loads(as_json(found))
    assert data["matches"][0]["reading"]["read"] == best.asked.words
    assert len(data["recording"]["readings"][0]["notes"]) == len(STAIR)


def test_the_answer_is_the_best_of_what_every_reading_finds_alone(
    corpus: Corpus, hummed: Path
) -> None:
    heard = recording_of(str(hummed))
    alone: dict[str, int] = {}
    for _, phrase in heard.phrases():
        for hit in search(list(corpus.chunks()), encode_query(phrase), limit=100):
            alone[hit.tune_id] = max(alone.get(hit.tune_id, 0), hit.points)
    ranked = sorted(alone.items(), key=lambda one: (-one[1], one[0]))
    found = resemble_recording(corpus, heard, limit=5)
    assert [(match.tune_id, match.points) for match in found.matches] == ranked[:5]


def test_a_tune_that_is_left_out_is_not_found(corpus: Corpus, hummed: Path) -> None:
    stair = resemble_recording(corpus, str(hummed)).matches[0].tune_id
    found = resemble_recording(corpus, str(hummed), exclude=[stair])
    assert stair not in {match.tune_id for match in found.matches}


def test_what_was_sung_is_compared_with_the_tune(corpus: Corpus, hummed: Path) -> None:
    sung = find_passage(str(hummed), corpus)
    pair = compare(sung, find_passage("Salt Stair", corpus))
    assert pair.likeness.agreeing == len(STAIR)
    assert sung.label.startswith("hummed.wav")


@pytest.mark.parametrize(
    "words",
    [
        ["resemble", "--from", "SOUND"],
        ["resemble", "--from", "SOUND", "--notes", "1-8"],
        ["compare", "SOUND", "Salt Stair"],
        ["audit", "SOUND"],
        ["describe", "SOUND"],
    ],
)
def test_commands_take_a_recording(
    shelf_corpus: Path, hummed: Path, words: list[str]
) -> None:
    said = [str(hummed) if word == "SOUND" else word for word in words]
    done = CliRunner().invoke(melodex, ["--corpus", str(shelf_corpus), *said])
    assert done.exit_code == 0, done.output
    assert ("In free metre" if words[0] == "describe" else "Salt Stair") in done.output


def test_a_recording_that_holds_no_line_is_an_error_of_one_line(
    shelf_corpus: Path, tmp_path: Path
) -> None:
    path = tmp_path / "quiet.wav"
    path.write_bytes(wav(np.zeros(16_000)))
    said = ["--corpus", str(shelf_corpus), "resemble", "--from", str(path)]
    done = CliRunner().invoke(melodex, said)
    assert done.exit_code != 0
    assert "quiet.wav: the recording is silent" in done.output
    assert "Traceback" not in done.output


def test_python_takes_a_recording(shelf_corpus: Path, hummed: Path) -> None:
    corpus = scripting.open(shelf_corpus)
    for found in (corpus.resemble(hummed), corpus.resemble(tune=str(hummed))):
        assert found[0].passage.whole.title == "Salt Stair"
        assert found.rows()[0]["title"] == "Salt Stair"
    with pytest.raises(ReadingError, match="no such file"):
        corpus.resemble(tune="missing.wav")
