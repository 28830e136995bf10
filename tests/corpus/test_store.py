"""Writing: what is added, replaced and removed, and that nothing is lost."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import TUNES_PER_CHUNK, TuneNotes, encode_notes
from melodex.corpus.packing import unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.schema import TABLES
from melodex.corpus.tunes.particulars import places_of
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.rows.packing import ChunkTable
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, UnknownTuneError
from melodex.melody import Melody
from melodex.reading.result import Choice, FileReading, ReadTune, Refusal


def ids(path: Path) -> set[str]:
    with Corpus.open(path) as corpus:
        return {row.tune_id for row in corpus.tunes()}


def asked(path: Path, sql: str) -> list[tuple]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql).fetchall()


def notes_for_matching(path: Path) -> dict[str, tuple[bytes, bytes]]:
    with Corpus.open(path) as corpus:
        tunes = [tune for chunk in corpus.chunks() for tune in unpack(chunk)]
    found = {tune.tune_id: (tune.pitch, tune.length_class) for tune in tunes}
    assert len(found) == len(tunes), "a tune is packed twice"
    return found


def test_what_was_added_comes_back_note_for_note_with_its_place(
    corpus_path, reading, melody
):
    with CorpusWriter.open(corpus_path) as writer:
        report = writer.add_reading(reading("shelf/one.abc", [1, 2]))
    assert report.added == (melody(1).content_id(), melody(2).content_id())
    with Corpus.open(corpus_path) as corpus:
        found = corpus.melody(melody(2).content_id())
        assert found == melody(2, source="shelf/one.abc", collection="shelf")
        assert (corpus.tune_count, corpus.note_count) == (2, 48)
    assert notes_for_matching(corpus_path) == {
        tune.content_id(): encode_notes(tune) for tune in (melody(1), melody(2))
    }


def test_adding_the_same_again_changes_no_byte_that_is_read(filled, reading):
    before = asked(filled, "SELECT * FROM place ORDER BY id")
    with CorpusWriter.open(filled) as writer:
        report = writer.add_reading(reading("shelf/one.abc", range(1, 7), warned=True))
    assert (len(report.added), len(report.unchanged), report.replaced) == (0, 6, ())
    after = asked(filled, "SELECT * FROM place ORDER BY id")
    assert before == after


def test_a_tune_in_two_files_is_one_tune_in_two_places(filled, reading, melody):
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("loose/three.abc", [3]), collection="Loose sheets")
    with Corpus.open(filled) as corpus:
        assert corpus.tune_count == 12
        places = places_of(corpus, melody(3).content_id())
        assert [(p.source, p.collection) for p in places] == [
            ("loose/three.abc", "Loose sheets"),
            ("shelf/one.abc", "shelf"),
        ]
        # The first by name, not the one that was read first.
        assert corpus.tune(melody(3).content_id()).source == "loose/three.abc"
        assert corpus.melody(melody(3).content_id()).credits.source == "loose/three.abc"
        assert [row.title for row in corpus.tunes(collection="Loose sheets")] == ["Tune 3"]


def test_other_content_at_the_same_number_replaces_and_keeps_the_tags(
    filled, reading, melody
):
    old, new = melody(3), melody(33, number="3")
    with CorpusWriter.open(filled) as writer:
        writer.tag([old.content_id()], "for Tuesday")
        kept = ReadTune(new, (), b"X:3\n", "abc")
        report = writer.add_reading(FileReading("shelf/one.abc", (kept,)))
    assert report.replaced == ((old.content_id(), new.content_id()),)
    with Corpus.open(filled) as corpus:
        assert corpus.tune_count == 12
        assert corpus.tune(new.content_id()).tags == ("for Tuesday",)
        with pytest.raises(UnknownTuneError, match=old.content_id()):
            corpus.melody(old.content_id())
    assert old.content_id() not in notes_for_matching(filled)


def test_a_replaced_tune_stays_where_another_place_holds_it(filled, reading, melody):
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("loose/three.abc", [3]))
        writer.add_reading(reading("shelf/one.abc", [33], number="3"))
    assert {melody(3).content_id(), melody(33).content_id()} <= ids(filled)


def test_tunes_that_move_to_other_numbers_in_their_file_are_none_of_them_lost(
    filled, reading, melody
):
    moved = FileReading(
        "shelf/one.abc",
        tuple(
            ReadTune(
                melody(number).with_credits(number=str(number % 6 + 1)), (), b"x", "abc"
            )
            for number in range(1, 7)
        ),
    )
    with CorpusWriter.open(filled) as writer:
        report = writer.add_reading(moved)
    assert len(report.unchanged) == 6
    assert {melody(number).content_id() for number in range(1, 13)} == ids(filled)


def test_tunes_of_one_file_that_share_a_number_all_go_in(corpus_path, reading):
    same = reading("shelf/careless.abc", [1, 2, 3], number="1")
    with CorpusWriter.open(corpus_path) as writer:
        assert len(writer.add_reading(same).added) == 3
        assert len(writer.add_reading(same).unchanged) == 3
    assert len(ids(corpus_path)) == 3


def test_files_of_one_name_in_two_folders_do_not_replace_each_other(
    corpus_path, reading, tmp_path, monkeypatch
):
    for number, folder in enumerate(("here", "there")):
        (tmp_path / folder).mkdir()
        monkeypatch.chdir(tmp_path / folder)
        with CorpusWriter.open(corpus_path) as writer:
            writer.add_reading(reading("one.abc", [number], number="1"))
    with Corpus.open(corpus_path) as corpus:
        assert corpus.tune_count == 2
        assert {row.collection for row in corpus.tunes()} == {"here", "there"}


def test_a_tune_without_notes_is_refused_and_the_rest_goes_in(corpus_path, reading):
    good = reading("shelf/one.abc", [1])
    empty = ReadTune(Melody().with_credits(number="2"))
    refused = Refusal("shelf/one.abc", "no key", number="3")
    both = FileReading("shelf/one.abc", (*good.tunes, empty), (refused,))
    with CorpusWriter.open(corpus_path) as writer:
        report = writer.add_reading(both)
    assert len(report.added) == 1
    assert [str(refusal) for refusal in report.refusals] == [
        "shelf/one.abc, tune 3: no key",
        "shelf/one.abc, tune 2: this tune has no notes",
    ]


def test_a_clash_of_ids_is_refused_rather_than_taken_for_the_same(filled, reading, melody):
    with sqlite3.connect(filled) as connection:
        connection.execute(
            "UPDATE tune SET melody = ? WHERE tune_id = ?",
            [melody(99).content_text(), melody(3).content_id()],
        )
    connection.close()
    with CorpusWriter.open(filled) as writer:
        report = writer.add_reading(reading("loose/three.abc", [3]))
    assert "has the id of another tune" in report.refusals[0].reason


def test_how_a_file_was_read_is_kept_with_its_source(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("a.abc", [1]), choice=Choice("2", "", "bottom"))
    sql = (
        "SELECT part, voice, chord_note, kept_format FROM place "
        "JOIN kept_source ON kept_source.id = place.kept_source"
    )
    assert asked(corpus_path, sql) == [("2", "", "bottom", "abc")]


def test_a_file_that_holds_several_tunes_in_one_is_kept_once(corpus_path, melody):
    sheet = tuple(ReadTune(melody(n), (), b"<sheet/>", "musicxml") for n in (1, 2))
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("sheet.musicxml", sheet))
    assert asked(corpus_path, "SELECT count(*) FROM kept_source") == [(1,)]


def test_removing_leaves_nothing_of_a_tune_behind(filled, melody):
    wanted = [melody(number).content_id() for number in range(1, 13)]
    with CorpusWriter.open(filled) as writer:
        writer.tag(wanted[:2], "old")
        assert writer.remove(wanted).removed == tuple(wanted)
    left = {table: asked(filled, f"SELECT count(*) FROM {table}")[0][0] for table in TABLES}
    # What was removed is kept for undoing, and nothing else is.
    undo_tables = {"change", "taken_out"}
    assert {t for t, count in left.items() if count} - undo_tables == {
        "setting",
        "collection",
    }
    assert notes_for_matching(filled) == {}


def test_removing_an_unknown_tune_removes_nothing(filled, melody):
    with CorpusWriter.open(filled) as writer, pytest.raises(UnknownTuneError, match="ffff"):
        writer.remove([melody(1).content_id(), "ffffffffffff0000"])
    assert len(ids(filled)) == 12


def test_removing_a_folder_keeps_what_stands_elsewhere_too(filled, reading, melody):
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("shelf-two/three.abc", [3]))
        report = remove_places(writer, source="shelf")
    assert (len(report.removed), report.kept) == (11, (melody(3).content_id(),))
    assert ids(filled) == {melody(3).content_id()}


def test_an_error_in_the_middle_of_a_file_leaves_nothing_of_it(
    filled, reading, monkeypatch
):
    calls = []

    def failing(self, *values):
        calls.append(values)
        if len(calls) == 3:
            raise RuntimeError("a fault of ours")
        return original(self, *values)

    original = CorpusWriter.put_place
    before = notes_for_matching(filled)
    monkeypatch.setattr(CorpusWriter, "put_place", failing)
    with CorpusWriter.open(filled) as writer:
        with pytest.raises(RuntimeError, match="a fault of ours"):
            writer.add_reading(reading("shelf/four.abc", range(40, 50)))
        monkeypatch.undo()
        writer.add_reading(reading("shelf/five.abc", [50]))
    assert len(ids(filled)) == 13
    assert set(before) < set(notes_for_matching(filled)) == ids(filled)


def test_a_title_with_half_a_character_or_a_nul_is_stored_and_its_tune_unharmed(
    corpus_path, melody
):
    odd = melody(1, title="Caf\udce9 \0 Reel")
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("caf\udce9/a.abc", (ReadTune(odd),)))
    with Corpus.open(corpus_path) as corpus:
        assert corpus.tunes()[0].title == "Caf� � Reel"
        assert corpus.melody(odd.content_id()).credits.title == odd.credits.title


def test_a_year_beyond_all_calendars_is_left_out(corpus_path, melody):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("a.abc", (ReadTune(melody(1, year=10**30)),)))
    with Corpus.open(corpus_path) as corpus:
        assert corpus.tunes()[0].year is None


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(order=st.permutations(range(12)), sizes=st.lists(st.integers(1, 4), min_size=12))
def test_the_order_of_adding_changes_neither_ids_nor_what_is_matched(
    tmp_path_factory, reading, melody, order, sizes
):
    path = tmp_path_factory.mktemp("order") / "a.melodex"
    rest = list(order)
    with CorpusWriter.open(path) as writer:
        for size in sizes:
            if rest:
                writer.add_reading(reading(f"{rest[0]}.abc", rest[:size]))
                rest = rest[size:]
    assert not rest
    assert notes_for_matching(path) == {
        melody(n).content_id(): encode_notes(melody(n)) for n in range(12)
    }


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.integers(0, 30)), max_size=40), st.data())
def test_the_table_of_chunks_is_a_set_of_tunes(steps, data):
    # An example that is given up midway leaves its connection to nobody else.
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.execute(TABLES["chunk"])
        table = ChunkTable(connection)
        model: dict[str, TuneNotes] = {}
        for adding, number in steps:
            tune_id = f"{number:012x}0000"
            if adding and tune_id not in model:
                model[tune_id] = TuneNotes(tune_id, bytes([number + 40]) * 3, b"\0\1\2")
                table.add(model[tune_id])
            elif not adding and tune_id in model:
                del model[tune_id]
                table.drop(tune_id)
            if data.draw(st.booleans()):
                table.flush()
        table.flush()
        rows = connection.execute("SELECT id FROM chunk").fetchall()
        chunks = [table.chunk(row[0]) for row in rows]
        found = [tune for chunk in chunks for tune in unpack(chunk)]
        assert sorted(found, key=lambda t: t.tune_id) == [model[k] for k in sorted(model)]
        assert all(0 < chunk.tune_count <= TUNES_PER_CHUNK for chunk in chunks)


def test_one_by_one_a_corpus_keeps_few_chunks_and_full_ones_are_left_alone():
    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute(TABLES["chunk"])
    table = ChunkTable(connection)
    for number in range(TUNES_PER_CHUNK + 100):
        table.add(TuneNotes(f"{number:012x}0000", b"<", b"\0"))
        table.flush()
    sizes = [
        row[0] for row in connection.execute("SELECT tune_count FROM chunk ORDER BY id")
    ]
    assert sizes == [2048, 64, 32, 4]
    connection.close()


def test_a_settings_row_can_be_read_by_anyone(filled):
    rows = dict(asked(filled, "SELECT name, value FROM setting"))
    assert rows["encoding_version"] == "1"
    assert json.loads(rows["facet_version"]) >= 1


def test_facets_of_another_version_are_made_anew_when_the_corpus_is_written_to(
    filled, reading
):
    with sqlite3.connect(filled) as connection:
        connection.execute("UPDATE setting SET value = '0' WHERE name = 'facet_version'")
        connection.execute("UPDATE tune_facet SET metre_class = 'stale'")
    connection.close()
    with CorpusWriter.open(filled) as writer:
        writer.add_reading(reading("shelf/one.abc", [1]))
    rows = asked(filled, "SELECT DISTINCT metre_class FROM tune_facet")
    assert rows == [("simple",)]


def test_a_writer_refuses_a_file_that_was_replaced_under_its_name(filled, reading):
    with CorpusWriter.open(filled) as writer:
        filled.rename(filled.with_suffix(".old"))
        filled.touch()
        with pytest.raises(CorpusError, match="moved or replaced meanwhile"):
            writer.add_reading(reading("shelf/nine.abc", [90]))
