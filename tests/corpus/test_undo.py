"""Undo: what a change takes out comes back just as it was, or is said not to."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.lessons import example_rows, lesson_rows
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.particulars import places_of, warnings_of
from melodex.corpus.writing import taken_out
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError
from melodex.tasks.collection.holdings import remove_from, remove_tunes, tag_tunes
from melodex.tasks.collection.undo import undo, what_was_done
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import annotate, drop, remove_lesson


def said(path: Path) -> dict:
    """All that a corpus says of its tunes and sets."""
    with Corpus.open(path) as corpus:
        rows = corpus.tunes()
        return {
            "tunes": {
                row.tune_id: (
                    row,
                    corpus.melody(row.tune_id),
                    sorted(map(str, places_of(corpus, row.tune_id))),
                    warnings_of(corpus, row.tune_id),
                )
                for row in rows
            },
            "sources": sorted(corpus.query("SELECT sha256, kept_format FROM kept_source")),
            "sets": [
                (lesson, count, example_rows(corpus, lesson.id))
                for lesson, count in lesson_rows(corpus)
            ],
        }


def done(path: Path) -> tuple:
    with Corpus.open(path) as corpus:
        return what_was_done(corpus)


@pytest.fixture
def filled(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("/a/one.abc", range(4), warned=True), collection="One")
        writer.add_reading(reading("/b/two.abc", range(3, 6)), collection="Two")
    tag_tunes(corpus_path, "slow", ["Tune 1", "Tune 2"])
    return corpus_path


def test_tunes_that_were_removed_come_back_with_all_that_was_known_of_them(filled):
    before = said(filled)
    remove_tunes(filled, ["Tune 1", "Tune 3"])
    assert len(said(filled)["tunes"]) == 4
    (change,) = done(filled)
    assert (change.kind, change.tune_count, change.titles) == (
        "remove",
        2,
        ("Tune 1", "Tune 3"),
    )
    assert len(undo(filled).tunes) == 2
    assert said(filled) == before
    assert check_corpus(filled).faults == ()
    assert done(filled) == ()


def test_places_that_were_removed_come_back_whether_the_tune_stood_elsewhere_or_not(filled):
    before = said(filled)
    remove_from(filled, collection="Two")
    assert len(said(filled)["tunes"]) == 4
    undo(filled)
    assert said(filled) == before
    assert check_corpus(filled).faults == ()


def test_a_replacement_is_undone_and_undoing_is_undone(filled, reading):
    before = said(filled)
    with CorpusWriter.open(filled) as writer:
        changed = reading("/a/one.abc", range(4), warned=True, composer="Somebody")
        report = writer.add_reading(changed, collection="One")
    assert len(report.replaced) == 4
    after = said(filled)
    (change,) = done(filled)
    assert change.kind == "replace"
    undone = undo(filled)
    assert said(filled) == before
    assert len(undone.displaced) == 4
    undo(filled)
    assert said(filled) == after
    assert check_corpus(filled).faults == ()


def test_what_has_come_to_a_place_since_stays_there_and_that_is_said(filled, reading):
    remove_tunes(filled, ["Tune 1"])
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(
            reading("/a/one.abc", range(4), warned=True, composer="Somebody"),
            collection="One",
        )
    removal = done(filled)[-1]
    before = said(filled)
    undone = undo(filled, removal.number)
    assert len(undone.left) == 1
    assert said(filled) == before
    assert removal.number in {change.number for change in done(filled)}
    assert check_corpus(filled).faults == ()


def test_every_edit_of_a_set_is_undone(filled):
    with Corpus.open(filled) as corpus:
        found = [found_by_hand(corpus, f"Tune {n}", bars="1-2") for n in (0, 1, 2)]
    keep(filled, "Set", found, create=True)
    states = [said(filled)]
    for work in (
        lambda: drop(filled, "Set", [2]),
        lambda: annotate(filled, "Set", 1, "Sing it first."),
        lambda: remove_lesson(filled, "Set"),
    ):
        work()
        states.append(said(filled))
    for number in range(3):
        assert said(filled)["sets"] == states[-1 - number]["sets"]
        # Undoing keeps the state before it too, so the change is named.
        change = next(c for c in done(filled) if c.kind == "set")
        undo(filled, change.number)
    assert said(filled) == states[0]
    assert check_corpus(filled).faults == ()


def test_a_change_is_kept_for_thirty_days(filled, monkeypatch):
    monkeypatch.setattr(taken_out, "CHANGES_KEPT", 1)
    long_ago = taken_out.now() - timedelta(days=31)
    with monkeypatch.context() as patch:
        patch.setattr(taken_out, "now", lambda: long_ago)
        remove_tunes(filled, ["Tune 1"])
    assert len(done(filled)) == 1
    remove_tunes(filled, ["Tune 2"])
    assert [change.titles for change in done(filled)] == [("Tune 2",)]
    assert datetime.fromisoformat(done(filled)[0].done_at) > long_ago


@pytest.mark.parametrize("years", [-30, 30])
def test_a_clock_that_was_wrong_takes_no_change_away(filled, monkeypatch, years):
    remove_tunes(filled, ["Tune 1"])
    wrong = taken_out.now() + timedelta(days=365 * years)
    with monkeypatch.context() as patch:
        patch.setattr(taken_out, "now", lambda: wrong)
        remove_tunes(filled, ["Tune 2"])
    remove_tunes(filled, ["Tune 3"])
    titles = [("Tune 3",), ("Tune 2",), ("Tune 1",)]
    assert [change.titles for change in done(filled)] == titles


def test_the_oldest_goes_where_it_is_too_much_and_one_that_is_too_large_says_so(
    filled, monkeypatch
):
    remove_tunes(filled, ["Tune 1"])
    (change,) = done(filled)
    monkeypatch.setattr(taken_out, "BYTES_KEPT", 2 * change.byte_count)
    for number in (0, 4):
        remove_tunes(filled, [f"Tune {number}"])
    assert len(done(filled)) == 2
    removal = remove_tunes(filled, ["Tune 2", "Tune 3", "Tune 5"])
    assert not removal.can_be_undone
    last = done(filled)[0]
    assert not last.can_be_undone
    with pytest.raises(CorpusError, match="too large to be kept"):
        undo(filled)
    assert check_corpus(filled).faults == ()


def test_a_number_is_given_once(filled):
    remove_tunes(filled, ["Tune 1"])
    first = done(filled)[0].number
    undo(filled, first)
    remove_tunes(filled, ["Tune 2"])
    assert done(filled)[0].number == first + 1
    with pytest.raises(CorpusError, match="there is no change"):
        undo(filled, first)


def test_what_is_damaged_is_not_brought_back_and_check_names_it(filled):
    remove_tunes(filled, ["Tune 1"])
    with closing(sqlite3.connect(filled)) as connection, connection:
        connection.execute("UPDATE taken_out SET title = 'Other' WHERE kind = 'tune'")
    assert any("taken_out" in fault.what for fault in check_corpus(filled).faults)
    with pytest.raises(CorpusError, match="damaged"):
        undo(filled)


def test_a_repair_keeps_what_can_be_undone(filled):
    before = said(filled)
    remove_tunes(filled, ["Tune 1"])
    with closing(sqlite3.connect(filled)) as connection, connection:
        connection.execute("UPDATE tune SET title = 'x' WHERE title = 'Tune 2'")
    repair_corpus(filled)
    undo(filled)
    assert set(said(filled)["tunes"]) == set(before["tunes"])
    assert check_corpus(filled).faults == ()


def test_undoing_that_is_killed_is_done_whole_or_not_at_all(filled):
    before = set(said(filled)["tunes"])
    draw = random.Random(5)
    for _ in range(12):
        if not done(filled):
            remove_tunes(filled, ["Tune 1", "Tune 2", "Tune 4"])
        child = os.fork()
        if child == 0:
            undo(filled)
            os._exit(0)
        time.sleep(draw.uniform(0, 0.1))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        there = set(said(filled)["tunes"])
        assert there == before if not done(filled) else len(there) == len(before) - 3
        assert check_corpus(filled).faults == ()


def test_room_is_given_back_after_a_large_removal(corpus_path, reading, monkeypatch):
    monkeypatch.setattr(taken_out, "BYTES_KEPT", 1000)
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("/a/one.abc", range(1200)))
    with Corpus.open(corpus_path) as corpus:
        ids = [row.tune_id for row in corpus.tunes()]
    size = corpus_path.stat().st_size
    with CorpusWriter.open(corpus_path) as writer:
        writer.remove(ids[20:])
    assert corpus_path.stat().st_size < size / 2
    assert check_corpus(corpus_path).faults == ()
