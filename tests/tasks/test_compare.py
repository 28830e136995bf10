"""compare: what two notes are to each other, worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import PassageError, ReadingError, UnknownTuneError
from melodex.tasks.compare.compare import Comparison, compare
from melodex.tasks.passage import Span, find_passage, find_passages

INFLECTED = "same step, other inflection"


def relations(found: Comparison) -> list[str]:
    return [pair.relation for pair in found.likeness.pairs]


def test_the_same_tune_in_minor_differs_by_inflection_alone(corpus: Corpus) -> None:
    found = compare(
        find_passage("Salt Stair", corpus), find_passage("Salt Stair, dark", corpus)
    )
    # Major 1 3 5 4 3 2 3 4 5 6 5 4 2 3 2 1 against minor: every 3 and 6 is inflected.
    inflected = [place for place, name in enumerate(relations(found)) if name == INFLECTED]
    assert inflected == [1, 4, 6, 9, 13]
    assert relations(found).count("same degree and time") == 11
    assert found.likeness.same_function
    assert found.likeness.transposition_semitones == 2
    assert "the modes differ" in " ".join(found.summary)


def test_twice_as_slow_is_the_same_time_at_twice_the_length(corpus: Corpus) -> None:
    found = compare(find_passage("Salt Stair", corpus), find_passage("Slow Stair", corpus))
    assert set(relations(found)) == {"same degree and time"}
    assert found.likeness.augmentation == 2.0
    assert found.likeness.exact_run == (0, 0, 16)
    assert "B's notes are twice as long" in " ".join(found.summary)


def test_every_note_of_both_passages_is_in_the_pairs_once(corpus: Corpus) -> None:
    a, b = find_passage("Kelp Round", corpus), find_passage("Far Bell", corpus)
    pairs = compare(a, b).likeness.pairs
    assert [p.query for p in pairs if p.query is not None] == list(range(len(a.melody)))
    assert [p.tune for p in pairs if p.tune is not None] == list(range(len(b.melody)))


def test_comparing_the_other_way_round_reverses_the_transposition(corpus: Corpus) -> None:
    a, b = find_passage("Salt Stair", corpus), find_passage("Slow Stair", corpus)
    there, back = compare(a, b).likeness, compare(b, a).likeness
    assert there.points == back.points
    assert there.transposition_semitones == -back.transposition_semitones
    assert there.spelled_shift == -back.spelled_shift


def test_a_transposition_can_be_asked_for(corpus: Corpus) -> None:
    a, b = find_passage("Salt Stair", corpus), find_passage("Slow Stair", corpus)
    assert compare(a, b, transposition_semitones=0).likeness.transposition_semitones == 0


def test_files_and_tunes_of_files_serve_as_passages(shelf_file: Path) -> None:
    nowhere = shelf_file.parent / "none.melodex"
    a, b = find_passages(nowhere, (f"{shelf_file}#1", f"{shelf_file}#3"), bars="1-2,1-4")
    assert (len(a.melody), len(b.melody)) == (8, 8)
    assert set(relations(compare(a, b))) == {"same degree and time"}


def test_bars_and_notes_name_the_same_passage(corpus: Corpus) -> None:
    by_bars = find_passage("Salt Stair", corpus, bars=Span(2, 3))
    assert by_bars == find_passage("Salt Stair", corpus, notes=Span(5, 12))
    assert by_bars.label == "Salt Stair, bars 2-3"
    assert by_bars.first_note == 4


def test_a_file_of_several_tunes_asks_which(shelf_file: Path) -> None:
    with pytest.raises(UnknownTuneError, match="holds 5 tunes"):
        find_passage(str(shelf_file))
    with pytest.raises(UnknownTuneError, match="no tune is numbered 9"):
        find_passage(f"{shelf_file}#9")
    with pytest.raises(ReadingError, match="no such file"):
        find_passage("nowhere.abc")


@pytest.mark.parametrize(
    ("bars", "message"),
    [("3-1", "run backwards"), ("x", "names no bars"), ("1,2,3", "more than two")],
)
def test_bars_that_name_nothing_are_refused(
    corpus: Corpus, bars: str, message: str
) -> None:
    with pytest.raises(PassageError, match=message):
        find_passages(corpus.path, ("Salt Stair", "Slow Stair"), bars=bars)
