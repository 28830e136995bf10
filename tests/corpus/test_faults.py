"""Faults: kills, full disks, locks, odd places, files that are no corpus."""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import sqlite3
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus import schema
from melodex.corpus.care import migrations
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.holding import journal
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import (
    BusyCorpusError,
    CorpusError,
    DamagedCorpusError,
    MelodexError,
    NewerCorpusError,
)
from melodex.tasks.adding.add import add_paths

KILLS = 20
NOBODY = 65534


def ids(path: Path) -> set[str]:
    with Corpus.open(path) as corpus:
        return {row.tune_id for row in corpus.tunes()}


def forked(work) -> tuple[int, int]:
    """Run work in a child that tells what it does through a pipe."""
    reading_end, writing_end = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading_end)
            work(lambda line: os.write(writing_end, f"{line}\n".encode()))
        finally:
            os._exit(0)
    os.close(writing_end)
    return child, reading_end


def killed_after(child: int, pipe: int, seconds: float) -> list[str]:
    """Kill a child after a while; return what it had told."""
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(pipe) as told:
        return told.read().split("\n")[:-1]


def test_a_killed_import_leaves_a_whole_corpus_with_every_tune_that_it_reported(
    corpus_path, reading, melody
):
    draw = random.Random(11)
    reported: set[str] = set()
    next_number = 0
    span = 0.12

    for _ in range(KILLS):
        # A machine with much to do may not have come to the first tune by then.
        span *= 1 if reported else 1.5

        def add(tell, first=next_number):
            with CorpusWriter.open(corpus_path) as writer:
                for at in range(first, first + 600, 3):
                    report = writer.add_reading(reading(f"k/{at}.abc", range(at, at + 3)))
                    tell(" ".join((str(at + 3), *report.added, *report.unchanged)))

        child, pipe = forked(add)
        for line in killed_after(child, pipe, draw.uniform(0.005, span)):
            at, *found = line.split()
            next_number = int(at)
            reported.update(found)
        if not corpus_path.exists():
            assert not reported
            continue
        try:
            held = ids(corpus_path)
        except CorpusError as error:
            held = set() if "empty" in error.what else {str(error)}
            assert held == reported
            continue
        # One file may have been written and not yet reported, and only as a whole.
        unreported = held - reported
        assert reported <= held
        one_more = {melody(next_number + n).content_id() for n in range(3)}
        assert unreported in (set(), one_more - reported)
        assert check_corpus(corpus_path).faults == ()
        reported |= unreported
    assert len(reported) > KILLS


def test_a_killed_removal_has_removed_all_or_nothing(filled, melody):
    draw = random.Random(5)
    wanted = [melody(number).content_id() for number in range(1, 7)]
    outcomes = set()
    for _ in range(8):

        def remove(tell):
            with CorpusWriter.open(filled) as writer:
                writer.remove(wanted)

        child, pipe = forked(remove)
        killed_after(child, pipe, draw.uniform(0.0, 0.03))
        left = len(ids(filled))
        assert left in {6, 12}
        assert check_corpus(filled).faults == ()
        outcomes.add(left)
        if left == 6:
            break
    assert outcomes


def test_a_killed_backup_leaves_no_file_under_its_name_and_the_corpus_whole(
    filled, tmp_path
):
    target = tmp_path / "copy.melodex"
    draw = random.Random(3)
    for _ in range(8):
        child, pipe = forked(lambda tell: copy_corpus(filled, target))
        killed_after(child, pipe, draw.uniform(0.0, 0.02))
        if target.exists():
            assert check_corpus(target).faults == ()
            target.unlink()
    assert check_corpus(filled).faults == ()


def test_two_writers_at_once_lose_nothing_and_readers_see_whole_files(corpus_path, reading):
    CorpusWriter.open(corpus_path).close()

    def adding(first):
        def add(tell):
            with CorpusWriter.open(corpus_path) as writer:
                for at in range(first, first + 60, 5):
                    writer.add_reading(reading(f"two/{at}.abc", range(at, at + 5)))
                    tell("done")

        return add

    children = [forked(adding(first)) for first in (0, 1000)]
    seen: list[Any] = []
    finished: set[Any] = set()
    deadline = time.monotonic() + 60
    while len(finished) < 2 and time.monotonic() < deadline:
        with Corpus.open(corpus_path) as corpus:
            rows = corpus.tunes()
            packed = sum(chunk.tune_count for chunk in corpus.chunks())
            assert corpus.tune_count == len(rows) == packed
            assert len(corpus.melodies(row.tune_id for row in rows)) == len(rows)
        assert len(rows) % 5 == 0
        seen.append(len(rows))
        finished |= {
            c for c, _ in children if c not in finished and os.waitpid(c, os.WNOHANG)[0]
        }
    for _, pipe in children:
        with os.fdopen(pipe) as told:
            assert told.read().split() == ["done"] * 12
    assert seen == sorted(seen)
    assert len(ids(corpus_path)) == 120
    assert check_corpus(corpus_path).faults == ()


def test_a_backup_made_while_somebody_writes_is_one_state_of_the_corpus(
    corpus_path, reading, tmp_path
):
    CorpusWriter.open(corpus_path).close()

    def add(tell):
        with CorpusWriter.open(corpus_path) as writer:
            for at in range(0, 100, 5):
                writer.add_reading(reading(f"b/{at}.abc", range(at, at + 5)))

    child, pipe = forked(add)
    for number in range(4):
        target = tmp_path / f"copy-{number}.melodex"
        copy_corpus(corpus_path, target)
        report = check_corpus(target)
        assert report.faults == ()
        assert report.tune_count % 5 == 0
    os.waitpid(child, 0)
    os.close(pipe)
    assert len(ids(corpus_path)) == 100


def test_at_rest_a_corpus_is_one_file(filled):
    with Corpus.open(filled), CorpusWriter.open(filled):
        pass
    with CorpusWriter.open(filled):
        pass
    with Corpus.open(filled):
        pass
    assert [path.name for path in filled.parent.iterdir()] == [filled.name]


def test_a_reader_keeps_its_state_while_a_writer_goes_on(filled, reading):
    with CorpusWriter.open(filled) as writer, Corpus.open(filled) as corpus:
        writer.add_reading(reading("shelf/new.abc", [50]))
        assert (corpus.tune_count, len(corpus.tunes())) == (12, 12)
        corpus.refresh()
        assert (corpus.tune_count, len(corpus.tunes())) == (13, 13)


def test_a_writer_waits_for_another_and_says_so_and_gives_up_in_time(
    filled, reading, monkeypatch
):
    monkeypatch.setattr(journal, "FIRST_WORD_SECONDS", 0.0)
    told: list[float] = []
    with CorpusWriter.open(filled) as first:
        second = CorpusWriter.open(filled, wait_seconds=0.5, waiting=told.append)
        with (
            first.transaction(),
            pytest.raises(BusyCorpusError, match="another process has held the corpus"),
        ):
            second.add_reading(reading("shelf/new.abc", [50]))
        second.add_reading(reading("shelf/new.abc", [50]))
        second.close()
    assert len(told) == 1
    assert len(ids(filled)) == 13


def test_a_writer_goes_on_as_soon_as_the_other_has_finished(filled, reading):
    with CorpusWriter.open(filled) as first, CorpusWriter.open(filled) as second:
        ready, release = threading.Event(), threading.Event()

        def hold() -> None:
            connection = sqlite3.connect(filled, isolation_level=None)
            connection.execute("BEGIN IMMEDIATE")
            ready.set()
            release.wait(10)
            connection.execute("ROLLBACK")
            connection.close()

        thread = threading.Thread(target=hold)
        thread.start()
        ready.wait(10)
        threading.Timer(0.2, release.set).start()
        second.add_reading(reading("shelf/new.abc", [50]))
        thread.join()
        first.add_reading(reading("shelf/newer.abc", [51]))
    assert len(ids(filled)) == 14


def test_a_full_disk_is_said_and_what_was_there_stays(filled, reading):
    with CorpusWriter.open(filled) as writer:
        pages = writer.first.connection.execute("PRAGMA page_count").fetchone()[0]
        writer.first.connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(CorpusError, match="the disk is full"):
            writer.add_reading(reading("shelf/many.abc", range(100, 200)))
        assert len(ids(filled)) == 12
        writer.first.connection.execute(f"PRAGMA max_page_count = {pages + 2000}")
        writer.add_reading(reading("shelf/many.abc", range(100, 200)))
    assert check_corpus(filled).faults == ()
    assert len(ids(filled)) == 112


def as_nobody(work) -> str:
    """Run work as a user who owns nothing, where we are the administrator."""

    def run(tell):
        if os.geteuid() == 0:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        try:
            tell(work())
        except MelodexError as error:
            tell(f"said: {error}")
        except BaseException as error:
            tell(f"raised: {error!r}")

    child, pipe = forked(run)
    os.waitpid(child, 0)
    with os.fdopen(pipe) as told:
        return told.read()


def read(path: Path):
    def work() -> str:
        return f"{len(ids(path))} tunes"

    return work


def write(path: Path):
    def work() -> str:
        with CorpusWriter.open(path) as writer:
            remove_places(writer, source="shelf/one.abc")
        return "written"

    return work


@pytest.fixture
def public():
    """A folder that another user can walk to.

    It is none of pytest's: every further run of pytest closes the folder above all of
    those to others, while we are at work in it.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


@pytest.fixture
def shared(public, filled):
    """A corpus of twelve tunes in it."""
    return Path(shutil.copy(filled, public))


def test_a_corpus_on_media_that_cannot_be_written_is_read_and_not_written(public, shared):
    shared.chmod(0o444)
    shared.parent.chmod(0o555)
    try:
        assert "12 tunes" in as_nobody(read(shared))
        said = as_nobody(write(shared))
    finally:
        shared.parent.chmod(0o755)
    assert "can be read but not written" in said
    assert "change the permissions" in said
    assert len(ids(shared)) == 12


def test_a_corpus_in_write_ahead_mode_on_such_media_is_read_too(public, shared):
    with closing(sqlite3.connect(shared)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
    shared.chmod(0o444)
    shared.parent.chmod(0o555)
    try:
        assert "12 tunes" in as_nobody(read(shared))
    finally:
        shared.parent.chmod(0o755)


def test_a_corpus_in_a_closed_folder_is_said_to_be_so(public, shared):
    home = public / "closed"
    home.mkdir()
    path = home / "c.melodex"
    path.write_bytes(shared.read_bytes())
    home.chmod(0)
    try:
        said = [
            as_nobody(work)
            for work in (
                read(path),
                write(path),
                lambda: str(check_corpus(path)),
                lambda: str(repair_corpus(path)),
                lambda: str(copy_corpus(shared, home / "copy.melodex")),
                lambda: str(add_paths(path, [home / "a.abc"])),
            )
        ]
        # What is added is remembered with its folder, so the corpus has to be writable.
        shared.parent.chmod(0o777)
        shared.chmod(0o666)
        result = as_nobody(lambda: str(add_paths(shared, [home]).refusals))
    finally:
        home.chmod(0o755)
    # Whichever is otherwise is shown whole.
    assert [text for text in said if not text.startswith("said: ")] == []
    assert all("cannot be" in text or "can be read but" in text for text in said), said
    assert "this folder may not be looked into" in result
    assert ids(path) == ids(shared)


def test_a_name_that_no_file_can_have_is_said_to_be_so(tmp_path, filled):
    for path in (tmp_path / ("a" * 300), filled / "in a file.melodex"):
        for work in (Corpus.open, CorpusWriter.open, check_corpus):
            with pytest.raises(CorpusError, match=r"cannot be|there is no corpus"):
                work(path)


def test_a_file_that_may_not_grow_is_said_and_what_was_there_stays(filled, reading):
    """The system refuses to write beyond a size, as a full quota does (setrlimit)."""
    size = filled.stat().st_size

    def add(tell):
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 8192, size + 8192))
        try:
            with CorpusWriter.open(filled) as writer:
                writer.add_reading(reading("shelf/many.abc", range(100, 400)))
        except CorpusError as error:
            tell(f"said: {error}")

    child, pipe = forked(add)
    os.waitpid(child, 0)
    with os.fdopen(pipe) as told:
        said = told.read()
    assert "disk" in said
    assert "what was in the corpus before is still there" in said
    assert len(ids(filled)) == 12
    assert check_corpus(filled).faults == ()


def test_no_clock_of_the_day_decides_anything(filled, reading, tmp_path, monkeypatch):
    """It may go backwards: the machine's battery, a journey, a second that is leapt."""
    times = iter(range(10**9, 0, -86_400))
    monkeypatch.setattr(time, "time", lambda: float(next(times)))
    os.utime(filled, (0, 0))
    with CorpusWriter.open(filled) as writer:
        added = writer.add_reading(reading("shelf/new.abc", [50, 51]))
        again = writer.add_reading(reading("shelf/new.abc", [50, 51]))
    assert (len(added.added), len(again.added), len(again.unchanged)) == (2, 0, 2)
    os.utime(filled, (2**33, 2**33))
    copy_corpus(filled, tmp_path / "copy.melodex")
    assert ids(tmp_path / "copy.melodex") == ids(filled)
    assert check_corpus(filled).faults == ()


def test_a_corpus_that_may_not_be_opened_is_said_to_be_so(public, shared):
    shared.chmod(0)
    try:
        said = as_nobody(read(shared))
    finally:
        shared.chmod(0o644)
    assert "cannot be opened" in said
    assert "that you may read" in said


@pytest.mark.parametrize(
    "name",
    [
        *("a?b#c.melodex", "per%20cent.melodex", "spa ce & 'quote'.melodex"),
        # As bytes, since the names of files may be read as ASCII.
        *(os.fsdecode(name.encode()) for name in ("größe-曲.melodex", "🎻.melodex")),
        *("-leading", "--corpus", "line\nbreak.melodex"),
        *('"two".melodex', "back\\slash.melodex", ":memory:", "file:x?mode=ro", "~", "*"),
        *("\x1b[31mred.melodex", "a" * 240, os.fsdecode(b"no-utf-8-\xff\xfe.melodex")),
    ],
)
def test_a_corpus_may_have_an_odd_name(tmp_path, reading, name):
    path = tmp_path / "fol der?#%" / name
    with CorpusWriter.open(path) as writer:
        writer.add_reading(reading("a.abc", [1, 2]))
    assert len(ids(path)) == 2
    assert check_corpus(path).faults == ()
    copy_corpus(path, path.with_name(f"copy of {name}"))
    assert [p.name for p in tmp_path.iterdir()] == ["fol der?#%"]


def test_a_name_that_looks_like_an_address_is_a_name(tmp_path, reading, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = Path("file:x?mode=ro.melodex")
    with CorpusWriter.open(path) as writer:
        writer.add_reading(reading("a.abc", [1, 2]))
    copy_corpus(path, Path("file:y?mode=memory"))
    assert check_corpus(path).faults == ()
    repair_corpus(path)
    there = {each.name for each in tmp_path.iterdir()}
    assert {"file:x?mode=ro.melodex", "file:y?mode=memory"} <= there


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "this corpus is empty.*add tunes"),
        (
            b"this is a letter to a friend, not a corpus. " * 40,
            "it is no SQLite file.*name another file",
        ),
        (
            bytes(random.Random(1).randrange(256) for _ in range(4096)),
            "it is no SQLite file",
        ),
    ],
)
def test_a_file_that_is_no_corpus_is_said_to_be_none(tmp_path, content, message):
    path = tmp_path / "other.melodex"
    path.write_bytes(content)
    with pytest.raises(CorpusError, match=message):
        Corpus.open(path)
    assert path.read_bytes() == content


def test_a_missing_corpus_is_said_to_be_missing_and_only_adding_makes_one(tmp_path):
    path = tmp_path / "none.melodex"
    with pytest.raises(CorpusError, match=r"there is no corpus here.*add a folder"):
        Corpus.open(path)
    with pytest.raises(CorpusError, match=r"there is no corpus here.*add a folder"):
        CorpusWriter.open(path, create=False)
    assert not path.exists()


def test_a_folder_under_the_name_of_the_corpus_is_said_to_be_in_the_way(tmp_path):
    for opening in (Corpus.open, CorpusWriter.open):
        with pytest.raises(CorpusError, match="this is a folder"):
            opening(tmp_path)


def test_the_sqlite_file_of_another_program_is_neither_read_nor_written(tmp_path):
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipe (name TEXT)")
    before = path.read_bytes()
    for opening in (Corpus.open, CorpusWriter.open):
        with pytest.raises(CorpusError, match="not a melodex corpus"):
            opening(path)
    assert path.read_bytes() == before


def test_a_corpus_from_the_future_is_refused_with_what_to_do(filled):
    with closing(sqlite3.connect(filled)) as connection:
        connection.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION + 1}")
    before = filled.read_bytes()
    for opening in (Corpus.open, CorpusWriter.open, check_corpus):
        with pytest.raises(NewerCorpusError, match=r"a later version.*update melodex"):
            opening(filled)
    assert filled.read_bytes() == before


def test_a_corpus_cut_short_is_said_to_be_damaged(filled):
    filled.write_bytes(filled.read_bytes()[: 4096 * 3])

    def read_all() -> None:
        with Corpus.open(filled) as corpus:
            corpus.tunes()
            list(corpus.chunks())

    with pytest.raises(DamagedCorpusError, match=r"damaged.*check the corpus"):
        read_all()


@pytest.fixture
def next_schema(monkeypatch):
    """The next version of the schema, with a step that leads to it."""
    steps: dict[int, Any] = {}
    monkeypatch.setattr(migrations, "STEPS", steps)
    first = schema.SCHEMA_VERSION
    monkeypatch.setattr(schema, "SCHEMA_VERSION", first + 1)
    for module in (
        "melodex.corpus.reader",
        "melodex.corpus.writing.store",
        "melodex.corpus.care.checking",
    ):
        monkeypatch.setattr(f"{module}.SCHEMA_VERSION", first + 1)

    def step(connection):
        connection.execute("ALTER TABLE tag ADD COLUMN colour TEXT")

    steps[first] = step
    return steps


@pytest.mark.parametrize("opening", [Corpus.open, CorpusWriter.open])
def test_an_older_corpus_is_brought_up_to_date_with_a_backup_made_first(
    filled, next_schema, opening
):
    before = ids_of_file(filled)
    opening(filled).close()
    backup = filled.with_name(f"{filled.name}.schema-{schema.SCHEMA_VERSION - 1}")
    with closing(sqlite3.connect(filled)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (
            schema.SCHEMA_VERSION,
        )
        assert connection.execute("SELECT colour FROM tag").fetchall() == []
    assert ids_of_file(filled) == ids_of_file(backup) == before
    with closing(sqlite3.connect(backup)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (
            schema.SCHEMA_VERSION - 1,
        )


def ids_of_file(path: Path) -> list[tuple[str]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT tune_id FROM tune ORDER BY 1").fetchall()


def test_a_step_that_fails_leaves_the_older_corpus_as_it_was(filled, next_schema):
    def failing(connection):
        connection.execute("DROP TABLE tag")
        raise RuntimeError("a fault of ours")

    next_schema[schema.SCHEMA_VERSION - 1] = failing
    with pytest.raises(RuntimeError, match="a fault of ours"):
        Corpus.open(filled)
    with closing(sqlite3.connect(filled)) as connection:
        assert connection.execute("SELECT count(*) FROM tag").fetchone() == (0,)
        assert connection.execute("PRAGMA user_version").fetchone() == (
            schema.SCHEMA_VERSION - 1,
        )


def test_a_migration_killed_at_any_moment_leaves_the_old_or_the_new(filled, next_schema):
    quick = next_schema[schema.SCHEMA_VERSION - 1]

    def slow(connection):
        for _ in range(5):
            time.sleep(0.002)
            connection.execute("UPDATE tune SET title = title || '!'")
        quick(connection)

    next_schema[schema.SCHEMA_VERSION - 1] = slow
    draw = random.Random(2)
    for _ in range(6):
        child, pipe = forked(lambda tell: migrations.upgrade(filled))
        killed_after(child, pipe, draw.uniform(0.0, 0.06))
        with closing(sqlite3.connect(filled)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            (version,) = connection.execute("PRAGMA user_version").fetchone()
            titles = {row[0] for row in connection.execute("SELECT title FROM tune")}
        assert {title.endswith("!!!!!") for title in titles} == {
            version == schema.SCHEMA_VERSION
        }
        assert {"!" in title for title in titles} == {version == schema.SCHEMA_VERSION}


def test_backups_of_migrations_never_overwrite_each_other(tmp_path):
    path = tmp_path / "a.melodex"
    first = migrations.backup_path(path, 1)
    first.touch()
    assert migrations.backup_path(path, 1) != first


def test_a_backup_overwrites_nothing_unless_told_to(filled, tmp_path, reading):
    target = tmp_path / "copy.melodex"
    target.write_text("my letters")
    with pytest.raises(CorpusError, match=r"there is a file already.*to be replaced"):
        copy_corpus(filled, target)
    assert target.read_text() == "my letters"
    copy_corpus(filled, target, replace=True)
    assert ids(target) == ids(filled)
    with pytest.raises(CorpusError, match="this is the corpus itself"):
        copy_corpus(filled, filled, replace=True)
    with pytest.raises(CorpusError, match=r"cannot be written.*folder is there"):
        copy_corpus(filled, tmp_path / "no" / "copy.melodex")
    assert {p.name for p in tmp_path.iterdir()} == {filled.name, target.name}


def test_no_fault_of_sqlite_reaches_a_person_as_such(filled):
    """Each damaged file is told in our words or read all the same."""
    data = filled.read_bytes()
    draw = random.Random(8)
    told = 0
    for _ in range(80):
        damaged = bytearray(data)
        for _ in range(40):
            damaged[draw.randrange(100, len(data))] = draw.randrange(256)
        filled.write_bytes(damaged)
        try:
            with Corpus.open(filled) as corpus:
                rows = corpus.tunes()
                corpus.melodies(row.tune_id for row in rows)
                list(corpus.chunks())
        except MelodexError:
            told += 1
    assert told
