"""What stands in the place of a corpus or of its journals, and is none."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from melodex.corpus.care.beside import is_foreign
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError

SECONDS = 60
"""For a command that must not wait for ever; it takes less than one."""


def ids(path: Path) -> set[str]:
    with Corpus.open(path) as corpus:
        return {row.tune_id for row in corpus.tunes()}


def opened(path: Path) -> None:
    Corpus.open(path).close()


def written(path: Path) -> None:
    CorpusWriter.open(path).close()


WAYS = [opened, written, check_corpus, repair_corpus]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", ["", "-wal", "-shm", "-journal"])
def test_a_pipe_in_the_place_of_a_corpus_or_a_journal_is_refused(filled, name, way):
    place = Path(f"{filled}{name}")
    place.unlink(missing_ok=True)
    os.mkfifo(place)
    with pytest.raises(CorpusError, match="no regular file"):
        way(filled)
    if name:
        place.unlink()
        assert len(ids(filled)) == 12


@pytest.mark.parametrize("way", WAYS)
def test_a_device_is_no_corpus(way):
    with pytest.raises(CorpusError, match="no regular file"):
        way(Path("/dev/null"))


def test_a_folder_in_the_place_of_a_journal_is_refused(filled):
    Path(f"{filled}-wal").mkdir()
    with pytest.raises(CorpusError, match=r"tunes\.melodex-wal\) is no regular file"):
        Corpus.open(filled)


def killed_at_work(path: Path, reading) -> None:
    """Leave a corpus as a writer leaves it that is killed after a commit."""
    child = os.fork()
    if not child:
        writer = CorpusWriter.open(path)
        writer.add_reading(reading("late.abc", range(50, 53)))
        os._exit(0)
    os.waitpid(child, 0)
    assert Path(f"{path}-wal").stat().st_size


@pytest.mark.parametrize("way", [opened, written, check_corpus, repair_corpus])
def test_the_journal_of_another_state_is_not_played_into_a_copy_put_back(
    filled, reading, tmp_path, way
):
    """SQLite would play it, and the copy would lose what was written last."""
    killed_at_work(filled, reading)
    left = tmp_path / "left-wal"
    shutil.copy(f"{filled}-wal", left)
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("later.abc", range(60, 70)))
    before = ids(filled)
    copy_corpus(filled, tmp_path / "copy.melodex")
    shutil.copy(tmp_path / "copy.melodex", filled)
    shutil.copy(left, f"{filled}-wal")
    with pytest.raises(CorpusError, match="belongs to another state"):
        way(filled)
    Path(f"{filled}-wal").unlink()
    assert ids(filled) == before


def test_sqlite_itself_would_play_that_journal(filled, reading, tmp_path):
    """The reason for the check: with a later version of SQLite it may no longer hold."""
    killed_at_work(filled, reading)
    shutil.copy(f"{filled}-wal", tmp_path / "left-wal")
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("later.abc", range(60, 70)))
    before = ids(filled)
    shutil.copy(tmp_path / "left-wal", f"{filled}-wal")
    with closing(sqlite3.connect(filled)) as connection:
        try:
            held = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
        except sqlite3.DatabaseError:
            held = set()
    assert held != before


def test_a_journal_of_its_own_is_not_foreign(filled, reading):
    killed_at_work(filled, reading)
    assert not is_foreign(str(filled))
    assert len(ids(filled)) == 15


def test_a_repair_leaves_a_corpus_under_the_name_at_every_moment(filled, monkeypatch):
    """Also where it is ended between two of its steps."""
    for place in ("link", "rename", "replace"):
        before = ids(filled)
        copy = filled.with_name(f"{place}.melodex")
        shutil.copy(filled, copy)

        def ended(*names: object) -> None:
            raise KeyboardInterrupt

        owner = os if place == "link" else Path
        with monkeypatch.context() as patched:
            patched.setattr(owner, place, ended)
            with pytest.raises(KeyboardInterrupt):
                repair_corpus(copy)
        assert ids(copy) == before


def test_a_repair_through_a_link_leaves_the_link(filled, tmp_path):
    link = tmp_path / "link.melodex"
    link.symlink_to(filled)
    before = ids(filled)
    report = repair_corpus(link)
    assert link.is_symlink()
    assert report.damaged.parent == filled.parent
    assert ids(filled) == ids(link) == before


def test_where_there_are_no_links_a_repair_renames(filled, monkeypatch):
    def none(*names: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    before = ids(filled)
    report = repair_corpus(filled)
    assert ids(filled) == ids(report.damaged) == before


def said_into(
    path: Path, *words: str, stream: str, mode: int
) -> subprocess.CompletedProcess:
    """Run a command whose output or errors a shell leads into the corpus."""
    handle = os.open(path, os.O_WRONLY | mode)
    try:
        return subprocess.run(
            [sys.executable, "-m", "melodex", "--corpus", str(path), *words],
            stdout=handle if stream == "stdout" else subprocess.PIPE,
            stderr=handle if stream == "stderr" else subprocess.PIPE,
            text=True,
            timeout=SECONDS,
            check=False,
        )
    finally:
        os.close(handle)


@pytest.mark.parametrize("mode", [os.O_APPEND, 0])
@pytest.mark.parametrize("stream", ["stdout", "stderr"])
def test_nothing_is_said_into_the_corpus(filled, stream, mode):
    before = filled.read_bytes()
    done = said_into(filled, "list", stream=stream, mode=mode)
    assert done.returncode == 1
    assert "leads to the corpus itself" in (done.stderr or "") + (done.stdout or "")
    assert filled.read_bytes() == before


def test_a_corpus_that_a_shell_has_emptied_is_said_to_be(filled):
    done = said_into(filled, "list", stream="stdout", mode=os.O_TRUNC)
    assert done.returncode == 1
    assert "which was emptied to write there" in done.stderr
    assert "backup" in done.stderr
    assert filled.read_bytes() == b""
