"""A folder of shards changed like a file: the same rows, whoever is stopped half-way.

One file that is changed in the same way is the check: joined to one file, the shards hold
its rows, and they give the bytes of its answers.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sqlite3
import time
import zlib
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.shards import opening, pending
from melodex.corpus.shards.index import INDEX_NAME, PENDING_NAME, RUN_NAME, read_index
from melodex.corpus.shards.pending import carry_out
from melodex.corpus.writing import remarks, taken_out
from melodex.corpus.writing.holding import turns
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import BusyCorpusError, CorpusError
from melodex.reading import Choice
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.refresh import differences, refresh
from melodex.tasks.collection.holdings import remove_from, remove_tunes, tag_tunes
from melodex.tasks.collection.remarks import take_off, write_remark
from melodex.tasks.collection.shards import join, list_shards, split
from melodex.tasks.collection.undo import undo, what_was_done
from melodex.tasks.demo import tunes_folder
from melodex.tasks.lesson.sets import new_lesson, remove_lesson

NOON = datetime(2026, 11, 29, 12, 0, 0, tzinfo=UTC)
"""When all changes are made: rows say when."""

ALL = Choice(lines="all")
SCALE = "CDEFGABc"


class Noon(datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
        return NOON


@pytest.fixture(autouse=True)
def noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remarks, "datetime", Noon)
    monkeypatch.setattr(taken_out, "now", lambda: NOON.replace(tzinfo=None))


def voice(seed: object) -> str:
    dice = random.Random(str(seed))
    bars = [" ".join(dice.choice(SCALE) for _ in range(4)) for _ in range(4)]
    return " | ".join(bars) + " |]"


def tune(number: int, title: str, *voices: object) -> str:
    """A tune of some voices, each drawn from a seed: one seed and title is one line."""
    head = f"X:{number}\nT:{title}\nM:4/4\nL:1/4\n"
    if len(voices) == 1:
        return f"{head}K:C\n{voice(voices[0])}\n"
    lines = "".join(f"V:{n}\n{voice(seed)}\n" for n, seed in enumerate(voices, start=1))
    return f"{head}K:C\n{lines}"


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row but the packed notes, and settings without their numbers."""
    with closing(sqlite3.connect(path)) as connection:
        tables = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table'"
            )
            if not row[0].startswith("tune_words_fts") and row[0] != "chunk"
        ]
        found = {
            table: sorted(connection.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in tables
        }
    found["setting"] = sorted(row[1:3] for row in found["setting"])
    return found


def packed(path: Path) -> dict[str, object]:
    """What is packed of each tune, by its id; which stand in one chunk is the check's."""
    from melodex.corpus.packing import unpack

    with Corpus.open(path) as corpus:
        return {
            each.tune_id: (each.pitch, each.length_class)
            for chunk in corpus.chunks()
            for each in unpack(chunk)
        }


class Pair:
    """One file and a folder of shards that hold the same."""

    def __init__(self, folder: Path, count: int) -> None:
        self.folder = folder
        self.one = folder / "one.melodex"
        self.many = folder / "many"
        self.count = count
        self.files = folder / "files"
        self.files.mkdir(parents=True)

    def file(self, name: str, *tunes: str) -> Path:
        path = self.files / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("\n".join(tunes), encoding="utf-8")
        return path

    def both(self, change: Callable[[Path], Any]) -> Any:
        """Change both; what they say of it is the same."""
        first, second = change(self.one), change(self.many)
        for told in (first, second):
            assert repr(told).count("melodex.errors") == 0
        assert plain(second) == plain(first)
        self.compare()
        return first

    def add(self, *paths: Path) -> None:
        self.both(lambda corpus: add_paths(corpus, paths, choice=ALL))

    def compare(self) -> None:
        """That both hold the same rows and notes, and that every shard is sound."""
        assert not list_shards(self.many).faults
        joined = self.folder / "joined.melodex"
        join(self.many, joined, replace=True)
        assert rows_of(joined) == rows_of(self.one)
        assert packed(self.many) == packed(self.one)
        for state in list_shards(self.many).states:
            assert not check_corpus(self.many / state.shard.file).faults
        # Adding that an error ended may be gone on with.
        found = {each.name for each in self.many.iterdir()} - {RUN_NAME}
        shards = {state.shard.file for state in list_shards(self.many).states}
        assert found == {*shards, INDEX_NAME}


def plain(told: Any) -> str:
    """A result without the place of its corpus."""
    return repr(told)


@pytest.fixture(params=[3])
def pair(request: pytest.FixtureRequest, tmp_path: Path) -> Pair:
    made = Pair(tmp_path, request.param)
    first = made.file("a.abc", *(tune(n, f"Tune {n}", n) for n in range(1, 7)))
    add_paths(made.one, [first, made.file("s.abc", tune(1, "Both", "x", "y"))], choice=ALL)
    split(made.one, made.many, made.count)
    return made


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Pair]:
    """Gives a pair of so many tunes in so many shards, made once and copied."""

    @cache
    def made(tunes: int, count: int) -> Pair:
        first = Pair(tmp_path_factory.mktemp("begun"), count)
        names = [tune(n, f"Tune {n}", n) for n in range(1, tunes + 1)]
        add_paths(first.one, [first.file("a.abc", *names)], choice=ALL)
        split(first.one, first.many, count)
        return first

    def copied(folder: Path, tunes: int, count: int) -> Pair:
        first, pair = made(tunes, count), Pair(folder, count)
        shutil.copyfile(first.one, pair.one)
        shutil.copytree(first.many, pair.many)
        return pair

    return copied


def ids_of(corpus: Path, title: str) -> list[str]:
    with Corpus.open(corpus) as opened:
        rows = opened.query("SELECT tune_id FROM tune WHERE title = ?", [title])
    return sorted(row[0] for row in rows)


def test_files_added_replaced_and_taken_out_again(pair: Pair) -> None:
    pair.add(pair.file("b.abc", *(tune(n, f"More {n}", f"m{n}") for n in range(1, 30))))
    # Another tune at the place of one, and two that change places.
    new = [tune(1, "Tune 2", 2), tune(2, "Tune 1", 1), tune(3, "Instead", "other")]
    pair.both(lambda corpus: tag_tunes(corpus, "mine", ["Tune 3"]))
    pair.both(lambda corpus: write_remark(corpus, "Tune 3", "heard at noon"))
    pair.add(pair.file("a.abc", *new))
    pair.both(lambda corpus: remove_tunes(corpus, ["Instead", "More 4"]))
    pair.both(lambda corpus: remove_from(corpus, source=str(pair.files / "b.abc")))
    pair.both(undo)
    pair.both(lambda corpus: [undo(corpus), undo(corpus)])
    with Corpus.open(pair.many) as many, Corpus.open(pair.one) as one:
        assert what_was_done(many) == what_was_done(one)


def test_lines_of_pieces_that_come_to_hang_together(pair: Pair) -> None:
    """A line that two pieces share brings them into one shard, wherever they stood."""
    apart = [
        pair.file(f"p{n}.abc", tune(1, "Chain", f"c{n}", f"c{n + 10}")) for n in range(6)
    ]
    pair.add(*apart)
    for some in ((0, 1, 2), (3, 4)):
        shared = [tune(1, "Chain", f"c{n}", f"c{n + 1}", f"own {n}") for n in some]
        pair.add(
            *(pair.file(f"q{n}.abc", each) for n, each in zip(some, shared, strict=True))
        )
    lined = ids_of(pair.many, "Chain")
    holding = [
        state.number
        for state in list_shards(pair.many).states
        if set(lined) & set(ids_of(pair.many / state.shard.file, "Chain"))
    ]
    assert (len(lined), len(holding)) == (17, 1)
    pair.both(lambda corpus: remove_from(corpus, source=str(pair.files / "q2.abc")))
    pair.both(undo)
    pair.both(lambda corpus: remove_tunes(corpus, lined[:1]))
    pair.both(undo)


def test_a_kept_source_that_several_shards_need(pair: Pair) -> None:
    """Lines of one sheet may stand apart; what it was read from is kept for each."""
    files = sorted(each for each in tunes_folder().rglob("*") if each.suffix == ".musicxml")
    pair.add(*files)
    pair.both(lambda corpus: remove_from(corpus, source=str(files[0])))
    pair.both(undo)
    pair.both(lambda corpus: remove_from(corpus, source=str(files[0].parent)))


def test_folders_read_again(pair: Pair) -> None:
    pair.file("deep/c.abc", *(tune(n, f"Deep {n}", f"d{n}") for n in range(1, 5)))
    pair.file("deep/d.abc", tune(1, "Moving", "moving"))
    folder = pair.files / "deep"
    pair.both(lambda corpus: add_paths(corpus, [folder], choice=ALL))
    pair.file("deep/c.abc", tune(1, "Deep 1", "d1"), tune(2, "Deep 2", "changed"))
    (folder / "d.abc").rename(folder / "e.abc")

    def in_step(corpus: Path) -> Any:
        return refresh(corpus, differences(corpus), remove_gone=True)

    pair.both(in_step)
    assert differences(pair.many).is_in_step


def test_sets_and_remarks(pair: Pair) -> None:
    pair.both(lambda corpus: new_lesson(corpus, "Thursday"))
    pair.both(lambda corpus: write_remark(corpus, "Tune 1", "one", bars="1-2"))
    told = pair.both(lambda corpus: write_remark(corpus, "Tune 4", "two"))
    pair.both(lambda corpus: write_remark(corpus, "Tune 5", "three", kind="source"))
    pair.both(lambda corpus: take_off(corpus, told.remarks[0].number))
    pair.both(undo)
    pair.both(lambda corpus: remove_lesson(corpus, "Thursday"))
    pair.both(undo)


@pytest.mark.parametrize("seed", range(3))
def test_whatever_is_done_in_whatever_order(seed: int, tmp_path: Path) -> None:
    dice = random.Random(seed)
    pair = Pair(tmp_path, dice.choice((2, 3, 5)))
    add_paths(pair.one, [pair.file("0.abc", tune(1, "First", "first"))], choice=ALL)
    split(pair.one, pair.many, pair.count)

    def drawn() -> list[str]:
        seeds = [[dice.randrange(9) for _ in range(dice.choice((1, 1, 2, 3)))]]
        seeds += [[dice.randrange(9)] for _ in range(dice.randrange(4))]
        return [tune(n, "Drawn", *own) for n, own in enumerate(seeds, start=1)]

    for _ in range(10):
        name = f"{dice.randrange(5)}.abc"
        with Corpus.open(pair.one) as corpus:
            ids = sorted(row[0] for row in corpus.query("SELECT tune_id FROM tune"))
            done = what_was_done(corpus)
        some = dice.sample(ids, min(len(ids), dice.randrange(1, 4)))
        number = dice.choice(done).number if done else None
        what = dice.choice(("add", "add", "add", "remove", "drop", "undo", "tag", "write"))
        deeds: dict[str, Callable[[Path], Any]] = {
            "remove": partial(remove_tunes, names=some),
            "drop": partial(remove_from, source=str(pair.files / name)),
            "undo": partial(undo, number=number),
            "tag": partial(tag_tunes, name="drawn", tunes=some),
            "write": partial(write_remark, name=some[0] if some else "", text="said"),
        }
        if what == "add" or not ids or (what == "undo" and not done):
            pair.add(pair.file(name, *drawn()))
            continue
        try:
            pair.both(deeds[what])
        except CorpusError:
            # Nothing may be there to drop; were it so in one of both, they would differ.
            if what != "drop":
                raise
            pair.compare()
    split(pair.one, tmp_path / "anew", pair.count)
    assert packed(tmp_path / "anew") == packed(pair.many)


# Stopped half-way


STEPS = ("before it is made", "made", "one shard", "all shards", "index")


def killed_at(step: str, folder: Path, files: list[Path]) -> None:
    """Add files in a process that is killed at a step of the change."""
    child = os.fork()
    if child:
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == -signal.SIGKILL, step
        return

    def die(*_: Any, **__: Any) -> Any:
        os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(10)

    carried, unlink = carry_out, Path.unlink

    def one_shard(self: turns.SharedTurn) -> None:
        self.parts[-1].connection.execute("COMMIT")
        die()

    def all_shards(*asked: Any) -> Any:
        # Asked at the beginning too, when nothing is written down yet.
        return die() if len(asked) > 2 else carried(*asked)

    def after_the_index(self: Path, missing_ok: bool = False) -> None:
        if self.name == PENDING_NAME:
            die()
        unlink(self, missing_ok)

    patch = pytest.MonkeyPatch()
    places: dict[str, tuple[object, str, Callable[..., Any]]] = {
        "before it is made": (pending.PendingChange, "seal", die),
        "made": (turns.SharedTurn, "finish", die),
        "one shard": (turns.SharedTurn, "finish", one_shard),
        "all shards": (turns, "carry_out", all_shards),
        "index": (Path, "unlink", after_the_index),
    }
    patch.setattr(*places[step])
    add_paths(folder, files, choice=ALL)
    os._exit(0)


@pytest.mark.parametrize("opener", ["reader", "writer", "list"])
@pytest.mark.parametrize("step", STEPS)
def test_a_change_that_was_killed_is_made_whole_or_not_at_all(
    step: str, opener: str, begun: Callable[..., Pair], tmp_path: Path
) -> None:
    pair = begun(tmp_path, 6, 3)
    more = pair.file("b.abc", *(tune(n, f"More {n}", f"m{n}") for n in range(1, 9)))
    killed_at(step, pair.many, [more])
    assert (pair.many / PENDING_NAME).exists() == (step != "before it is made")
    if opener == "reader":
        Corpus.open(pair.many).close()
    elif opener == "writer":
        CorpusWriter.open(pair.many).close()
    else:
        assert not list_shards(pair.many).faults
    assert not (pair.many / PENDING_NAME).exists()
    if step != "before it is made":
        add_paths(pair.one, [more], choice=ALL)
    assert read_index(pair.many).change == (step != "before it is made")
    # What was killed before left a part, which the next that writes takes away.
    again = pair.file("c.abc", tune(1, "Last", "last"))
    pair.add(again)


def test_a_shard_that_was_exchanged_before_a_change_is_carried_out_is_named(
    tmp_path: Path,
) -> None:
    pair = Pair(tmp_path, 2)
    add_paths(pair.one, [pair.file("a.abc", *(tune(n, "A", n) for n in range(1, 9)))])
    split(pair.one, pair.many, 2)
    shutil.copytree(pair.many, tmp_path / "before")
    add_paths(pair.many, [pair.file("b.abc", *(tune(n, "B", -n) for n in range(1, 9)))])
    killed_at("made", pair.many, [pair.file("c.abc", tune(1, "C", "c"), tune(2, "D", "d"))])
    for number in (1, 2):
        name = f"shard-{number}-of-2.melodex"
        shutil.copy(tmp_path / "before" / name, pair.many / name)
        for left in ("-wal", "-shm"):
            Path(f"{pair.many / name}{left}").unlink(missing_ok=True)
    with pytest.raises(CorpusError, match="does not hold what the index says"):
        opened_soon(pair.many)


def opened_soon(folder: Path) -> None:
    """Open a folder without waiting for a writer that is none."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "WAIT_SECONDS", 0.0)
        Corpus.open(folder).close()


LIES: dict[str, bytes] = {
    "nothing": b"",
    "no zlib": b"{}",
    "cut off": zlib.compress(b'["set", 1]\n' * 1000)[:20],
    "no JSON": zlib.compress(b"[\n"),
    "another set": zlib.compress(b'["another", 1]\n'),
    "no shard": zlib.compress(b'["SET", 1]\n[9, "DELETE FROM tune", []]\n'),
    "a shard that is none": zlib.compress(b'["SET", 1]\n["x", "DELETE FROM tune", []]\n'),
    "no statement": zlib.compress(b'["SET", 1]\n[1, "DELETE FROM", []]\n'),
    "another file": zlib.compress(b'["SET", 1]\n[1, "ATTACH \'OUTSIDE\' AS other", []]\n'),
    "a table that goes": zlib.compress(b'["SET", 1]\n[1, "DROP TABLE tune", []]\n'),
    "a setting of SQLite": zlib.compress(
        b'["SET", 1]\n[1, "PRAGMA user_version = 99", []]\n'
    ),
    "brackets": zlib.compress(b'["SET", 1]\n' + b"[" * 200_000 + b"\n"),
}


@pytest.mark.parametrize("lie", sorted(LIES))
def test_a_pending_change_that_lies_is_refused_and_does_nothing(
    lie: str, begun: Callable[..., Pair], tmp_path: Path
) -> None:
    pair = begun(tmp_path, 1, 2)
    before = [(pair.many / f"shard-{n}-of-2.melodex").read_bytes() for n in (1, 2)]
    content = LIES[lie]
    if content.startswith(b"x"):
        with suppress(zlib.error):
            told = zlib.decompress(content)
            told = told.replace(b"SET", read_index(pair.many).shard_set.encode())
            told = told.replace(b"OUTSIDE", str(tmp_path / "outside").encode())
            content = zlib.compress(told)
    (pair.many / PENDING_NAME).write_bytes(content)
    with pytest.raises(CorpusError, match="cannot be carried out") as caught:
        opened_soon(pair.many)
    assert str(caught.value).isprintable()
    assert str(caught.value).count("half-way") == 1
    assert [(pair.many / f"shard-{n}-of-2.melodex").read_bytes() for n in (1, 2)] == before
    assert not (tmp_path / "outside").exists()


def test_who_reads_sees_the_corpus_before_or_after_a_change(tmp_path: Path) -> None:
    """While a process adds file after file, every look sees whole files, in order."""
    pair = Pair(tmp_path, 3)
    add_paths(pair.one, [pair.file("0.abc", *(tune(n, "T0", n) for n in range(1, 10)))])
    split(pair.one, pair.many, 3)
    files = [
        pair.file(f"{f}.abc", *(tune(n, f"T{f}", f"{f} {n}") for n in range(1, 10)))
        for f in range(1, 25)
    ]
    child = os.fork()
    if not child:
        with suppress(BaseException):
            for file in files:
                add_paths(pair.many, [file])
            os._exit(0)
        os._exit(1)
    seen: set[int] = set()
    while not os.waitpid(child, os.WNOHANG)[0]:
        with Corpus.open(pair.many) as corpus:
            seen.add(corpus.tune_count)
            corpus.refresh()
            seen.add(corpus.tune_count)
    with Corpus.open(pair.many) as corpus:
        seen.add(corpus.tune_count)
    assert all(count % 9 == 0 for count in seen), seen
    assert max(seen) == 225
    assert len(seen) > 2


def test_two_that_add_take_turns(tmp_path: Path) -> None:
    pair = Pair(tmp_path, 3)
    add_paths(pair.one, [pair.file("0.abc", tune(1, "T0", 0))])
    split(pair.one, pair.many, 3)
    children = []
    for who in "ab":
        child = os.fork()
        if not child:
            with suppress(BaseException):
                for f in range(8):
                    file = pair.file(f"{who}{f}.abc", tune(1, f"T{who}{f}", who, f))
                    add_paths(pair.many, [file], choice=ALL)
                os._exit(0)
            os._exit(1)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
    with Corpus.open(pair.many) as corpus:
        assert corpus.tune_count == 17
    assert not list_shards(pair.many).faults
    assert read_index(pair.many).change == 16


def test_a_writer_that_waits_too_long_says_so(
    begun: Callable[..., Pair], tmp_path: Path
) -> None:
    pair = begun(tmp_path, 1, 2)
    with (
        CorpusWriter.open(pair.many) as one,
        CorpusWriter.open(pair.many, wait_seconds=0.1) as other,
    ):
        with one.transaction(), pytest.raises(BusyCorpusError), other.transaction():
            pass
        with other.transaction():
            pass


def test_a_full_disk_leaves_the_corpus_as_it_was(
    begun: Callable[..., Pair], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pair = begun(tmp_path, 1, 2)

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CorpusError, match="No space left on device"):
        add_paths(pair.many, [pair.file("1.abc", tune(1, "T1", 1))])
    monkeypatch.undo()
    pair.compare()


# By every door


def test_a_shard_is_not_changed_by_itself(pair: Pair) -> None:
    name = f"shard-1-of-{pair.count}.melodex"
    words = ["--corpus", str(pair.many / name), "add", str(tunes_folder())]
    done = CliRunner().invoke(melodex, words)
    assert (done.exit_code, "is a shard of a corpus" in done.output) == (1, True)
    pair.compare()


COMMANDS: tuple[tuple[str, ...], ...] = (
    ("add", str(tunes_folder())),
    ("collection", "tag", "mine", "Marl Pit Hornpipe"),
    ("remark", "Marl Pit Hornpipe", "heard", "--bars", "1-2"),
    ("lesson", "new", "Thursday"),
    ("lesson", "keep", "Thursday", "Marl Pit Hornpipe", "--bars", "1-2"),
    ("remove", "Marl Pit Hornpipe"),
    ("undo", "1"),
    ("lesson", "delete", "Thursday"),
    ("undo", "2"),
    ("refresh",),
)


@pytest.mark.parametrize("count", [1, 5])
def test_every_command_says_what_it_says_of_one_file(count: int, tmp_path: Path) -> None:
    pair = Pair(tmp_path, count)
    add_paths(pair.one, [pair.file("0.abc", tune(1, "T0", 0))])
    split(pair.one, pair.many, count)
    for words in COMMANDS:
        told = []
        for path in (pair.one, pair.many):
            done = CliRunner().invoke(melodex, ["--corpus", str(path), *words])
            told.append((done.exit_code, done.output.replace(str(path), "CORPUS")))
        assert told[0] == told[1], words
        assert told[0][0] == 0, told
    pair.compare()


def test_python_changes_a_folder(pair: Pair) -> None:
    for path in (pair.one, pair.many):
        corpus = scripting.open(path)
        corpus.add(tunes_folder())
        corpus.new_lesson("Thursday").keep("Marl Pit Hornpipe", bars="1-4")
    pair.compare()


def test_every_change_is_in_the_index(pair: Pair) -> None:
    seen = [read_index(pair.many).change]
    tag_tunes(pair.many, "mine", ["Tune 1"])
    seen.append(read_index(pair.many).change)
    tag_tunes(pair.many, "mine", ["Tune 1"])
    seen.append(read_index(pair.many).change)
    assert seen == [0, 1, 1]
    told = json.loads((pair.many / INDEX_NAME).read_text("utf-8"))
    assert max(shard["change"] for shard in told["shards"]) == told["change"] == 1


def test_an_older_copy_of_a_shard_is_named(pair: Pair, tmp_path: Path) -> None:
    """A tag changes no notes: the number of the change tells the copies apart."""
    shutil.copytree(pair.many, tmp_path / "before")
    tag_tunes(pair.many, "mine", ["Tune 1"])
    index = read_index(pair.many)
    (touched,) = [shard.file for shard in index.shards if shard.change == 1]
    shutil.copy(tmp_path / "before" / touched, pair.many / touched)
    with pytest.raises(CorpusError, match="is of another time than the index"):
        Corpus.open(pair.many)
