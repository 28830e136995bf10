"""One file at rest: whoever leaves last, and whatever was killed before."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import time
import traceback
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.connection import fold_in, journal_bytes
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter


def beside(path: Path) -> list[str]:
    return sorted(each.name for each in path.parent.glob(f"{path.name}-*"))


def ids_of_the_file_alone(path: Path, folder: Path) -> set[str]:
    """What a copy of the file holds, as a plain ``cp`` makes it."""
    alone = folder / "alone.melodex"
    shutil.copyfile(path, alone)
    try:
        with closing(sqlite3.connect(f"file:{alone}?immutable=1", uri=True)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
    finally:
        alone.unlink()


@pytest.mark.parametrize("last", ["reader", "check", "copy"])
def test_who_reads_and_leaves_last_leaves_one_file(corpus_path, reading, tmp_path, last):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("0.abc", range(3)))
    writer = CorpusWriter.open(corpus_path)
    added = writer.add_reading(reading("3.abc", range(3, 6))).added
    reader = Corpus.open(corpus_path)
    writer.close()
    assert journal_bytes(corpus_path)
    if last == "check":
        assert check_corpus(corpus_path).journal_bytes
    if last == "copy":
        copy_corpus(corpus_path, tmp_path / "copied")
    reader.close()
    assert beside(corpus_path) == []
    assert set(added) < ids_of_the_file_alone(corpus_path, tmp_path)


def killed_writer(path: Path, reading) -> None:
    """Leave a journal beside a file that nobody is at work on."""
    child = os.fork()
    if child == 0:
        CorpusWriter.open(path).add_reading(reading("6.abc", range(6, 9)))
        os._exit(9)
    os.waitpid(child, 0)
    assert journal_bytes(path)


@pytest.mark.parametrize("opening", [Corpus.open, CorpusWriter.open, check_corpus])
def test_after_a_kill_the_next_opening_folds_the_journal_in(
    corpus_path, reading, tmp_path, opening
):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("0.abc", range(3)))
    killed_writer(corpus_path, reading)
    opened = opening(corpus_path)
    if hasattr(opened, "close"):
        opened.close()
    assert beside(corpus_path) == []
    assert len(ids_of_the_file_alone(corpus_path, tmp_path)) == 6


def test_what_says_how_the_file_stands_says_that_it_is_not_whole(corpus_path, reading):
    writer = CorpusWriter.open(corpus_path)
    writer.add_reading(reading("0.abc", range(3)))
    copy = corpus_path.with_name("copied.melodex")
    for words in (["list"], ["check"], ["backup", str(copy)]):
        done = CliRunner().invoke(melodex, ["--corpus", str(corpus_path), *words])
        assert done.exit_code == 0, done.output
        assert "the corpus file alone is not whole now" in done.output, words
    writer.close()
    done = CliRunner().invoke(melodex, ["--corpus", str(corpus_path), "list"])
    assert "alone" not in done.output


def test_where_somebody_is_at_work_the_journal_stays_and_that_is_said(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("0.abc", range(3)))
        assert not fold_in(corpus_path)
        with Corpus.open(corpus_path) as corpus:
            assert corpus.tune_count == 3
            assert corpus.journal_bytes
    assert fold_in(corpus_path)
    assert not journal_bytes(corpus_path)


def busy(path: Path, reading, seed: int) -> None:
    """Add, read, check and copy for a while."""
    draw = random.Random(seed)
    for turn in range(4):
        work = draw.choice(["add", "add", "read", "check", "copy"])
        if work == "add":
            first = 1000 * seed + 10 * turn
            with CorpusWriter.open(path) as writer:
                writer.add_reading(reading(f"{seed}-{turn}.abc", range(first, first + 2)))
        elif work == "read":
            with Corpus.open(path) as corpus:
                corpus.tunes()
                time.sleep(draw.uniform(0, 0.01))
        elif work == "check":
            assert not check_corpus(path).faults
        else:
            copy_corpus(path, path.with_name(f"copy-{seed}"), replace=True)


@pytest.mark.parametrize("kills", [False, True])
def test_rounds_of_many_processes_end_in_one_file(corpus_path, reading, tmp_path, kills):
    """Ten rounds here; ``benchmarks/faults.py`` makes hundreds."""
    CorpusWriter.open(corpus_path).close()
    draw = random.Random(7)
    for at in range(10):
        children = []
        for worker in range(draw.randint(1, 8)):
            child = os.fork()
            if child == 0:
                try:
                    busy(corpus_path, reading, 100 * at + worker)
                    os._exit(0)
                except BaseException:
                    traceback.print_exc()
                    os._exit(3)
            children.append(child)
        if kills:
            time.sleep(draw.uniform(0, 0.1))
            for child in children[::2]:
                os.kill(child, signal.SIGKILL)
        ends = {os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children}
        assert ends <= ({0, -9} if kills else {0})
        with Corpus.open(corpus_path) as corpus:
            every = {row.tune_id for row in corpus.tunes()} if kills else None
        # A journal that was never made good holds nothing; the next write takes it away.
        assert journal_bytes(corpus_path) == 0
        assert set(beside(corpus_path)) <= {f"{corpus_path.name}-journal"}
        alone = ids_of_the_file_alone(corpus_path, tmp_path)
        assert every is None or alone == every
    assert check_corpus(corpus_path).faults == ()


def test_a_journal_that_was_never_made_good_leaves_the_file_whole_alone(
    corpus_path, reading, tmp_path
):
    """A writer killed before its first page went to the file (SQLite syncs before)."""
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("0.abc", range(3)))
    child = os.fork()
    if child == 0:
        connection = sqlite3.connect(corpus_path, isolation_level=None)
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE tune SET title = 'lost'")
        os._exit(9)
    os.waitpid(child, 0)
    assert Path(f"{corpus_path}-journal").stat().st_size
    assert journal_bytes(corpus_path) == 0
    assert len(ids_of_the_file_alone(corpus_path, tmp_path)) == 3
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("3.abc", range(3, 6)))
    assert beside(corpus_path) == []
