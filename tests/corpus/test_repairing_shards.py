"""A damaged folder of shards is made anew, and what can be read of it is all there."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from melodex.corpus.care import repairing as care
from melodex.corpus.reader import Corpus
from melodex.corpus.shards.index import INDEX_NAME
from melodex.corpus.tunes.particulars import remarks_of
from melodex.corpus.writing.remarks import add_remark
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import BusyCorpusError, CorpusError
from melodex.presentation.data.corpus import check_json
from melodex.presentation.text.corpus import check_text
from melodex.reading import read_bytes
from melodex.tasks.collection.shards import split
from melodex.tasks.collection.upkeep import check
from melodex.tasks.lesson.keeping import found_by_hand, keep

TUNES, SHARDS = 12, 3


def air(number: int) -> bytes:
    """A tune in ABC, drawn from its number."""
    draw = random.Random(number)
    notes = "".join(draw.choice("CDEFGABc") for _ in range(16))
    head = f"X:{number}\nT:Air {number}\nL:1/8\nM:4/4\nK:G\n"
    return f"{head}{notes[:8]}|{notes[8:]}|\n".encode()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Shards with tags, a remark and a teaching set of passages from every one of them."""
    one, many = tmp_path / "one.melodex", tmp_path / "many"
    with CorpusWriter.open(one) as writer:
        for number in range(TUNES):
            writer.add_reading(read_bytes(air(number), "abc", f"air/{number}.abc"))
        with Corpus.open(one) as corpus:
            rows = corpus.tunes()
        writer.tag([row.tune_id for row in rows], "air")
        add_remark(writer, rows[0].tune_id, "note", "heard by the sluice")
    with Corpus.open(one) as corpus:
        found = [found_by_hand(corpus, f"Air {n}", bars="1-2") for n in range(TUNES)]
    keep(one, "Leaps", found, create=True)
    split(one, many, SHARDS)
    return many


def shard(folder: Path, number: int) -> Path:
    index = json.loads((folder / INDEX_NAME).read_text())
    return folder / str(index["shards"][number - 1]["file"])


def told(folder: Path) -> dict[str, object]:
    """What a corpus holds, in words of its own."""
    with Corpus.open(folder) as corpus:
        rows = corpus.tunes()
        notes = {row.tune_id: corpus.melody(row.tune_id).midi for row in rows}
        tags = {row.tune_id: row.tags for row in rows}
        said = {row.tune_id: remarks_of(corpus, row.tune_id) for row in rows}
        words = {tune_id: [each.text for each in some] for tune_id, some in said.items()}
        passages = corpus.query(
            "SELECT position, tune_id, first_note, last_note FROM lesson_example"
        )
    return {"notes": notes, "tags": tags, "remarks": words, "set": sorted(passages)}


def spoil_a_melody(path: Path) -> str:
    """Change the stored melody of one tune; its id."""
    with closing(sqlite3.connect(path)) as connection, connection:
        ((row, tune_id),) = connection.execute("SELECT id, tune_id FROM tune LIMIT 1")
        connection.execute(
            "UPDATE tune SET melody = replace(melody, '\"midi\":[', '\"midi\":[99,') "
            "WHERE id = ?",
            [row],
        )
    return str(tune_id)


@pytest.mark.parametrize("number", range(1, SHARDS + 1))
def test_what_is_damaged_in_one_shard_is_read_again_and_all_else_is_as_it_was(
    folder: Path, number: int
) -> None:
    before = told(folder)
    spoilt = spoil_a_melody(shard(folder, number))
    assert check(folder).report.touched == (spoilt,)
    result = check(folder, repair=True)
    assert result.repair is not None
    assert result.repair.read_again == (spoilt,)
    assert (result.repair.lost, result.repair.left_out) == ((), ())
    assert not result.report.faults
    assert told(folder) == before
    assert result.repair.damaged == folder.with_name("many.damaged")
    assert "the damaged folder is kept as" in check_text(result)
    assert json.loads(check_json(result))["repair"]["damaged"].endswith("many.damaged")
    # What is kept is the damaged one, as it was.
    assert check(result.repair.damaged).report.touched == (spoilt,)


def test_a_shard_that_is_no_file_of_sqlite_is_left_out_and_named(folder: Path) -> None:
    before = told(folder)
    with closing(sqlite3.connect(shard(folder, 2))) as connection:
        gone = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
    assert gone
    shard(folder, 2).write_bytes(bytes(50_000))
    result = check(folder, repair=True)
    assert result.repair is not None
    assert result.repair.left_out[0].startswith(f"all of {shard(folder, 2).name}: it is no")
    assert not result.report.faults
    kept = told(folder)
    for what in ("notes", "tags", "remarks"):
        whole = before[what]
        assert isinstance(whole, dict)
        assert kept[what] == {i: each for i, each in whole.items() if i not in gone}
    # The set stands in the first shard; its passages name what is gone.
    assert kept["set"] == before["set"]


def test_nothing_is_made_where_nothing_is_damaged(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert check(folder, repair=True).repair is None
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_shard_that_can_be_put_back_is_asked_for(folder: Path, tmp_path: Path) -> None:
    away = tmp_path / "away.melodex"
    shard(folder, 2).rename(away)
    with pytest.raises(CorpusError, match="shard 2 of 3 is missing"):
        check(folder, repair=True)
    shutil.copy(shard(folder, 1), folder / away.with_name("shard-2-of-3.melodex").name)
    with pytest.raises(CorpusError, match="stands in the place of shard 2 of 3"):
        check(folder, repair=True)
    assert not folder.with_name("many.damaged").exists()


def test_who_writes_meanwhile_is_waited_for_and_then_named(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(care, "WAIT_SECONDS", 0.1)
    spoil_a_melody(shard(folder, 3))
    with (
        CorpusWriter.open(folder) as writer,
        writer.transaction(),
        pytest.raises(BusyCorpusError),
    ):
        check(folder, repair=True)
    assert not folder.with_name("many.damaged").exists()


def test_a_folder_that_cannot_be_given_its_name_is_put_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil_a_melody(shard(folder, 1))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    replace: Callable[[Path, Path], Path] = Path.replace

    def refuse(self: Path, target: Path) -> Path:
        if self.name == "shards":
            raise PermissionError(13, "Permission denied", str(target))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(CorpusError):
        check(folder, repair=True)
    monkeypatch.undo()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert sorted(path.name for path in folder.parent.iterdir()) == ["many", "one.melodex"]


def test_a_killed_repair_loses_nothing_and_the_next_tidies_up(folder: Path) -> None:
    before = told(folder)
    spoil_a_melody(shard(folder, 2))
    script = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "from melodex.corpus.shards import repairing\n"
        "repairing.split_corpus = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "repairing.repair_folder(Path(sys.argv[1]))\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(folder)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert len(os.listdir(folder.parent)) == 3  # noqa: PTH208 (with what was begun)
    assert not check(folder, repair=True).report.faults
    assert told(folder) == before
    names = sorted(path.name for path in folder.parent.iterdir())
    assert names == ["many", "many.damaged", "one.melodex"]
