"""Reading: names that people use, lists, one state, and what is imported for it."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.schema import CHECKED_COLUMNS, WORDS_INDEX, documentation
from melodex.corpus.tunes.particulars import warnings_of
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import CorpusError, PhraseError, SettingsError, UnknownTuneError
from melodex.melody import note_name
from melodex.melody.tune_id import leading
from melodex.reading.result import FileReading, ReadTune


@pytest.fixture
def named(corpus_path, melody):
    """Tunes with titles that are hard to tell apart."""
    titles = ["The Kettle", "Kettle of Rain", "the kettle", "Frühlingstanz", "İstanbul", ""]
    with CorpusWriter.open(corpus_path) as writer:
        tunes = tuple(
            ReadTune(melody(number, title=title)) for number, title in enumerate(titles)
        )
        writer.add_reading(FileReading("book/names.abc", tunes))
    with Corpus.open(corpus_path) as corpus:
        yield corpus


def test_an_id_and_the_beginning_of_one_name_a_tune(named, melody):
    wanted = melody(3, title="Frühlingstanz").content_id()
    for text in (wanted, wanted[:4], wanted[:7].upper(), f" {wanted} "):
        assert named.resolve(text) == wanted
    with pytest.raises(UnknownTuneError, match="no tune goes by the name"):
        named.resolve(wanted[:3] + "zz")


@pytest.mark.parametrize(
    ("text", "number", "title"),
    [
        ("The Kettle", 0, "The Kettle"),
        ("the kettle", 2, "the kettle"),
        ("fruhlingstanz", 3, "Frühlingstanz"),
        ("FRÜH", 3, "Frühlingstanz"),
        ("rain", 1, "Kettle of Rain"),
        ("istanbul", 4, "İstanbul"),
    ],
)
def test_a_title_or_a_part_of_one_names_a_tune(named, melody, text, number, title):
    assert named.resolve(text) == melody(number, title=title).content_id()


def test_a_name_that_fits_several_tunes_lists_them(named):
    with pytest.raises(UnknownTuneError, match=r"3 tunes.*'kettle'.*choose by number") as e:
        named.resolve("kettle")
    assert "  1  " in e.value.hint
    assert "Kettle of Rain: " in e.value.hint
    candidates = [row.tune_id for row in e.value.candidates]
    for number, tune_id in enumerate(candidates, start=1):
        assert f"  {number}  {leading(tune_id)}  " in e.value.hint
        assert named.resolve(leading(tune_id)) == tune_id
        assert named.resolve(f"kettle #{number}") == tune_id
    for missing in ("kettle #4", "kettle #0"):
        with pytest.raises(UnknownTuneError, match="3 tunes"):
            named.resolve(missing)
    assert named.resolve("rain #1") == named.resolve("rain")


def test_the_words_of_a_title_are_found_in_any_order(named):
    assert named.resolve("rain kettle") == named.resolve("Kettle of Rain")


def test_a_title_is_found_without_its_apostrophes(corpus_path, melody):
    tunes = (
        melody(0, title="The Lamplighter's Rest"),
        melody(1, title="O\u2019Neil\u2019s Rest"),
    )
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("book/rests.abc", tuple(map(ReadTune, tunes))))
    with Corpus.open(corpus_path) as corpus:
        for text, place in (
            ("lamplighters rest", 0),
            ("lamplighters", 0),
            ("oneils rest", 1),
            ("oneil's", 1),
        ):
            assert corpus.resolve(text) == tunes[place].content_id()
        assert len(corpus.tunes(title="lamplighters")) == 1
        with pytest.raises(UnknownTuneError, match="2 tunes"):
            corpus.resolve("rest")


def test_a_tune_goes_by_its_file_and_number_as_lists_show_them(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("book/one.abc", [1, 2, 10]))
        writer.add_reading(reading("book/stone.abc", [3]))
    with Corpus.open(corpus_path) as corpus:
        by_number = {row.number: row.tune_id for row in corpus.tunes()}
        for text, number in (
            ("book/one.abc 2", "2"),
            ("one.abc 10", "10"),
            ("one.abc#1", "1"),
            ("stone.abc #3", "3"),
        ):
            assert corpus.resolve(text) == by_number[number]
        for text in ("one.abc 3", "one.abc", "tone.abc 3"):
            with pytest.raises(UnknownTuneError, match="no tune goes by"):
                corpus.resolve(text)


@pytest.mark.parametrize("text", ["", "   ", "%", "_", "'; DROP TABLE tune; --", "ffff"])
def test_a_name_that_fits_nothing_says_how_to_look(named, text):
    with pytest.raises(UnknownTuneError, match=r"no tune goes by.*look through the titles"):
        named.resolve(text)


def test_a_tune_with_no_title_can_be_had_by_its_id(named, melody):
    tune = melody(5, title="")
    found = named.melody(tune.content_id()).title
    assert found.startswith("names ")
    # It goes by the name of its file, everywhere.
    assert named.resolve(found) == tune.content_id()
    assert named.tune(tune.content_id()).name == found


def test_lists_are_in_order_of_place_with_numbers_counted_as_numbers(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("b/two.abc", [2, 10, 1]))
        writer.add_reading(reading("a/one.abc", [30]))
    with Corpus.open(corpus_path) as corpus:
        assert [row.number for row in corpus.tunes()] == ["30", "1", "2", "10"]
        assert [row.number for row in corpus.tunes(limit=2)] == ["30", "1"]
        assert [row.number for row in corpus.tunes(source="b")] == ["1", "2", "10"]
        assert [row.number for row in corpus.tunes(source="a/one.abc")] == ["30"]
        assert corpus.tunes(title="UNE 3")[0].number == "30"
        assert corpus.tunes(collection="nowhere") == []


def test_a_folder_whose_name_begins_like_another_is_not_taken_for_it(corpus_path, reading):
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading("book/a.abc", [1]))
        writer.add_reading(reading("book-two/a.abc", [2]))
    with Corpus.open(corpus_path) as corpus:
        assert [row.title for row in corpus.tunes(source="book/")] == ["Tune 1"]


def test_warnings_come_back_with_line_and_column(filled, melody):
    with Corpus.open(filled) as corpus:
        (warning,) = warnings_of(corpus, melody(2).content_id())
    assert (warning.source, warning.line, warning.column) == ("shelf/one.abc", 7, 3)


def test_notes_of_another_encoding_are_not_searched(filled):
    with Corpus.open(filled) as corpus:
        corpus.settings["encoding_version"] = "99"
        with pytest.raises(SettingsError, match="encoding_version is 99 in the corpus"):
            list(corpus.chunks())


def test_an_id_that_is_not_there_is_an_error_for_one_and_left_out_of_many(filled, melody):
    with Corpus.open(filled) as corpus:
        with pytest.raises(UnknownTuneError, match="no tune has the id 000000000000"):
            corpus.melody("0000000000000000")
        found = corpus.melodies(["0000000000000000", melody(1).content_id()])
    assert list(found) == [melody(1).content_id()]


def test_a_reader_can_change_nothing(filled):
    refused = pytest.raises(CorpusError, match="read but not written")
    with Corpus.open(filled) as corpus, refused:
        corpus.query("DELETE FROM tune")


def test_reading_imports_nothing_heavy(filled):
    code = (
        "import sys; from pathlib import Path; from melodex.corpus.reader import Corpus; "
        "c = Corpus.open(Path(sys.argv[1])); c.resolve('Tune 3'); list(c.chunks()); "
        "c.melodies([r.tune_id for r in c.tunes()]); print(*sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(filled)],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    loaded = set(done.stdout.split())
    assert "sqlite3" in loaded
    heavy = {"numpy", "sqlite_utils", "music21", "rich", "jinja2", "scipy", "click"}
    assert not heavy & loaded
    assert (
        not {"melodex.corpus.writing.store", "melodex.corpus.facets", "melodex.analysis"}
        & loaded
    )


def sqlite_shell(path, sql):
    """What SQLite's own program says, which knows nothing of melodex."""
    program = shutil.which("sqlite3")
    assert program, "this check needs the sqlite3 program (Debian: sqlite3)"
    done = subprocess.run(
        [program, "-csv", str(path), sql], capture_output=True, encoding="utf-8", check=True
    )
    return done.stdout.splitlines()


def test_any_sqlite_tool_can_read_the_views(filled, melody):
    tune = melody(3)
    sql = (
        "SELECT note, bar, onset_quarters, duration_quarters, midi, letter, alteration, "
        f"beat_strength FROM note WHERE tune_id = '{tune.content_id()}' ORDER BY note"
    )
    found = [line.split(",") for line in sqlite_shell(filled, sql)]
    assert len(found) == len(tune)
    for at, (note, bar, onset, duration, midi, letter, alteration, strength) in enumerate(
        found
    ):
        assert (int(note), int(bar), int(midi)) == (at + 1, tune.bar[at], tune.midi[at])
        assert (float(onset), float(duration)) == (
            tune.onset_quarters[at],
            tune.duration_quarters[at],
        )
        signs = "#" * int(alteration) + "b" * -int(alteration)
        assert note_name(tune.midi[at], tune.fifths[at]).startswith(letter + signs)
        assert float(strength) == tune.beat_strength[at]
    overview = (
        "SELECT title, printed_key, metre, bar_count, source FROM tune_overview LIMIT 1"
    )
    assert sqlite_shell(filled, overview) == ['"Tune 1","D dorian",4/4,3,shelf/one.abc']


def test_every_letter_and_sign_comes_out_right_in_the_view(corpus_path, melody):
    tune = melody(1, notes=22)
    spread = tuple(range(-8, 14))
    spelled = type(tune)(
        **{
            **{name: getattr(tune, name) for name in tune.__slots__},
            "fifths": spread,
            "midi": tuple(60 + 7 * place % 12 for place in spread),
        }
    )
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(FileReading("a.abc", (ReadTune(spelled),)))
    lines = sqlite_shell(corpus_path, "SELECT letter, alteration FROM note ORDER BY note")
    for line, place in zip(lines, spread, strict=True):
        letter, alteration = line.split(",")
        assert "FCGDAEB".index(letter) - 1 + 7 * int(alteration) == place


def test_the_documentation_names_every_column_that_sqlite_knows(filled):
    documented = {table.name: table for table in documentation()}
    names = sqlite_shell(
        filled, "SELECT name FROM sqlite_master WHERE type IN ('table', 'view')"
    )
    # The full-text index is FTS5's own, of five tables, and is described in words.
    assert {name for name in names if not name.startswith(WORDS_INDEX)} == set(documented)
    for name, table in documented.items():
        columns = sqlite_shell(filled, f"SELECT name FROM pragma_table_info('{name}')")
        assert [column.name for column in table.columns] == columns
        assert table.meaning
        assert all(column.meaning for column in table.columns)


def test_the_file_itself_tells_what_its_columns_mean(filled):
    schema = "\n".join(sqlite_shell(filled, "SELECT sql FROM sqlite_master"))
    assert "-- one melody, stored once however many files hold it" in schema


def test_every_row_that_carries_a_checksum_has_all_its_other_columns_in_it():
    documented = {table.name: table for table in documentation()}
    for name, columns in CHECKED_COLUMNS.items():
        others = {column.name for column in documented[name].columns} - {
            "row_crc32",
            "bytes",
        }
        assert set(columns) == others


def test_words_beyond_number_are_refused_and_a_word_counts_once(named):
    assert len(named.tunes(words="kettle " * 5000)) == 3
    assert named.tunes(words=" ".join(f"kettle{n}" for n in range(100))) == []
    with pytest.raises(PhraseError, match="5000 different words to look for"):
        named.tunes(words=" ".join(f"kettle{n}" for n in range(5000)))
    for many in ("kettle " * 5000, " ".join(f"kettle{n}" for n in range(5000))):
        with pytest.raises(UnknownTuneError):
            named.resolve(many)
