"""Plans of worksheets: what a teacher edits, and what is printed then."""

from __future__ import annotations

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.tasks.lesson.asking.records import plain_words
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.plan import plan_text, planned
from melodex.tasks.lesson.questions import worksheet
from melodex.tasks.lesson.sets import open_lesson

PASSAGES = (("Cut and Carry", "1-4"), ("Rope and Pulley", "9-12"), ("The Eel Trap", "1-4"))


@pytest.fixture
def sheet(demo):
    with Corpus.open(demo) as corpus:
        found = [found_by_hand(corpus, title, bars=bars) for title, bars in PASSAGES]
    keep(demo, "Sheet", found, create=True)
    with Corpus.open(demo) as corpus:
        return worksheet(corpus, open_lesson(corpus, "Sheet"))


def test_a_plan_that_was_not_edited_gives_the_same_sheet(sheet):
    assert planned(sheet, plan_text(sheet)) == sheet


def test_questions_are_reordered_left_out_and_reworded_and_keep_their_answers(sheet):
    blocks = plan_text(sheet).split("\n\n")[1:]
    first, second, third = blocks
    reworded = third.replace("(a) ", "(a) Now: ", 1) + "\n    > Take your time."
    made = planned(sheet, f"{reworded}\n\n{first}")
    assert [q.heading for q in made.questions] == [
        sheet.questions[2].heading,
        sheet.questions[0].heading,
    ]
    part = made.questions[0].parts[0]
    assert plain_words(part.task).startswith("Now: ")
    assert part.fields == sheet.questions[2].parts[0].fields
    assert made.questions[0].note == "Take your time."
    assert planned(sheet, f"{reworded}\n\n{first}") == made
    assert second


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("abcdef  What is this?", "abcdef is not a question of this set now"),
        ("(a) Write.", "this line belongs to no question"),
        ("# nothing", "no question is left"),
        ("x" * 600, "too long for a plan"),
    ],
)
def test_a_plan_that_fits_no_sheet_is_refused_with_its_line(sheet, text, message):
    with pytest.raises(LessonError, match=message):
        planned(sheet, text, "my plan")


def test_a_question_twice_without_parts_or_with_one_that_is_none_is_refused(sheet):
    first = plan_text(sheet).split("\n\n")[1]
    name = first.split()[0]
    for text, message in (
        (f"{first}\n{first}", f"{name} is twice"),
        (f"{name}  Heading", "no part of the question is left"),
        (f"{first}\n(h) More", "the question has no part"),
        (f"{first}\nwhat?", "no line of a plan"),
    ):
        with pytest.raises(LessonError, match=message) as caught:
            planned(sheet, text, "my plan")
        assert "my plan, line" in str(caught.value.where)
