"""One file that costs too much is refused by name, and stops no other.

Readers that go wrong in each way stand in for files that make them: by endless work that
Python interrupts, by endless work of a library that it does not, by memory without end,
by a fault that ends the process.
"""

from __future__ import annotations

import gc
import mmap
import os
import re
import resource
import signal
import threading
from pathlib import Path

import pytest

import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import HostileInputError
from melodex.reading import apart, budget
from melodex.reading.apart import Apart
from melodex.reading.budget import within_time
from melodex.tasks.adding import pool
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.handed import HandedFile, add_handed
from melodex.tasks.adding.parts import Job
from melodex.tasks.passage import find_passage

LIMITS = (resource.RLIMIT_AS, resource.RLIMIT_CPU, resource.RLIMIT_CORE)


@pytest.fixture(autouse=True)
def copied_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the process that reads be a copy of this one, with what a test puts into it.

    Where other tests have left threads behind it would be begun anew, without.
    """
    monkeypatch.setattr(apart, "is_alone", lambda: True)


TUNE = "X:1\nT:{title}\nM:4/4\nL:1/4\nK:C\nC D E F | G A B c |\n"


def spin() -> None:
    """Work without end."""
    while True:
        sum(range(1000))


def test_work_without_end_is_stopped_and_the_timer_is_put_away() -> None:
    with (
        pytest.raises(HostileInputError, match=r"more than 0\.05 seconds"),
        within_time(0.05),
    ):
        spin()
    assert signal.getitimer(signal.ITIMER_VIRTUAL) == (0.0, 0.0)
    assert signal.getsignal(signal.SIGVTALRM) is signal.SIG_DFL


def test_who_takes_the_fault_for_that_of_one_tune_is_reminded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(budget, "AGAIN_SECONDS", 0.05)
    stopped = 0
    with within_time(0.05):
        for _ in range(3):
            try:
                spin()
            except HostileInputError:
                stopped += 1
    assert stopped == 3


def test_another_thread_works_on_unwatched() -> None:
    done: list[int] = []

    def work() -> None:
        with within_time(0.0001):
            done.append(sum(range(100_000)))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [sum(range(100_000))]


# What a file may do to the process that reads it.


def in_python(job: Job) -> None:
    """Work that Python interrupts."""
    spin()


def in_a_library(job: Job) -> None:
    """A pattern that takes longer than the universe, without a chance for a signal."""
    re.match(r"(a|a)*b", "a" * 60)


def in_memory(job: Job) -> None:
    """Memory without end."""
    _ = [bytearray(1 << 20) for _ in range(1 << 20)]


def by_a_fault(job: Job) -> None:
    """A fault of the kind that a library in C may have."""
    os.abort()


WAYS = {
    in_python: "reading it takes more than 0.2 seconds",
    in_a_library: "reading it takes more than 0.2 seconds",
    in_memory: "reading it takes more memory than one file may",
    by_a_fault: "the process that reads it ended (Aborted)",
}


@pytest.fixture(params=WAYS, ids=[way.__name__ for way in WAYS])
def goes_wrong(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> tuple[str, str]:
    """A reader that goes wrong over files called b; their name, and the reason expected."""
    usual = Job.whole

    def whole(job: Job) -> object:
        if Path(job.source).name == "b.abc":
            request.param(job)
        return usual(job)

    monkeypatch.setattr(Job, "whole", whole)
    # A second process is Python anew, whose readers go right.
    monkeypatch.setattr(apart, "TRIES", 1)
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.2)
    monkeypatch.setattr(budget, "GRACE_SECONDS", 0.2)
    monkeypatch.setattr(budget, "MOST_MEMORY", 1 << 28)
    return "b.abc", WAYS[request.param]


def some_files(folder: Path) -> list[Path]:
    """Files with a tune each."""
    folder.mkdir()
    for name in ("a", "b", "c"):
        (folder / f"{name}.abc").write_text(TUNE.format(title=name), encoding="utf-8")
    return sorted(folder.glob("*.abc"))


@pytest.mark.parametrize("workers", [1, 2])
def test_the_file_is_refused_with_the_reason_and_the_others_are_added(
    tmp_path: Path,
    goes_wrong: tuple[str, str],
    workers: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pool, "WORTH_STARTING_BYTES", 0)
    path = tmp_path / "corpus.melodex"
    result = add_paths(path, some_files(tmp_path / "tunes"), workers=workers)
    assert result.added == 2
    (refusal,) = result.refusals
    assert (Path(refusal.source).name, refusal.reason) == goes_wrong
    with Corpus.open(path) as corpus:
        assert {row.title for row in corpus.tunes()} == {"a", "c"}


def test_a_page_that_is_handed_the_file_goes_on(
    tmp_path: Path, goes_wrong: tuple[str, str]
) -> None:
    files = [HandedFile(path.name, path) for path in some_files(tmp_path / "tunes")]
    result = add_handed(tmp_path / "corpus.melodex", files)
    assert result.added == 2
    (refusal,) = result.refusals
    assert (refusal.source, refusal.reason) == goes_wrong


def no_end(path: str, choice: object) -> None:
    """A reader that comes to no end in a library."""
    re.match(r"(a|a)*b", "a" * 60)


@pytest.fixture
def slow_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart, "read_path", no_end)
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.2)
    monkeypatch.setattr(budget, "GRACE_SECONDS", 0.2)


@pytest.mark.usefixtures("slow_reader")
def test_a_file_that_is_asked_about_is_refused_by_name(tmp_path: Path) -> None:
    path = some_files(tmp_path / "tunes")[0]
    said = r"a\.abc: reading it takes more than 0\.2 seconds"
    with pytest.raises(HostileInputError, match=said):
        find_passage(str(path))
    with pytest.raises(HostileInputError, match=said):
        melodex.read(path)


def test_beside_other_threads_python_is_started_anew() -> None:
    pids: list[int] = []

    def work() -> None:
        with Apart() as reader:
            pids.extend([reader.do(os.getpid), reader.do(os.getpid)])

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert pids[0] == pids[1] != os.getpid()


def test_whoever_stops_it_is_not_waited_for() -> None:
    reader = Apart()
    reader.start()
    threading.Timer(0.2, reader.stop).start()
    with pytest.raises(InterruptedError):
        reader.do(spin)
    reader.close()


def test_what_it_may_take_is_what_the_system_allows() -> None:
    with Apart() as reader:
        limits = [reader.do(resource.getrlimit, what) for what in LIMITS]
    assert limits[0][0] > budget.MOST_MEMORY
    assert 0 < limits[1][0] <= budget.MOST_SECONDS + budget.GRACE_SECONDS + 2
    assert limits[2][0] == 0


def test_a_copy_of_a_process_that_has_reserved_much_reads_as_any_other(
    tmp_path: Path,
) -> None:
    with mmap.mmap(-1, budget.MOST_MEMORY, prot=mmap.PROT_READ):
        result = add_paths(tmp_path / "corpus.melodex", some_files(tmp_path / "tunes"))
    assert (result.added, result.refusals) == (3, ())


def rings_left() -> int:
    """Make a ring, and count those of earlier calls that are still there."""
    left = sum(isinstance(each, Ring) for each in gc.get_objects())
    Ring()
    return left


class Ring:
    """Something that holds itself, as readers hold one another."""

    def __init__(self) -> None:
        self.itself = self


def test_a_process_that_reads_keeps_nothing_of_earlier_files():
    with Apart() as apart:
        assert [apart.do(rings_left) for _ in range(4)] == [0, 0, 0, 0]
