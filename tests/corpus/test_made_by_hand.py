"""A corpus that somebody made by hand: valid for SQLite, and no corpus of ours."""

from __future__ import annotations

import hashlib
import json
import random
import sqlite3
import zlib
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.foreign import FACET_NAMES
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.facets import FACET_TABLES
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import MOST_UNPACKED, row_crc32
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, DamagedCorpusError, LessonError
from melodex.tasks.collection.holdings import holdings, remove_tunes, tag_tunes
from melodex.tasks.collection.undo import undo
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import open_lesson


def by_hand(path: Path, sql: str, *values: object) -> None:
    """Change a corpus as no program of ours would."""
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(sql, values)


def told(path: Path) -> dict[str, Any]:
    """The stored melody of Tune 3."""
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("SELECT melody FROM tune WHERE title = 'Tune 3'")
        found: dict[str, Any] = json.loads(rows.fetchone()[0])
    return found


@pytest.fixture
def filled(corpus_path: Path, reading: Any) -> Path:
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("/a/one.abc", range(6)))
    return corpus_path


def changed(melody: dict[str, Any], draw: random.Random) -> None:
    """Put another value of JSON in one place of a melody, wherever it lies."""
    odd: tuple[Any, ...] = (
        None,
        True,
        -1,
        3.5,
        10**18,
        -(10**18),
        "x",
        "",
        [],
        [1],
        {},
        {"a": 1},
        1e308,
    )
    held: Any = melody
    while True:
        if isinstance(held, dict):
            places = list(held)
        elif isinstance(held, list) and held:
            places = list(range(len(held)))
        else:
            return
        place = draw.choice(places)
        if not isinstance(held[place], dict | list) or not held[place]:
            held[place] = draw.choice(odd)
            return
        held = held[place]


@pytest.mark.parametrize("number", range(60))
def test_a_melody_of_other_values_is_read_whole_or_told_to_be_damaged(
    filled: Path, number: int
) -> None:
    """Such values were handed on, and met by whatever worked with them."""
    melody = told(filled)
    changed(melody, random.Random(number))
    sql = "UPDATE tune SET melody = ? WHERE title = 'Tune 3'"
    by_hand(filled, sql, json.dumps(melody))
    with Corpus.open(filled) as corpus, suppress(DamagedCorpusError):
        (found,) = corpus.melodies([corpus.resolve("Tune 3")]).values()
        for name in ("midi", "onset_ticks", "duration_ticks", "bar", "fifths"):
            assert {type(value) for value in getattr(found, name)} == {int}
        assert list(found.onset_ticks) == sorted(found.onset_ticks)
        assert found.end_ticks < 1 << 32
        found.degrees()
        found.excerpt(0, len(found) - 1)
        str(found.metre)
        str(found.key)


def test_a_damaged_melody_stops_no_change_after_an_update(filled: Path) -> None:
    """Features were worked out anew for every tune, or nothing could be written."""
    sql = "UPDATE tune SET melody = '{\"midi\": 3}' WHERE title = 'Tune 3'"
    by_hand(filled, sql)
    by_hand(filled, "UPDATE setting SET value = '1' WHERE name = 'facet_version'")
    tag_tunes(filled, "air", ["Tune 4"])
    with Corpus.open(filled) as corpus:
        assert [row.tags for row in corpus.tunes(tag="air")] == [("air",)]
    faults = {fault.what for fault in check_corpus(filled).faults}
    assert "the melody has changed" in faults


def packed_zeros() -> bytes:
    """A few hundred kilobytes that say they are more than anything that is kept."""
    packing = zlib.compressobj(9)
    block = bytes(1 << 24)
    parts = [packing.compress(block) for _ in range((MOST_UNPACKED >> 24) + 1)]
    return b"".join([*parts, packing.flush()])


def test_a_kept_source_that_unpacks_without_end_is_damage(filled: Path) -> None:
    """It was unpacked whole, whatever it said that it holds."""
    with closing(sqlite3.connect(filled)) as connection, connection:
        digest, block = hashlib.sha256(), bytes(1 << 24)
        for _ in range((MOST_UNPACKED >> 24) + 1):
            digest.update(block)
        values = [digest.hexdigest(), "abc", 9, packed_zeros()]
        names = CHECKED_COLUMNS["kept_source"]
        crc = row_crc32([1000, *values[: len(names) - 1]])
        sql = "INSERT INTO kept_source VALUES (1000, ?, ?, ?, ?, ?)"
        connection.execute(sql, [*values[:3], crc, values[3]])
    faults = [fault.what for fault in check_corpus(filled).faults]
    assert "a kept source has changed" in faults
    assert repair_corpus(filled).lost == ()


@pytest.mark.parametrize("kind", ["no end", "a list", "nothing", "an object"])
def test_what_was_taken_out_by_hand_is_not_put_back(filled: Path, kind: str) -> None:
    with Corpus.open(filled) as corpus:
        removed = corpus.resolve("Tune 3")
    remove_tunes(filled, [removed])
    content = {
        "no end": packed_zeros(),
        "a list": zlib.compress(b"[1, 2]"),
        "nothing": zlib.compress(b"null"),
        "an object": zlib.compress(b"{}"),
    }[kind]
    with closing(sqlite3.connect(filled)) as connection, connection:
        names = CHECKED_COLUMNS["taken_out"]
        rows = connection.execute(f"SELECT {', '.join(names)} FROM taken_out").fetchall()
        for row in rows:
            values = dict(zip(names, row, strict=True)) | {"content": content}
            sql = "UPDATE taken_out SET content = ?, row_crc32 = ? WHERE id = ?"
            connection.execute(sql, [content, row_crc32(values.values()), values["id"]])
    with pytest.raises(CorpusError, match="took out is damaged"):
        undo(filled, 1)
    with Corpus.open(filled) as corpus:
        assert len(corpus.tunes()) == 5


def test_a_trigger_of_somebody_else_is_told_of_and_takes_nothing_away(filled: Path) -> None:
    """Putting a word on a tune took every tune's words away, and no check said so."""
    tag_tunes(filled, "air", ["Tune 4"])
    by_hand(
        filled,
        "CREATE TRIGGER tidy AFTER INSERT ON tag BEGIN DELETE FROM tag WHERE name = 'air'; "
        "END",
    )
    with pytest.raises(DamagedCorpusError, match="trigger 'tidy' that melodex did not"):
        tag_tunes(filled, "jig", ["Tune 5"])
    with Corpus.open(filled) as corpus:
        assert [row.title for row in corpus.tunes(tag="air")] == ["Tune 4"]
    faults = [fault.what for fault in check_corpus(filled).faults]
    assert faults == ["a trigger that melodex did not make: 'tidy'"]
    assert repair_corpus(filled).lost == ()
    tag_tunes(filled, "jig", ["Tune 5"])
    with Corpus.open(filled) as corpus:
        assert [row.tags for row in corpus.tunes() if row.tags] == [("air",), ("jig",)]
    assert check_corpus(filled).faults == ()


def test_one_of_our_name_that_does_something_else_is_none_of_ours(filled: Path) -> None:
    by_hand(filled, "DROP TRIGGER tune_words_ad")
    by_hand(
        filled,
        "CREATE TRIGGER tune_words_ad AFTER DELETE ON tune_words "
        "BEGIN DELETE FROM remark; END",
    )
    with pytest.raises(DamagedCorpusError, match="trigger 'tune_words_ad'"):
        remove_tunes(filled, ["Tune 4"])


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"


@pytest.mark.parametrize("table", ["tune", "Chunk", "setting", "key_span"])
def test_a_view_in_the_place_of_a_table_is_not_read(filled: Path, table: str) -> None:
    """It may never end, and nothing was said."""
    by_hand(filled, f"ALTER TABLE {table} RENAME TO kept_aside")
    by_hand(filled, f"CREATE VIEW {table} AS {ENDLESS}")
    with pytest.raises(DamagedCorpusError, match=f"holds as {table} is no table"):
        Corpus.open(filled)
    with pytest.raises(DamagedCorpusError, match="is no table"):
        check_corpus(filled)


def test_a_column_that_is_worked_out_is_not_read(filled: Path) -> None:
    """A few letters may say that each title is a gigabyte."""
    by_hand(filled, "ALTER TABLE tune RENAME COLUMN title TO name")
    huge = "TEXT GENERATED ALWAYS AS (hex(zeroblob(500000000))) VIRTUAL"
    by_hand(filled, f"ALTER TABLE tune ADD COLUMN title {huge}")
    with pytest.raises(DamagedCorpusError, match="holds as tune is no table"):
        Corpus.open(filled)


def test_what_a_musician_adds_beside_it_is_left_alone(filled: Path) -> None:
    by_hand(filled, "CREATE VIEW my_airs AS SELECT title FROM tune")
    by_hand(filled, "CREATE TABLE my_list (tune_id TEXT)")
    tag_tunes(filled, "air", ["Tune 4"])
    assert check_corpus(filled).faults == ()
    assert set(FACET_TABLES) == set(FACET_NAMES)


def test_tables_that_a_file_calls_features_are_not_dropped_with_them(filled: Path) -> None:
    """A file says which tables are worked out anew: it could name those of remarks."""
    tag_tunes(filled, "air", ["Tune 4"])
    named = "tune_facet Tag lesson tune_words_fts tag;DROP"
    by_hand(filled, "UPDATE setting SET value = ? WHERE name = 'facet_tables'", named)
    by_hand(filled, "UPDATE setting SET value = '1' WHERE name = 'facet_version'")
    by_hand(filled, "DROP TABLE key_span")
    for table in set(FACET_NAMES) - {"tune_facet", "key_span"}:
        by_hand(filled, f"DROP TABLE {table}")
    tag_tunes(filled, "jig", ["Tune 5"])
    with Corpus.open(filled) as corpus:
        assert [row.tags for row in corpus.tunes() if row.tags] == [("air",), ("jig",)]
        assert len(corpus.tunes(words="tune")) == 6


def test_values_of_another_kind_are_not_counted(filled: Path) -> None:
    by_hand(filled, "UPDATE tune SET rhythm = x'fffe' WHERE title = 'Tune 3'")
    by_hand(filled, "UPDATE tune SET rhythm = 'jig' WHERE title = 'Tune 4'")
    by_hand(filled, "UPDATE tune_facet SET tonic_fifths = 1 << 61 WHERE rowid = 1")
    by_hand(filled, "UPDATE key_span SET tonic_fifths = 1 << 61")
    with Corpus.open(filled) as corpus:
        found = holdings(corpus)
        assert [count.value for count in found.rhythms] == ["jig"]
        assert sum(count.tune_count for count in found.keys) == 5
        ids = [row.tune_id for row in corpus.tunes()]
        assert len(corpus.melodies(ids)) == 6


def test_a_passage_that_nests_without_end_is_named(filled: Path) -> None:
    with Corpus.open(filled) as corpus:
        found = [found_by_hand(corpus, "Tune 5", bars="1-2")]
    keep(filled, "First", found, create=True)
    by_hand(filled, "UPDATE lesson_example SET labels = ?", "[" * 100_000)
    refused = pytest.raises(LessonError, match="passage 1 of the set cannot be read")
    with Corpus.open(filled) as corpus, refused:
        open_lesson(corpus, "First")
