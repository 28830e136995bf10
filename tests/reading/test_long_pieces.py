"""A piece that a few letters make longer than any music is refused, and it alone."""

from __future__ import annotations

from time import process_time

import pytest

from melodex.reading import read_data

GOOD = "X:{0}\nT:Good {0}\nM:4/4\nL:1/8\nK:C\nCDEF GABc|cBAG FEDC|\n\n"
SHEET = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>A</part-name>'
    '</score-part></part-list><part id="P1">{}</part></score-partwise>'
)
LONG_BAR = (
    "<measure><attributes><divisions>1</divisions></attributes>"
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1000</duration></note>"
    "<note><pitch><step>D</step><octave>4</octave></pitch><duration>24</duration></note>"
    "</measure>"
)
HEAD = "X:7\nT:Long\nM:4/4\nL:1/8\nK:C\n"
TUNES = {
    "rests of bars": HEAD + "C Z500|" * 5000,
    "long notes": HEAD + "C4096 D4096|" * 2000,
    "long notes in no bar": HEAD + "C4096 D4096 " * 2000,
    "long notes under chords": HEAD + '"C"C4096 "G"D4096|' * 2000,
    "very many bars": HEAD + "z|" * 60_000 + "CDEF|",
}


@pytest.mark.parametrize("music", TUNES.values(), ids=TUNES.keys())
def test_a_tune_that_lasts_for_days_costs_none_of_its_book(music: str) -> None:
    """A book with such a tune was refused whole, after two gigabytes were full."""
    book = GOOD.format(1) + music + "\n\n" + GOOD.format(2)
    start = process_time()
    reading = read_data(book.encode(), "book.abc")
    assert process_time() - start < 10
    assert [each.melody.credits.title for each in reading.tunes] == ["Good 1", "Good 2"]
    (refusal,) = reading.refusals
    assert (refusal.number, refusal.line) == ("7", 8)
    assert "more than" in refusal.reason
    assert refusal.hint


def test_so_is_one_of_any_notation() -> None:
    # 1%256 lasts for 256 whole notes.
    kern = "**kern\n*M4/4\n" + "=\n1%256c\n1d\n" * 1000 + "*-\n"
    files = {
        "a.musicxml": SHEET.format(LONG_BAR * 200).encode(),
        "a.krn": kern.encode(),
    }
    for name, data in files.items():
        reading = read_data(data, name)
        assert not reading.tunes
        assert "lasts more than 100000 quarters" in reading.refusals[0].reason, name


def test_a_day_of_music_is_read() -> None:
    """Twenty thousand bars of common time are within both bounds."""
    music = HEAD + ("C4 G4|" * 100 + "\n") * 199 + "C8|"
    reading = read_data(music.encode(), "day.abc")
    assert len(reading.tunes[0].melody.bars) == 19_901
