"""Refreshing: new, changed, moved and gone files, and folders that are not there."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.refresh import differences, refresh
from melodex.tasks.collection.holdings import remove_from, tag_tunes
from melodex.tasks.collection.undo import undo

NOTES = ["DEFG|A2d2|c2A2|G4|", "GABc|d2B2|A2G2|D4|", "EFGA|B2e2|d2B2|A4|", "AGAB|c4|"]


def abc(number: int, notes: str = "") -> str:
    head = f"X:{number}\nT:Air {number}\nM:4/4\nL:1/4\nK:Ddor\n"
    return f"{head}{notes or NOTES[number]}\n\n"


@pytest.fixture
def shelf(tmp_path: Path) -> tuple[Path, Path]:
    """A corpus, and the folder of three files that it was made from."""
    folder = tmp_path / "tunes"
    (folder / "inner").mkdir(parents=True)
    (folder / "a.abc").write_text(abc(0))
    (folder / "b.abc").write_text(abc(1))
    (folder / "inner" / "c.abc").write_text(abc(2))
    add_paths(tmp_path / "my.melodex", [folder], collection="Mine")
    return tmp_path / "my.melodex", folder


def titles(path: Path) -> dict[str, tuple[str, str, tuple[str, ...]]]:
    with Corpus.open(path) as corpus:
        return {
            row.title: (row.collection, Path(row.source).name, row.tags)
            for row in corpus.tunes()
        }


def test_in_step_nothing_is_done(shelf):
    path, _ = shelf
    before = path.read_bytes()
    found = differences(path)
    assert found.is_in_step
    assert found.unchanged == 3
    assert path.read_bytes() == before


def test_new_changed_moved_and_gone_are_told_apart(shelf):
    path, folder = shelf
    tag_tunes(path, "slow", ["Air 1"])
    (folder / "inner" / "new.abc").write_text(abc(3))
    (folder / "a.abc").write_text(abc(0, "A4|"))
    (folder / "b.abc").rename(folder / "inner" / "moved.abc")
    (folder / "inner" / "c.abc").unlink()
    found = differences(path)
    assert [Path(p).name for p in found.new] == ["new.abc"]
    assert [Path(p).name for p in found.changed] == ["a.abc"]
    assert [(Path(a).name, Path(b).name) for a, b in found.moved] == [
        ("b.abc", "moved.abc")
    ]
    assert [Path(p).name for p in found.gone] == ["c.abc"]
    done = refresh(path, found)
    assert (sum(r.added for r in done.added), sum(r.replaced for r in done.added)) == (1, 1)
    assert titles(path) == {
        "Air 0": ("Mine", "a.abc", ()),
        "Air 1": ("Mine", "moved.abc", ("slow",)),
        "Air 2": ("Mine", "c.abc", ()),
        "Air 3": ("Mine", "new.abc", ()),
    }
    again = differences(path)
    assert again.gone == found.gone
    refresh(path, again, remove_gone=True)
    assert "Air 2" not in titles(path)
    assert differences(path).is_in_step
    assert check_corpus(path).faults == ()
    undo(path)
    assert "Air 2" in titles(path)


def test_a_tune_that_left_its_file_is_left_unless_told_otherwise(shelf):
    path, folder = shelf
    (folder / "a.abc").write_text(abc(0) + abc(3))
    refresh(path, differences(path))
    (folder / "a.abc").write_text(abc(3))
    found = differences(path)
    assert (found.gone_tunes, found.changed, found.gone) == (1, [], [])
    refresh(path, found)
    assert "Air 0" in titles(path)
    refresh(path, differences(path), remove_gone=True)
    assert sorted(titles(path)) == ["Air 1", "Air 2", "Air 3"]


def test_a_folder_that_is_not_there_loses_nothing(shelf):
    path, folder = shelf
    folder.rename(folder.with_name("away"))
    found = differences(path)
    assert found.missing == (str(folder),)
    refresh(path, found, remove_gone=True)
    assert len(titles(path)) == 3


def test_a_folder_in_which_there_is_nothing_loses_nothing(shelf):
    """As where a disk is not mounted: the place for it is there, and empty."""
    path, folder = shelf
    folder.rename(folder.with_name("away"))
    folder.mkdir()
    found = differences(path)
    assert found.missing == (str(folder),)
    assert found.gone == []
    assert refresh(path, found, remove_gone=True).removed == 0
    assert len(titles(path)) == 3


def test_what_lies_in_a_closed_folder_is_not_gone(shelf, monkeypatch):
    path, folder = shelf
    inner = folder / "inner"
    scandir = os.scandir

    def closed(place="."):
        if Path(os.fsdecode(place)) == inner:
            raise PermissionError(13, "Permission denied", str(inner))
        return scandir(place)

    monkeypatch.setattr(os, "scandir", closed)
    found = differences(path)
    monkeypatch.undo()
    assert found.gone == []
    assert [refusal.source for refusal in found.refusals] == [str(inner)]
    refresh(path, found, remove_gone=True)
    assert len(titles(path)) == 3


def test_what_others_have_done_since_is_not_taken_for_gone(shelf):
    """Row numbers of places are given again: another tune may have that of one gone."""
    path, folder = shelf
    (folder / "inner" / "c.abc").unlink()
    found = differences(path)
    assert [Path(file).name for file in found.gone] == ["c.abc"]
    remove_from(path, source=str(folder / "inner"))
    (folder.parent / "other.abc").write_text(abc(3))
    add_paths(path, [folder.parent / "other.abc"])
    with Corpus.open(path) as corpus:
        numbers = corpus.query("SELECT place.id FROM place")
    # Else this would try nothing.
    assert found.gone_places[0][0] in {number for (number,) in numbers}
    assert refresh(path, found, remove_gone=True).removed == 0
    assert sorted(titles(path)) == ["Air 0", "Air 1", "Air 3"]


def test_what_moved_and_is_gone_again_when_it_is_read_stays(shelf):
    path, folder = shelf
    (folder / "b.abc").rename(folder / "z.abc")
    found = differences(path)
    assert len(found.moved) == 1
    (folder / "z.abc").unlink()
    refresh(path, found)
    assert sorted(titles(path)) == ["Air 0", "Air 1", "Air 2"]


@pytest.mark.parametrize("name", ["x" * 5000, "a\0b"])
def test_a_name_that_no_folder_can_have_is_said_to_be_missing(shelf, name):
    path, folder = shelf
    found = differences(path, named=[Path(name)])
    assert len(found.missing) == 1
    assert str(folder) in found.folders


def test_a_file_that_cannot_be_read_now_loses_nothing(shelf):
    path, folder = shelf
    (folder / "a.abc").write_bytes(b"\0\1\2")
    found = differences(path)
    assert [Path(refusal.source).name for refusal in found.refusals] == ["a.abc"]
    refresh(path, found, remove_gone=True)
    assert len(titles(path)) == 3


def test_files_that_were_added_by_themselves_bring_in_no_others(tmp_path):
    (tmp_path / "a.abc").write_text(abc(0))
    (tmp_path / "b.abc").write_text(abc(1))
    path = tmp_path / "my.melodex"
    add_paths(path, [tmp_path / "a.abc"])
    assert differences(path).folders == ()
    done = CliRunner().invoke(melodex, ["--corpus", str(path), "refresh"])
    assert "no folder is known" in done.output
    assert len(titles(path)) == 1


def test_a_folder_that_was_removed_is_read_no_more(shelf):
    path, folder = shelf
    remove_from(path, source=str(folder))
    assert differences(path).is_in_step


def test_the_command_says_it_before_and_after(shelf):
    path, folder = shelf
    (folder / "new.abc").write_text(abc(3))
    for words, there in (["refresh", "--dry-run"], 3), (["refresh"], 4):
        done = CliRunner().invoke(melodex, ["--corpus", str(path), *words])
        assert done.exit_code == 0
        assert f"new: {folder / 'new.abc'}" in done.output
        assert "2 files" not in done.output
        assert ("done: 1 tunes added" in done.output) == (there == 4)
        assert len(titles(path)) == there


def refreshed(path: Path, *options: str) -> dict:
    """What the command says as JSON."""
    words = ["--corpus", str(path), "refresh", "--format", "json", *options]
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 0
    return json.loads(done.stdout)


def test_a_folder_that_nobody_kept_is_named_once(tmp_path):
    (tmp_path / "a.abc").write_text(abc(0))
    path = tmp_path / "my.melodex"
    add_paths(path, [tmp_path / "a.abc"], collection="Mine")
    (tmp_path / "b.abc").write_text(abc(1))
    said = refreshed(path, "--dry-run", str(tmp_path))
    assert (said["new"], said["done"]) == ([str(tmp_path / "b.abc")], None)
    assert refreshed(path)["folders"] == []
    assert refreshed(path, str(tmp_path))["done"]["added"] == 1
    assert titles(path)["Air 1"][0] == tmp_path.name
    # From now on it is known.
    said = refreshed(path)
    assert (said["folders"], said["unchanged"], said["done"]) == ([str(tmp_path)], 2, None)


def test_what_is_said_as_json_is_what_was_done(shelf):
    path, folder = shelf
    (folder / "inner" / "new.abc").write_text(abc(3))
    (folder / "b.abc").unlink()
    said = refreshed(path, "--remove-gone")
    assert said["new"] == [str(folder / "inner" / "new.abc")]
    assert said["gone"] == [str(folder / "b.abc")]
    assert (said["done"]["added"], said["done"]["removed"]) == (1, 1)
