"""Ids of 64 bits in the place of those of 48: in a file and in a folder of shards.

``versions/shards-of-schema-4.tar.gz`` holds one corpus twice, as one file and in three
shards, as that version wrote it: everything in it that names a tune has 12 digits.
"""

from __future__ import annotations

import io
import json
import random
import sqlite3
import tarfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.care import migrations
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.migrations import upgrade
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.chunks import ID_BYTES
from melodex.corpus.lessons import example_rows, find_lesson
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import row_crc32
from melodex.corpus.schema import CHECKED_COLUMNS, SCHEMA_VERSION
from melodex.corpus.shards.index import read_index
from melodex.corpus.tunes.particulars import remarks_of
from melodex.corpus.writing.putting_back import put_back
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, UnknownTuneError
from melodex.melody.tune_id import (
    content_id_of,
    is_beginning,
    is_whole,
    leading,
    lengthened,
)
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection.shards import join
from melodex.tasks.collection.upkeep import check
from melodex.tasks.demo import tunes_folder
from melodex.tasks.lesson.file import unpack_file
from melodex.tasks.lesson.sets import open_lesson
from tests.corpus.conftest import opened_by_two_of_which_one_is_killed

KEPT = Path(__file__).parent / "versions" / "shards-of-schema-4.tar.gz"

GONE = "f6477a535550"
"""Of the tune of which nothing is left: its passage still names it."""


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """The file and the folder of schema 4, in a folder."""
    unpack(tmp_path)
    return tmp_path


def unpack(folder: Path) -> None:
    """Put what is kept of schema 4 into a folder."""
    # Python 3.11.4 brought the filters, and later ones ask for one.
    said: dict[str, Any] = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
    with tarfile.open(KEPT) as archive:
        archive.extractall(folder, **said)


def at_rest(path: Path) -> list[Path]:
    """The files that make up a corpus."""
    return sorted(path.glob("*.melodex")) if path.is_dir() else [path]


def names_in(path: Path) -> Iterator[tuple[str, str]]:
    """Everything in a corpus that names a tune, with where it stands."""
    for file in at_rest(path):
        with closing(sqlite3.connect(file)) as connection:
            for table, column in (
                ("tune", "tune_id"),
                ("place", "piece"),
                ("lesson_example", "tune_id"),
            ):
                for (name,) in connection.execute(f"SELECT {column} FROM {table}"):
                    yield table, name
            for (ids,) in connection.execute("SELECT tune_ids FROM chunk"):
                for at in range(0, len(ids), ID_BYTES):
                    yield "chunk", ids[at : at + ID_BYTES].hex()
            rows = connection.execute(
                "SELECT kind, name, content FROM taken_out WHERE kind <> 'source'"
            )
            for kind, name, content in rows:
                if kind != "set":
                    yield f"taken out: {kind}", name
                told = json.loads(zlib.decompress(content))
                for each in told.get("examples", [told]):
                    for column in {"tune_id", "piece"} & each.keys():
                        yield f"taken out: {kind}, inside", each[column]


def sums_of(path: Path) -> list[str]:
    """Rows whose checksum does not hold."""
    found = []
    for file in at_rest(path):
        with closing(sqlite3.connect(file)) as connection:
            for table, names in CHECKED_COLUMNS.items():
                columns = ", ".join((*names, "row_crc32"))
                for row in connection.execute(f"SELECT {columns} FROM {table}"):
                    if row_crc32(row[:-1]) != row[-1]:
                        found.append(f"{table} {row[0]}")
    return found


@pytest.mark.parametrize("name", ["kept.melodex", "shards"])
@pytest.mark.parametrize("opening", [Corpus.open, CorpusWriter.open])
def test_everything_that_names_a_tune_has_its_longer_id(
    earlier: Path, name: str, opening: Callable[[Path], Any]
) -> None:
    opening(earlier / name).close()
    found = list(names_in(earlier / name))
    assert {where for where, _ in found} == {
        "tune",
        "place",
        "chunk",
        "lesson_example",
        "taken out: set, inside",
        "taken out: remark",
        "taken out: tune",
        "taken out: place",
        "taken out: place, inside",
    }
    assert {named for _, named in found if not is_whole(named)} == {GONE}
    for file in at_rest(earlier / name):
        with closing(sqlite3.connect(file)) as connection:
            for tune_id, text in connection.execute("SELECT tune_id, melody FROM tune"):
                assert tune_id == content_id_of(text)
            rows = connection.execute(
                "SELECT name, content FROM taken_out WHERE kind = 'tune'"
            )
            for tune_id, content in rows:
                assert tune_id == content_id_of(
                    json.loads(zlib.decompress(content))["melody"]
                )
    assert not sums_of(earlier / name)
    assert not check(earlier / name).report.faults


def test_the_file_and_the_folder_say_the_same_names(earlier: Path) -> None:
    Corpus.open(earlier / "kept.melodex").close()
    Corpus.open(earlier / "shards").close()
    names = [sorted(names_in(earlier / name)) for name in ("kept.melodex", "shards")]
    assert names[0] == names[1]
    assert len(names[0]) > 30


@pytest.mark.parametrize("name", ["kept.melodex", "shards"])
def test_what_was_taken_out_before_comes_back(earlier: Path, name: str) -> None:
    path = earlier / name
    with Corpus.open(path) as corpus:
        changes = corpus.query(
            "SELECT id FROM change WHERE kind = 'remove' ORDER BY id DESC"
        )
        held = corpus.tune_count
    with CorpusWriter.open(path) as writer:
        for (number,) in changes:
            done = put_back(writer, number)
            assert (done.left, len(done.tunes)) == ([], 1)
    assert len(changes) == 3
    with Corpus.open(path) as corpus:
        # The main line of the duet joins the other one, and is no piece more.
        assert corpus.tune_count == held + 2
        lesson = open_lesson(corpus, "Kept")
        assert [e.state.kind for e in lesson.examples] == [
            "as kept",
            "as kept",
            "as kept",
            "gone",
            "as kept",
            "as kept",
        ]
        back = lesson.examples[4].row.tune_id
        assert corpus.tune(back).tags == ("kept",)
        assert [remark.text for remark in remarks_of(corpus, back)]
    assert not check(path).report.faults


def test_a_passage_finds_its_tune_when_that_comes_again(earlier: Path) -> None:
    """Nothing but the passage was left of it; its id is the beginning of the new one."""
    path = earlier / "kept.melodex"
    source = tunes_folder() / "fen_school.abc"
    add_paths(path, [source])
    with Corpus.open(path) as corpus:
        (whole,) = [row.tune_id for row in corpus.tunes() if leading(row.tune_id) == GONE]
        lesson = open_lesson(corpus, "Kept")
        assert lesson.examples[3].state.kind == "as kept"
        assert corpus.melody(GONE) == corpus.melody(whole)


def test_a_tune_goes_by_the_beginning_of_its_id(earlier: Path) -> None:
    path = earlier / "shards"
    with Corpus.open(path) as corpus:
        for row in corpus.tunes():
            for digits in (8, 11, 12, 13, 16):
                assert corpus.resolve(row.tune_id[:digits]) == row.tune_id
            assert corpus.resolve(row.tune_id[:12].upper()) == row.tune_id
        first = corpus.tunes()[0]
        with pytest.raises(UnknownTuneError, match="no tune goes by the name"):
            corpus.resolve(first.tune_id[:12] + "zz")
    short = leading(first.tune_id)
    shown = CliRunner().invoke(melodex, ["--corpus", str(path), "show", short])
    assert shown.exit_code == 0
    assert first.tune_id in shown.stdout
    assert scripting.open(path).tune(short).tune_id == first.tune_id
    removed = CliRunner().invoke(melodex, ["--corpus", str(path), "remove", short])
    assert removed.exit_code == 0, "an id as screens show it is the whole name of a tune"


def test_a_folder_that_was_brought_up_to_date_half_way_goes_on(earlier: Path) -> None:
    folder = earlier / "shards"
    files = at_rest(folder)
    told = list(names_of(folder))
    for done in range(len(files) + 1):
        for file in files[:done]:
            upgrade(file)
        # Some shards are of today, and the index is of then.
        with Corpus.open(folder) as corpus:
            assert corpus.tune_count == 6
            assert [leading(row.tune_id) for row in corpus.tunes()] == told
        for file in files:
            file.unlink()
            for left in folder.glob(f"{file.name}.schema-4*"):
                left.unlink()
        unpack(earlier)


def names_of(path: Path) -> Iterator[str]:
    """The tunes of a corpus of schema 4, in the order of a list."""
    ids: list[tuple[str, str, str]] = []
    for file in at_rest(path):
        with closing(sqlite3.connect(file)) as connection:
            ids += connection.execute("SELECT number, tune_id, source FROM tune_overview")
    yield from (tune_id for _, tune_id, _ in sorted(ids, key=lambda r: (r[2], int(r[0]))))


def test_the_index_of_a_folder_follows_when_it_is_changed(earlier: Path) -> None:
    folder = earlier / "shards"
    before = read_index(folder)
    Corpus.open(folder).close()
    assert read_index(folder) == before
    add_paths(folder, [tunes_folder() / "night_ferry.abc"])
    assert all(
        new.digest != old.digest
        for new, old in zip(read_index(folder).shards, before.shards, strict=True)
        if new.tunes != old.tunes
    )
    assert not check(folder).report.faults
    join(folder, earlier / "joined.melodex")
    assert not check_corpus(earlier / "joined.melodex").faults
    with closing(sqlite3.connect(earlier / "joined.melodex")) as connection:
        rows = connection.execute("SELECT name FROM setting WHERE name LIKE 'shard%'")
        assert rows.fetchall() == []


def test_a_shard_that_is_changed_behind_the_index_is_still_refused(earlier: Path) -> None:
    """The digest of then stands for what was brought up to date, and for nothing else."""
    folder = earlier / "shards"
    Corpus.open(folder).close()
    file = at_rest(folder)[1]
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("UPDATE chunk SET checksum = checksum + 1")
    with pytest.raises(CorpusError, match="does not hold what the index says"):
        Corpus.open(folder)


def test_two_processes_under_kills_lose_nothing_of_a_folder(earlier: Path) -> None:
    folder, draw = earlier / "shards", random.Random(5)
    Corpus.open(earlier / "kept.melodex").close()
    wanted = sorted(names_in(earlier / "kept.melodex"))
    for _ in range(6):
        for left in folder.iterdir():
            left.unlink()
        unpack(earlier)
        opened_by_two_of_which_one_is_killed(folder, draw.uniform(0, 0.2))
        assert not check(folder).report.faults
        assert sorted(names_in(folder)) == wanted


def test_a_full_disk_leaves_the_file_as_it_was(
    earlier: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = earlier / "kept.melodex"
    step = migrations.STEPS[4]

    def with_no_room(connection: sqlite3.Connection) -> None:
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute("CREATE TABLE filling (bytes BLOB)")
        connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        step(connection)
        connection.execute("INSERT INTO filling VALUES (zeroblob(1000000))")

    monkeypatch.setitem(migrations.STEPS, 4, with_no_room)
    with pytest.raises(CorpusError, match="the disk is full"):
        Corpus.open(path)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (4,)
        ids = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
        assert all(map(is_beginning, ids))
    monkeypatch.undo()
    with Corpus.open(path) as corpus:
        assert {leading(row[0]) for row in corpus.query("SELECT tune_id FROM tune")} == ids


def test_a_tune_whose_melody_is_damaged_keeps_its_digits_and_is_told_of(
    earlier: Path,
) -> None:
    path = earlier / "kept.melodex"
    with closing(sqlite3.connect(path)) as connection, connection:
        known, text = connection.execute(
            "SELECT tune_id, melody FROM tune ORDER BY id LIMIT 1"
        ).fetchone()
        at = text.index('"midi":[') + len('"midi":[')
        text = f"{text[:at]}9{text[at + 1 :]}"
        connection.execute("UPDATE tune SET melody = ? WHERE tune_id = ?", [text, known])
    with Corpus.open(path) as corpus:
        assert corpus.resolve(known) == lengthened(known)
        hits = {named for where, named in names_in(path) if leading(named) == known}
    assert hits == {lengthened(known)}
    report = check_corpus(path)
    assert report.schema_version == SCHEMA_VERSION
    assert report.touched == (lengthened(known),)
    assert report.faults[0].what == "the melody has changed"
    # The kept source gives the tune again, and its whole id.
    repaired = repair_corpus(path)
    assert [leading(tune_id) for tune_id in repaired.read_again] == [known]
    assert (repaired.lost, repaired.left_out) == ((), ())
    assert {named for _, named in names_in(path) if not is_whole(named)} == {GONE}
    assert lengthened(known) not in {named for _, named in names_in(path)}
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert corpus.tune(corpus.resolve(known)).tags == ("kept",)


def test_notes_for_matching_that_were_damaged_are_so_still(earlier: Path) -> None:
    path = earlier / "kept.melodex"
    with closing(sqlite3.connect(path)) as connection, connection:
        row, notes, count = connection.execute(
            "SELECT id, notes, tune_count FROM chunk ORDER BY id LIMIT 1"
        ).fetchone()
        changed = bytes([notes[0] ^ 1]) + notes[1:]
        connection.execute("UPDATE chunk SET notes = ? WHERE id = ?", [changed, row])
    Corpus.open(path).close()
    fault = next(
        fault for fault in check_corpus(path).faults if "cannot be trusted" in fault.what
    )
    assert len(fault.tune_ids) == count
    assert all(map(is_whole, fault.tune_ids))


def test_a_damaged_corpus_of_then_is_repaired_with_all_that_names_a_tune(
    earlier: Path,
) -> None:
    """Where SQLite cannot write into it any more, it is not brought up to date first."""
    path, other = earlier / "kept.melodex", earlier / "other.melodex"
    other.write_bytes(path.read_bytes())
    repaired = repair_corpus(path)
    assert (repaired.kept, repaired.lost, repaired.left_out) == (6, (), ())
    Corpus.open(other).close()
    assert sorted(set(names_in(path))) == sorted(set(names_in(other)))
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        tagged = [row.title for row in corpus.tunes(tag="kept")]
        assert len(tagged) == 2
        assert open_lesson(corpus, "Kept").examples[0].state.kind == "as kept"
        assert sum(len(remarks_of(corpus, row.tune_id)) for row in corpus.tunes()) == 2


def test_a_set_that_was_packed_before_finds_its_tunes(earlier: Path) -> None:
    path, packed = earlier / "kept.melodex", earlier / "set.zip"
    run = CliRunner().invoke(
        melodex, ["--corpus", str(path), "lesson", "pack", "Kept", str(packed)]
    )
    assert run.exit_code == 0, run.output
    with zipfile.ZipFile(packed) as archive:
        told = json.loads(archive.read("set.json"))
    for each in told["examples"]:
        each["tune_id"] = leading(each["tune_id"])
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("set.json", json.dumps(told))
    packed.write_bytes(data.getvalue())
    unpack_file(path, packed, name="Again")
    with Corpus.open(path) as corpus:
        rows = example_rows(corpus, find_lesson(corpus, "Again").id)
        standing = {row[0] for row in corpus.query("SELECT tune_id FROM tune")}
        assert [row.tune_id for row in rows if row.file] == [
            row.tune_id for row in rows if row.tune_id in standing
        ]
        assert sum(is_whole(row.tune_id) for row in rows) == 3


def test_tunes_that_agree_in_what_is_shown_are_told_apart(tmp_path: Path) -> None:
    """Two in ten million: both are named by their whole ids."""
    path = tmp_path / "two.melodex"
    add_paths(path, [tunes_folder() / "fen_school.abc"])
    with Corpus.open(path) as corpus:
        first, second = (row.tune_id for row in corpus.tunes()[:2])
    twin = leading(first) + "f" * 4
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE tune SET tune_id = ? WHERE tune_id = ?", [twin, second])
    with Corpus.open(path) as corpus:
        with pytest.raises(UnknownTuneError, match="2 tunes go by the name") as told:
            corpus.resolve(leading(first))
        assert f"  1  {min(first, twin)}  " in told.value.hint
        assert f"  2  {max(first, twin)}  " in told.value.hint
        assert corpus.resolve(first) == first
        assert corpus.resolve(f"{leading(first)} #2") == max(first, twin)
        assert corpus.melodies([leading(first)]) == {}
