"""Teaching sets: kept through whatever happens to their tunes, and put in order."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import EmptyMelodyError, LessonError, PassageError, UnknownTuneError
from melodex.melody import Melody
from melodex.reading import read_path
from melodex.tasks.audit.audit import audit
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.keeping import (
    MOST_NOTES,
    finds_of,
    found_by_hand,
    keep,
    surroundings,
    take_nearest,
)
from melodex.tasks.lesson.measures import measures_of
from melodex.tasks.lesson.order import apply_arrangement, arrange
from melodex.tasks.lesson.sets import (
    alter_lesson,
    annotate,
    copy_lesson,
    drop,
    list_lessons,
    move,
    new_lesson,
    open_lesson,
    remove_lesson,
    rewritten,
)
from melodex.tasks.lesson.undoing import put_instead
from melodex.tasks.lesson.words import passage_keys
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble

TUNES = """\
X:1
T:Salt Stair
C:Ila Brenn
Z:Copyright nobody, invented
M:4/4
L:1/4
K:C
"C" C E G F | "F" E D E F | "G7" G A G F | "C" D E D C |]

X:2
T:Far Bell
M:6/8
L:1/8
K:Eb
"Eb" E2 B B2 G | c3 B3 | "Abm" A2 _c G2 E | "Eb" F3 E3 |]

X:3
T:Low Gate
M:4/4
L:1/4
K:G
"G" G B d c | "C" B A B c | "D7" d e d c | "G" A B A G |]
"""


def added(path: Path, corpus: Path) -> None:
    with CorpusWriter.open(corpus) as writer:
        assert not writer.add_reading(read_path(path)).refusals


@pytest.fixture
def tunes(tmp_path: Path) -> Path:
    path = tmp_path / "tunes.abc"
    path.write_text(TUNES, encoding="utf-8")
    return path


@pytest.fixture
def corpus_path(tmp_path: Path, tunes: Path) -> Path:
    path = tmp_path / "set.melodex"
    added(tunes, path)
    return path


def kept(corpus_path: Path, *passages: tuple[str, str], name: str = "Steps") -> None:
    with Corpus.open(corpus_path) as corpus:
        found = [found_by_hand(corpus, tune, bars=bars) for tune, bars in passages]
    keep(corpus_path, name, found, create=True)


def opened(corpus_path: Path, name: str = "Steps", **more: bool):
    with Corpus.open(corpus_path) as corpus:
        return open_lesson(corpus, name, **more)


def titles(lesson) -> list[str]:
    return [example.title for example in lesson.examples]


# Making and changing.


def test_a_set_is_made_listed_changed_copied_and_deleted(corpus_path):
    new_lesson(corpus_path, "Steps", topic="stepwise motion", level="first year")
    kept(corpus_path, ("Salt Stair", "1-2"), ("Far Bell", "3-4"))
    alter_lesson(corpus_path, "steps", new_name="Stairs", notes="Sing first.")
    copy_lesson(corpus_path, "Stairs", "Evening")
    with Corpus.open(corpus_path) as corpus:
        lines = [(line.row.name, line.example_count) for line in list_lessons(corpus)]
        row = open_lesson(corpus, "Stairs").row
    assert lines == [("Evening", 2), ("Stairs", 2)]
    assert (row.topic, row.level, row.notes) == (
        "stepwise motion",
        "first year",
        "Sing first.",
    )
    remove_lesson(corpus_path, "Stairs")
    assert titles(opened(corpus_path, "Evening")) == [
        "Salt Stair, bars 1-2",
        "Far Bell, bars 3-4",
    ]
    assert check_corpus(corpus_path).faults == ()


def test_passages_are_moved_annotated_and_dropped(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"), ("Far Bell", "3-4"), ("Low Gate", "1-2"))
    assert titles(move(corpus_path, "Steps", 3, 1))[0] == "Low Gate, bars 1-2"
    annotate(corpus_path, "Steps", 2, "Listen to\nthe third note.")
    left = drop(corpus_path, "Steps", [3, 3])
    assert titles(left) == ["Low Gate, bars 1-2", "Salt Stair, bars 1-2"]
    assert left.examples[1].row.note == "Listen to\nthe third note."


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda path: new_lesson(path, "  "), "cannot be the name"),
        (lambda path: new_lesson(path, "a" * 81), "cannot be the name"),
        (lambda path: new_lesson(path, "a\x07b"), "cannot be the name"),
        (lambda path: new_lesson(path, "Steps"), "already"),
        (lambda path: new_lesson(path, "x", notes="n" * 4001), "more than 4000"),
        (lambda path: alter_lesson(path, "Nobody"), "no teaching set called 'Nobody'"),
        (lambda path: move(path, "Steps", 1, 3), "no passage 3"),
        (lambda path: drop(path, "Steps", [0]), "no passage 0"),
        (lambda path: annotate(path, "Steps", 2, ""), "it has 1"),
        (lambda path: take_nearest(path, "Steps"), "nothing is offered"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_changed(corpus_path, call, said):
    kept(corpus_path, ("Salt Stair", "1-2"))
    before = opened(corpus_path)
    with pytest.raises(LessonError, match=said):
        call(corpus_path)
    assert opened(corpus_path) == before


def test_a_passage_that_is_not_there_is_refused(corpus_path):
    with Corpus.open(corpus_path) as corpus:
        with pytest.raises(PassageError, match="bars 9-12"):
            found_by_hand(corpus, "Salt Stair", bars="9-12")
        with pytest.raises(UnknownTuneError, match="Nobody"):
            found_by_hand(corpus, "Nobody", bars="1")
        with pytest.raises(EmptyMelodyError, match="too few"):
            found_by_hand(corpus, "Salt Stair", notes="1-2")


def test_the_same_passage_is_not_kept_twice(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"))
    with Corpus.open(corpus_path) as corpus:
        found = [found_by_hand(corpus, "Salt Stair", bars=bars) for bars in ("1-2", "3-4")]
    report = keep(corpus_path, "Steps", [*found, found[1]])
    assert report.kept == ("Salt Stair, bars 3-4",)
    assert report.already == ("Salt Stair, bars 1-2", "Salt Stair, bars 3-4")


def test_a_set_is_made_only_where_that_was_asked_for(corpus_path):
    with Corpus.open(corpus_path) as corpus:
        found = [found_by_hand(corpus, "Salt Stair", bars="1-2")]
    with pytest.raises(LessonError, match="no teaching set"):
        keep(corpus_path, "Misspelt", found)


def test_a_change_that_somebody_else_made_meanwhile_is_not_lost(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"), ("Far Bell", "3-4"))
    before = opened(corpus_path)
    annotate(corpus_path, "Steps", 1, "new words")
    with pytest.raises(LessonError, match="changed meanwhile"):
        apply_arrangement(corpus_path, arrange(before))
    assert opened(corpus_path).examples[0].row.note == "new words"


def test_one_passage_and_unknown_rights_are_said(corpus_path):
    kept(corpus_path, ("Far Bell", "1-4"))
    lesson = opened(corpus_path)
    assert lesson.examples[0].rights == "rights not known"
    assert any("one passage" in remark for remark in lesson.remarks)
    assert any("Rights not known: 1" in remark for remark in lesson.remarks)


def test_a_passage_too_long_for_an_example_is_refused(tmp_path):
    path = tmp_path / "long.abc"
    path.write_text(f"X:1\nT:Long\nM:4/4\nL:1/4\nK:C\n{'CDEF|' * (MOST_NOTES // 4 + 1)}\n")
    corpus_path = tmp_path / "long.melodex"
    added(path, corpus_path)
    with Corpus.open(corpus_path) as corpus:
        found = [found_by_hand(corpus, "Long")]
    with pytest.raises(LessonError, match="too many for an example"):
        keep(corpus_path, "Steps", found, create=True)


# What happens to tunes.


def test_a_set_survives_adding_again_and_renaming_the_file(corpus_path, tunes):
    kept(corpus_path, ("Salt Stair", "1-2"), ("Far Bell", "3-4"))
    added(tunes, corpus_path)
    tunes.rename(tunes.with_name("renamed.abc"))
    added(tunes.with_name("renamed.abc"), corpus_path)
    with CorpusWriter.open(corpus_path) as writer:
        remove_places(writer, source=str(tunes))
    assert {e.state.kind for e in opened(corpus_path).examples} == {"as kept"}


def test_a_changed_tune_is_said_and_the_same_notes_are_offered(corpus_path, tunes):
    kept(corpus_path, ("Salt Stair", "3-4"))
    tunes.write_text(
        TUNES.replace("C E G F | ", "C E G F | z4 | ").replace("Stair", "Step")
    )
    added(tunes, corpus_path)
    (example,) = opened(corpus_path).examples
    assert example.state.kind == "changed"
    assert "the same notes stand in bars 4-5 of Salt Step" in example.state.sentence
    assert example.title == "Salt Stair, bars 3-4", "the copy is shown meanwhile"
    (mended,) = take_nearest(corpus_path, "Steps").examples
    assert (mended.title, mended.state.kind) == ("Salt Step, bars 4-5", "as kept")


def test_a_changed_passage_is_offered_with_how_much_agrees(corpus_path, tunes):
    kept(corpus_path, ("Salt Stair", "1-4"))
    annotate(corpus_path, "Steps", 1, "kept words")
    tunes.write_text(TUNES.replace("E D E F", "E D E E"))
    added(tunes, corpus_path)
    (example,) = opened(corpus_path).examples
    near = example.state.nearest
    assert near is not None
    assert near.agreement == pytest.approx(15 / 16, abs=1e-3)
    assert "94% of the notes agree" in example.state.sentence
    (mended,) = take_nearest(corpus_path, "Steps", [1]).examples
    assert mended.row.note == "kept words"
    assert mended.excerpt.midi[7] == 64


def test_undoing_what_took_the_nearest_leaves_what_was_written_since(corpus_path, tunes):
    kept(corpus_path, ("Salt Stair", "3-4"))
    before = opened(corpus_path)
    tunes.write_text(TUNES.replace("C E G F | ", "C E G F | z4 | "))
    added(tunes, corpus_path)
    mended = take_nearest(corpus_path, "Steps")
    annotate(corpus_path, "Steps", 1, "written since")
    (key,) = passage_keys(mended.rows)
    again = put_instead(corpus_path, mended.row.id, key, before.rows[0])
    (row,) = opened(corpus_path).rows
    assert row == replace(before.rows[0], note="written since")
    again()
    (row,) = opened(corpus_path).rows
    assert row == replace(mended.rows[0], note="written since")
    with pytest.raises(LessonError, match="not in the set"):
        put_instead(corpus_path, mended.row.id, "elsewhere.0.1", before.rows[0])


def test_a_removed_tune_stays_in_the_set_with_its_labels(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-4"), ("Far Bell", "1-4"))
    before = opened(corpus_path)
    with CorpusWriter.open(corpus_path) as writer:
        writer.remove([before.examples[0].row.tune_id])
    after = opened(corpus_path, offer_nearest=True)
    gone, other = after.examples
    assert (gone.state.kind, other.state.kind) == ("gone", "as kept")
    assert gone.excerpt == before.examples[0].excerpt
    assert gone.labels == before.examples[0].labels
    near = gone.state.nearest
    assert near is not None, "Low Gate is the same tune in G"
    assert near.title == "Low Gate"
    assert check_corpus(corpus_path).faults == ()


def test_a_passage_of_a_file_that_was_never_added_is_kept_as_a_copy(corpus_path, tmp_path):
    other = tmp_path / "other.abc"
    other.write_text("X:1\nT:Apart\nM:4/4\nL:1/4\nK:D\nD F A G | F E D2 |]\n")
    kept(corpus_path, (str(other), "1-2"))
    (example,) = opened(corpus_path).examples
    assert example.state.kind == "not of this corpus"
    assert example.excerpt.title == "Apart"


def test_a_damaged_row_is_found_and_repair_keeps_the_sound_ones(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"), ("Far Bell", "3-4"))
    with closing(sqlite3.connect(corpus_path)) as connection:
        connection.execute("UPDATE lesson_example SET note = 'x' WHERE position = 1")
        connection.commit()
    faults = [fault.what for fault in check_corpus(corpus_path).faults]
    assert faults == ["row 1 of lesson_example has changed"]
    repair_corpus(corpus_path)
    assert titles(opened(corpus_path)) == ["Far Bell, bars 3-4"]
    assert check_corpus(corpus_path).faults == ()


def test_a_passage_whose_text_is_no_music_is_named(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"))
    with closing(sqlite3.connect(corpus_path)) as connection:
        connection.execute("UPDATE lesson_example SET excerpt = '[]'")
        connection.commit()
    with pytest.raises(LessonError, match="passage 1 of the set cannot be read"):
        opened(corpus_path)


# From a search.


def test_what_is_gathered_is_kept_with_its_surroundings(demo):
    with Corpus.open(demo) as corpus:
        found = gather(corpus, Wish(device="borrowed chord"))
        passages = finds_of(corpus, found)
    report = keep(demo, "Borrowed", passages, create=True)
    assert len(report.kept) == len(passages) > 10
    for example in opened(demo, "Borrowed").examples:
        first, last = example.excerpt.bar[0], example.excerpt.bar[-1]
        row = example.row
        assert row.feature_first_bar is not None
        assert row.feature_last_bar is not None
        assert first <= row.feature_first_bar <= row.feature_last_bar <= last
        inside = [f for f in example.labels.finds if f.kind == "borrowed chord"]
        assert inside, "describe finds what the passage was kept for"
    wanted = {(e.tune_id, e.first_bar) for e in found.examples}
    held = {(p.tune_id, bar) for p in passages for bar in range(p.bars[0], p.bars[1] + 1)}
    assert wanted <= held


def test_surroundings_are_a_bar_before_and_four_in_all(demo):
    with Corpus.open(demo) as corpus:
        whole = corpus.melody(corpus.resolve("Fog over the Basin"))
    assert surroundings(whole, (4, 4)) == (3, 6)
    assert surroundings(whole, (1, 1)) == (1, 4)
    assert surroundings(whole, (3, 9)) == (2, 10)
    assert surroundings(whole, (32, 32)) == (29, 32)


def test_what_resembles_is_kept_with_the_phrase_and_its_agreement(demo):
    with Corpus.open(demo) as corpus:
        sought = find_passage("Marl Pit Hornpipe", corpus, bars=read_span("1-4"))
        found = resemble(corpus, sought.phrase(), limit=3)
        passages = finds_of(corpus, found, sought=sought)
    keep(demo, "Alike", passages, create=True)
    first, second, *_ = opened(demo, "Alike").examples
    assert first.title == "Marl Pit Hornpipe, bars 1-4"
    assert second.excerpt.title == "The Eel Trap"
    assert second.row.agreement == found.matches[0].likeness.agreeing / 20
    assert "notes agree" in second.row.reason


def test_both_sides_of_what_an_audit_finds_are_kept(demo):
    with Corpus.open(demo) as corpus:
        own = find_passage("The Eel Trap", corpus)
        found = audit(corpus, own, limit=1)
        passages = finds_of(corpus, found)
    assert [p.whole.title for p in passages] == ["The Eel Trap", "Marl Pit Hornpipe"]


# Order.


def test_measures_are_those_counted_by_hand(corpus_path):
    kept(corpus_path, ("Far Bell", "1-4"))
    (example,) = opened(corpus_path).examples
    found = measures_of(example)
    # E flat 4 to C 5 is nine semitones; leaps wider than four: E flat to B flat, the
    # C flat between A flat and G is a third and a fourth... counted below one by one.
    steps = [7, 0, -3, 5, -2, -2, 3, -4, -4, 2, -2]
    assert list(example.excerpt.interval_semitones) == steps
    assert found.range_semitones == 9
    assert (found.leaps, found.steps) == (2, 11)
    assert (found.lengths, found.held_over) == (3, 0)
    assert found.accidentals == 1


def test_a_note_held_over_a_stronger_beat_counts(tmp_path):
    path = tmp_path / "held.abc"
    path.write_text("X:1\nT:Held\nM:4/4\nL:1/8\nK:C\nC D2 E2 F2 G | A B2 c- c4 |]\n")
    corpus_path = tmp_path / "held.melodex"
    added(path, corpus_path)
    kept(corpus_path, ("Held", "1-2"))
    (example,) = opened(corpus_path).examples
    # D, E and F start between beats and hold over one; so do B and the tied C.
    assert measures_of(example).held_over == 5


def test_the_order_goes_from_easy_to_hard_with_reasons(demo):
    with Corpus.open(demo) as corpus:
        found = finds_of(corpus, gather(corpus, Wish(device="borrowed chord")))
    keep(demo, "Order", found, create=True)
    arrangement = arrange(opened(demo, "Order"))
    before = [placed.example.position for placed in arrangement.placed]
    assert sorted(before) == list(range(1, len(found) + 1))
    for placed, after in pairwise(arrangement.placed):
        assert placed.example.row.tune_id != after.example.row.tune_id
        if after.mean_rank < placed.mean_rank:
            assert len(placed.reasons) > 0, "what deviates from the ranks says why"
    assert arrangement.placed[0].mean_rank < arrangement.placed[-1].mean_rank
    twins = [text for text in arrangement.remarks if "are nearly the same" in text]
    assert twins
    # Numbers would be those of the order before.
    named = tuple(placed.example.title for placed in arrangement.placed)
    assert all(remark.startswith(named) for remark in twins)
    applied = apply_arrangement(demo, arrangement)
    assert titles(applied) == [placed.example.title for placed in arrangement.placed]


def test_twins_are_found_in_another_key(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-4"), ("Far Bell", "1-4"), ("Low Gate", "1-4"))
    (pair,) = arrange(opened(corpus_path)).twins
    assert (pair.one, pair.other, pair.agreement) == (1, 3, 1.0)


@given(st.lists(st.integers(0, 4), min_size=1, max_size=14), st.randoms())
def test_no_two_of_a_tune_meet_where_that_can_be_had(tune_numbers, draw):
    """Neighbours alike are needed only where one tune is more than half of all."""
    from melodex.tasks.lesson.order import order_of

    examples = [fake_example(number) for number in tune_numbers]
    means = [draw.random() * 5 for _ in examples]
    order = [place for place, _ in order_of(examples, means)]
    assert sorted(order) == list(range(len(examples)))
    most = Counter(tune_numbers).most_common(1)[0][1]
    meetings = sum(tune_numbers[a] == tune_numbers[b] for a, b in pairwise(order))
    assert meetings == max(0, 2 * most - 1 - len(tune_numbers))


def fake_example(number: int):
    from melodex.corpus.lessons import ExampleRow
    from melodex.tasks.lesson.labels import Labels
    from melodex.tasks.lesson.sets import LessonExample
    from melodex.tasks.lesson.state import State

    note = Melody((60,), (0,), (0,), (10080,), (1,), (1.0,), (0,))
    row = ExampleRow(f"{number}", 0, 0, "", "", "", 1, "", None, None, None, "", "", "")
    return LessonExample(1, row, note, Labels((None,), ()), State("as kept"))


def test_a_set_of_none_and_of_one_is_arranged_without_fuss(corpus_path):
    new_lesson(corpus_path, "Empty")
    assert arrange(opened(corpus_path, "Empty")).placed == ()
    kept(corpus_path, ("Salt Stair", "1-2"))
    assert len(arrange(opened(corpus_path)).placed) == 1


def test_too_many_passages_are_refused_whole(corpus_path, monkeypatch):
    monkeypatch.setattr("melodex.tasks.lesson.keeping.MOST_EXAMPLES", 1)
    with Corpus.open(corpus_path) as corpus:
        found = [found_by_hand(corpus, "Salt Stair", bars=bars) for bars in ("1-2", "3-4")]
    with pytest.raises(LessonError, match="at most 1"):
        keep(corpus_path, "Steps", found, create=True)
    with pytest.raises(LessonError, match="no teaching set"):
        opened(corpus_path)


def test_the_stored_copy_is_plain_json_that_other_programs_can_read(corpus_path):
    kept(corpus_path, ("Salt Stair", "1-2"))
    with closing(sqlite3.connect(corpus_path)) as connection:
        text = connection.execute("SELECT excerpt FROM lesson_example").fetchone()[0]
    assert json.loads(text)["midi"] == [60, 64, 67, 65, 64, 62, 64, 65]
    assert replace(Melody.from_dict(json.loads(text))).title == "Salt Stair"
    assert rewritten(corpus_path, "Steps", lambda rows: rows).examples
