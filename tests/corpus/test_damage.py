"""Damage inside one row costs that tune, and nothing else."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.chunks import verify
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import DamagedCorpusError, UnknownTuneError
from melodex.matching.engine import _kernel
from melodex.reading.phrase.reader import read_phrase
from melodex.settings import AlignmentCosts
from melodex.tasks.audit.audit import audit
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.keeping import finds_of, found_by_hand, keep
from melodex.tasks.lesson.sets import list_lessons, open_lesson
from melodex.tasks.passage import find_passage
from melodex.tasks.resemble import resemble


def stored(path: Path, sql: str, *values: object) -> None:
    """Change a corpus behind its back, references and checksums unseen."""
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(sql, values)


@pytest.fixture
def filled(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("/a/one.abc", range(12)))
        # The same notes under another title, so that both are found for one phrase.
        writer.add_reading(reading("/a/two.abc", [3], title="Twin"))
    return corpus_path


DAMAGE = {
    "no UTF-8": b'{"midi": [60, 62], "title": "\xff\xfe"}',
    "no JSON": b'{"midi": [60, 62',
    "nesting": b"[" * 200_000,
    "another thing": b'{"midi": {"a": 1}}',
    "a list": b"[1, 2]",
    "no text inside": b'{"midi": [60, null]}',
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_it_costs_the_tune_and_not_the_question(filled, kind):
    with Corpus.open(filled) as corpus:
        phrase = " ".join(
            f"{b - a:+d}" for a, b in steps(corpus.melody(corpus.resolve("Twin")))
        )
    stored(
        filled,
        "UPDATE tune SET melody = CAST(? AS TEXT) WHERE title = 'Tune 3'",
        DAMAGE[kind],
    )
    with Corpus.open(filled) as corpus:
        result = resemble(corpus, read_phrase(phrase))
        assert result.matches[0].passage.whole.title == "Twin"
        assert any("cannot be read" in remark for remark in result.remarks)
        found = audit(corpus, find_passage("Tune 5", corpus))
        assert found.corpus_tunes == 13
        assert gather(corpus, Wish(phrase=phrase)).tunes >= 1
        assert len(corpus.tunes()) == 13
        with pytest.raises(DamagedCorpusError, match="repair the corpus"):
            corpus.melody(corpus.resolve("Tune 3"))
    (fault,) = [
        f for f in check_corpus(filled).faults if f.what == "the melody has changed"
    ]
    assert len(fault.tune_ids) == 1


def steps(melody):
    return list(zip(melody.midi, melody.midi[1:], strict=False))


@pytest.mark.parametrize("column", ["title", "composer", "rights", "rhythm"])
def test_so_does_text_that_is_none_in_any_column(filled, column):
    stored(
        filled,
        f"UPDATE tune SET {column} = CAST(? AS TEXT) WHERE title = 'Tune 3'",
        b"a\xff",
    )
    with Corpus.open(filled) as corpus:
        assert len(corpus.tunes()) == 13
    assert check_corpus(filled).faults


def test_a_set_that_is_gone_is_missed_with_its_passages_or_without(filled):
    with Corpus.open(filled) as corpus:
        found = [found_by_hand(corpus, "Tune 5", bars="1-2")]
    keep(filled, "First", found, create=True)
    keep(filled, "Second", found, create=True)
    assert check_corpus(filled).faults == ()
    stored(filled, "DELETE FROM lesson WHERE name = 'First'")
    words = " ".join(fault.what for fault in check_corpus(filled).faults)
    assert "a teaching set is missing; its 1 passages remain" in words
    stored(filled, "DELETE FROM lesson_example WHERE lesson NOT IN (SELECT id FROM lesson)")
    words = " ".join(fault.what for fault in check_corpus(filled).faults)
    assert "there are 1 teaching sets, and there were 2" in words


def test_a_set_outlives_the_damage_of_a_tune_in_it(filled):
    with Corpus.open(filled) as corpus:
        found = [found_by_hand(corpus, f"Tune {n}", bars="1-2") for n in (5, 6)]
    keep(filled, "First", found, create=True)
    stored(
        filled, "UPDATE tune SET melody = CAST(? AS TEXT) WHERE title = 'Tune 5'", b"\xff"
    )
    with Corpus.open(filled) as corpus:
        assert [row.row.name for row in list_lessons(corpus)] == ["First"]
        assert len(open_lesson(corpus, "First").examples) == 2


@pytest.mark.parametrize("move", [-(2**31), -(2**31) + 1, 2**31 - 1, 2**31, -1025, 1025])
def test_the_kernel_refuses_a_transposition_that_is_none(move):
    """The ends of C's ``int`` (C11, 5.2.4.2.1) and one beyond the widest allowed."""
    notes = bytes([60, 62, 64])
    with pytest.raises((ValueError, OverflowError)):
        _kernel.trace(notes, notes, notes, notes, move, AlignmentCosts().numbers)


@pytest.mark.parametrize(
    ("sql", "value"),
    [
        ("UPDATE collection SET name = ?", b"\xff\xfe"),
        ("UPDATE tune SET composer = ? WHERE title = 'Tune 3'", b"\x01"),
        ("UPDATE tune SET note_count = ? WHERE title = 'Tune 3'", "many"),
        ("UPDATE setting SET value = ? WHERE name = 'facet_version'", '"C"'),
        ("UPDATE setting SET value = ? WHERE name = 'facet_version'", b"\xff"),
    ],
)
def test_a_value_of_another_kind_stops_no_list(filled, sql, value):
    stored(filled, sql, value)
    with Corpus.open(filled) as corpus:
        rows = corpus.tunes()
    assert len(rows) == 13
    assert {type(row.composer) for row in rows} == {type(row.collection) for row in rows}
    assert {type(row.note_count) for row in rows} == {int}
    assert check_corpus(filled).faults


@pytest.mark.parametrize("change", ["lengths = 7", "tune_count = 'many'", "notes = 'no'"])
def test_a_chunk_of_another_kind_is_damage(filled, change):
    stored(filled, f"UPDATE chunk SET {change}")
    with Corpus.open(filled) as corpus:
        for chunk in corpus.chunks():
            with pytest.raises(DamagedCorpusError, match="cannot be trusted"):
                verify(chunk)
        found = resemble(corpus, read_phrase("+2 +2 -4 0 +1"))
    assert found.matches == ()


def test_a_version_that_is_not_true_is_damage(filled):
    stored(filled, "PRAGMA user_version = 1")
    with pytest.raises(DamagedCorpusError, match="the corpus is damaged"):
        Corpus.open(filled)


@pytest.mark.parametrize("name", ["\udcff", "a\0b", "\0\0\0\0"])
def test_a_name_that_no_text_can_hold_is_found_nowhere(filled, name):
    with Corpus.open(filled) as corpus:
        assert corpus.tunes(words=name) == []
        assert corpus.tunes(title=name) == []
        with pytest.raises(UnknownTuneError):
            corpus.resolve(name)


def test_of_a_tune_that_cannot_be_read_nothing_is_kept(filled):
    with Corpus.open(filled) as corpus:
        found = gather(corpus, Wish(phrase="+2 +2"), limit=None)
    assert len({example.tune_id for example in found.examples}) > 1
    lost = found.examples[0].tune_id
    stored(filled, "UPDATE tune SET melody = '[' WHERE tune_id = ?", lost)
    with Corpus.open(filled) as corpus:
        kept = finds_of(corpus, found)
    expected = {each.tune_id for each in found.examples} - {lost}
    assert {each.tune_id for each in kept} == expected
