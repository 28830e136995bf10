"""Questions that are sung, heard or gone on with, and two passages side by side.

Scales are music21's; solfa and what a sequence is are common practice, no source.
"""

from __future__ import annotations

import pytest
from music21 import scale

from melodex.corpus.reader import Corpus
from melodex.melody import pitch_class_name
from melodex.tasks.adding.add import add_paths
from melodex.tasks.lesson.asking.records import plain_words
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.questions import worksheet
from melodex.tasks.lesson.sets import open_lesson

TUNES = """\
X:1
T:Steps of Slate
M:4/4
L:1/4
K:C
"C" C D E G | "Dm" D E F A | "G7" B A G F | "C" E D C2 |]

X:2
T:Steps of Clay
M:4/4
L:1/4
K:G
"G" G A B2 | "Am" A c B e | "D7" f e d2 | "G" B A G2 |]

X:3
T:Sharpened Steps
M:4/4
L:1/4
K:C
"C" C ^D E G | "Dm" D ^E F A | "G7" E G F D | "C" C2 C2 |]
"""


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    folder = tmp_path_factory.mktemp("aloud")
    (folder / "steps.abc").write_text(TUNES, encoding="utf-8")
    path = folder / "steps.melodex"
    add_paths(path, [folder / "steps.abc"])
    with Corpus.open(path) as corpus:
        titles = ("Steps of Slate", "Steps of Clay", "Sharpened Steps")
        found = [found_by_hand(corpus, title, bars="1-4") for title in titles]
    keep(path, "Steps", found, create=True)
    return path


def asked(path, *kinds):
    with Corpus.open(path) as corpus:
        return worksheet(corpus, open_lesson(corpus, "Steps"), kinds)


def told(part):
    return [[plain_words(words) for words in field.accepted] for field in part.fields]


def test_a_sequence_is_gone_on_with_inside_the_scale_and_only_there(corpus):
    question, *others = asked(corpus, "sequence").questions
    (shown,) = question.passages
    assert all(each.passages[0].excerpt.title != "Sharpened Steps" for each in others)
    assert shown.excerpt.title == "Steps of Slate"
    names = [pitch_class_name(fifths) for fifths in shown.excerpt.fifths]
    steps = [each.name for each in scale.MajorScale("C").getPitches()][:7]
    model, goes_on = names[:4], names[4:]
    by = steps.index(goes_on[0]) - steps.index(model[0])
    right = [steps[(steps.index(name) + by) % 7] for name in model]
    assert told(question.parts[0]) == [[" ".join(right[1:])]]
    assert sorted(shown.unwritten) == [5, 6, 7]


def test_what_is_sung_is_named_in_degrees_and_solfa(corpus):
    first = asked(corpus, "sing").questions[0]
    assert told(first.parts[0]) == [
        [
            "1 2 3 5 2 3 4 6 7 6 5 4 3 2 1",
            "do re mi sol re mi fa la ti la sol fa mi re do",
        ]
    ]
    assert first.parts[0].is_open
    assert plain_words(first.parts[0].task).startswith("To be sung: ")


def test_what_is_heard_is_not_printed(corpus):
    for question in asked(corpus, "hear").questions:
        assert all(shown.heard == "nothing" for shown in question.passages)
        assert plain_words(question.parts[0].task).startswith("To be heard: ")


def test_shared_notes_are_those_of_one_degree_at_one_time_and_boxed_in_the_answer(corpus):
    question = asked(corpus, "shared notes").questions[0]
    a, b = question.passages
    assert (a.excerpt.title, b.excerpt.title) == ("Steps of Slate", "Steps of Clay")
    # 1 2 3 5 | 2 3 4 6 | 7 6 5 4 | 3 2 1 beside 1 2 3 - | 2 4 3 6 | 7 6 5 - | 3 2 1.
    assert told(question.parts[0]) == [["11"]]
    assert sorted(a.answer_notes) == [0, 1, 2, 4, 7, 8, 9, 10, 12, 13, 14]
    assert not a.marked_notes


def test_two_passages_are_set_side_by_side_in_degrees_and_words(corpus):
    question = asked(corpus, "compare").questions[0]
    assert told(question.parts[0]) == [["1"], ["1"], ["1"], ["1"]]
    words = plain_words(question.parts[1].fields[0].accepted[0])
    assert "Shared: metre 4/4." in words
    assert "Shared: last degree 1." in words
