"""Bad input ends in a clear message and exit 1 or 2, the rest of the work done."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from melodex.cli import melodex
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_path

TUNE = "X:1\nT:Salt Stair\nM:4/4\nL:1/4\nK:C\nC E G F | E D E F | G A G F | D E D C |]\n"


@pytest.fixture
def corpus_path(tmp_path: Path) -> Path:
    (tmp_path / "tune.abc").write_text(TUNE, encoding="utf-8")
    with CorpusWriter.open(tmp_path / "corpus.melodex") as writer:
        writer.add_reading(read_path(tmp_path / "tune.abc"))
    return tmp_path / "corpus.melodex"


def run(corpus_path: Path, *words: str) -> Result:
    return CliRunner().invoke(melodex, ["--corpus", str(corpus_path), *words])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["show", "ffffffffffff0000"], "ffffffffffff0000"),
        (["resemble", "--from", "Salt Stair", "--bars", "9-12"], "it has bars 1 to 4"),
        (["resemble", "--from", "Salt Stair", "--notes", "90-99"], "it has notes 1 to 16"),
        (["resemble", "--from", "Nowhere Jig", "--bars", "1"], "Nowhere Jig"),
        (["resemble", "--from", "nowhere.abc"], "no such file"),
        (["resemble", "1"], "1"),
        (["resemble", "what is this"], "what"),
        (["resemble"], "nothing to look for"),
        (["resemble", "1 3 5", "--bars", "1-2"], "--from TUNE --bars 5-8"),
        (["compare", "Salt Stair", "Nowhere Jig"], "Nowhere Jig"),
        (["compare", "Salt Stair", "Salt Stair", "--bars", "3-1"], "run backwards"),
        (["audit", "Nowhere Jig"], "Nowhere Jig"),
        (["describe", "Nowhere Jig"], "Nowhere Jig"),
        (["gather"], "nothing is asked for"),
        (["gather", "--nearly"], "nearly is asked for, but not what"),
        (["gather", "--exact-progression", "--mode", "major"], "but not what"),
        (["gather", "--progression", "ii ? I"], "?"),
        (
            ["compare", "Salt Stair", "Salt Stair", "--output", "no/such/folder/x"],
            "written",
        ),
    ],
)
def test_a_wrong_question_is_answered_with_one_line_and_exit_1(
    corpus_path: Path, words: list[str], said: str
) -> None:
    done = run(corpus_path, *words)
    assert done.exit_code == 1, done.output
    assert done.stdout == ""
    assert said in done.stderr
    assert done.stderr.startswith("melodex: ")
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words",
    [["nonesuch"], ["resemble", "--limit", "0", "1 3 5"], ["list", "--format", "xyz"]],
)
def test_wrong_usage_exits_2(corpus_path: Path, words: list[str]) -> None:
    assert run(corpus_path, *words).exit_code == 2


def test_the_classes_of_metre_are_named_where_another_is_asked_for(
    corpus_path: Path,
) -> None:
    done = run(corpus_path, "gather", "--metre", "odd")
    assert "or one of simple, compound, irregular, mixed, free" in done.stderr
    assert "1 of 1 tune" in run(corpus_path, "gather", "--metre", "simple").stdout


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.abc", b""),
        ("noise.abc", bytes(range(256)) * 40),
        ("silent.abc", b"X:1\nT:Silence\nK:C\nz4 | z4 |]\n"),
        ("keyless.abc", b"X:1\nT:No key\nC D E F |]\n"),
        ("noise.musicxml", b"<score-partwise><part>"),
        ("noise.mxl", b"PK\x03\x04 nothing"),
        ("noise.mid", b"MThd\x00\x00"),
    ],
)
def test_a_bad_file_is_named_and_the_good_one_beside_it_goes_in(
    tmp_path: Path, name: str, content: bytes
) -> None:
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / name).write_bytes(content)
    (tmp_path / "tunes" / "good.abc").write_text(TUNE, encoding="utf-8")
    done = run(tmp_path / "corpus.melodex", "add", str(tmp_path / "tunes"))
    assert done.exit_code == 1
    assert name in done.stderr
    assert "Salt Stair" in run(tmp_path / "corpus.melodex", "list").stdout


def test_a_file_that_is_no_corpus_and_one_from_the_future_are_refused(
    tmp_path: Path, corpus_path: Path
) -> None:
    (tmp_path / "letter.txt").write_text("dear reader, " * 100, encoding="utf-8")
    done = run(tmp_path / "letter.txt", "resemble", "1 3 5 4 3")
    assert done.exit_code == 1
    assert "letter.txt" in done.stderr
    with sqlite3.connect(corpus_path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    done = run(corpus_path, "resemble", "1 3 5 4 3")
    assert done.exit_code == 1
    assert "later version" in done.stderr


def test_the_answer_goes_to_standard_output_and_nothing_else_does(
    corpus_path: Path,
) -> None:
    done = run(corpus_path, "resemble", "1 3 5 4 3", "--format", "json")
    assert done.exit_code == 0
    assert done.stdout.startswith("{")
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["find", "5 1 2 3"], "did you mean 'melodex resemble'"),
        (["descrive", "x"], "did you mean 'melodex describe'"),
        (["5", "1", "2"], "did you mean 'melodex resemble"),
        (["help"], "did you mean 'melodex --help'"),
        (["resemble", "5", "1", "2", "3"], "put several words in quotes"),
        (["describe", "Salt", "Stair"], "put several words in quotes"),
        (["gather", "jig"], "with an option, such as --kind"),
        (["list", "waltz"], "with an option, such as --words"),
        (["zzzzzz"], "No such command 'zzzzzz'"),
        (["list", "--nonsense"], "No such option"),
    ],
)
def test_a_command_line_that_is_none_says_what_was_meant(
    corpus_path: Path, words: list[str], said: str
) -> None:
    result = run(corpus_path, *words)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
