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
from melodex.matching.evidence.as_sung import GAP_COST, UNREACHED, least
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.presentation.data.forms import as_json
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.reading.recording.reader import read_recording
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import find_passage
from melodex.tasks.recording.recording import resemble_recording
from melodex.tasks.tune_file import recording_of
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
    # No tune with fewer points gets in; among them the order is that of what was sung.
    assert (
        sorted(
            ((match.tune_id, match.points) for match in found.matches),
            key=lambda one: (-one[1], one[0]),
        )
        == ranked[:5]
    )


def test_of_two_tunes_the_one_that_lies_nearer_to_what_was_sung_comes_first(
    tmp_path: Path,
) -> None:
    # The third note lies .6 of the way from E flat to E: put on E it is right in both
    # counts, and only its pitch says that E is a little likelier than F.
    tunes = "X:1\nT:Near\nM:4/4\nL:1/4\nK:C\nC D E G | A G D C |]\n\n"
    tunes += "X:2\nT:Far\nM:4/4\nL:1/4\nK:C\nC D F G | A G D C |]\n"
    (tmp_path / "two.abc").write_text(tunes, encoding="utf-8")
    path = tmp_path / "two.melodex"
    with scripting.open(path) as shelf:
        shelf.add(tmp_path / "two.abc")
    for third, wanted in ((64.3, "Near"), (64.8, "Far")):
        heard = read_recording(wav(tones([60, 62, third, 67, 69, 67, 62, 60])), "a.wav")
        with Corpus.open(path) as corpus:
            found = resemble_recording(corpus, heard)
        assert found.matches[0].passage.whole.title == wanted


def test_the_cheapest_way_is_that_of_trying_all() -> None:
    dice = np.random.default_rng(3)
    for _ in range(20):
        cost = dice.uniform(0, 5, (2, 5, 6))

        def best(tempo: int, note: int, place: int, cost=cost) -> float:
            """The cheapest way to a note of the line at a place of the tune."""
            if place < 0:
                return UNREACHED
            if note == 0:
                return float(cost[tempo, 0, place])
            came = min(
                best(tempo, note - 1, place - 1),
                best(tempo, note - 1, place - 2) + GAP_COST,
            )
            return min(
                came + float(cost[tempo, note, place]),
                best(tempo, note - 1, place) + GAP_COST,
            )

        ends = [best(tempo, 4, place) for tempo in range(2) for place in range(6)]
        assert least(cost) == pytest.approx(min(ends))


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
