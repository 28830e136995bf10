"""Pages of descriptions and gatherings: whole, escaped, and with their rights."""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.presentation.report.forms import report_html
from melodex.presentation.report.paper import handout_pdf
from melodex.reading.abc.reader import read_abc
from melodex.tasks.demo import CORPUS_FILE
from melodex.tasks.describe.describe import describe
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.gather.music import with_music
from melodex.tasks.passage import Passage, find_passage


@pytest.fixture(scope="module")
def corpus_path(demo_folder: Path) -> Path:
    return demo_folder / CORPUS_FILE


def test_a_description_shows_bars_notes_finds_and_rights(corpus_path: Path) -> None:
    with Corpus.open(corpus_path) as corpus:
        found = describe(find_passage("Fog over the Basin", corpus), corpus)
    page = report_html(found)
    for said in ("The map of the piece", "minor iv", "Worth telling", "CC0 1.0", "Fm"):
        assert said in page
    assert page == report_html(found)
    assert handout_pdf(found).startswith(b"%PDF")


def test_a_gathering_shows_one_row_for_each_passage(corpus_path: Path) -> None:
    with Corpus.open(corpus_path) as corpus:
        found = gather(corpus, Wish(note_on_chord="7 on iv"))
    page = report_html(found)
    assert page.count("7 on iv") >= len(found.examples)
    assert "Fog over the Basin" in page


def test_gathered_passages_are_music_with_what_stands_around_them(
    corpus_path: Path,
) -> None:
    with Corpus.open(corpus_path) as corpus:
        found = gather(corpus, Wish(note_on_chord="7 on iv"))
        shown = with_music(corpus, found)
    assert [each.example for each in shown.shown] == list(found.examples)
    for each in shown.shown:
        assert each.passage is not None
        bars = set(each.passage.melody.bar)
        assert each.example.first_bar in bars
        assert len(bars) >= 4
    page = report_html(shown)
    assert page.count('class="music"') == len(found.examples)
    assert handout_pdf(shown) == handout_pdf(shown)


def test_a_tune_that_is_gathered_whole_is_shown_by_its_first_bars(
    corpus_path: Path,
) -> None:
    with Corpus.open(corpus_path) as corpus:
        shown = with_music(corpus, gather(corpus, Wish(title="Fog over the Basin"))).shown
    (only,) = shown
    assert not only.is_whole
    assert only.passage is not None
    assert set(only.passage.melody.bar) == set(range(1, 9))


def test_markup_in_a_title_stays_text() -> None:
    tune = "X:1\nT:<script>alert(1)</script>\nL:1/4\nM:4/4\nK:C\nC D E F | G A B c |]\n"
    melody = read_abc(tune).tunes[0].melody
    page = report_html(describe(Passage(melody, melody, 0, melody.content_id(), False)))
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
