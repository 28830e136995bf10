"""describe: what is planted in the demo's tunes is said, and what cannot be said too."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.melody import Melody
from melodex.presentation.data import as_json
from melodex.presentation.text import Style, as_text
from melodex.reading.abc import read_abc
from melodex.tasks.describe import Description, describe, described
from melodex.tasks.passage import Passage, find_passage


def alone(text: str) -> Description:
    melody: Melody = read_abc(text).tunes[0].melody
    return describe(Passage(melody, melody, 0, melody.content_id(), False))


def test_the_minor_subdominant_and_the_melody_on_its_seventh_are_told(
    demo_corpus: Corpus,
) -> None:
    # corpus_demo/PLANTED.json: E over F minor in C, bars 4, 12 and 28.
    found = describe(find_passage("Fog over the Basin", demo_corpus), demo_corpus)
    borrowed = [f for f in found.finds if f.kind == "borrowed chord"]
    assert [f.first_bar for f in borrowed] == [4, 12, 28]
    assert "minor iv" in borrowed[0].sentence
    colour = [f for f in found.finds if f.kind == "colour note"]
    assert "major 7th on the minor iv" in colour[0].sentence
    grid = {bar.number: bar for bar in found.grid}
    assert grid[4].chords == (("Fm", "iv"),)
    assert grid[4].degrees == ("3", "2", "1", "b6")


def test_the_rarest_finds_come_first(demo_corpus: Corpus) -> None:
    found = describe(find_passage("Fog over the Basin", demo_corpus), demo_corpus)
    counts = [find.tunes for find in found.finds]
    assert counts == sorted(counts, key=lambda count: count or 0)
    assert all(count is not None and count >= 1 for count in counts)


def test_key_centres_are_told_with_their_bars(demo_corpus: Corpus) -> None:
    found = describe(find_passage("Paper Swans", demo_corpus), demo_corpus)
    spans = [(s.first_bar, s.last_bar, str(s.key)) for s in found.analysis.spans]
    assert spans == [(1, 16, "G major"), (17, 24, "A major")]
    assert any("A major" in sentence for sentence in found.summary)


@pytest.mark.parametrize(
    ("tune", "said"),
    [
        ("X:1\nT:Bare\nL:1/4\nK:C\nC D E F | G A B c |]\n", "no chord symbols"),
        ("X:1\nT:Free\nM:none\nL:1/4\nK:C\nC D E F G A B c |]\n", "Without a metre"),
        ("X:1\nT:Short\nL:1/4\nM:4/4\nK:C\nC D E F |]\n", "One bar is too little"),
        ('X:1\nT:Odd\nL:1/4\nM:4/4\nK:C\n"Cx!?"C D E F | G A B c |]\n', ""),
    ],
)
def test_what_cannot_be_said_is_said_with_its_reason(tune: str, said: str) -> None:
    found = alone(tune)
    assert said in " ".join(found.unsaid)
    assert as_text(found, Style(width=60))


def test_text_and_json_of_every_demo_tune_can_be_made(demo_corpus: Corpus) -> None:
    for row in demo_corpus.tunes():
        found = describe(find_passage(row.tune_id, demo_corpus), demo_corpus)
        assert len(found.grid) == len({bar.number for bar in found.passage.melody.bars})
        text = as_text(found, Style(width=80))
        assert max(len(line) for line in text.splitlines() if "|" not in line) <= 80
        assert '"grid"' in as_json(found)


def test_a_piece_is_described_without_any_corpus(demo_folder: Path, tmp_path: Path) -> None:
    found = described(str(demo_folder / "own" / "own_song.abc"), tmp_path / "none.melodex")
    assert found.corpus_tunes is None
    assert all(find.tunes is None for find in found.finds)
