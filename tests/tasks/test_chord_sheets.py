"""Sheets of chords without any note in a corpus: listed, described, gathered, not searched.

The sheets are written for this test; the forms are common practice, no source.
"""

from __future__ import annotations

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.errors import EmptyMelodyError, LessonError
from melodex.presentation.text.corpus import detail_text
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.audit import audit
from melodex.tasks.collection.holdings import holdings, list_tunes, show_tune
from melodex.tasks.describe.describe import described
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.keeping import finds_of, found_by_hand
from melodex.tasks.passage import find_passage
from melodex.tasks.resemble import resemble

BOOK = """\
X:1
T:Kettle Changes
M:4/4
L:1/4
K:F
"Gm7"x4|"C7"x4|"F"x4|"F"x4|"Gm7"x4|"C7"x4|"F"x4|"F"x4|]

X:2
T:Kettle Tune
M:4/4
L:1/4
K:F
"F"FGAc|"Gm7"BAGF|"C7"EGBG|"F"F4|]
"""


@pytest.fixture
def path(tmp_path):
    (tmp_path / "kettle.abc").write_text(BOOK, encoding="utf-8")
    report = add_paths(tmp_path / "kettle.melodex", [tmp_path / "kettle.abc"])
    assert not report.refusals
    return tmp_path / "kettle.melodex"


def test_it_is_listed_shown_described_and_found_by_its_progression(path):
    with Corpus.open(path) as corpus:
        titles = [row.title for row in list_tunes(corpus).tunes]
        assert titles == ["Kettle Changes", "Kettle Tune"]
        assert holdings(corpus).tune_count == 2
        (row,) = corpus.tunes(title="Kettle Changes")
        assert "no notes" in detail_text(show_tune(corpus, row.tune_id))
        found = gather(corpus, Wish(progression="ii V I"))
        assert "Kettle Changes" in {each.title for each in found.examples}
        # Its range is none, and no wish for one meets it.
        lowest = gather(corpus, Wish(lowest="A2"))
        assert not lowest.examples
    assert described("Kettle Changes", path).summary[0] == "In F major."


def test_a_search_for_notes_leaves_it_out_and_says_so(path):
    with Corpus.open(path) as corpus:
        assert (corpus.tune_count, corpus.sheet_count) == (1, 1)
        found = resemble(corpus, read_phrase("1 2 3 5 4 3"))
        assert found.corpus_tunes == 1
        assert any("Not searched: 1 sheet of chords" in told for told in found.remarks)
        checked = audit(corpus, find_passage("Kettle Tune", corpus))
        assert any("Not searched: 1 sheet of chords" in told for told in checked.remarks)


def test_where_notes_are_needed_that_is_said(path):
    with Corpus.open(path) as corpus:
        with pytest.raises(EmptyMelodyError, match="sheet of chords without notes"):
            find_passage("Kettle Changes", corpus)
        with pytest.raises((EmptyMelodyError, LessonError), match="without notes"):
            found_by_hand(corpus, "Kettle Changes")
        kept = finds_of(corpus, gather(corpus, Wish(progression="ii V I")))
        assert {each.whole.title for each in kept} <= {"Kettle Tune"}


def test_no_damage_is_seen_in_it_and_it_outlives_a_repair(path):
    assert not check_corpus(path).faults
    repair_corpus(path)
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert corpus.sheet_count == 1
