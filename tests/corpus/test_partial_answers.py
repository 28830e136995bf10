"""Answers without a shard that is missing or damaged: only where asked for, and said.

What is left is compared with one file that holds the tunes of the other shards alone.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.corpus.shards.absent import absence_now, going_on_without
from melodex.corpus.shards.index import read_index
from melodex.errors import CorpusError
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection.shards import join, split
from melodex.tasks.demo import tunes_folder

LEFT_OUT = "shard-2-of-3.melodex"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's tunes in three shards, with a teaching set."""
    folder = tmp_path_factory.mktemp("partial")
    add_paths(folder / "one.melodex", [tunes_folder()])
    split(folder / "one.melodex", folder / "many", 3)
    with Corpus.open(folder / "many" / "shard-1-of-3.melodex") as shard:
        title = shard.query("SELECT title FROM tune ORDER BY title LIMIT 1")[0][0]
    for words in (["new", "Thursday"], ["keep", "Thursday", title, "--bars", "1-4"]):
        done = run(folder / "many", "lesson", *words)
        assert done.exit_code == 0, done.output
    return folder / "many"


def missing(shard: Path) -> None:
    shard.unlink()


def cut(shard: Path) -> None:
    shard.write_bytes(shard.read_bytes()[:5_000])


def one_page_changed(shard: Path) -> None:
    """Notes of one chunk are others than were written: the index alone notices nothing."""
    with closing(sqlite3.connect(shard)) as connection:
        connection.execute("UPDATE chunk SET notes = zeroblob(length(notes))")
        connection.commit()


def another(shard: Path) -> None:
    shutil.copy(shard.with_name("shard-3-of-3.melodex"), shard)


@pytest.fixture(params=[missing, cut, one_page_changed, another])
def spoilt(request: pytest.FixtureRequest, sound: Path, tmp_path: Path) -> Path:
    """Three shards, of which the second cannot be used."""
    folder = Path(shutil.copytree(sound, tmp_path / "spoilt"))
    request.param(folder / LEFT_OUT)
    return folder


@pytest.fixture
def gone(sound: Path, tmp_path: Path) -> Path:
    """Three shards, of which the second is missing."""
    folder = Path(shutil.copytree(sound, tmp_path / "spoilt"))
    missing(folder / LEFT_OUT)
    return folder


def run(corpus: Path, *words: str, partial: bool = False) -> Result:
    said = ["--corpus", str(corpus), *(["--partial"] if partial else []), *words]
    return CliRunner().invoke(melodex, said)


QUESTION = ("resemble", "3 5 3 1 3 1 4 6 4 3 1")


def test_a_shard_is_left_out_only_where_that_is_asked_for(spoilt: Path) -> None:
    done = run(spoilt, *QUESTION)
    # Damaged notes of one file, too, are named, and its other tunes answer.
    assert done.exit_code == 1 or "cannot be trusted" in done.output
    assert "Partial answer" not in done.output
    done = run(spoilt, *QUESTION, partial=True)
    assert done.exit_code == 0, done.output
    index = read_index(spoilt)
    tunes = index.shards[1].tunes
    said = f"Partial answer: 1 of 3 shards left out, with {tunes} of 61 tunes"
    assert done.stdout.startswith(said)
    assert LEFT_OUT in done.stdout.split("\n")[0]


def test_the_answer_is_that_of_the_other_shards(gone: Path, tmp_path: Path) -> None:
    joined = tmp_path / "rest.melodex"
    assert run(gone, "shards", "join", str(joined)).exit_code == 1
    done = run(gone, "shards", "join", str(joined), partial=True)
    assert (done.exit_code, "Partial answer" in done.output) == (0, True)
    for words in (
        QUESTION,
        ("list",),
        ("gather", "--mode", "dorian"),
        ("audit", "--whole-corpus"),
    ):
        expected = json.loads(run(joined, *words, "--format", "json").stdout)
        found = json.loads(run(gone, *words, "--format", "json", partial=True).stdout)
        assert found.pop("partial")["shards_left_out"] == [LEFT_OUT]
        same = json.dumps(found).replace(str(gone), str(joined))
        assert same == json.dumps(expected), words


def test_every_form_says_it(gone: Path, tmp_path: Path) -> None:
    told = json.loads(run(gone, *QUESTION, "--format", "json", partial=True).stdout)
    assert told["partial"]["remark"].startswith("Partial answer: 1 of 3 shards")
    assert told["partial"]["tunes_left_out"] == read_index(gone).shards[1].tunes
    text = run(gone, *QUESTION, "--format", "csv", partial=True).stdout
    rows = list(csv.DictReader(io.StringIO(text)))
    assert rows
    assert all(row["partial"].startswith("Partial answer") for row in rows)
    none = run(gone, "gather", "--tempo", "499", "--format", "csv", partial=True).stdout
    assert [row["partial"][:7] for row in csv.DictReader(io.StringIO(none))] == ["Partial"]
    for words in (QUESTION, ("lesson", "print", "Thursday")):
        for form in ("html", "pdf"):
            file = tmp_path / f"{words[0]}.{form}"
            done = run(gone, *words, "--output", str(file), partial=True)
            assert done.exit_code == 0, done.output
            assert "Partial answer" in done.stderr
            assert "Partial answer: 1 of 3 shards left out" in words_of(file), file


def words_of(file: Path) -> str:
    """The words of a page; of paper as another program reads them."""
    if file.suffix == ".html":
        return file.read_text("utf-8")
    read = subprocess.run(["pdftotext", file, "-"], capture_output=True, check=True)
    return " ".join(read.stdout.decode().split())


def test_whole_shards_say_nothing(sound: Path) -> None:
    for form in ("text", "json", "csv"):
        words = (*QUESTION, "--format", form)
        with_option, without = run(sound, *words, partial=True), run(sound, *words)
        assert with_option.stdout == without.stdout
        assert not with_option.stderr


def test_nothing_of_it_is_left_for_the_next_command(gone: Path) -> None:
    run(gone, *QUESTION, partial=True)
    assert absence_now() is None
    assert run(gone, *QUESTION).exit_code == 1


def test_no_shard_at_all_is_no_answer(sound: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(sound, tmp_path / "spoilt"))
    for file in folder.glob("shard-*"):
        file.unlink()
    done = run(folder, *QUESTION, partial=True)
    assert (done.exit_code, "shard 1 of 3 is missing" in done.output) == (1, True)


@pytest.mark.parametrize(
    "words",
    [("add", str(tunes_folder())), ("collection", "tag", "mine", "Marl Pit Hornpipe")],
)
def test_a_corpus_without_a_shard_is_not_changed(
    words: tuple[str, ...], gone: Path
) -> None:
    done = run(gone, *words, partial=True)
    assert (done.exit_code, "shard 2 of 3 is missing" in done.output) == (1, True)


def test_others_do_not_work_on_a_partial_answer(gone: Path) -> None:
    done = run(gone, "audit", "--whole-corpus", "--workers", "2", partial=True)
    assert (done.exit_code, "by this process alone" in done.output) == (2, True)


def test_python_goes_on_only_where_asked(gone: Path, sound: Path, tmp_path: Path) -> None:
    with pytest.raises(CorpusError, match="shard 2 of 3 is missing"):
        scripting.open(gone)
    corpus = scripting.open(gone, partial=True)
    found = corpus.resemble("3 5 3 1 3 1 4 6 4 3 1")
    remark = "Partial answer: 1 of 3 shards left out"
    assert found.partial.startswith(remark)
    assert str(found).startswith(remark)
    assert repr(found).endswith(", partial>")
    assert found.to_dict()["partial"]["shards_left_out"] == [LEFT_OUT]
    assert remark in found.to_csv()
    assert remark in found._repr_html_()
    found.save(tmp_path / "found.html")
    assert remark in (tmp_path / "found.html").read_text("utf-8")
    lesson = corpus.lesson("Thursday")
    assert str(lesson).startswith(remark)
    assert lesson.to_dict()["partial"]
    lesson.worksheet(tmp_path / "sheet.pdf")
    assert remark in words_of(tmp_path / "sheet.pdf")
    # Of another corpus, and of none, nothing of the kind is said.
    other = scripting.open(sound).resemble("3 5 3 1 3 1 4 6 4 3 1")
    own = str(tunes_folder() / "own" / "own_song.abc")
    assert (other.partial, scripting.describe(own).partial) == ("", "")
    assert "partial" not in other.to_dict()
    assert remark in found.to_json()


def test_what_is_asked_for_inside_ends_outside(gone: Path) -> None:
    with going_on_without() as absence:
        Corpus.open(gone).close()
    assert [shard.number for shard in absence.shards] == [2]
    with pytest.raises(CorpusError):
        Corpus.open(gone)


def test_rest_can_be_joined_and_counted(gone: Path, tmp_path: Path) -> None:
    with going_on_without():
        made = join(gone, tmp_path / "rest.melodex")
    index = read_index(gone)
    assert made.tune_count == index.shards[0].tunes + index.shards[2].tunes
