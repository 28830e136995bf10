"""Checking and repairing: damage is found, named, and put right from what is kept."""

from __future__ import annotations

import random
import re
import sqlite3
import zlib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.care.soundness import MOST_LINES
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import row_crc32
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, DamagedCorpusError, MelodexError
from melodex.reading import read_bytes
from melodex.reading.result import FileReading, ReadTune
from melodex.tasks.collection.upkeep import check
from melodex.tasks.lesson.keeping import found_by_hand, keep

FLIPS = 150


def changed(path: Path, sql: str, *values: object) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(sql, values)
        connection.commit()


def everything(path: Path) -> list[object]:
    """All that a corpus says, so that two states can be told apart."""
    with closing(sqlite3.connect(path)) as connection:
        names = connection.execute("SELECT name, type, sql FROM sqlite_master ORDER BY 1")
        said: list[Any] = names.fetchall()
        for name, kind, _ in said[:]:
            if kind == "table":
                said.append(connection.execute(f"SELECT * FROM {name}").fetchall())
        for pragma in ("user_version", "application_id"):
            said.append(connection.execute(f"PRAGMA {pragma}").fetchone())
    return said


@pytest.fixture
def read_tunes(corpus_path) -> Path:
    """A corpus of tunes that were really read from ABC text, which is kept."""
    with CorpusWriter.open(corpus_path) as writer:
        for number in range(8):
            draw = random.Random(number)
            notes = "".join(draw.choice("CDEFGABc") for _ in range(16))
            text = (
                f"X:{number}\nT:Air {number}\nL:1/8\nM:4/4\nK:G\n{notes[:8]}|{notes[8:]}|\n"
            )
            writer.add_reading(read_bytes(text.encode(), "abc", f"air/{number}.abc"))
        with Corpus.open(corpus_path) as corpus:
            writer.tag([row.tune_id for row in corpus.tunes()], "air")
    return corpus_path


def tune_ids(path: Path) -> list[str]:
    with Corpus.open(path) as corpus:
        return [row.tune_id for row in corpus.tunes()]


def test_a_sound_corpus_has_no_faults_and_its_sizes_are_said(filled):
    report = check_corpus(filled)
    assert report.faults == ()
    assert (report.tune_count, report.note_count, report.place_count) == (12, 288, 12)
    assert report.byte_count == filled.stat().st_size


@pytest.mark.parametrize(
    ("damage", "what"),
    [
        ("UPDATE tune SET title = 'Other' WHERE tune_id = ?", "plain columns differ"),
        (
            "UPDATE tune SET melody = replace(melody, '62', '63') WHERE tune_id = ?",
            "melody has",
        ),
        ("UPDATE tune SET facet_crc32 = 1 WHERE tune_id = ?", "facets have changed"),
        (
            "UPDATE tune_facet SET bar_count = 99 "
            "WHERE tune = (SELECT id FROM tune WHERE tune_id = ?)",
            "facets have changed",
        ),
        (
            "UPDATE place SET source = 'elsewhere' "
            "WHERE tune = (SELECT id FROM tune WHERE tune_id = ?)",
            "row .* of place has changed",
        ),
        (
            "DELETE FROM place WHERE tune = (SELECT id FROM tune WHERE tune_id = ?)",
            "no place is known",
        ),
        (
            "UPDATE kept_source SET bytes = x'' WHERE id = (SELECT kept_source FROM place "
            "JOIN tune ON tune.id = place.tune WHERE tune_id = ?)",
            "a kept source has changed",
        ),
        (
            "UPDATE read_warning SET text = 'so' WHERE place = (SELECT place.id FROM place "
            "JOIN tune ON tune.id = place.tune WHERE tune_id = ?)",
            "row .* of read_warning has changed",
        ),
    ],
)
def test_a_change_is_found_and_names_its_tune(filled, melody, damage, what):
    wanted = melody(3).content_id()
    changed(filled, damage, wanted)
    report = check_corpus(filled)
    assert report.touched == (wanted,)
    assert any(re.search(what, fault.what) for fault in report.faults)


def test_a_damaged_chunk_names_all_its_tunes_and_is_not_searched(filled):
    changed(filled, "UPDATE chunk SET notes = zeroblob(length(notes))")
    report = check_corpus(filled)
    assert len(report.touched) == 12
    assert "checksum does not hold" in report.faults[0].what


def test_notes_for_matching_that_are_missing_or_left_over_are_found(filled, melody):
    wanted = melody(3).content_id()
    changed(filled, "DELETE FROM tune WHERE tune_id = ?", wanted)
    report = check_corpus(filled)
    assert any("belong to no tune" in fault.what for fault in report.faults)
    assert wanted in report.touched


def test_a_flipped_bit_is_found_or_changes_nothing_that_the_corpus_says(filled):
    before, data = everything(filled), filled.read_bytes()
    draw = random.Random(20)
    found = harmless = 0
    for _ in range(FLIPS):
        damaged = bytearray(data)
        damaged[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        filled.write_bytes(damaged)
        try:
            noticed = bool(check_corpus(filled).faults)
        except MelodexError:
            noticed = True
        if noticed:
            found += 1
        else:
            assert everything(filled) == before
            harmless += 1
    # Of this small file nine pages in ten are room that nothing is written to yet.
    assert found > FLIPS // 10
    assert found + harmless == FLIPS


def test_repair_reads_a_damaged_melody_again_from_its_source(read_tunes):
    before = tune_ids(read_tunes)
    changed(read_tunes, "UPDATE tune SET melody = '[]' WHERE tune_id = ?", before[2])
    assert check_corpus(read_tunes).touched == (before[2],)
    refused = pytest.raises(DamagedCorpusError, match=f"tune {before[2]} cannot be read")
    with Corpus.open(read_tunes) as corpus, refused:
        corpus.melody(before[2])
    result = check(read_tunes, repair=True)
    assert result.repair is not None
    assert result.repair.read_again == (before[2],)
    assert (result.repair.kept, result.repair.lost) == (7, ())
    assert result.report.faults == ()
    assert tune_ids(read_tunes) == before
    with Corpus.open(read_tunes) as corpus:
        assert all(row.tags == ("air",) for row in corpus.tunes())
        assert corpus.melody(before[2]).content_id() == before[2]


def test_repair_keeps_the_damaged_file_and_says_where(read_tunes):
    changed(read_tunes, "UPDATE tune SET composer = 'x' WHERE id = 1")
    damaged = read_tunes.read_bytes()
    result = check(read_tunes, repair=True)
    assert result.repair is not None
    assert result.repair.damaged.read_bytes() == damaged
    assert result.repair.damaged != read_tunes


def test_repair_names_a_tune_that_nothing_brings_back(read_tunes):
    wanted = tune_ids(read_tunes)[4]
    changed(read_tunes, "UPDATE tune SET melody = '[]' WHERE tune_id = ?", wanted)
    changed(
        read_tunes,
        "UPDATE kept_source SET bytes = ? WHERE id = (SELECT kept_source FROM place "
        "JOIN tune ON tune.id = place.tune WHERE tune_id = ?)",
        zlib.compress(b"K:"),
        wanted,
    )
    result = check(read_tunes, repair=True)
    assert result.repair is not None
    assert result.repair.lost == (wanted,)
    assert result.report.faults == ()
    assert len(tune_ids(read_tunes)) == 7


def test_repair_keeps_a_tune_whose_place_is_damaged(read_tunes):
    before = set(tune_ids(read_tunes))
    changed(read_tunes, "UPDATE place SET number = '77' WHERE id = 3")
    check(read_tunes, repair=True)
    assert set(tune_ids(read_tunes)) == before
    with Corpus.open(read_tunes) as corpus:
        assert len(corpus.tunes(collection="recovered")) == 1


def test_repair_of_a_wiped_page_loses_no_tune_that_is_kept_elsewhere(read_tunes):
    before = set(tune_ids(read_tunes))
    data = read_tunes.read_bytes()
    pages = len(data) // 4096
    saved = 0
    for page in range(4, pages, 3):
        read_tunes.write_bytes(
            data[: page * 4096] + bytes(4096) + data[(page + 1) * 4096 :]
        )
        try:
            result = check(read_tunes, repair=True)
        except DamagedCorpusError:
            continue
        assert result.report.faults == ()
        lost = set(result.repair.lost) if result.repair else set()
        assert before - set(tune_ids(read_tunes)) <= lost
        saved += not lost
    assert saved > pages // 5


def test_a_sound_corpus_is_left_alone_by_repair(filled):
    before = filled.read_bytes()
    assert check(filled, repair=True).repair is None
    assert filled.read_bytes() == before
    assert [p.name for p in filled.parent.iterdir()] == [filled.name]


def test_a_file_that_is_no_sqlite_is_neither_checked_nor_repaired(tmp_path):
    path = tmp_path / "letter.melodex"
    path.write_text("dear friend, " * 100)
    with pytest.raises(CorpusError, match="no SQLite file"):
        check(path, repair=True)
    with pytest.raises(CorpusError, match="no SQLite file"):
        repair_corpus(path)
    assert path.read_text().startswith("dear friend")


def test_repair_waits_for_a_writer_and_then_gives_up(filled, monkeypatch):
    monkeypatch.setattr("melodex.corpus.care.repairing.WAIT_SECONDS", 0.2)
    busy = pytest.raises(CorpusError, match="another process holds the corpus")
    with CorpusWriter.open(filled) as writer, writer.transaction(), busy:
        repair_corpus(filled)


def test_a_kept_source_gives_its_tune_again(read_tunes):
    with closing(sqlite3.connect(read_tunes)) as connection:
        rows = connection.execute(
            "SELECT tune_id, source, bytes, kept_format FROM place JOIN tune "
            "ON tune.id = place.tune JOIN kept_source ON kept_source.id = place.kept_source"
        ).fetchall()
    assert len(rows) == 8
    for tune_id, source, packed, kept_format in rows:
        again = read_bytes(zlib.decompress(packed), kept_format, source)
        assert [tune.melody.content_id() for tune in again.tunes] == [tune_id]


def test_tunes_without_a_kept_source_are_whole_too(corpus_path, melody):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("made.abc", (ReadTune(melody(1)),)))
    assert check_corpus(corpus_path).faults == ()
    changed(corpus_path, "UPDATE tune SET composer = 'x'")
    check(corpus_path, repair=True)
    assert tune_ids(corpus_path) == [melody(1).content_id()]


@pytest.fixture
def with_set(read_tunes) -> Path:
    """The same corpus with a teaching set of three passages."""
    with Corpus.open(read_tunes) as corpus:
        found = [found_by_hand(corpus, f"Air {number}", bars="1-2") for number in range(3)]
    keep(read_tunes, "Leaps", found, create=True)
    return read_tunes


@pytest.mark.parametrize(
    ("sql", "named"),
    [
        (
            "UPDATE lesson_example SET note = 'x' WHERE position = 2",
            r"passage 2 of the teaching set 'Leaps': notes 0-15 of tune [0-9a-f]{16}",
        ),
        (
            "UPDATE lesson_example SET excerpt = '{}' WHERE position = 3",
            r"passage 3 of the teaching set 'Leaps': notes 0-15 of tune [0-9a-f]{16}",
        ),
        ("DELETE FROM lesson_example WHERE position = 2", "passage 2 of .* 'Leaps'"),
        ("UPDATE lesson SET topic = 'x'", "the name and the words of .* 'Leaps'"),
        ("UPDATE tag SET name = 'xyz' WHERE id = 1", "the tag 'xyz' of tune [0-9a-f]{16}"),
        ("UPDATE collection SET name = 'xyz'", "the name of the collection 'xyz'"),
        (
            "UPDATE place SET number = '77' WHERE id = 3",
            r"the place of tune [0-9a-f]{16}: number 77 of '.*air/2.abc'",
        ),
        (
            "UPDATE kept_source SET bytes = x'00' WHERE id = 1",
            "the source text of tune [0-9a-f]{16}",
        ),
    ],
    ids=range(8),
)
def test_repair_names_whatever_it_leaves_out(with_set, sql, named):
    before = set(tune_ids(with_set))
    changed(with_set, sql)
    if "DELETE" in sql:
        (fault,) = check_corpus(with_set).faults
        assert fault.what == "passage 2 of the teaching set 'Leaps' is missing"
    repair = check(with_set, repair=True).repair
    assert repair is not None
    (said,) = repair.left_out
    assert re.fullmatch(named, said)
    assert repair.lost == ()
    assert set(tune_ids(with_set)) == before
    assert check_corpus(with_set).faults == ()


def test_a_forged_position_does_not_hold_a_check_up(with_set):
    forged = 2**62
    with closing(sqlite3.connect(with_set)) as connection:
        connection.row_factory = sqlite3.Row
        connection.execute("UPDATE lesson_example SET position = ? WHERE id = 3", [forged])
        row = connection.execute("SELECT * FROM lesson_example WHERE id = 3").fetchone()
        crc = row_crc32(row[name] for name in CHECKED_COLUMNS["lesson_example"])
        connection.execute("UPDATE lesson_example SET row_crc32 = ? WHERE id = 3", [crc])
        connection.commit()
    faults = check_corpus(with_set).faults
    assert faults[0].what == "passage 3 of the teaching set 'Leaps' is missing"
    assert len(faults) == MOST_LINES
