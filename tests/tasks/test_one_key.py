"""One tune has one key, whatever is asked: describe, list, show, resemble, compare."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.facets import FACET_VERSION
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.melodies import FACETS_WITH_KEYS
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody import Key
from melodex.presentation.text.corpus import detail_text, listing_text
from melodex.reading import read_path
from melodex.tasks.collection.holdings import list_tunes, show_tune
from melodex.tasks.compare.compare import compare
from melodex.tasks.describe.describe import describe
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble

UNSIGNED = """X:1
T:Without its signature
M:4/4
L:1/4
K:C
"F"F A c A|"Bb"_B d f d|"C7"c e g _b|"F"a f c A|"F"F A c A|"Dm"d f a f|"C7"g e c _B|"F"F4|

X:2
T:Signed
M:4/4
L:1/4
K:F
"F"F A c A|"Bb"B d f d|"C7"c e g b|"F"a f c A|"F"F A c A|"Gm"G B d B|"C7"g e c B|"F"F4|
"""
"""Written for this test: in F, once as if in C with an accidental before each B flat."""


@pytest.fixture
def corpus(tmp_path: Path) -> Path:
    sheet = tmp_path / "two.abc"
    sheet.write_text(UNSIGNED, encoding="utf-8")
    path = tmp_path / "two.melodex"
    with CorpusWriter.open(path) as writer:
        assert not writer.add_reading(read_path(sheet)).refusals
    return path


def test_every_command_names_the_same_key(corpus: Path) -> None:
    name = "Without its signature"
    with Corpus.open(corpus) as opened:
        told = describe(find_passage(name, opened, fewest=1), opened)
        assert str(told.analysis.key.key) == "F major"
        row = next(row for row in list_tunes(opened).tunes if row.title == name)
        assert (row.key, row.printed_key) == ("F major", "C major")
        assert "F major" in listing_text(list_tunes(opened))
        shown = detail_text(show_tune(opened, name))
        assert "key       F major" in shown
        assert "printed   C major" in shown
        passage = find_passage(name, opened, bars=read_span("1-4"))
        assert passage.melody.key == Key(-1, "major")
        assert passage.melody.degrees()[:4] == (0, 4, 1, 4)
        other = find_passage("Signed", opened, bars=read_span("1-4"))
        assert compare(passage, other).likeness.same_function
        found = resemble(opened, passage.phrase(), explain=True)
        match = next(m for m in found.matches if m.passage.whole.title == "Signed")
        assert match.likeness.same_function
        assert match.evidence is not None
        assert match.passage.melody.key == Key(-1, "major")


def test_a_file_beside_the_corpus_is_read_in_the_same_key(corpus: Path) -> None:
    passage = find_passage(f"{corpus.parent / 'two.abc'}#1", None)
    assert passage.melody.key == Key(-1, "major")
    assert passage.melody.printed_key == Key(0, "major")


def test_keys_that_an_older_version_kept_are_left_aside(corpus: Path) -> None:
    assert FACETS_WITH_KEYS <= FACET_VERSION
    with Corpus.open(corpus) as opened:
        opened.settings["facet_version"] = str(FACETS_WITH_KEYS - 1)
        row = next(row for row in opened.tunes() if row.title.startswith("Without"))
        assert row.key == row.printed_key == "C major"
        assert opened.melody(row.tune_id).centres == ()
