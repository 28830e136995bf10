"""A phrase as it is typed, laid beside a tune."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import PhraseError
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import find_passage, typed_passage

PHRASE = "3 5 3 1 3 1 4 6 4 3 1"


def test_nothing_is_said_of_time_where_no_lengths_were_typed(whole_demo):
    with Corpus.open(whole_demo) as corpus:
        tune = find_passage("Marl Pit Hornpipe", corpus)
    found = compare(typed_passage(PHRASE), tune)
    assert found.summary[0] == "11 of 11 paired notes have the same degree."
    assert not found.likeness.in_time
    assert not any(" metre" in words or "as long" in words for words in found.summary)
    # With lengths, as the tune has them, the time is compared.
    timed = "3e 5e 3e 1e 3e 1e 4e 6e"
    assert compare(typed_passage(timed), tune).likeness.in_time


def test_a_command_lays_a_typed_phrase_beside_a_tune(whole_demo, tmp_path):
    typed = ["--corpus", str(whole_demo), "compare", "--phrase", PHRASE]
    said = CliRunner().invoke(
        melodex, [*typed, "Marl Pit Hornpipe", "--bars", "1-2"], catch_exceptions=False
    )
    assert "A  The phrase" in said.stdout
    assert "B  Marl Pit Hornpipe, bars 1-2" in said.stdout
    assert "rhythm" not in said.stdout
    page = tmp_path / "pair.html"
    CliRunner().invoke(
        melodex,
        [*typed, "Marl Pit Hornpipe", "--output", str(page)],
        catch_exceptions=False,
    )
    text = page.read_text(encoding="utf-8")
    assert "Note by note" in text
    assert "In time" not in text


@pytest.mark.parametrize("text", ["u u d d s", "q q e e h"])
def test_what_has_no_notes_is_refused_in_words(text):
    with pytest.raises(PhraseError, match="alone cannot be laid beside a tune"):
        typed_passage(text)
