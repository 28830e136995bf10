"""Ctrl-C: exit 130, no traceback, and what was done is said and true.

The signal comes from inside the process, at the very place that each test names, so
that nothing depends on how fast a machine is. 130 is 128 and the number of the signal
(POSIX, sh, 2.8.2). Stopping ``add`` is tested in ``test_corpus_commands``.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from importlib.metadata import entry_points
from pathlib import Path

import pytest

from melodex.corpus import schema
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths

DEMO = Path(__file__).parents[2] / "corpus_demo"

STRIKE = "os.kill(os.getpid(), signal.SIGINT)"
"""Python raises KeyboardInterrupt before it goes on."""


def stopped(corpus: Path, place: str, *words: str) -> str:
    """Run a command that is struck at a place; return what it said."""
    code = f"import os, signal\n{place}\nfrom melodex.cli import main\nmain()"
    arguments = [sys.executable, "-c", code, "--corpus", str(corpus), *words]
    done = subprocess.run(arguments, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 130, done.stderr
    assert "Traceback" not in done.stderr
    assert not done.stdout
    return done.stderr


@pytest.mark.parametrize("module", ["click", "melodex.errors", "melodex.cli.commands.list"])
def test_being_stopped_while_modules_load_shows_no_traceback(tmp_path, module):
    code = f"""
import os, signal, sys
class Struck:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            {STRIKE}
sys.meta_path.insert(0, Struck())
from melodex.__main__ import main
main()
"""
    arguments = [sys.executable, "-c", code, "--corpus", str(tmp_path / "none"), "list"]
    done = subprocess.run(arguments, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 130, done.stderr
    assert done.stderr.startswith("melodex: stopped")
    assert done.stderr.count("\n") == 1


def test_the_installed_command_is_the_one_that_can_be_stopped():
    (script,) = entry_points(group="console_scripts", name="melodex")
    assert script.value == "melodex.__main__:main"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A corpus of twelve tunes."""
    path = tmp_path / "own.melodex"
    assert add_paths(path, [DEMO / "reed_cutters.abc"]).added == 12
    return path


def test_a_backup_that_is_stopped_leaves_nothing_and_says_so(own, tmp_path):
    place = f"import melodex.corpus.care.copying as c\nc.prove = lambda *a: {STRIKE}"
    before = own.read_bytes()
    said = stopped(own, place, "backup", str(tmp_path / "copy.melodex"))
    assert said == "melodex: stopped; no copy was made, the corpus is as it was\n"
    assert [path.name for path in tmp_path.iterdir()] == [own.name]
    assert own.read_bytes() == before


def test_a_backup_that_is_stopped_when_it_is_there_says_that_it_is(own, tmp_path):
    place = (
        "import melodex.corpus.care.copying as c\nput = c.put_in_place\n"
        f"c.put_in_place = lambda *a: (put(*a), {STRIKE})"
    )
    said = stopped(own, place, "backup", str(tmp_path / "copy.melodex"))
    assert said == "melodex: stopped; the copy was completed, the corpus is as it was\n"
    assert check_corpus(tmp_path / "copy.melodex").faults == ()


def test_a_migration_that_is_stopped_has_changed_nothing(own, tmp_path):
    place = f"""
from melodex.corpus import reader, schema
from melodex.corpus.care import migrations
def step(connection):
    connection.execute("UPDATE tune SET title = 'lost'")
    {STRIKE}
migrations.STEPS[schema.SCHEMA_VERSION] = step
schema.SCHEMA_VERSION += 1
reader.SCHEMA_VERSION += 1
"""
    said = stopped(own, place, "list")
    assert said == (
        "melodex: stopped; what was being changed is changed whole or not at all\n"
    )
    with closing(sqlite3.connect(own)) as connection:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        titles = connection.execute("SELECT count(*) FROM tune WHERE title = 'lost'")
        assert (version, titles.fetchone()) == (schema.SCHEMA_VERSION, (0,))
    assert check_corpus(own).faults == ()
    assert [path.name for path in tmp_path.iterdir()] == [own.name]


def test_a_removal_that_is_stopped_has_removed_nothing(own):
    place = (
        "from melodex.corpus.writing.store import CorpusWriter as w\ndrop = w.drop_tune\n"
        f"w.drop_tune = lambda *a: (drop(*a), {STRIKE})"
    )
    before = check_corpus(own).tune_count
    with Corpus.open(own) as corpus:
        title = corpus.tunes()[0].title
    said = stopped(own, place, "remove", title)
    assert "whole or not at all" in said
    assert check_corpus(own).tune_count == before
    assert check_corpus(own).faults == ()
