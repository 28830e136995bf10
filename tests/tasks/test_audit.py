"""audit: a borrowed phrase comes first, a clean tune has none, all is repeatable."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.store import CorpusWriter
from melodex.errors import EmptyMelodyError
from melodex.melody import Melody
from melodex.presentation.data import as_json
from melodex.presentation.text import Style, as_text
from melodex.reading.abc import read_abc
from melodex.tasks.audit import CAUTIONS, audit, windows_of
from melodex.tasks.passage import Passage, find_passage


def own(text: str) -> Passage:
    melody: Melody = read_abc(text).tunes[0].melody
    return Passage(melody, melody, 0, melody.content_id(), False)


def test_the_planted_borrowing_is_the_first_passage(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    # corpus_demo/PLANTED.json: bars 5-8 are Seven Steps Down, bars 8-11, a tone lower.
    found = audit(demo_corpus, find_passage(str(demo_folder / "own" / "own_song.abc")))
    first = found.findings[0]
    assert first.tune.whole.title == "Seven Steps Down"
    assert (first.own.melody.bar[0], first.own.melody.bar[-1]) == (5, 8)
    assert (first.tune.melody.bar[0], first.tune.melody.bar[-1]) == (8, 11)
    assert first.likeness.transposition_semitones == 2
    assert first.likeness.same_function
    assert first.expected_by_chance is not None
    assert first.expected_by_chance < 0.001
    assert first.commonness.verdict == "distinctive"
    assert {cover.bar for cover in found.coverage if 1 in cover.findings} == {5, 6, 7, 8}


def test_the_clean_tune_has_no_passage_that_chance_does_not_explain(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    found = audit(
        demo_corpus, find_passage(str(demo_folder / "own" / "own_song_clean.abc"))
    )
    told = [finding.expected_by_chance for finding in found.findings]
    assert all(expected is not None and expected > 0.01 for expected in told)


def test_an_audit_repeats_byte_for_byte_and_carries_the_cautions(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    once, again = audit(demo_corpus, tune), audit(demo_corpus, tune)
    assert as_json(once) == as_json(again)
    for caution in CAUTIONS:
        assert caution in as_json(once)
        assert " ".join(caution.split()) in " ".join(as_text(once, Style()).split())


def test_relatives_can_be_left_out_and_the_audited_tune_always_is(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    source = demo_corpus.resolve("Seven Steps Down")
    without = audit(demo_corpus, tune, exclude=[source])
    assert source not in {finding.tune.tune_id for finding in without.findings}
    assert without.excluded == (source,)
    itself = audit(demo_corpus, find_passage("Seven Steps Down", demo_corpus))
    assert source not in {finding.tune.tune_id for finding in itself.findings}
    assert "The corpus holds the audited tune itself; it was left out." in itself.remarks


def test_a_tune_shorter_than_a_phrase_is_refused(demo_corpus: Corpus) -> None:
    with pytest.raises(EmptyMelodyError, match="shorter than a phrase"):
        audit(demo_corpus, own("X:1\nT:Stub\nL:1/4\nK:C\nC D E F |]\n"))


def test_a_corpus_of_one_tune_says_that_nothing_can_be_said_of_chance(
    tmp_path: Path,
) -> None:
    tune = "X:1\nT:Lone\nL:1/4\nK:C\nC E G F | E D E F | G A G F | D E D C |]\n"
    path = tmp_path / "one.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc(tune, "lone.abc"))
    with Corpus.open(path) as corpus:
        found = audit(corpus, own(tune.replace("T:Lone", "T:Mine")))
    assert found.findings[0].expected_by_chance is None
    assert "The corpus is too small to say what chance would bring." in found.remarks


@pytest.mark.parametrize("notes", [6, 12, 13, 50, 200])
def test_every_note_lies_in_a_window(notes: int) -> None:
    spans = windows_of(notes)
    assert all(0 <= first <= last < notes for first, last in spans)
    covered = {place for first, last in spans for place in range(first, last + 1)}
    assert covered == set(range(notes))
