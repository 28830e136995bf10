"""The calls: that each answers as its command does, and says what it cannot do."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas
import pytest
from click.testing import CliRunner

import melodex
from melodex.cli import melodex as command
from melodex.corpus.reader import Corpus as CorpusReader
from melodex.errors import (
    AnalysisError,
    CorpusError,
    LessonError,
    MelodexError,
    PassageError,
    PhraseError,
    PresentationError,
    ReadingError,
    UnknownTuneError,
)
from melodex.tasks.adding.add import add_paths

DEMO = Path(__file__).parents[2] / "corpus_demo"
OWN = DEMO / "own" / "own_song.abc"
PHRASE = "3 5 3 1 3 1 4 6 4 3 1 2 4 2 7, 2 7, 1 5, 5,"


def printed(corpus: melodex.Corpus, *words: str) -> str:
    """What a command prints over the same corpus."""
    done = CliRunner().invoke(
        command,
        ["--corpus", str(corpus.path), *words],
        env={"COLUMNS": "80", "NO_COLOR": "1"},
    )
    assert done.exit_code == 0, done.output
    return done.stdout


ASKED: dict[str, tuple[Callable[[melodex.Corpus], Any], list[str]]] = {
    "resemble": (
        lambda c: c.resemble(PHRASE, limit=2),
        ["resemble", PHRASE, "--limit", "2"],
    ),
    "compare": (
        lambda c: c.compare("Marl Pit Hornpipe", "The Eel Trap", bars="1-4,1-4"),
        ["compare", "Marl Pit Hornpipe", "The Eel Trap", "--bars", "1-4,1-4"],
    ),
    "audit": (lambda c: c.audit(OWN, limit=2), ["audit", str(OWN), "--limit", "2"]),
    "whole": (
        lambda c: c.audit_whole(limit=2),
        ["audit", "--whole-corpus", "--limit", "2"],
    ),
    "describe": (
        lambda c: c.describe("Fog over the Basin"),
        ["describe", "Fog over the Basin"],
    ),
    "gather": (
        lambda c: c.gather(progression="ii V I", limit=3),
        ["gather", "--progression", "ii V I", "--limit", "3"],
    ),
    "list": (lambda c: c.tunes(title="eel"), ["list", "--title", "eel"]),
}


@pytest.mark.parametrize("name", ASKED)
def test_a_result_prints_and_tells_as_its_command_does(name, corpus):
    ask, words = ASKED[name]
    found = ask(corpus)
    assert f"{found}\n" == printed(corpus, *words)
    assert found.to_dict() == json.loads(printed(corpus, *words, "--format", "json"))


@pytest.mark.parametrize("name", ASKED)
def test_a_result_says_itself_in_a_line_and_its_record_too(name, corpus):
    found = ASKED[name][0](corpus)
    for said in (repr(found), repr(found.record)):
        assert len(said) < 200 or name == "list"
        assert "\n" not in said
    assert type(found).__name__ in repr(found)


@pytest.mark.parametrize("name", ASKED)
def test_pandas_takes_the_rows_as_they_are(name, corpus):
    rows = ASKED[name][0](corpus).rows()
    table = pandas.DataFrame(rows)
    assert len(table) == len(rows) > 0
    assert list(table.columns) == list(rows[0])


@pytest.mark.parametrize("name", sorted(set(ASKED) - {"compare"}))
def test_csv_holds_as_many_lines_as_the_list_has_items(name, corpus):
    found = ASKED[name][0](corpus)
    lines = list(csv.DictReader(io.StringIO(found.to_csv())))
    assert len(lines) == len(found) == len(found.rows())
    assert list(found) == [found[i] for i in range(len(found))]


@pytest.mark.parametrize("as_path", [str, Path], ids=["str", "Path"])
def test_paths_are_text_or_pathlike_everywhere(as_path, tmp_path):
    file, folder = as_path(tmp_path / "x.melodex"), as_path(DEMO / "own")
    assert add_paths(file, [folder]).added == 2
    assert add_paths(file, folder).unchanged == 2
    with CorpusReader.open(file) as reader:
        assert reader.tune_count == 2
    assert len(melodex.read(as_path(OWN))) == 1
    corpus = melodex.open(file)
    assert corpus.audit(as_path(OWN)).record.own.whole.title == "Letter from the Far Lock"
    assert corpus.backup(as_path(tmp_path / "copy.melodex")).exists()


def test_a_phrase_may_be_typed_taken_from_a_tune_or_be_one(corpus):
    tune = corpus.tune("Marl Pit Hornpipe", bars=(1, 4))
    ways = [
        corpus.resemble(tune, limit=3),
        corpus.resemble(tune="Marl Pit Hornpipe", bars="1-4", limit=3),
        corpus.resemble(tune="Marl Pit Hornpipe", notes=(1, 20), limit=3),
    ]
    assert {tuple(m.tune_id for m in found) for found in ways} == {
        tuple(m.tune_id for m in ways[0])
    }
    assert ways[0][0].passage.whole.title == "The Eel Trap"
    assert corpus.resemble(tune, include_self=True)[0].tune_id == tune.tune_id
    assert "The Eel Trap" not in {
        m.passage.whole.title for m in corpus.resemble(tune, exclude=["The Eel Trap"])
    }


def test_passages_of_what_was_found_can_be_asked_about_in_turn(corpus):
    one, other = corpus.resemble(PHRASE, limit=2).passages
    assert (one.title, one.first_bar, one.last_bar) == ("Marl Pit Hornpipe", 1, 4)
    assert corpus.compare(one, other).record.likeness.same_function
    gathered = corpus.gather(progression="ii V I", limit=3)
    assert [t.first_bar for t in gathered.passages] == [e.first_bar for e in gathered]


def test_the_same_passages_are_named_in_several_ways(corpus):
    a, b = "Marl Pit Hornpipe", "The Eel Trap"
    ways = [
        corpus.compare(a, b, bars="1-4,5-8"),
        corpus.compare(a, b, bars=((1, 4), (5, 8))),
        corpus.compare(corpus.tune(a).bars(1, 4), corpus.tune(b).bars(5, 8)),
        melodex.compare(corpus.tune(a), corpus.tune(b), bars=("1-4", "5-8")),
    ]
    assert len({str(found) for found in ways}) == 1


def test_a_corpus_is_made_by_the_first_add_and_closed_by_with(tmp_path):
    with melodex.open(tmp_path / "new" / "tunes.melodex") as corpus:
        assert "not made yet" in repr(corpus)
        assert len(corpus) == 0
        assert bool(corpus)
        steps = []
        corpus.add(DEMO / "own", progress=lambda done, total: steps.append((done, total)))
        assert steps[-1] == (2, 2)
        assert len(corpus) == 2
        assert [tune.title for tune in corpus] == [row.title for row in corpus.tunes()]
        assert "Letter from the Far Lock" in corpus
        assert "Nothing of the Kind" not in corpus
        assert corpus.check() == ()
        (gone,) = corpus.remove("Letter from the Far Lock")
        assert len(gone) == 16
    assert "closed" in repr(corpus)
    for ask in (lambda: corpus.resemble("5 1 7 6"), lambda: corpus.add(OWN)):
        with pytest.raises(CorpusError, match="has been closed"):
            ask()


def test_what_could_not_be_added_is_named_and_the_rest_is_in(tmp_path):
    (tmp_path / "bad.mid").write_bytes(b"MThd, but no MIDI")
    corpus = melodex.open(tmp_path / "tunes.melodex")
    added = corpus.add(tmp_path / "bad.mid", OWN)
    assert (added.added, len(added.refusals)) == (1, 1)
    assert "1 refused" in repr(added)
    assert "bad.mid" in str(added)
    assert added.to_dict()["refused"][0]["source"].endswith("bad.mid")


def test_reading_a_file_warns_of_each_tune_that_is_left_out(tmp_path):
    file = tmp_path / "two.abc"
    file.write_text("X:1\nT:Good\nK:C\nCDEF|\n\nX:2\nT:Empty\nK:C\n\n", "utf-8")
    with pytest.warns(UserWarning, match="two.abc, tune 2"):
        (tune,) = melodex.read(file)
    assert tune.title == "Good"
    with pytest.raises(ReadingError, match=r"nothing\.abc"):
        melodex.read(tmp_path / "nothing.abc")


REFUSED = {
    "no such tune": (lambda c: c.tune("No Such Tune"), UnknownTuneError, "No Such Tune"),
    "no such bars": (lambda c: c.tune("The Eel Trap", bars=99), PassageError, "1 to 16"),
    "no phrase": (lambda c: c.resemble(), PhraseError, "a phrase or a tune"),
    "both": (lambda c: c.resemble("5 1", tune="x"), PhraseError, "not both"),
    "bars of a phrase": (lambda c: c.resemble("5 1 7", bars=1), PhraseError, "of a tune"),
    "no wish": (lambda c: c.gather(), AnalysisError, "nothing is asked"),
    "unknown wish": (lambda c: c.gather(devise="x"), AnalysisError, "no wish 'devise'"),
    "no such set": (lambda c: c.lesson("Nothing"), LessonError, "Nothing"),
    "no such form": (
        lambda c: c.describe(OWN).save(c.path.with_suffix(".doc")),
        PresentationError,
        "ending",
    ),
    "no svg of it": (
        lambda c: c.audit(OWN).save(c.path.with_suffix(".svg")),
        PresentationError,
        "svg",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_done_is_said(name, corpus):
    ask, kind, words = REFUSED[name]
    with pytest.raises(kind, match=words) as caught:
        ask(corpus)
    assert isinstance(caught.value, MelodexError)


def test_a_file_that_is_no_corpus_is_refused_when_it_is_opened(tmp_path):
    file = tmp_path / "letter.txt"
    file.write_text("Dear melodex,\n" * 100, "utf-8")
    with pytest.raises(CorpusError, match=r"letter\.txt"):
        melodex.open(file)
    assert file.read_text("utf-8").startswith("Dear")


def test_the_usual_corpus_is_that_of_the_commands(tmp_path, monkeypatch):
    monkeypatch.setenv("MELODEX_CORPUS", str(tmp_path / "usual.melodex"))
    assert melodex.open().path == tmp_path / "usual.melodex"


@pytest.mark.parametrize("ending", [".txt", ".json", ".csv", ".html", ".pdf"])
def test_a_result_is_saved_in_the_form_of_its_ending(ending, corpus, tmp_path):
    found = corpus.resemble(PHRASE, limit=1)
    data = found.save(tmp_path / f"found{ending}").read_bytes()
    if ending == ".pdf":
        assert data.startswith(b"%PDF-")
    else:
        assert "Marl Pit Hornpipe" in data.decode("utf-8")


@pytest.mark.parametrize("ending", [".svg", ".mid", ".musicxml", ".abc"])
def test_a_comparison_is_saved_as_picture_sound_and_notation(ending, corpus, tmp_path):
    pair = corpus.compare("Marl Pit Hornpipe", "The Eel Trap", bars="1-4,1-4")
    data = pair.save(tmp_path / f"pair{ending}").read_bytes()
    start = {".svg": b"<svg", ".mid": b"MThd", ".musicxml": b"<?xml", ".abc": b"X:1"}
    assert data.startswith(start[ending])


def test_a_teaching_set_from_a_find_to_a_worksheet(corpus, tmp_path):
    lesson = corpus.gather(progression="ii V I", limit=3).keep("Two five one")
    assert repr(lesson) == "<Lesson 'Two five one': 3 passages>"
    lesson.keep("The Eel Trap", bars=(1, 4), why="for contrast")
    assert len(lesson) == len(lesson.passages) == len(lesson.rows()) == 4
    assert lesson.to_dict()["examples"][3]["reason"] == "for contrast"
    lesson.note(4, "Sing it first.").move(4, 1)
    assert lesson.to_dict()["examples"][0]["note"] == "Sing it first."
    assert str(lesson) + "\n" == printed(corpus, "lesson", "show", "Two five one")
    assert len(lesson.arrange()) >= 4
    lesson.drop(4).change(level="second year")
    assert "second year" in str(lesson)
    assert lesson.copy("Again").name == "Again"
    assert [each.name for each in corpus.lessons()] == ["Again", "Two five one"]
    assert lesson.handout(tmp_path / "handout.pdf").read_bytes().startswith(b"%PDF-")
    assert "worksheet" in lesson.worksheet(tmp_path / "w.html").read_text("utf-8")
    assert lesson.handout(tmp_path / "all.mid").read_bytes().startswith(b"MThd")
    with pytest.raises(PresentationError, match="midi form"):
        lesson.worksheet(tmp_path / "w.mid")
    lesson.delete()
    assert [each.name for each in corpus.lessons()] == ["Again"]
    packed = corpus.lesson("Again").pack(tmp_path / "again.zip")
    assert len(corpus.unpack(packed, name="Shared")) == 3


def test_nothing_found_makes_no_set(corpus):
    nothing = corpus.gather(title="no tune is called so", mode="minor")
    assert not nothing
    with pytest.raises(LessonError, match="nothing was found"):
        nothing.keep("Empty")
    assert corpus.lessons() == []


def test_notes_of_a_tune_are_a_table(corpus):
    notes = pandas.DataFrame(corpus.tune("The Eel Trap").bars(1, 2).notes())
    assert list(notes.note[:4]) == ["F4", "A4", "F4", "D4"]
    assert list(notes.degree[:4]) == ["b3", "5", "b3", "1"]
    assert notes.duration_quarters.sum() == 8
    assert list(notes.chord.unique()) == ["Dm", "Gm"]


def test_no_result_is_written_over_a_corpus_or_what_another_wrote(corpus, tmp_path):
    found = corpus.resemble(PHRASE, limit=1)
    before = corpus.path.read_bytes()
    other = melodex.open(tmp_path / "other.txt")
    other.add(OWN)
    with pytest.raises(CorpusError, match=r"other\.txt"):
        found.save(other.path, force=True)
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear all,", "utf-8")
    with pytest.raises(PresentationError, match=r"letter\.txt"):
        found.save(letter)
    assert letter.read_text("utf-8") == "Dear all,"
    assert found.save(letter, force=True) == found.save(letter) == letter
    lesson = found.keep("Set")
    with pytest.raises(CorpusError):
        lesson.pack(corpus.path, force=True)
    assert len(corpus) == 61
    assert corpus.path.read_bytes()[:16] == before[:16]
