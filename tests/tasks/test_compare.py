"""compare: what two notes are to each other, worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import PassageError, ReadingError, UnknownTuneError
from melodex.presentation.data.resemble import comparison_data
from melodex.presentation.text.compare import comparison_text
from melodex.presentation.text.resemble import match_facts
from melodex.presentation.text.style import Style
from melodex.reading import read_path
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from melodex.tasks.compare.compare import Comparison, compare
from melodex.tasks.compare.likeness import SAME_DEGREES
from melodex.tasks.compare.sentences import function_text
from melodex.tasks.passage import (
    Passage,
    Span,
    find_passage,
    find_passages,
    passage_of,
    typed_passage,
)
from melodex.tasks.resemble import resemble

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


def test_a_phrase_in_major_is_laid_tonic_on_tonic_beside_the_same_in_minor() -> None:
    # Its intervals 3 5 3 1 fit four notes of minor on other degrees, 5 b7 5 b3 in bar 3.
    phrase = typed_passage("3 5 3 1 3 1 4 6 4")
    dark = "X:1\nT:Dark\nL:1/8\nK:Dm\nFAFD FDGB|GAFD A,4|AcAF EGED|D8|]\n"
    tune = passage_of(read_abc(dark).tunes[0].melody, "", False)
    found = compare(phrase, tune)
    assert found.likeness.transposition_semitones == 2
    assert found.likeness.same_function
    assert relations(found)[:9] == [
        *(INFLECTED, "same degree", INFLECTED, "same degree", INFLECTED),
        *("same degree", "same degree", INFLECTED, "same degree"),
    ]


def test_a_shape_that_agrees_on_other_degrees_stays_where_it_is() -> None:
    phrase = typed_passage("1 2 3 1 4 3 2")
    up = "X:1\nT:Up\nL:1/8\nK:C\nGABG cBA2|]\n"
    found = compare(phrase, passage_of(read_abc(up).tunes[0].melody, "", False))
    assert found.likeness.transposition_semitones == 7
    assert set(relations(found)) == {"same shape"}


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


# Worked by hand: the second half is 5 1 3 1 of G where the key has changed, and 2 5 7 5
# of C where it has not.
CHANGES = "X:1\nT:Changes\nM:4/4\nL:1/4\nK:C\nCEGE | [K:G] DGBG |]"
STAYS = "X:1\nT:Stays\nM:4/4\nL:1/4\nK:C\nCEGE | DGBG |]"
MOVED = "X:1\nT:Moved\nM:4/4\nL:1/4\nK:D\nDFAF | [K:A] EAcA |]"
PARTED = "X:1\nT:Parted\nM:4/4\nL:1/4\nK:C\nCEGE | [K:F] CFAF | [K:C] CEGE |]"
UNPARTED = "X:1\nT:Unparted\nM:4/4\nL:1/4\nK:C\nCEGE | [K:G] DGBG | [K:C] CEGE |]"
BY_DEGREE, BY_SHAPE = "same degree and time", "same shape and length"


def pair_of(one: str, other: str) -> Comparison:
    a, b = (read_abc(text, "one.abc", Choice()).tunes[0].melody for text in (one, other))
    return compare(*(Passage(m, m, 0, m.content_id(), False) for m in (a, b)))


def test_each_pair_is_judged_in_the_key_at_its_own_place() -> None:
    found = pair_of(CHANGES, STAYS)
    assert relations(found) == [BY_DEGREE] * 4 + [BY_SHAPE] * 4
    assert not found.likeness.same_function
    assert function_text(found.likeness) == "on the same degrees at 4 of 8 notes"
    told = " ".join(found.summary)
    assert "4 of 8 paired notes have the same degree, 4 more the same shape" in told
    assert "A is in C major, from bar 2 G major, B in C major: at the same pitch" in told
    assert comparison_data(found)["notes_by_degree"] == 4
    text = comparison_text(found, Style())
    assert "● ● ● ● □ □ □ □" in " ".join(text.split())
    assert "● same degree and time   □ same shape and length, on another degree" in text


def test_keys_that_change_together_keep_every_degree() -> None:
    found = pair_of(CHANGES, MOVED)
    assert set(relations(found)) == {BY_DEGREE}
    assert found.likeness.same_function
    assert function_text(found.likeness) == "on the same degrees"
    assert (
        "A is in C major, from bar 2 G major, B in D major, from bar 2 A major: "
        "tonic on tonic, up a major second." in found.summary
    )


def test_equal_degrees_are_said_to_be_so_where_the_notes_have_parted() -> None:
    found = pair_of(UNPARTED, PARTED)
    degrees = found.a.melody.degrees(), found.b.melody.degrees()
    for pair in found.likeness.pairs:
        if pair.query is not None and pair.tune is not None:
            same = degrees[0][pair.query] == degrees[1][pair.tune]
            assert (pair.relation in SAME_DEGREES) == same


def test_a_match_names_the_keys_that_it_runs_through(tmp_path: Path) -> None:
    sheet = tmp_path / "three.abc"
    sheet.write_text("\n\n".join((CHANGES, STAYS, MOVED)) + "\n", encoding="utf-8")
    path = tmp_path / "three.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_path(sheet))
    with Corpus.open(path) as opened:
        phrase = find_passage(f"{sheet}#1", opened).phrase()
        found = resemble(opened, phrase)
    melodies = {m.passage.whole.title: m.passage.whole for m in found.matches}
    for match in found.matches:
        tune = melodies[match.passage.whole.title]
        mine, theirs = phrase.melody.degrees(), tune.degrees()
        for pair in match.likeness.pairs:
            if pair.query is not None and pair.tune is not None:
                same = mine[pair.query] == theirs[pair.tune]
                assert (pair.relation in SAME_DEGREES) == same
        assert function_text(match.likeness) in " ".join(match_facts(found, match))


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
