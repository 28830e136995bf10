"""The demo builds itself anywhere, keeps what stands there, and answers as planted."""

from __future__ import annotations

import configparser
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.cli.questions import PHRASE, questions_of
from melodex.corpus.reader import Corpus
from melodex.errors import CorpusError
from melodex.tasks import demo
from melodex.tasks.demo import prepare_demo, tunes_folder
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble, said_phrase

ROOT = Path(__file__).parents[2]
PLANTED = json.loads((ROOT / "corpus_demo" / "PLANTED.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> demo.Demo:
    return prepare_demo(tmp_path_factory.mktemp("demo") / "fen")


def test_all_tunes_go_in_and_nothing_is_refused(built: demo.Demo) -> None:
    assert built.added.added == 59
    assert built.added.refusals == ()
    with Corpus.open(built.corpus_path) as corpus:
        assert corpus.tune_count == 59


def test_own_songs_stay_out_of_the_corpus_and_beside_it(built: demo.Demo) -> None:
    assert (built.folder / "own" / "own_song.abc").is_file()
    with Corpus.open(built.corpus_path) as corpus:
        titles = {row.title for row in corpus.tunes()}
    assert "Letter from the Far Lock" not in titles
    assert "Seven Steps Down" in titles


def test_a_second_demo_changes_nothing(tmp_path: Path) -> None:
    prepare_demo(tmp_path / "fen")
    changed = tmp_path / "fen" / "tunes" / "PLANTED.json"
    changed.write_text("mine", encoding="utf-8")
    again = prepare_demo(tmp_path / "fen")
    assert (again.added.added, again.added.unchanged) == (0, 59)
    assert changed.read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "fen").write_text("a note to myself", encoding="utf-8")
    with pytest.raises(CorpusError, match=r"cannot be put here.*name another folder"):
        prepare_demo(tmp_path / "fen")


def test_the_command_shows_each_question_and_its_answer(tmp_path: Path) -> None:
    folder = tmp_path / "fen"
    shown = CliRunner().invoke(melodex, ["demo", str(folder)])
    assert shown.exit_code == 0, shown.output
    questions = questions_of(folder / "demo.sqlite", folder / "own")
    assert len(questions) == 5
    for question in questions:
        assert f"$ {question.command}\n" in shown.stdout
        alone = CliRunner().invoke(melodex, list(question.arguments))
        assert alone.exit_code == 0
        assert alone.stdout.strip() in shown.stdout
    for title in ("Marl Pit Hornpipe", "The Eel Trap", "Seven Steps Down"):
        assert title in shown.stdout
    assert "Likeness is not infringement" in shown.stdout
    assert "</html>" in (folder / "pair.html").read_text(encoding="utf-8")


def test_the_two_tunes_compared_are_the_best_two_found(built: demo.Demo) -> None:
    with Corpus.open(built.corpus_path) as corpus:
        found = resemble(corpus, said_phrase(corpus, PHRASE), limit=2)
    titles = [match.passage.whole.title for match in found.matches]
    assert titles == ["Marl Pit Hornpipe", "The Eel Trap"]
    assert set(titles) <= set(
        questions_of(built.corpus_path, built.folder / demo.OWN)[1].arguments
    )


def ranks(corpus: Corpus, here: dict, there: dict) -> list[int]:
    """Where one planted passage stands among the matches of the other."""
    notes = read_span("-".join(map(str, here["notes"])), "notes")
    phrase = find_passage(here["title"], corpus, notes=notes).phrase()
    found = resemble(corpus, phrase, limit=3).matches
    return [m.rank for m in found if m.passage.whole.title == there["title"]]


FINDABLE = [pair for pair in PLANTED["likenesses"] if not pair.get("hard")]


@pytest.mark.parametrize("pair", FINDABLE, ids=lambda pair: pair["a"]["title"])
def test_each_planted_likeness_is_found_from_either_side(
    built: demo.Demo, pair: dict
) -> None:
    # Ornaments put notes between; a plainer tune may stand before the relative.
    allowed = [[1], [2], [3]] if pair["kind"] == "ornamented" else [[1]]
    with Corpus.open(built.corpus_path) as corpus:
        assert ranks(corpus, pair["a"], pair["b"]) in allowed
        assert ranks(corpus, pair["b"], pair["a"]) in allowed


def test_the_borrowed_phrase_of_the_own_song_is_found_first(built: demo.Demo) -> None:
    plant = next(plant for plant in PLANTED["own_songs"] if plant["kind"] == "borrowed")
    song = str(built.folder / "own" / "own_song.abc")
    with Corpus.open(built.corpus_path) as corpus:
        found = resemble(corpus, find_passage(song, corpus, bars=read_span("5-8")).phrase())
    best = found.matches[0]
    assert best.passage.whole.title == plant["from"]["title"]
    first, last = plant["from"]["notes"]
    assert best.tune_notes == (first - 1, last - 1)


def test_every_package_is_named_for_installation() -> None:
    setup = configparser.ConfigParser()
    setup.read(ROOT / "setup.cfg", encoding="utf-8")
    named = set(setup["options"]["packages"].split())
    folders = {path.parent for path in (ROOT / "melodex").rglob("__init__.py")}
    present = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert named == present | {"melodex.corpus_demo"}


def test_a_wheel_carries_every_file_of_the_demo(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-index",
         "--no-build-isolation", "--wheel-dir", str(tmp_path / "wheels"),
         str(copied_sources(tmp_path))],
        check=True,
        capture_output=True,
        # The files are asked about, not the engine: it need not be compiled.
        env=os.environ | {"CC": "false"},
    )  # fmt: skip
    (wheel,) = (tmp_path / "wheels").glob("*.whl")
    with zipfile.ZipFile(wheel) as package:
        names = set(package.namelist())
        package.extractall(tmp_path / "site")
    folder = tunes_folder()
    files = [path.relative_to(folder) for path in folder.rglob("*") if path.is_file()]
    assert len(files) >= 23
    assert {f"melodex/corpus_demo/{path.as_posix()}" for path in files} <= names
    installed = subprocess.run(
        [sys.executable, "-c", "from melodex.tasks.demo import *; print(tunes_folder())"],
        cwd=tmp_path / "site",
        check=True,
        capture_output=True,
        encoding="utf-8",
    )
    assert Path(installed.stdout.strip()) == tmp_path / "site" / "melodex" / "corpus_demo"


def copied_sources(target: Path) -> Path:
    """The sources that a build needs, so that the checkout stays clean."""
    sources = target / "sources"
    shutil.copytree(
        ROOT / "melodex",
        sources / "melodex",
        ignore=shutil.ignore_patterns("*.so", "__pycache__"),
    )
    shutil.copytree(ROOT / "corpus_demo", sources / "corpus_demo")
    for name in ("setup.cfg", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, sources / name)
    return sources
