"""One file that costs too much is refused by name, and stops no other."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import HostileInputError
from melodex.reading import Choice
from melodex.tasks.adding import budget
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.budget import within_time
from melodex.tasks.adding.parts import Job

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


def test_a_file_that_takes_too_long_is_refused_and_the_next_is_added(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.abc").write_text(TUNE.format(title=name), encoding="utf-8")
    usual = Job.whole

    def slow(job: Job) -> object:
        if job.source.endswith("b.abc"):
            spin()
        return usual(job)

    monkeypatch.setattr(Job, "whole", slow)
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.2)
    path = tmp_path / "corpus.melodex"
    result = add_paths(path, sorted(tmp_path.glob("*.abc")))
    assert result.added == 2
    (refusal,) = result.refusals
    assert refusal.source.endswith("b.abc")
    assert refusal.reason == "reading it takes more than 0.2 seconds"
    with Corpus.open(path) as corpus:
        assert {row.title for row in corpus.tunes()} == {"a", "c"}


def test_a_file_that_takes_too_much_memory_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def large(job: Job) -> object:
        raise MemoryError

    monkeypatch.setattr(Job, "whole", large)
    file = Job("big.abc", "/big.abc", "", Choice()).done()
    (refusal,) = file.report().refusals
    assert (refusal.source, "memory" in refusal.reason) == ("big.abc", True)


@pytest.mark.skipif(sys.platform != "linux", reason="the limit is Linux's")
def test_a_process_that_reads_cannot_take_more_memory_than_the_limit() -> None:
    code = (
        "from melodex.tasks.adding.budget import MOST_MEMORY, limit_memory\n"
        "limit_memory()\n"
        "try:\n    bytearray(MOST_MEMORY)\nexcept MemoryError:\n    print('refused')\n"
        "print(len(bytearray(MOST_MEMORY // 8)) > 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    )
    assert done.stdout.split() == ["refused", "True"]
