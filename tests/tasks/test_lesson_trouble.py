"""Worksheets of sets that lack something: what is missing is said, the rest is asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.melody import ChordSymbol
from melodex.tasks.adding.add import add_paths
from melodex.tasks.lesson import sets
from melodex.tasks.lesson.asking.cutting import fitted
from melodex.tasks.lesson.asking.parts import is_sure
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.questions import worksheet
from melodex.tasks.lesson.sets import open_lesson

WITHOUT_CHORDS = """X:1
T:Nobody's Reel
M:4/4
L:1/8
K:G
GABc d2B2 | c2A2 B2G2 | GABc dedB | A2F2 G4 |]
"""


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    file = tmp_path / "own.abc"
    file.write_text(WITHOUT_CHORDS, encoding="utf-8")
    path = tmp_path / "own.melodex"
    add_paths(path, [file])
    with Corpus.open(path) as corpus:
        found = found_by_hand(corpus, "Nobody's Reel", bars="1-4")
    keep(path, "One", [found], create=True)
    return path


def opened(path: Path, kinds=()):
    with Corpus.open(path) as corpus:
        return worksheet(corpus, open_lesson(corpus, "One"), kinds)


def test_one_passage_without_chords_and_rights_is_asked_about_its_notes(shelf):
    sheet = opened(shelf)
    (question,) = sheet.questions
    assert question.kinds == ("degrees",)
    assert any("Rights not known" in remark for remark in sheet.lesson.remarks)
    assert any("one passage" in remark for remark in sheet.lesson.remarks)


def test_kinds_that_fit_no_passage_are_said_and_the_rest_printed(shelf):
    sheet = opened(shelf, ("chords", "metre"))
    assert [question.kinds for question in sheet.questions] == [("metre",)]
    assert any(remark.endswith("certain answer: chords.") for remark in sheet.remarks)
    with pytest.raises(LessonError, match="nothing can be asked") as caught:
        opened(shelf, ("chords",))
    assert "chords" in caught.value.hint


def test_a_set_whose_tune_is_gone_is_asked_about_from_its_own_copy(shelf):
    from melodex.corpus.writing.store import CorpusWriter

    before = opened(shelf)
    with Corpus.open(shelf) as corpus:
        tune = corpus.resolve("Nobody's Reel")
    with CorpusWriter.open(shelf) as writer:
        writer.remove([tune])
    after = opened(shelf)
    assert after.lesson.examples[0].state.kind != "as kept"
    assert [q.parts for q in after.questions] == [q.parts for q in before.questions]


def test_nothing_rests_on_a_key_that_is_unsure_or_on_chords_that_were_worked_out(shelf):
    with Corpus.open(shelf) as corpus:
        (example,) = open_lesson(corpus, "One").examples
    unsure = replace(example, labels=replace(example.labels, certainty=0.3))
    assert is_sure(fitted(example))
    assert not is_sure(fitted(unsure))
    chords = (ChordSymbol("G", 1, example.excerpt.onset_ticks[0]),)
    labels = replace(example.labels, numerals=("I",))
    for worked_out, left in ((False, chords), (True, ())):
        excerpt = replace(example.excerpt, chords=chords, chords_worked_out=worked_out)
        shown = fitted(replace(example, excerpt=excerpt, labels=labels))
        assert shown.excerpt.chords == left


def test_two_who_change_different_texts_of_a_set_at_once_both_do(shelf, monkeypatch):
    writing = sets.writing

    def after_another(path: Path, **options: bool):
        monkeypatch.setattr(sets, "writing", writing)
        sets.alter_lesson(path, "One", level="second year")
        return writing(path, **options)

    monkeypatch.setattr(sets, "writing", after_another)
    sets.alter_lesson(shelf, "One", topic="Turns")
    with Corpus.open(shelf) as corpus:
        lesson = open_lesson(corpus, "One")
    assert (lesson.row.topic, lesson.row.level) == ("Turns", "second year")
