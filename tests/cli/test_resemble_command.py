"""How a phrase is given to ``melodex resemble``."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_path


@pytest.fixture
def corpus_path(tmp_path: Path) -> Path:
    tunes = tmp_path / "one.abc"
    tunes.write_text("X:1\nT:Salt Stair\nL:1/4\nK:C\nC E G F | E D E F |]\n")
    with CorpusWriter.open(tmp_path / "corpus.melodex") as writer:
        writer.add_reading(read_path(tunes))
    return tmp_path / "corpus.melodex"


@pytest.mark.parametrize(
    "words",
    [
        ["+4 +3 -2 -1"],
        ["-2 -1 -2 +2"],
        ["--", "-2 -1 -2 +2"],
        ["--limit", "3", "-2 -1 -2 +2"],
        ["--limit", "3", "--", "-2 -1 -2 +2"],
    ],
)
def test_a_step_down_may_come_first_with_and_without_the_end_of_options(
    corpus_path: Path, words: list[str]
) -> None:
    done = CliRunner().invoke(melodex, ["--corpus", str(corpus_path), "resemble", *words])
    assert done.exit_code == 0, done.output
    assert "Salt Stair" in done.stdout


def test_what_speaks_for_a_match_is_shown_where_that_is_asked_for(
    corpus_path: Path,
) -> None:
    ask = ["--corpus", str(corpus_path), "resemble", "1 3 5 4 3"]
    plain = CliRunner().invoke(melodex, ask)
    told = CliRunner().invoke(melodex, [*ask, "--explain"])
    assert "evidence" not in plain.stdout
    assert "the sum of feature times weight" in told.stdout
    by_points = CliRunner().invoke(melodex, [*ask, "--explain", "--order", "alignment"])
    assert "evidence" not in by_points.stdout
    assert by_points.exit_code == 0
