"""Undoing one change of a set by its number leaves what was done to the set since.

Each is also done the other way round, with a set that nobody changed meanwhile.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.lessons import WORDS_HELD, example_rows, find_lesson
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.lesson_changes import (
    keys_in,
    outline_of,
    taken_back,
    without_change,
)
from melodex.corpus.writing.taken_out import TakenOut
from melodex.errors import CorpusError, LessonError
from melodex.presentation.text.undo import done_text, undone_text
from melodex.tasks.collection.held import Held, held_words, hold_words
from melodex.tasks.collection.undo import Undone, undo, what_was_done
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import (
    alter_lesson,
    annotate,
    drop,
    move,
    new_lesson,
    open_lesson,
    remove_lesson,
    writing,
)
from melodex.tasks.lesson.words import mark_of_text, passage_keys

TUNES = ("The Eel Trap", "Marl Pit Hornpipe", "Snail Post", "Grey Punt")


@pytest.fixture
def path(whole_demo: Path, tmp_path: Path) -> Path:
    copied = tmp_path / "own.melodex"
    copied.write_bytes(whole_demo.read_bytes())
    with Corpus.open(copied) as corpus:
        found = [found_by_hand(corpus, tune, bars="1-4") for tune in TUNES]
    keep(copied, "Set", found, create=True)
    return copied


def titles(path: Path, name: str = "Set") -> list[str]:
    with Corpus.open(path) as corpus:
        return [each.excerpt.title for each in open_lesson(corpus, name).examples]


def notes(path: Path, name: str = "Set") -> list[str]:
    with Corpus.open(path) as corpus:
        return [each.row.note for each in open_lesson(corpus, name).examples]


def number_of(path: Path, work: Callable[[], object]) -> int:
    """Do something; the number of the change that it made."""
    work()
    with Corpus.open(path) as corpus:
        return what_was_done(corpus)[0].number


def test_a_passage_comes_back_and_words_written_since_stay(path):
    removal = number_of(path, lambda: drop(path, "Set", [2]))
    annotate(path, "Set", 1, "written since")
    alter_lesson(path, "Set", new_name="Renamed", topic="Turns")
    undone = undo(path, removal)
    assert undone.stayed == ()
    assert titles(path, "Renamed") == list(TUNES)
    assert notes(path, "Renamed")[0] == "written since"
    assert check_corpus(path).faults == ()


def test_a_move_is_taken_back_and_a_removal_since_stays(path):
    moving = number_of(path, lambda: move(path, "Set", 1, 4))
    drop(path, "Set", [1])
    undo(path, moving)
    assert titles(path) == [TUNES[0], TUNES[2], TUNES[3]]


def test_words_are_taken_back_and_what_others_wrote_beside_them_stays(path):
    writing = number_of(path, lambda: annotate(path, "Set", 1, "one"))
    annotate(path, "Set", 1, "one and two")
    drop(path, "Set", [4])
    undo(path, writing)
    assert notes(path) == ["and two", "", ""]


def test_what_stands_there_no_more_is_said_and_nothing_is_changed(path):
    writing = number_of(path, lambda: annotate(path, "Set", 1, "one"))
    annotate(path, "Set", 1, "something else")
    with pytest.raises(LessonError, match="does not stand there any more"):
        undo(path, writing)
    assert notes(path)[0] == "something else"
    with Corpus.open(path) as corpus:
        assert len(what_was_done(corpus)) == 2


def test_what_was_changed_since_is_named_and_the_rest_is_taken_back(path):
    both = number_of(
        path, lambda: alter_lesson(path, "Set", topic="Turns", notes="For June.")
    )
    alter_lesson(path, "Set", notes="For July.")
    undone = undo(path, both)
    assert undone.stayed == ("its notes",)
    assert "left as it is: its notes" in undone_text(undone)
    with Corpus.open(path) as corpus:
        row = find_lesson(corpus, "Set")
        assert (row.topic, row.notes) == ("", "For July.")


def test_a_deleted_set_comes_back_and_takes_no_other_ones_place(path):
    removal = number_of(path, lambda: remove_lesson(path, "Set"))
    new_lesson(path, "Set", topic="Another")
    undo(path, removal)
    assert titles(path, "Set (2)") == list(TUNES)
    with Corpus.open(path) as corpus:
        assert find_lesson(corpus, "Set").topic == "Another"


def test_a_change_of_a_set_that_is_gone_says_so(path):
    writing = number_of(path, lambda: annotate(path, "Set", 1, "one"))
    removal = number_of(path, lambda: remove_lesson(path, "Set"))
    with pytest.raises(LessonError, match="was deleted meanwhile"):
        undo(path, writing)
    undo(path, removal)
    undo(path, writing)
    assert notes(path)[0] == ""


def test_the_list_says_what_was_done_to_a_set(path):
    drop(path, "Set", [2])
    move(path, "Set", 1, 2)
    annotate(path, "Set", 1, "one")
    alter_lesson(path, "Set", new_name="Renamed")
    remove_lesson(path, "Renamed")
    with Corpus.open(path) as corpus:
        found = what_was_done(corpus)
    assert [each.what for each in found] == [
        "deleted",
        "renamed",
        "words",
        "moved",
        "taken out",
    ]
    assert "took passages out of the set" in done_text(found)


def test_a_change_that_an_earlier_version_kept_is_undone_whole_and_that_is_said(
    path, monkeypatch
):
    take = TakenOut.take_set

    def without_outline(self, name, content, what):
        take(self, name, {n: v for n, v in content.items() if n != "after"}, "")

    with monkeypatch.context() as patch:
        patch.setattr(TakenOut, "take_set", without_outline)
        removal = number_of(path, lambda: drop(path, "Set", [2]))
    annotate(path, "Set", 1, "written since")
    undone = undo(path, removal)
    assert undone.whole == ("Set",)
    assert "is as it was then" in undone_text(undone)
    assert (titles(path), notes(path)[0]) == (list(TUNES), "")
    # What went with it is had again.
    undo(path)
    assert notes(path)[0] == "written since"


def test_numbers_of_sets_outlive_a_repair(path):
    new_lesson(path, "A set that comes first")
    removal = number_of(path, lambda: drop(path, "Set", [2]))
    hold_words(path, [Held(0, "No such set", "p", "topic", "held", "")])
    repair_corpus(path)
    with Corpus.open(path) as corpus:
        assert [each.text for each in held_words(corpus)] == ["held"]
    undo(path, removal)
    assert titles(path) == list(TUNES)
    assert titles(path, "A set that comes first") == []


def test_held_words_come_back_by_undoing_whoever_undoes(path):
    with Corpus.open(path) as corpus:
        row = find_lesson(corpus, "Set")
        keys = passage_keys(example_rows(corpus, row.id))
    removal = number_of(path, lambda: drop(path, "Set", [1, 2]))
    seen = mark_of_text("")
    hold_words(path, [Held(row.id, "Set", "p", keys[0], "typed late", seen)])
    hold_words(path, [Held(row.id, "Set", "p", keys[0], "typed late, mended", seen)])
    hold_words(path, [Held(row.id, "Set", "q", keys[0], "by another page", seen)])
    hold_words(path, [Held(0, "No such set", "q", "topic", "of no set", seen)])
    assert isinstance(undo(path, removal), Undone)
    assert notes(path)[0] == "typed late, mended\n\nby another page"
    with Corpus.open(path) as corpus:
        assert [each.text for each in held_words(corpus)] == ["of no set"]
    with pytest.raises(CorpusError):
        undo(path, removal)


@pytest.mark.parametrize("text", ["{", "7", '[{"own": 1}]', "[" * 100_000])
def test_words_that_cannot_be_read_stop_nothing(path, text):
    with writing(path) as writer, writer.transaction():
        writer.put_setting(WORDS_HELD, text)
    with Corpus.open(path) as corpus:
        assert held_words(corpus) == ()
    hold_words(path, [Held(0, "No such set", "p", "topic", "held", "")])
    with Corpus.open(path) as corpus:
        assert [each.text for each in held_words(corpus)] == ["held"]


def done_to(draw: random.Random, state: dict[str, Any]) -> dict[str, Any]:
    """Some change of a set."""
    examples = [dict(each) for each in state["examples"]]
    lesson = dict(state["lesson"])
    what = draw.choice(("drop", "move", "note", "topic", "add"))
    if what == "drop" and examples:
        examples.pop(draw.randrange(len(examples)))
    elif what == "move" and examples:
        examples.insert(draw.randrange(len(examples)), examples.pop())
    elif what == "note" and examples:
        examples[draw.randrange(len(examples))]["note"] = f"w{draw.random()}"
    elif what == "topic":
        lesson["topic"] = f"t{draw.random()}"
    else:
        place, number = draw.randint(0, len(examples)), draw.randrange(10**9)
        examples.insert(
            place, {"tune_id": "ab", "first_note": number, "last_note": 0, "note": ""}
        )
    return {"lesson": lesson, "examples": examples, "plan": ""}


@pytest.mark.parametrize("seed", range(200))
def test_taking_back_changes_last_first_gives_what_was_there(seed):
    draw = random.Random(seed)
    lesson = {"id": 1, "name": "Set", "topic": "", "level": "", "notes": ""}
    states: list[dict[str, Any]] = [{"lesson": lesson, "examples": [], "plan": ""}]
    for _ in range(6):
        states.append(done_to(draw, states[-1]))
    now = states[-1]
    for before, after in zip(states[-2::-1], states[:0:-1], strict=True):
        now, stayed = without_change(now, before, outline_of(after))
        assert stayed == ()
        assert now == before
    # Any one alone: what others wrote since is in it, unless its passage is gone.
    place = draw.randrange(5)
    back, _ = without_change(states[-1], states[place], outline_of(states[place + 1]))
    since = set(keys_in(states[-1]["examples"])) - set(
        keys_in(states[place + 1]["examples"])
    )
    assert since <= set(keys_in(back["examples"]))


def test_a_text_is_taken_back_where_it_stands_once():
    assert taken_back("one and two", "", "one") == "and two"
    assert taken_back("one and one", "", "one") is None
    assert taken_back("another", "", "one") is None
