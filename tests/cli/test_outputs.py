"""What a result may be written over, and what happens where nothing can be written."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from melodex.cli import COMMANDS, melodex
from melodex.corpus.care.checking import check_corpus

ROOT = Path(__file__).parents[2]
SONG = "X:1\nT:The Kettle\nM:4/4\nL:1/4\nK:Ddor\nDEFG|A2d2|c2A2|G4|\n"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a corpus of one tune and a set, to be copied."""
    folder = tmp_path_factory.mktemp("filled")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        Path("song.abc").write_text(SONG)
        call("add", "song.abc")
        call("lesson", "new", "Air")
        call("lesson", "keep", "Air", "kettle", "--bars", "1-2")
    return folder


@pytest.fixture
def shelf(filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with such a corpus, where the test stands."""
    for name in ("song.abc", "my.melodex"):
        shutil.copyfile(filled / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def call(*words: str, code: int = 0) -> Result:
    result = CliRunner().invoke(melodex, ["--corpus", "my.melodex", *words])
    assert result.exit_code == code, (result.output, result.exception)
    return result


WAYS = {
    "output": ("list", "--force", "--output"),
    "page": ("describe", "kettle", "--format", "html", "--force", "--output"),
    "print": ("lesson", "print", "Air", "--force", "--output"),
    "pack": ("lesson", "pack", "--force", "Air"),
    "backup": ("backup", "--force"),
}


@pytest.mark.parametrize("way", WAYS)
def test_the_corpus_and_what_belongs_to_it_are_refused_under_every_name(shelf, way):
    corpus = shelf / "my.melodex"
    (shelf / "inner").mkdir()
    (shelf / "inner" / "soft").symlink_to(corpus)
    (shelf / "hard.txt").hardlink_to(corpus)
    (shelf / "round").symlink_to(shelf)
    Path("my.melodex.schema-1").write_bytes(b"a backup")
    Path("journal").symlink_to("my.melodex-wal")
    names = [
        "my.melodex",
        str(corpus),
        "./inner/../my.melodex",
        "inner/soft",
        "hard.txt",
        "round/my.melodex",
        "my.melodex-wal",
        "MY.melodex-SHM",
        "my.melodex-journal",
        "journal",
        "my.melodex.schema-1",
        "my.melodex.damaged.2",
    ]
    before = corpus.read_bytes()
    for name in names:
        said = call(*WAYS[way], name, code=1)
        assert "corpus" in said.stderr, name
        assert corpus.read_bytes() == before
    assert Path("my.melodex.schema-1").read_bytes() == b"a backup"
    assert check_corpus(corpus).faults == ()


def test_another_corpus_is_refused_too_but_for_a_backup(shelf):
    call("backup", "other.melodex")
    before = Path("other.melodex").read_bytes()
    said = call("list", "--force", "--output", "other.melodex", code=1).stderr
    assert "this is a corpus" in said
    assert Path("other.melodex").read_bytes() == before
    assert "--force" in call("backup", "other.melodex", code=1).stderr
    call("backup", "--force", "other.melodex")


def test_a_backup_goes_under_no_name_beside_which_a_journal_stands(shelf):
    Path("copy.melodex-wal").write_bytes(b"of another")
    said = call("backup", "copy.melodex", code=1).stderr
    assert "a journal stands beside it" in said
    assert not Path("copy.melodex").exists()


def test_only_what_melodex_wrote_is_replaced_without_a_question(shelf):
    file = Path("list.txt")
    call("list", "--output", "list.txt")
    call("list", "--format", "json", "--output", "list.txt")
    file.write_text(file.read_text() + "my own words\n")
    said = call("list", "--output", "list.txt", code=1).stderr
    assert "not as melodex wrote it" in said
    assert "--force" in said
    assert file.read_text().endswith("my own words\n")
    call("list", "--force", "--output", "list.txt")
    assert "my own words" not in file.read_text()
    assert "--force" in call("lesson", "pack", "Air", "song.abc", code=1).stderr
    assert Path("song.abc").read_text() == SONG


def test_a_read_only_file_is_replaced_only_when_told_to_and_stays_read_only(shelf):
    file = Path("list.txt")
    call("list", "--output", "list.txt")
    file.chmod(0o444)
    assert "read-only" in call("list", "--output", "list.txt", code=1).stderr
    call("list", "--force", "--format", "csv", "--output", "list.txt")
    assert stat.S_IMODE(file.stat().st_mode) == 0o444


def test_a_refusal_comes_before_the_work(shelf, monkeypatch):
    monkeypatch.setattr("melodex.corpus.reader.Corpus.open", None)
    call("audit", "song.abc", "--output", "song.abc", code=1)


def test_without_a_place_to_remember_what_was_written_melodex_asks(shelf, monkeypatch):
    Path("closed").write_text("no folder")
    monkeypatch.setenv("XDG_STATE_HOME", str(shelf / "closed"))
    call("list", "--output", "list.txt")
    assert "--force" in call("list", "--output", "list.txt", code=1).stderr


def test_a_pipe_is_written_to(shelf):
    os.mkfifo("pipe")
    heard: list[str] = []
    listener = threading.Thread(target=lambda: heard.append(Path("pipe").read_text()))
    listener.start()
    call("list", "--output", "pipe")
    listener.join()
    assert "The Kettle" in heard[0]


def shell(line: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", "-c", line.replace("melodex", f"{sys.executable} -m melodex", 1)],
        env=os.environ | {"MELODEX_CORPUS": "my.melodex", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


WORDS = {
    "add": "song.abc --format json",
    "audit": "song.abc",
    "backup": "--help",
    "check": "",
    "collection": "holdings",
    "compare": "kettle kettle",
    "demo": "shown",
    "describe": "kettle",
    "gather": "--mode dorian",
    "lesson": "list",
    "print": "--help",
    "list": "",
    "refresh": "--help",
    "remark": "--help",
    "remove": "--help",
    "resemble": '"1 2 b3 4 5 1 b7 5 4"',
    "shards": "--help",
    "show": "kettle",
    "undo": "",
    "workbench": "--help",
}


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_a_full_standard_output_is_one_sentence(shelf, name):
    done = shell(f"melodex {name} {WORDS[name]} > /dev/full")
    assert done.returncode == 1
    said = [line for line in done.stderr.splitlines() if line.startswith("melodex:")]
    assert said == [
        "melodex: standard output cannot be written: No space left on device "
        "(ask again where there is room)"
    ]
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr


@pytest.mark.parametrize(
    "form", ["text", "json", "csv", "html", "svg", "pdf", "midi", "musicxml"]
)
def test_so_it_is_in_every_form(shelf, form):
    command = "list" if form == "csv" else "compare kettle kettle"
    done = shell(f"melodex {command} --format {form} > /dev/full")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "standard output cannot be written" in done.stderr
    done = shell(f"melodex {command} --format {form} --output /dev/full")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "/dev/full: it cannot be written: No space left on device" in done.stderr


def test_help_and_version_and_no_standard_output_at_all(shelf):
    for words in ("--help", "--version"):
        done = shell(f"melodex {words} > /dev/full")
        assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    done = shell("melodex list >&-")
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert "there is no standard output" in done.stderr


def test_output_to_the_device_of_standard_output_arrives(shelf):
    done = shell("melodex list --output /dev/stdout | cat")
    assert "The Kettle" in done.stdout
    Path("kept").write_text("a line before\n")
    shell("melodex list --output /dev/stdout >> kept")
    assert Path("kept").read_text().startswith("a line before\n")
    assert "The Kettle" in Path("kept").read_text()
