"""A folder of files read straight into shards: stopped, killed, and gone on with.

A corpus that was read in one go into one file is the check.
"""

from __future__ import annotations

import os
import random
import signal
import stat
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus import connection
from melodex.corpus.reader import Corpus
from melodex.corpus.shards import building
from melodex.corpus.shards.index import INDEX_NAME, RUN_NAME, read_index
from melodex.errors import CorpusError, SettingsError
from melodex.reading import Choice
from melodex.tasks.adding import add, parts
from melodex.tasks.adding.add import AddResult, add_paths
from melodex.tasks.adding.walking import Files, files_of
from melodex.tasks.collection.holdings import remove_from
from melodex.tasks.collection.shards import list_shards

FILES, TUNES = 12, 5


def abc(file: int, change: int = 0) -> str:
    dice = random.Random(f"{file} {change}")
    tunes = []
    for number in range(1, TUNES + 1):
        bars = [" ".join(dice.choice("CDEFGABc") for _ in range(4)) for _ in range(4)]
        head = f"X:{number}\nT:Tune {file}.{number}\nM:4/4\nL:1/4\nK:C\n"
        tunes.append(f"{head}{' | '.join(bars)} |]\n")
    return "\n".join(tunes)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A folder of files, one of them of many tunes."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    for file in range(FILES):
        (folder / f"{file:02}.abc").write_text(abc(file), encoding="utf-8")
    return folder


@pytest.fixture
def few_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A commit for every file."""
    monkeypatch.setattr(add, "TUNES_PER_COMMIT", 1)


def ids(corpus: Path) -> list[str]:
    with Corpus.open(corpus) as opened:
        return sorted(row[0] for row in opened.query("SELECT tune_id FROM tune"))


def counts(result: AddResult) -> tuple[int, int, int, int, bool]:
    done = result.files_done, result.gone_on, result.added, result.unchanged
    return (*done, result.interrupted)


def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files that are read from now on."""
    read: list[str] = []
    taken = add.Adding.take

    def noted(self: add.Adding, file: Any) -> None:
        read.append(Path(file.file).name)
        taken(self, file)

    monkeypatch.setattr(add.Adding, "take", noted)
    return read


def test_a_new_corpus_is_a_folder_of_so_many_shards(shelf: Path, tmp_path: Path) -> None:
    one, many = tmp_path / "one.melodex", tmp_path / "deep" / "many"
    assert counts(add_paths(one, [shelf])) == counts(add_paths(many, [shelf], shards=3))
    assert ids(one) == ids(many)
    assert len(read_index(many).shards) == 3
    assert sorted(each.name for each in many.parent.iterdir()) == ["many"]
    assert sorted(each.name for each in many.iterdir()) == [
        *(f"shard-{n}-of-3.melodex" for n in (1, 2, 3)),
        INDEX_NAME,
    ]
    # Again changes nothing, with the number or without.
    for shards in (3, 0):
        again = add_paths(many, [shelf], shards=shards)
        assert counts(again) == (FILES, 0, 0, FILES * TUNES, False)
    with pytest.raises(SettingsError, match="has 3 shards, not 4"):
        add_paths(many, [shelf], shards=4)
    with pytest.raises(CorpusError, match="no folder of shards"):
        add_paths(one, [shelf], shards=3)
    with pytest.raises(CorpusError, match="no folder of shards"):
        add_paths(shelf, [shelf], shards=3)
    with pytest.raises(SettingsError, match="1 to 512 shards, not 513"):
        add_paths(tmp_path / "new", [shelf], shards=513)


def stop_after(files: int) -> Callable[[add.AddStep], None]:
    def stop(step: add.AddStep) -> None:
        if step.files_done >= files:
            raise KeyboardInterrupt

    return stop


def test_what_was_stopped_goes_on_and_reads_nothing_twice(
    shelf: Path, tmp_path: Path, few_at_once: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = tmp_path / "many"
    first = add_paths(many, [shelf], shards=2, progress=stop_after(4))
    assert counts(first) == (4, 0, 4 * TUNES, 0, True)
    assert (many / RUN_NAME).exists()
    assert not list_shards(many).faults
    # One that was read is another now, and so is one that was not.
    for file in (1, 9):
        (shelf / f"{file:02}.abc").write_text(abc(file, 1), encoding="utf-8")
    read = reads(monkeypatch)
    second = add_paths(many, [shelf], shards=2)
    assert read == ["01.abc", *(f"{file:02}.abc" for file in range(4, FILES))]
    assert (second.files_done, second.gone_on, second.added) == (FILES, 3, 8 * TUNES)
    assert second.replaced == TUNES
    assert not (many / RUN_NAME).exists()
    one = tmp_path / "one.melodex"
    add_paths(one, [shelf])
    assert ids(one) == ids(many)


def test_another_run_or_another_change_begins_anew(
    shelf: Path, tmp_path: Path, few_at_once: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = tmp_path / "many"
    add_paths(many, [shelf], shards=2, progress=stop_after(4))
    read = reads(monkeypatch)
    other = add_paths(many, [shelf], collection="other", progress=stop_after(2))
    assert other.gone_on == 0
    remove_from(many, source=str(shelf / "01.abc"))
    assert not (many / RUN_NAME).exists()
    read.clear()
    last = add_paths(many, [shelf])
    assert (len(read), last.gone_on, last.added) == (FILES, 0, (FILES - 3) * TUNES)


def test_a_large_file_that_was_stopped_in_the_middle_is_read_again(
    shelf: Path, tmp_path: Path, few_at_once: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "LARGE_BYTES", 100)
    monkeypatch.setattr("melodex.tasks.adding.walking.LARGE_BYTES", 100)
    monkeypatch.setattr(parts, "TUNES_PER_PART", 2)
    many = tmp_path / "many"

    def stop(step: add.AddStep) -> None:
        if step.files_done == 2 and step.share:
            raise KeyboardInterrupt

    first = add_paths(many, [shelf], shards=2, progress=stop)
    assert first.interrupted
    assert 2 * TUNES < first.added < 3 * TUNES
    second = add_paths(many, [shelf])
    assert (second.gone_on, second.files_done) == (2, FILES)
    one = tmp_path / "one.melodex"
    add_paths(one, [shelf])
    assert ids(one) == ids(many)


@pytest.mark.parametrize("after", [1, 5])
def test_what_was_killed_goes_on(
    after: int, shelf: Path, tmp_path: Path, few_at_once: None
) -> None:
    many = tmp_path / "many"
    child = os.fork()
    if not child:

        def die(step: add.AddStep) -> None:
            if step.files_done == after:
                os.kill(os.getpid(), signal.SIGKILL)

        add_paths(many, [shelf], shards=3, progress=die)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    went_on = add_paths(many, [shelf], shards=3)
    assert counts(went_on) == (FILES, after, (FILES - after) * TUNES, 0, False)
    one = tmp_path / "one.melodex"
    add_paths(one, [shelf])
    assert ids(one) == ids(many)


def test_who_makes_shards_waits_for_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that is held while it is made is not one in which leaving takes turns."""

    def waits(seconds: float) -> None:
        raise AssertionError(f"waits {seconds} seconds")

    clock = SimpleNamespace(monotonic=time.monotonic, sleep=waits)
    monkeypatch.setattr(connection, "time", clock)
    building.make_empty(tmp_path / "many", 2)
    assert not list_shards(tmp_path / "many").faults
    assert stat.S_IMODE((tmp_path / "many").stat().st_mode) == plain_mode(tmp_path)


def plain_mode(folder: Path) -> int:
    """Who may what in a folder that is made without a thought."""
    made = folder / "plain"
    made.mkdir()
    return stat.S_IMODE(made.stat().st_mode)


def test_a_killed_making_leaves_nothing(shelf: Path, tmp_path: Path) -> None:
    many = tmp_path / "many"
    child = os.fork()
    if not child:
        patch = pytest.MonkeyPatch()
        patch.setattr(
            building, "write_index", lambda *_: os.kill(os.getpid(), signal.SIGKILL)
        )
        building.make_empty(many, 2)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    assert not many.exists()
    add_paths(many, [shelf], shards=2)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["many", "shelf"]


def test_reports_beyond_a_number_are_counted(shelf: Path, tmp_path: Path) -> None:
    (shelf / "08.abc").write_text("X:1\nT:Nothing\nK:C\n", encoding="utf-8")
    full = add_paths(tmp_path / "a.melodex", [shelf])
    few = add_paths(tmp_path / "b.melodex", [shelf], most_reports=3)
    # The refused one is named all the same.
    assert (len(full.reports), len(few.reports)) == (FILES, 4)
    assert few.refusals == full.refusals != ()
    for name in ("added", "unchanged", "replaced", "further", "warnings", "files"):
        assert getattr(few, name) == getattr(full, name), name
    assert few.files_done == full.files_done == FILES


def test_files_are_walked_through_without_being_kept(shelf: Path) -> None:
    (shelf / "deep").mkdir()
    (shelf / "deep" / "x.abc").write_text(abc(99), encoding="utf-8")
    files = list(files_of([shelf]))
    assert len(files) == FILES + 1
    for given in ([shelf, shelf], [shelf, shelf / "deep"], [shelf / "deep", shelf]):
        assert sorted(files_of(given)) == sorted(files)
    assert list(files_of([shelf / "deep", shelf / "deeper"]))[-1].name == "deeper"
    survey = Files([shelf]).survey()
    assert (survey.count, survey.has_large) == (FILES + 1, False)
    assert survey.byte_count == sum(file.stat().st_size for file in files)


def test_the_command_makes_shards_and_says_what_it_took_over(
    shelf: Path, tmp_path: Path, few_at_once: None
) -> None:
    many = tmp_path / "many"
    add_paths(many, [shelf], shards=2, progress=stop_after(5), choice=Choice(lines="all"))
    words = ["--corpus", str(many), "add", str(shelf), "--shards", "2", "--workers", "1"]
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 0, done.output
    assert "5 files more from before it was stopped, not read again" in done.output
    assert not (many / RUN_NAME).exists()
