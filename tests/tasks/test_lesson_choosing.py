"""The questions that were chosen for a set: kept with it, undone, packed, copied."""

from __future__ import annotations

from dataclasses import replace

import pytest

from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.presentation.lesson.pack import packed_set
from melodex.tasks.collection.undo import undo
from melodex.tasks.lesson.asking.records import plain_words
from melodex.tasks.lesson.choosing import choice_of, keep_choice, moved, put_out, with_kinds
from melodex.tasks.lesson.file import unpack_set
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import copy_lesson, drop, open_lesson, remove_lesson

PASSAGES = (("Cut and Carry", "1-4"), ("Rope and Pulley", "9-12"), ("The Eel Trap", "1-4"))


@pytest.fixture
def path(demo):
    with Corpus.open(demo) as corpus:
        found = [found_by_hand(corpus, title, bars=bars) for title, bars in PASSAGES]
    keep(demo, "Sheet", found, create=True)
    return demo


def choice(path, name="Sheet"):
    with Corpus.open(path) as corpus:
        return choice_of(corpus, open_lesson(corpus, name))


def reworded(plan):
    first, *others = plan.wanted
    first = replace(first, tasks={**first.tasks, "a": "Now write."}, words=("Slowly.",))
    return replace(plan, wanted=(first, *others), words=("For Tuesday.",))


def test_without_a_choice_all_is_asked_as_it_suits_the_set(path):
    found = choice(path)
    assert not found.is_kept
    assert found.sheet == found.every


def test_order_words_and_what_is_left_out_are_kept_and_print_the_same_sheet(path):
    before = choice(path)
    names = [each.name for each in before.plan.wanted]
    plan = moved(reworded(before.plan), names[0], 1)
    keep_choice(path, "Sheet", put_out(plan, [names[2]], is_out=True))
    made = choice(path)
    assert [q.name for q in made.every.questions] == names
    assert [q.name for q in made.sheet.questions] != names[:2]
    second = made.sheet.questions[1]
    assert plain_words(second.parts[0].task) == "Now write."
    assert second.parts[0].fields == before.every.questions[0].parts[0].fields
    assert second.note == "Slowly."
    assert made.sheet.words == ("For Tuesday.",)
    assert len(made.sheet.questions) == len(names) - 1
    assert made.sheet == choice(path).sheet


def test_a_choice_is_undone_and_goes_with_its_set(path):
    keep_choice(path, "Sheet", reworded(choice(path).plan))
    keep_choice(path, "Sheet", None)
    assert not choice(path).is_kept
    undo(path)
    kept = choice(path)
    assert kept.plan.words == ("For Tuesday.",)
    copy_lesson(path, "Sheet", "Copy")
    assert choice(path, "Copy").sheet.questions == kept.sheet.questions
    with Corpus.open(path) as corpus:
        packed = packed_set(open_lesson(corpus, "Sheet"))
    unpack_set(path, packed, "set.zip", name="Unpacked")
    assert choice(path, "Unpacked").plan.words == ("For Tuesday.",)
    remove_lesson(path, "Sheet")
    undo(path)
    assert choice(path).plan == kept.plan
    repair_corpus(path)
    assert choice(path).plan == kept.plan


def test_when_the_set_changes_what_fits_of_the_choice_holds_and_the_rest_is_said(path):
    keep_choice(path, "Sheet", reworded(choice(path).plan))
    drop(path, "Sheet", [3])
    made = choice(path)
    assert plain_words(made.sheet.questions[0].parts[0].task) == "Now write."
    assert any("cannot be asked any more" in remark for remark in made.sheet.remarks)


def test_other_kinds_come_last_and_nothing_at_all_is_refused(path):
    before = choice(path)
    with Corpus.open(path) as corpus:
        lesson = open_lesson(corpus, "Sheet")
        plan = with_kinds(corpus, lesson, before.plan, ("degrees",), "second")
    keep_choice(path, "Sheet", plan)
    made = choice(path)
    assert {k for q in made.sheet.questions for k in q.kinds} == {"degrees"}
    assert not made.remarks
    names = [each.name for each in plan.wanted]
    keep_choice(path, "Sheet", put_out(plan, names, is_out=True))
    with pytest.raises(LessonError, match="no question is left"):
        _ = choice(path).sheet
