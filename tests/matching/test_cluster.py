"""An existing Dask cluster: a scheduler and three workers started by their own commands.

Checked against dask.distributed itself: its scheduler and workers, and what it documents of
workers that are lost (https://distributed.dask.org/en/stable/resilience.html). One process
over one file is the check of the answers.
"""

from __future__ import annotations

import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from threading import Thread

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import WorkersError
from melodex.matching.dealing import cluster as clusters
from melodex.matching.dealing.cluster import PATIENCE_VARIABLE, Cluster
from melodex.matching.dealing.exchange import Exchange
from melodex.presentation.data.corpus import families_json, whole_audit_json
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.collection.families import find_families
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder

DASK = [sys.executable, "-m", "dask"]
QUIET = ["--no-dashboard"]
PATIENCE_SECONDS = 120


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PATIENCE_VARIABLE, str(PATIENCE_SECONDS))


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


class Machines:
    """A scheduler and workers, each a process that its own command started."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.address = f"tcp://127.0.0.1:{free_port()}"
        host, port = self.address.removeprefix("tcp://").split(":")
        self.scheduler = self.start("scheduler", "--host", host, "--port", port)
        self.workers: list[subprocess.Popen[bytes]] = []

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        with (self.folder / f"{words[0]}.log").open("ab") as log:
            return subprocess.Popen(
                [*DASK, *words, *QUIET],
                stdout=log,
                stderr=log,
                cwd=self.folder,
                env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
            )

    def add_worker(self) -> None:
        words = [self.address, "--nworkers", "1", "--nthreads", "1"]
        self.workers.append(self.start("worker", *words, "--no-nanny"))

    def wait_for(self, count: int) -> None:
        from distributed import Client

        end = time.monotonic() + PATIENCE_SECONDS
        while True:
            try:
                with Client(self.address, timeout=PATIENCE_SECONDS) as client:
                    if count:
                        client.wait_for_workers(count, timeout=PATIENCE_SECONDS)
                    return
            except OSError:
                if time.monotonic() > end:
                    raise

    def stop(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    started = Machines(tmp_path_factory.mktemp("machines"))
    try:
        for _ in range(3):
            started.add_worker()
        started.wait_for(3)
        yield started
    finally:
        started.stop()


@pytest.fixture(scope="module")
def corpora(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's tunes in one file, and in three shards."""
    folder = tmp_path_factory.mktemp("corpora")
    assert not add_paths(folder / "one.melodex", [tunes_folder()]).refusals
    split(folder / "one.melodex", folder / "three", 3)
    return folder / "one.melodex", folder / "three"


def told(
    path: Path, exchange: Exchange | None, progress: Callable[..., None] | None
) -> str:
    with Corpus.open(path) as corpus:
        found = audit_whole(corpus, exchange=exchange, progress=progress)
        return whole_audit_json(found) + families_json(
            find_families(corpus, exchange=exchange)
        )


def test_a_whole_audit_goes_on_when_a_worker_is_killed(
    machines: Machines, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    one, three = corpora
    killed: list[int] = []

    def kill_one(done: int, total: int) -> None:
        if not killed:
            machines.workers[0].send_signal(signal.SIGKILL)
            killed.append(done)

    cluster = Cluster(machines.address)
    try:
        found = told(three, Exchange(cluster, tmp_path), kill_one)
    finally:
        cluster.close()
    assert killed
    assert machines.workers[0].wait(PATIENCE_SECONDS) == -signal.SIGKILL
    assert found == told(one, None, None)
    machines.workers.pop(0)
    machines.add_worker()


def test_the_commands_give_the_same_bytes_through_a_cluster(
    machines: Machines, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    one, three = corpora
    for question in (
        ["audit", "--whole-corpus", "--limit", "50"],
        ["collection", "duplicates", "--least", "0.2"],
        ["collection", "families", "--all"],
    ):
        words = [*question, "--format", "json"]
        expected = CliRunner().invoke(melodex, ["--corpus", str(one), *words])
        through = ["--scheduler", machines.address, "--work", str(tmp_path / "work")]
        found = CliRunner().invoke(melodex, ["--corpus", str(three), *words, *through])
        assert (found.exit_code, expected.exit_code) == (0, 0), found.output
        assert found.stdout == expected.stdout


def test_the_page_for_many_machines_is_true_word_for_word(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    """The commands of the README, with this host and folder, one worker killed."""
    shared = tmp_path / "tunes"
    shared.mkdir()
    (shared / "corpus-shards").symlink_to(corpora[1])
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    port = free_port()
    commands = [
        block.replace("first:8786", f"127.0.0.1:{port}")
        .replace("--port 8786", f"--port {port}")
        .replace("/srv/tunes", str(shared))
        for block in re.findall(r"^```bash\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    ]
    scheduler, worker, question = (shlex.split(command) for command in commands)
    running = [begun(scheduler, tmp_path), *(begun(worker, tmp_path) for _ in range(3))]
    try:
        asking = begun(question, tmp_path)
        running.append(asking)
        end = time.monotonic() + PATIENCE_SECONDS
        while not list(shared.glob("work/figures-*/figures-0.npy")):
            assert time.monotonic() < end
            if asking.poll():
                # It may have asked before there was a scheduler, as a person may.
                asking = begun(question, tmp_path)
                running.append(asking)
            time.sleep(0.05)
        os.killpg(running[1].pid, signal.SIGKILL)
        assert asking.wait(PATIENCE_SECONDS) == 0
    finally:
        for process in running:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    words = ["audit", "--whole-corpus", "--format", "json"]
    expected = CliRunner().invoke(melodex, ["--corpus", str(corpora[0]), *words])
    found = (tmp_path / "whole.json").read_text(encoding="utf-8")
    assert found == expected.stdout


def begun(words: list[str], folder: Path) -> subprocess.Popen[bytes]:
    """A command of the page as it is installed here, in a group of its own."""
    with (folder / "running.log").open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-m", *words],
            stdout=log,
            stderr=log,
            cwd=folder,
            start_new_session=True,
            env=os.environ
            | {
                "PYTHONPATH": str(Path(__file__).parents[2]),
                "DASK_DISTRIBUTED__DASHBOARD__LINK": "",
            },
        )


def test_a_fault_at_a_worker_reaches_us_as_itself(machines: Machines) -> None:
    cluster = Cluster(machines.address)
    try:
        with pytest.raises(ZeroDivisionError):
            cluster.deal(one_over, [1, 0, 2])
        with pytest.raises(WorkersError, match="a worker cannot use it"):
            cluster.deal(opened, ["/there/is/no/such/folder"])
        assert cluster.deal(one_over, [1, 2, 4]) == [1, 0.5, 0.25]
    finally:
        cluster.close()


def one_over(number: int) -> float:
    return 1 / number


def opened(path: str) -> str:
    return Path(path).read_text(encoding="utf-8")


def test_a_worker_with_another_melodex_is_named(
    machines: Machines, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clusters, "__version__", "99.0")
    with pytest.raises(
        WorkersError, match=r"worker tcp://.* runs melodex .*here is melodex 99"
    ):
        Cluster(machines.address)


def test_an_address_where_nothing_answers_is_told_in_one_sentence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(PATIENCE_VARIABLE, "1")
    for address in (f"tcp://127.0.0.1:{free_port()}", "no address at all", "none://x:1"):
        with pytest.raises(WorkersError, match="no scheduler answers here") as caught:
            Cluster(address)
        assert "\n" not in str(caught.value)


def asked_by_command(
    corpus: Path, address: str, *, seconds: int
) -> subprocess.CompletedProcess[bytes]:
    """What a command of its own says where a scheduler is given so many seconds."""
    words = ["--corpus", str(corpus), "resemble", "3 5 3 1 3 1", "--scheduler", address]
    return subprocess.run(
        [sys.executable, "-m", "melodex", *words],
        capture_output=True,
        timeout=PATIENCE_SECONDS,
        check=False,
        env=os.environ
        | {"PYTHONPATH": str(Path(__file__).parents[2]), PATIENCE_VARIABLE: str(seconds)},
    )


@pytest.mark.parametrize("address", ["no address at all", "tls://127.0.0.1:9", "-1"])
def test_the_command_says_nothing_else_of_such_an_address(
    address: str, corpora: tuple[Path, Path]
) -> None:
    """Dask's client, left half made, complained at the end of the program."""
    said = asked_by_command(corpora[1], address, seconds=1)
    assert said.returncode == 1
    assert b"no scheduler answers here within 1 second" in said.stderr
    assert len(said.stderr.splitlines()) == 1


def test_a_scheduler_without_workers_and_one_that_goes_are_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = Machines(tmp_path)
    try:
        alone.wait_for(0)
        monkeypatch.setenv(PATIENCE_VARIABLE, "5")
        with pytest.raises(WorkersError, match="has no workers"):
            Cluster(alone.address)
        alone.add_worker()
        alone.wait_for(1)
        monkeypatch.setenv(PATIENCE_VARIABLE, str(PATIENCE_SECONDS))
        cluster = Cluster(alone.address)
        try:

            def end_it(done: int, total: int) -> None:
                alone.scheduler.kill()

            with pytest.raises(WorkersError, match="the scheduler is gone"):
                cluster.deal(slow, list(range(50)), end_it)
        finally:
            cluster.close()
    finally:
        alone.stop()


def test_a_trial_of_chance_goes_on_after_its_scheduler_was_killed(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    """One sentence, and what was kept is not done again by the next cluster."""
    words = ["collection", "chance", "--phrases", "30", "--format", "json"]
    expected = CliRunner().invoke(melodex, ["--corpus", str(corpora[0]), *words])
    work = tmp_path / "work"
    asked = [sys.executable, "-m", "melodex", "--corpus", str(corpora[1]), *words]
    before: dict[Path, int] = {}
    for is_killed in (True, False):
        cluster = Machines(tmp_path)
        try:
            for _ in range(2):
                cluster.add_worker()
            cluster.wait_for(2)
            asking = subprocess.Popen(
                [*asked, "--scheduler", cluster.address, "--work", str(work)],
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
            )
            end = time.monotonic() + PATIENCE_SECONDS
            while is_killed and not list(work.glob("chance-*")):
                assert time.monotonic() < end
                assert asking.poll() is None
                time.sleep(0.01)
            if is_killed:
                cluster.scheduler.kill()
            said, complained = asking.communicate(timeout=2 * PATIENCE_SECONDS)
        finally:
            cluster.stop()
        now = {file: file.stat().st_mtime_ns for file in work.glob("chance-*")}
        assert {file: now[file] for file in before} == before
        if is_killed:
            assert asking.returncode == 1
            assert b"the scheduler is gone" in complained
            assert len(complained.splitlines()) == 1
            before = now
        else:
            assert asking.returncode == 0, complained
            assert said.decode("utf-8") == expected.stdout


def slow(number: int) -> int:
    time.sleep(0.3)
    return number


def speaking(words: bytes) -> str:
    """The address of a server that says something to whoever comes, and goes on living."""
    listening = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        with suppress(OSError):
            while True:
                line, _ = listening.accept()
                line.sendall(words)

    Thread(target=serve, daemon=True).start()
    return f"tcp://127.0.0.1:{listening.getsockname()[1]}"


@pytest.mark.parametrize(
    "words",
    [
        b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n",
        bytes(1 << 16),
        (20).to_bytes(8, "little") + b"\1" + bytes(7) + b"\4" + bytes(7) + b"\xc1" * 4,
        (1 << 62).to_bytes(8, "little") + b"x" * 100,
    ],
    ids=["a web server", "zeros", "no message", "a length without end"],
)
def test_what_is_no_scheduler_is_told_to_be_none(
    words: bytes, corpora: tuple[Path, Path]
) -> None:
    """A web server was called a file that takes too much memory, and to be parted."""
    said = asked_by_command(corpora[0], speaking(words), seconds=5)
    assert said.returncode == 1
    assert b"no scheduler" in said.stderr
    assert len(said.stderr.splitlines()) == 1
