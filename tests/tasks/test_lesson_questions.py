"""Worksheets: every answer is what describe or compare says, checked another way.

The relatives are those that were planted in the demo's tunes and noted in its
PLANTED.json when the tunes were written.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.melody import degree_name
from melodex.tasks.compare import compare
from melodex.tasks.demo import tunes_folder
from melodex.tasks.describe.describe import describe
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.keeping import finds_of, found_by_hand, keep
from melodex.tasks.lesson.questions import (
    KINDS,
    ChordsQuestion,
    DegreesQuestion,
    KeyChangeQuestion,
    RelativeQuestion,
    SharedQuestion,
    worksheet,
)
from melodex.tasks.lesson.sets import open_lesson
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble

BOATS = (
    ("Marl Pit Hornpipe", "1-4"),
    ("Old Copper Bell", "1-4"),
    ("Foghorn Samba", "1-4"),
    ("Fog over the Basin", "3-6"),
    ("Rope and Pulley", "9-16"),
    ("The Eel Trap", "1-4"),
    ("The Clockmaker's Waltz", "7-12"),
    ("Mooring Lines", "9-12"),
)


def kept(path: Path, passages, name: str = "Sheet") -> None:
    with Corpus.open(path) as corpus:
        found = [found_by_hand(corpus, title, bars=bars) for title, bars in passages]
    keep(path, name, found, create=True)


def asked(path: Path, kinds=KINDS, name: str = "Sheet"):
    with Corpus.open(path) as corpus:
        return worksheet(corpus, open_lesson(corpus, name), kinds)


def of_kind(sheet, kind):
    found = [question for question in sheet.questions if isinstance(question, kind)]
    assert found, f"no {kind.__name__}"
    return found


def described_again(corpus: Corpus, example):
    """The description of the whole tune, as the command ``describe`` gives it."""
    return describe(find_passage(example.row.tune_id, corpus, fewest=1), corpus)


@pytest.fixture
def sheet(demo):
    kept(demo, BOATS)
    return asked(demo)


def test_degrees_and_numerals_are_those_in_the_grid_of_describe(sheet, demo):
    with Corpus.open(demo) as corpus:
        for question in of_kind(sheet, DegreesQuestion):
            example = question.example
            grid = described_again(corpus, example).grid
            bars = set(example.excerpt.bar)
            told = [text for bar in grid if bar.number in bars for text in bar.degrees]
            assert [degree_name(d) for d in question.answer if d is not None] == told
        for question in of_kind(sheet, ChordsQuestion):
            example = question.example
            grid = described_again(corpus, example).grid
            bars = {chord.bar for chord in example.excerpt.chords}
            first = example.excerpt.chords[0].bar
            told = [pair for bar in grid if bar.number in bars for pair in bar.chords]
            symbols = [example.excerpt.chords[place].text for place in question.asked]
            pairs = list(zip(symbols, question.answer, strict=True))
            # A chord held over the bar line may have neighbours in its own bar.
            assert pairs == told[-len(pairs) :], (example.title, first)


def test_changes_of_key_are_those_of_describe_and_not_printed(sheet, demo):
    with Corpus.open(demo) as corpus:
        for question in of_kind(sheet, KeyChangeQuestion):
            example = question.example
            spans = described_again(corpus, example).analysis.spans
            inside = [
                (span.first_bar, str(span.key))
                for span in spans
                if example.excerpt.onset_ticks[0]
                < span.onset_ticks
                <= (example.excerpt.onset_ticks[-1])
            ]
            assert [(key.bar, str(key.key)) for key in question.answer[1:]] == inside
            assert inside
            assert len(example.excerpt.keys) == 1


def test_shared_notes_are_those_that_compare_finds_in_the_corpus(sheet, demo):
    with Corpus.open(demo) as corpus:
        for question in of_kind(sheet, SharedQuestion):
            a, b = (
                find_passage(
                    e.row.tune_id,
                    corpus,
                    notes=read_span(
                        f"{e.row.first_note + 1}-{e.row.last_note + 1}", "notes"
                    ),
                )
                for e in (question.one, question.other)
            )
            again = compare(a, b).likeness
            assert question.answer == tuple(
                (pair.query, pair.tune)
                for pair in again.pairs
                if pair.relation in {"same degree and time", "same degree, other rhythm"}
            )
            assert len(question.answer) >= 0.6 * min(len(a.melody), len(b.melody))


def test_each_passage_is_asked_about_in_one_way_only(sheet):
    positions = [
        question.example.position
        for question in sheet.questions
        if isinstance(question, DegreesQuestion | ChordsQuestion)
    ]
    assert sorted(positions) == list(range(1, len(BOATS) + 1))


def test_the_relative_is_the_first_that_resemble_finds_and_wrong_ones_are_worse(
    sheet, demo
):
    with Corpus.open(demo) as corpus:
        for question in of_kind(sheet, RelativeQuestion):
            row = question.example.row
            notes = read_span(f"{row.first_note + 1}-{row.last_note + 1}", "notes")
            phrase = find_passage(row.tune_id, corpus, notes=notes).phrase()
            found = resemble(corpus, phrase, limit=40)
            points = {match.tune_id: match.points for match in found.matches}
            chosen = next(c for c in question.choices if c.letter == question.answer)
            assert chosen.passage.tune_id == found.matches[0].tune_id
            for choice in question.choices:
                assert choice.passage.tune_id != row.tune_id
                if choice is not chosen:
                    share = points[choice.passage.tune_id] / found.matches[0].points
                    assert 0.2 <= share <= 0.75
            bars = {
                c.passage.melody.bar[-1] - c.passage.melody.bar[0] for c in question.choices
            }
            assert max(bars) - min(bars) <= 1, "no choice is told by its length"


def test_the_planted_relatives_are_the_answers(demo):
    planted = json.loads((tunes_folder() / "PLANTED.json").read_text("utf-8"))["likenesses"]
    checked = 0
    for number, pair in enumerate(pair for pair in planted if not pair.get("hard")):
        first, last = pair["a"]["bars"]
        kept(demo, [(pair["a"]["title"], f"{first}-{last}")], name=f"Pair {number}")
        try:
            sheet = asked(demo, ("relative",), name=f"Pair {number}")
        except LessonError:
            # Said and tested elsewhere; enough pairs have to be left.
            continue
        (question,) = sheet.questions
        chosen = next(c for c in question.choices if c.letter == question.answer)
        assert chosen.passage.whole.title == pair["b"]["title"]
        checked += 1
    assert checked >= 5


def test_the_same_set_gives_the_same_questions(sheet, demo):
    assert asked(demo) == sheet


def test_a_set_of_one_has_no_shared_notes_and_says_so(demo):
    kept(demo, [("Fog over the Basin", "3-6")])
    sheet = asked(demo)
    assert any("no two passages share enough" in remark for remark in sheet.remarks)
    with pytest.raises(LessonError, match="nothing can be asked"):
        asked(demo, ("shared notes",))


def test_an_unknown_kind_of_question_is_refused(demo):
    kept(demo, [("Fog over the Basin", "3-6")])
    with pytest.raises(LessonError, match="'riddles' is no kind"):
        asked(demo, ("riddles",))


def test_a_gathered_set_gives_a_sheet_about_every_passage(demo):
    with Corpus.open(demo) as corpus:
        found = finds_of(corpus, gather(corpus, Wish(device="borrowed chord"), limit=12))
    keep(demo, "Sheet", found, create=True)
    sheet = asked(demo, ("degrees", "chords"))
    assert len(sheet.questions) == len(found)
