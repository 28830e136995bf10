"""The musician's own words on a tune: kept, found, printed, and lost by nothing."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

import melodex
from melodex.cli import melodex as command
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, PassageError, UnknownTuneError
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection.remarks import remarks_on, take_off, write_remark
from melodex.tasks.collection.undo import undo

BOOK = "X:1\nT:Salt Stair\nL:1/4\nK:C\nC E G F | E D E F |]\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "book.abc").write_text(BOOK, encoding="utf-8")
    add_paths(tmp_path / "corpus.melodex", [tmp_path / "book.abc"])
    return tmp_path / "corpus.melodex"


def words(path: Path) -> list[tuple[str, int | None, str]]:
    with Corpus.open(path) as corpus:
        found = remarks_on(corpus, "Salt Stair").remarks
    return [(row.kind, row.first_bar, row.text) for row in found]


KEPT = [("note", 2, "Wie Café-Musik"), ("source", None, "Heard at the lock")]


@pytest.fixture
def remarked(path: Path) -> Path:
    write_remark(path, "salt", " Wie Café-Musik ", bars="2")
    write_remark(path, "Salt Stair", "Heard at the lock", kind="source")
    return path


def test_words_are_kept_and_found_without_case_and_accents(remarked: Path) -> None:
    assert words(remarked) == KEPT
    with Corpus.open(remarked) as corpus:
        for asked in ("CAFE", "lock heard", "at", "stair cafe"):
            assert [row.title for row in corpus.tunes(words=asked)] == ["Salt Stair"]
        assert not corpus.tunes(words="cafe nonesuch")
    assert check_corpus(remarked).faults == ()


def test_words_come_back_with_a_tune_that_was_removed(remarked: Path) -> None:
    with Corpus.open(remarked) as corpus:
        tune_id = corpus.resolve("Salt Stair")
    with CorpusWriter.open(remarked) as writer:
        writer.remove([tune_id])
    with Corpus.open(remarked) as corpus:
        assert not corpus.query("SELECT 1 FROM remark")
    undo(remarked)
    assert words(remarked) == KEPT


def test_words_go_to_the_tune_that_takes_the_place(remarked: Path) -> None:
    book = remarked.parent / "book.abc"
    book.write_text(BOOK.replace("E D E F", "E D C2"), encoding="utf-8")
    add_paths(remarked, [book])
    assert words(remarked) == KEPT


def test_words_are_carried_over_by_a_repair_and_a_changed_one_is_named(
    remarked: Path,
) -> None:
    with closing(sqlite3.connect(remarked)) as connection, connection:
        connection.execute("UPDATE remark SET text = 'forged' WHERE kind = 'source'")
    faults = check_corpus(remarked).faults
    assert any("remark" in fault.what for fault in faults)
    report = repair_corpus(remarked)
    assert any("the source on tune" in said for said in report.left_out)
    assert words(remarked) == KEPT[:1]


def test_what_cannot_be_kept_is_refused_and_changes_nothing(path: Path) -> None:
    with pytest.raises(CorpusError, match="nothing to keep"):
        write_remark(path, "Salt Stair", "  ")
    with pytest.raises(CorpusError, match="too many"):
        write_remark(path, "Salt Stair", "x" * 4_001)
    with pytest.raises(CorpusError, match="no kind"):
        write_remark(path, "Salt Stair", "x", kind="poem")
    with pytest.raises(PassageError):
        write_remark(path, "Salt Stair", "x", bars="7-9")
    with pytest.raises(UnknownTuneError):
        write_remark(path, "Pepper Stair", "x")
    with pytest.raises(CorpusError, match="no remark 9"):
        take_off(path, 9)
    assert words(path) == []


def test_the_command_and_the_call_write_show_and_take_off(path: Path) -> None:
    def said(*arguments: str) -> str:
        result = CliRunner().invoke(command, ["--corpus", str(path), *arguments])
        assert result.exit_code == 0, result.output
        return result.output

    assert "1  citation, bar 1: p. 12" in said(
        "remark", "Salt Stair", "p. 12", "--kind", "citation", "--bars", "1"
    )
    opened = melodex.open(path)
    assert [row.text for row in opened.remark("Salt Stair", "slow\nand low")] == [
        "p. 12",
        "slow\nand low",
    ]
    assert "  2  note: slow and low" in said("show", "Salt Stair")
    assert "taken off: p. 12" in said("remark", "--off", "1")
    assert [row.text for row in opened.remarks("Salt Stair")] == ["slow\nand low"]
    assert "slow and low" in said("remark", "salt")
