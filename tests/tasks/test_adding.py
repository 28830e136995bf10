"""adding: several processes read, and nobody could tell from the corpus."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.corpus.writing.taken_out import TakenOut
from melodex.errors import CorpusError
from melodex.reading.result import Choice
from melodex.tasks.adding import pool as adding_pool
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.pool import made_into_rows, usual_workers

SCALE = ("C D E F", "G A B c", "c B A G", "F E D C", "E G F A", "D F E G")
HEADER = "M:4/4\nL:1/4\nK:C\n"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    folder.mkdir()
    for number in range(12):
        bars = [SCALE[(number // 6**place) % 6] for place in range(4)]
        body = "\n".join(
            f"X:{n}\nT:Air {number} {n}\n{HEADER}{' | '.join(bars[n:] + bars)} |\n"
            for n in (1, 2, 3)
        )
        (folder / f"{number:02}.abc").write_text(body, encoding="utf-8")
    (folder / "05b.abc").write_bytes(b"\x00\x01 no tune at all")
    return folder


@pytest.fixture
def worth_starting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(adding_pool, "WORTH_STARTING_BYTES", 0)


def children() -> list[int]:
    """The processes that this one has started and that still run."""
    threads = Path("/proc/self/task").iterdir()
    return [int(pid) for each in threads for pid in (each / "children").read_text().split()]


BEFORE: set[int] = set()
"""Processes that other tests have left running: a browser, a page."""


@pytest.fixture(autouse=True)
def look_around() -> None:
    """Note what ran before the test."""
    BEFORE.clear()
    BEFORE.update(children())


def readers() -> list[int]:
    """The processes that a test has started and that still run."""
    return [pid for pid in children() if pid not in BEFORE]


def held(path: Path) -> list[tuple[object, ...]]:
    with Corpus.open(path) as corpus:
        sql = (
            "SELECT tune.id, tune.tune_id, file, number, facet_crc32 FROM place "
            "JOIN tune ON tune.id = place.tune ORDER BY place.id"
        )
        return list(corpus.query(sql))


@pytest.mark.usefixtures("worth_starting")
def test_two_processes_make_the_corpus_that_one_makes(shelf: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one.melodex", tmp_path / "two.melodex"
    alone = add_paths(one, [shelf], workers=1)
    together = add_paths(two, [shelf], workers=2)
    assert together == alone
    assert alone.added == 36
    assert len(alone.refusals) == 1
    assert held(two) == held(one)
    assert readers() == []


@pytest.mark.usefixtures("worth_starting")
def test_files_of_a_process_that_is_killed_are_read_all_the_same(shelf: Path) -> None:
    paths = sorted(shelf.iterdir())
    expected = [file.file for file in made_into_rows(paths, "", Choice())]
    files = made_into_rows(paths, "", Choice(), workers=2)
    found = [next(files).file]
    for pid in readers():
        os.kill(pid, signal.SIGKILL)
    found += [file.file for file in files]
    assert found == expected


@pytest.mark.usefixtures("worth_starting")
def test_whoever_stops_early_leaves_no_process_behind(shelf: Path) -> None:
    files = made_into_rows(sorted(shelf.iterdir()), "", Choice(), workers=2)
    next(files)
    assert len(readers()) == 2
    files.close()
    assert readers() == []


def test_few_files_start_one_process(shelf: Path) -> None:
    files = made_into_rows(sorted(shelf.iterdir()), "", Choice(), workers=2)
    next(files)
    assert len(readers()) == 1
    files.close()


def test_no_more_processes_than_processors_are_usual() -> None:
    assert 1 <= usual_workers() <= (os.cpu_count() or 1)


def many(folder: Path, files: int) -> Path:
    """Files enough to be stopped among them."""
    folder.mkdir()
    for number in range(files):
        body = "\n".join(
            f"X:{n}\nT:Long air {number} {n}\n{HEADER}{' | '.join(SCALE * 4)} |\n"
            for n in range(1, 60)
        )
        (folder / f"{number:03}.abc").write_text(body, encoding="utf-8")
    return folder


def started(arguments: Sequence[str]) -> subprocess.Popen[str]:
    """The command in a session of its own, its pipes open as long as a process lives."""
    return subprocess.Popen(
        [sys.executable, "-m", "melodex", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
    )


def some_written(path: Path) -> None:
    """Wait until something stands in a corpus."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        # Until its tables stand, a corpus is refused as missing or empty.
        with suppress(CorpusError), Corpus.open(path) as corpus:
            if corpus.tune_count:
                return
        time.sleep(0.05)
    pytest.fail("nothing was written")


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_stopped_or_killed_the_corpus_is_whole_and_no_process_stays(
    tmp_path: Path, how: signal.Signals
) -> None:
    path = tmp_path / "stopped.melodex"
    folder = many(tmp_path / "many", 60)
    process = started(["--corpus", str(path), "add", "--workers", "2", str(folder)])
    some_written(path)
    if how is signal.SIGINT:
        os.killpg(process.pid, how)
    else:
        os.kill(process.pid, how)
    # The pipes end only when every process that holds them has ended.
    _, errors = process.communicate(timeout=120)
    assert process.returncode == (130 if how is signal.SIGINT else -signal.SIGKILL)
    assert "Traceback" not in errors
    report = check_corpus(path)
    assert not report.faults
    assert 0 < report.tune_count < 60 * 59


def test_what_is_on_disk_when_ctrl_c_comes_is_said_to_be_there(tmp_path, monkeypatch):
    # Ctrl-C while the disk is waited for is heard of when the transaction has ended.
    def interrupted(self):
        raise KeyboardInterrupt

    path = tmp_path / "stopped.melodex"
    CorpusWriter.open(path).close()
    monkeypatch.setattr(TakenOut, "settle", interrupted)
    result = add_paths(path, "corpus_demo/reed_cutters.abc")
    assert result.interrupted
    with Corpus.open(path) as corpus:
        assert result.added == corpus.tune_count == 12
