"""A command that works on a file is a process that can be ended, and says so in words."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from melodex.cli import file_named
from melodex.cli.bounded import run_apart
from melodex.errors import HostileInputError, ReadingError
from melodex.reading import apart, budget
from melodex.reading.apart import Bounded, called_apart

OWN = "corpus_demo/own/own_song.abc"


def spin() -> None:
    while True:
        pass


def hang_in_a_library() -> None:
    sum(range(1 << 62))


def fill_memory() -> None:
    bytearray(2 * budget.MOST_MEMORY)


def crash() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def leave(code: str | int | None) -> None:
    sys.exit(code)


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["describe", OWN], OWN),
        (["describe", f"{OWN}#1"], OWN),
        (["resemble", "--from", OWN], OWN),
        (["resemble", f"--from={OWN}"], OWN),
        (["compare", "The Eel Trap", OWN], OWN),
        (["describe", "The Eel Trap"], ""),
        (["resemble", "5 4 3 2 1"], ""),
        (["add", OWN], ""),
        (["describe", "a\0b"], ""),
        ([], ""),
    ],
)
def test_a_file_in_the_place_of_a_tune_is_found(words, name):
    assert file_named(words) == name


@pytest.mark.parametrize("work", [spin, hang_in_a_library])
def test_work_that_does_not_end_is_ended_in_words(work, monkeypatch, capfd):
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.1)
    monkeypatch.setattr(budget, "GRACE_SECONDS", 0.5)
    assert run_apart(lambda: in_words(work), "long.abc") == 1
    said = capfd.readouterr().err
    assert "long.abc: working on it takes more than 0.1 seconds" in said
    assert "Traceback" not in said


def in_words(work) -> None:
    """Do work as the command line does, which catches what melodex raises on purpose."""
    try:
        work()
    except HostileInputError as error:
        click.echo(f"melodex: {error}", err=True)
        sys.exit(1)


def test_work_that_takes_all_memory_is_refused_in_words(capfd):
    assert run_apart(fill_memory, "large.abc") == 1
    said = capfd.readouterr().err
    assert "large.abc: working on it takes more memory than one file may" in said


def test_a_process_that_crashes_is_told_of(capfd):
    assert run_apart(crash, "odd.abc") == 1
    assert "odd.abc: the process that works on it ended (Killed)" in capfd.readouterr().err


@pytest.mark.parametrize(("code", "exit_code"), [(None, 0), (0, 0), (2, 2), ("words", 1)])
def test_the_exit_of_the_process_is_that_of_the_command(code, exit_code):
    assert run_apart(lambda: leave(code), "any.abc") == exit_code


def test_a_fault_of_ours_keeps_its_traceback(capfd):
    def fail() -> None:
        raise ZeroDivisionError("ours")

    assert run_apart(fail, "any.abc") == 1
    assert "ZeroDivisionError: ours" in capfd.readouterr().err


def test_handlers_of_signals_are_put_back():
    before = signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)
    run_apart(lambda: leave(0), "any.abc")
    assert (signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)) == before


def test_ending_a_command_ends_the_process_that_works(tmp_path):
    pipe = tmp_path / "tune.abc"
    pipe.write_bytes(Path(OWN).read_bytes())
    script = (
        "import sys, time; from melodex.cli.bounded import run_apart\n"
        "def work():\n    print('begun', flush=True); time.sleep(60)\n"
        f"sys.exit(run_apart(work, {str(pipe)!r}))"
    )
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"begun\n"
        start = time.monotonic()
        child.terminate()
        # The pipe ends when nobody holds it any more.
        assert child.stdout.read() == b""
        assert child.wait() == 128 + signal.SIGTERM
        assert time.monotonic() - start < 50


def test_a_command_on_a_file_answers_as_it_did(run_melodex):
    done = run_melodex("describe", OWN)
    assert done.returncode == 0
    assert b"Letter from the Far Lock" in done.stdout
    done = run_melodex("describe", "corpus_demo/README.md")
    assert done.returncode == 1
    assert done.stderr.startswith(b"melodex: ")


@pytest.fixture
def run_melodex():
    def run(*words: str) -> subprocess.CompletedProcess[bytes]:
        line = [sys.executable, "-m", "melodex", *words]
        return subprocess.run(line, capture_output=True, check=False)

    return run


def busy(seconds: float) -> None:
    end = time.process_time() + seconds
    while time.process_time() < end:
        pass


def is_bounded() -> bool:
    return Bounded.is_this


@pytest.fixture
def copied_limits(monkeypatch):
    """Limits that a test sets hold in a copy of this process alone.

    Where a test before left a thread, as clusters and browsers do, Python would be started
    anew, with the limits that it always has.
    """
    monkeypatch.setattr(apart, "is_alone", lambda: True)


@pytest.mark.usefixtures("copied_limits")
def test_a_call_on_a_file_is_made_in_a_process_that_can_be_ended(monkeypatch):
    assert called_apart("any.abc", is_bounded)
    assert not Bounded.is_this
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.1)
    with pytest.raises(HostileInputError, match=r"any\.abc: .* more than 0\.1 seconds"):
        called_apart("any.abc", busy, 30.0)


def test_where_a_process_can_be_ended_no_other_is_started(monkeypatch):
    monkeypatch.setattr(Bounded, "is_this", True)
    assert called_apart("any.abc", os.getpid) == os.getpid()


@pytest.mark.usefixtures("copied_limits")
def test_python_works_on_a_file_in_such_a_process(monkeypatch, tmp_path):
    import melodex

    long = melodex.describe(OWN), melodex.compare(OWN, OWN), melodex.read(OWN)
    assert [type(each).__name__ for each in long] == [
        "DescribeResult",
        "CompareResult",
        "list",
    ]
    # Some hundredths of a second of work on a fast machine, where a process may take one.
    path = tmp_path / "long_song.abc"
    path.write_text("X:1\nT:Long\nM:4/4\nL:1/8\nK:C\n" + "CDEFGABc|" * 8000)
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.01)
    for call in (melodex.describe, melodex.read, lambda own: melodex.compare(own, own)):
        # Of the file, or of the tune that was being read.
        with pytest.raises(ReadingError, match=r"long_song.*takes more than 0\.01 seconds"):
            call(path)
