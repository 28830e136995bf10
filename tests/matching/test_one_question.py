"""One question dealt out by shard: to processes, and to the cluster that Dask tests with.

Checked against one process over one file, and against ``dask.distributed.LocalCluster``,
whose workers are processes of their own.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import MelodexError, SettingsError, WorkersError
from melodex.matching.asking import Notes
from melodex.matching.dealing import cluster as clusters
from melodex.matching.dealing.cluster import PATIENCE_VARIABLE, Cluster, ready_there
from melodex.matching.dealing.dealer import Dealer, Here, Processes
from melodex.matching.dealing.held import HERE, Held, Shards, places_of
from melodex.presentation.data.forms import as_json
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.audit import audit
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.passage import find_passage
from melodex.tasks.resemble import resemble

PATIENCE = "250"
"""Seconds that a test waits for a cluster on a machine under load."""

PHRASES = ("3 5 3 1 3 1 4 6 4 3 1", "5 4 3 2 1", "u u d d u", "q. e q q h", "5 ? 1 3 1")
WISHES: tuple[dict[str, Any], ...] = (
    {"kind": "jig"},
    {"mode": "minor", "metre": "4/4"},
    {"progression": "ii V I"},
    {"progression": "ii V I", "mode": "minor"},
    {"phrase": "5 4 3 2 1", "nearly": True},
    {"device": "cadence", "part": "top"},
    {"version_of": "Rain on the Roof"},
    {"mode": "locrian"},
)


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PATIENCE_VARIABLE, PATIENCE)


@pytest.fixture(scope="module")
def corpora(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's tunes in one file, and in three shards."""
    folder = tmp_path_factory.mktemp("corpora")
    assert not add_paths(folder / "one.melodex", [tunes_folder()]).refusals
    split(folder / "one.melodex", folder / "three", 3)
    return folder / "one.melodex", folder / "three"


@pytest.fixture(scope="module")
def expected(corpora: tuple[Path, Path]) -> dict[str, str]:
    """What this process answers over one file."""
    return told(corpora[0], None)


@pytest.fixture(scope="module")
def local() -> Iterator[Any]:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as found:
        yield found


@pytest.fixture
def cluster(local: Any) -> Iterator[Cluster]:
    found = Cluster(local.scheduler_address)
    try:
        yield found
    finally:
        found.close()


def told(path: Path, dealer: Dealer | None, most: int = 3) -> dict[str, str]:
    """What a corpus answers, by this process or by those who work, in so many parts."""
    found = {}
    with Corpus.open(path) as corpus:
        shards = None if dealer is None else Shards(dealer, places_of(corpus, most))
        notes = None if shards is None else Notes(shards)
        for text in PHRASES:
            phrase = read_phrase(text)
            found[text] = as_json(resemble(corpus, phrase, explain=True, notes=notes))
        found["first"] = as_json(resemble(corpus, read_phrase(PHRASES[0]), notes=notes))
        outside = frozenset(row.tune_id for row in corpus.tunes()[::3])
        phrase = read_phrase(PHRASES[0])
        found["within"] = as_json(resemble(corpus, phrase, outside=outside, notes=notes))
        own = find_passage("The Eel Trap", corpus)
        found["audit"] = as_json(audit(corpus, own, threshold=30.0, notes=notes))
        for number, wishes in enumerate(WISHES):
            limit = (3, None)[number % 2]
            gathered = gather(corpus, Wish(**wishes), limit=limit, shards=shards)
            found[str(wishes)] = as_json(gathered)
    return found


def test_processes_answer_by_shard_as_one_file_does(
    corpora: tuple[Path, Path], expected: dict[str, str]
) -> None:
    one, three = corpora
    processes = Processes(2)
    try:
        assert told(three, processes) == expected
        assert len(processes.seats) == 2
        # One is killed; what it held is held by another from then on.
        (killed,) = list(processes.seats[0]._processes)
        os.kill(killed, signal.SIGKILL)
        for path in (three, one):
            with Corpus.open(path) as corpus:
                assert ask(corpus, processes, places_of(corpus)) == expected["first"]
    finally:
        processes.close()


def test_a_cluster_answers_by_shard_as_one_file_does(
    corpora: tuple[Path, Path], expected: dict[str, str], cluster: Cluster
) -> None:
    _, three = corpora
    assert told(three, cluster, cluster.workers) == expected
    assert len(set(cluster.seats.values())) == 2
    killed = cluster.client.run(os.getpid)[cluster.seats[next(iter(cluster.seats))]]
    os.kill(killed, signal.SIGKILL)
    with Corpus.open(three) as corpus:
        assert ask(corpus, cluster, places_of(corpus)) == expected["first"]


def test_a_worker_that_has_just_ended_is_left_out_though_the_scheduler_still_names_it(
    cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed.comm.core import CommClosedError

    ended = {"tcp://127.0.0.1:1": CommClosedError("in <TCP (closed)>")}
    there = cluster.run(ready_there)
    answers = [ended, {**ended, **there}]
    monkeypatch.setattr(cluster, "run", lambda work: answers.pop(0))
    assert cluster.looked_at() == sorted(there)
    assert not answers


def test_where_few_tunes_are_aligned_parts_look_at_the_likeliest_of_all(
    corpora: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of the whole corpus, not of each part."""
    from melodex.tasks.gather import gather as gathering

    monkeypatch.setattr(gathering, "MOST_ALIGNED", 2)
    answers = []
    for path, dealer in ((corpora[0], None), (corpora[1], Here())):
        with Corpus.open(path) as corpus:
            shards = None if dealer is None else Shards(dealer, places_of(corpus))
            for limit in (1, 2, 5):
                found = gather(
                    corpus, Wish(progression="ii V I"), limit=limit, shards=shards
                )
                assert found.unsure
                answers.append(as_json(found))
    assert answers[:3] == answers[3:]


def test_one_who_holds_several_shards_answers_for_them_as_for_one(
    corpora: tuple[Path, Path], expected: dict[str, str]
) -> None:
    """And no notes are held twice when others are asked for."""
    with Corpus.open(corpora[1]) as corpus:
        parts = [[place.numbers for place in places_of(corpus, most)] for most in (1, 2, 9)]
    assert parts == [[(1, 2, 3)], [(1, 3), (2,)], [(1,), (2,), (3,)]]
    for most in (1, 2):
        assert told(corpora[1], Here(), most) == expected
        held = [key[1] for key in HERE.held]
        assert held == parts[most - 1]
    with Corpus.open(corpora[0]) as corpus:
        assert ask(corpus, Here(), places_of(corpus)) == expected["first"]
    assert [key[1] for key in HERE.held] == [()]


def times_read(place: Any, number: int) -> int:
    return number + READ.setdefault("count", 0)


READ: dict[str, int] = {}


def test_a_second_question_loads_nothing(
    corpora: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    loaded: list[Path] = []
    real = Corpus.chunks

    def counted(corpus: Corpus) -> Iterator[Any]:
        loaded.append(corpus.parts[0].path)
        return real(corpus)

    monkeypatch.setattr(Corpus, "chunks", counted)
    with Corpus.open(corpora[1]) as corpus:
        notes = Notes(Shards(Here(), places_of(corpus)))
        for text in PHRASES[:3]:
            resemble(corpus, read_phrase(text), notes=notes)
    assert len(loaded) == 3
    assert issubclass(Held, Corpus)


def test_the_commands_give_the_same_bytes_through_a_cluster(
    corpora: tuple[Path, Path], local: Any
) -> None:
    own = str(tunes_folder() / "own" / "own_song.abc")
    for question in (
        ["resemble", PHRASES[0], "--explain"],
        ["audit", own],
        ["gather", "--progression", "ii V I", "--limit", "4"],
    ):
        words = [*question, "--format", "json"]
        expected = CliRunner().invoke(melodex, ["--corpus", str(corpora[0]), *words])
        for who in (["--scheduler", local.scheduler_address], ["--workers", "2"]):
            found = CliRunner().invoke(melodex, ["--corpus", str(corpora[1]), *words, *who])
            assert (found.exit_code, expected.exit_code) == (0, 0), found.output
            assert found.stdout == expected.stdout


def ask(corpus: Corpus, dealer: Dealer, places: list[Any]) -> str:
    notes = Notes(Shards(dealer, places))
    return as_json(resemble(corpus, read_phrase(PHRASES[0]), notes=notes))


@pytest.mark.parametrize("who", ["processes", "cluster"])
def test_a_shard_that_is_not_what_it_was_is_named_in_one_sentence(
    who: str, corpora: tuple[Path, Path], cluster: Cluster, tmp_path: Path
) -> None:
    folder = tmp_path / "shards"
    shutil.copytree(corpora[1], folder)
    second = folder / "shard-2-of-3.melodex"
    whole = second.read_bytes()
    processes = Processes(1)
    dealer: Dealer = processes if who == "processes" else cluster
    try:
        with Corpus.open(folder) as corpus:
            places = places_of(corpus)
            expected = ask(corpus, dealer, places)

            def refused(fault: str) -> None:
                with pytest.raises(WorkersError, match=fault) as caught:
                    ask(corpus, dealer, places)
                assert "\n" not in str(caught.value)
                assert str(folder) in str(caught.value)

            moved = tmp_path / "moved"
            second.rename(moved)
            refused("shard 2 of 3 is missing")
            shutil.copyfile(folder / "shard-1-of-3.melodex", second)
            refused("shard 1 of 3 of this corpus stands in the place of shard 2")
            second.write_bytes(b"no corpus at all")
            refused("one who works cannot use it")
            second.write_bytes(whole[: len(whole) // 2])
            refused("one who works cannot use it")
            second.unlink()
            moved.rename(second)
            assert ask(corpus, dealer, places) == expected
            # Another splitting of other tunes, put in its place while it is open here.
            shutil.rmtree(folder)
            add_paths(tmp_path / "few.melodex", [tunes_folder() / "own"])
            split(tmp_path / "few.melodex", folder, 3)
            refused("a worker sees other tunes in the corpus than are seen here")
            shutil.rmtree(folder)
            refused("one who works cannot use it")
    finally:
        processes.close()


def test_work_that_is_stopped_is_taken_back_and_the_cluster_goes_on(
    cluster: Cluster, tmp_path: Path
) -> None:
    """What was begun ends, and what was sent beside it is never begun."""
    asked = [(str(tmp_path), number) for number in range(40)]

    def stop(done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cluster.deal(marked, asked, stop)
    assert cluster.deal(abs, [-1, 2, 3, 4]) == [1, 2, 3, 4]
    time.sleep(1)
    assert len(list(tmp_path.iterdir())) < 40


def marked(job: tuple[str, int]) -> int:
    folder, number = job
    (Path(folder) / str(number)).touch()
    time.sleep(0.05)
    return number


def test_ctrl_c_at_the_command_ends_it_and_what_it_sent(
    corpora: tuple[Path, Path], local: Any, tmp_path: Path
) -> None:
    """A person presses it in the middle of an audit of many own tunes."""
    words = ["--corpus", str(corpora[1]), "audit", str(tunes_folder())]
    words += ["--each", str(tmp_path / "each"), "--scheduler", local.scheduler_address]
    asking = subprocess.Popen(
        [sys.executable, "-m", "melodex", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    end = time.monotonic() + float(PATIENCE)
    while not list((tmp_path / "each").glob("*.json")):
        assert time.monotonic() < end
        assert asking.poll() is None
        time.sleep(0.02)
    asking.send_signal(signal.SIGINT)
    _, said = asking.communicate(timeout=float(PATIENCE))
    assert asking.returncode == 130, said
    assert b"Traceback" not in said
    done = len(list((tmp_path / "each").glob("*.json")))
    assert done < 61
    cluster = Cluster(local.scheduler_address)
    try:
        while any(cluster.client.processing().values()):
            assert time.monotonic() < end
            time.sleep(0.05)
    finally:
        cluster.close()


def test_a_scheduler_that_answers_slowly_or_never_is_told_of(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A door that is open and behind which nobody speaks."""
    monkeypatch.setenv(PATIENCE_VARIABLE, "1")
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        address = f"tcp://127.0.0.1:{listening.getsockname()[1]}"
        with pytest.raises(WorkersError, match="no scheduler answers here within 1 second"):
            Cluster(address)


def test_a_scheduler_that_begins_to_answer_too_late_is_told_of(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Dask's own client shows it as an assertion that fails."""
    import distributed

    class Late(distributed.Client):
        def __init__(self, *given: Any, **named: Any) -> None:
            raise AssertionError

    monkeypatch.setattr(distributed, "Client", Late)
    with pytest.raises(WorkersError, match="no scheduler answers here within 250 seconds"):
        Cluster("tcp://127.0.0.1:1")


def test_a_scheduler_that_stands_still_in_the_middle_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.matching.test_cluster import Machines

    machines = Machines(tmp_path)
    try:
        machines.add_worker()
        machines.wait_for(1)
        cluster = Cluster(machines.address)
        cluster.patience = 1.0

        def still(seconds: float) -> None:
            time.sleep(seconds)
            machines.scheduler.send_signal(signal.SIGSTOP)

        threading.Thread(target=still, args=(0.5,)).start()
        with pytest.raises(WorkersError, match="does not answer any more"):
            cluster.deal(time.sleep, [0.2] * 100)
        with pytest.raises(WorkersError, match="does not answer any more"):
            cluster.each(times_read, [1, 2], [1, 2])
        machines.scheduler.send_signal(signal.SIGCONT)
        cluster.close()
    finally:
        machines.scheduler.send_signal(signal.SIGCONT)
        machines.stop()


@pytest.mark.parametrize("said", ["soon", "-1", "0", "nan", "inf"])
def test_a_patience_that_is_none_is_refused(
    said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PATIENCE_VARIABLE, said)
    with pytest.raises(SettingsError, match="is no number of seconds"):
        clusters.patience()


def test_a_fault_in_a_question_reaches_us_as_itself(
    corpora: tuple[Path, Path], cluster: Cluster
) -> None:
    with Corpus.open(corpora[1]) as corpus:
        shards = Shards(cluster, places_of(corpus))
        with pytest.raises(ZeroDivisionError):
            shards.each(divided, [1, 0, 2])
        with pytest.raises(MelodexError, match="nothing is asked for"):
            gather(corpus, Wish(), shards=shards)
        assert len(shards.each(divided, [1, 2, 4])) == 3


def divided(chunks: Any, number: int) -> float:
    return len(chunks) / number
