"""The map of a piece: to scale and whole; marks lead to sentences; no colour alone."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from melodex.analysis.form import phrase_returns, phrases
from melodex.melody import Melody
from melodex.presentation.engraving.marks import system_slices
from melodex.presentation.map.content import numbered, piece_map
from melodex.presentation.map.drawing import drawn_map, map_caption
from melodex.presentation.map.strips import LEFT, PLOT, ruled_strips, text_width
from melodex.presentation.map.terminal import map_lines
from melodex.presentation.report.forms import report_html
from melodex.presentation.text.style import Style
from melodex.tasks.describe.describe import Description, describe
from melodex.tasks.describe.describe import described as described_by_name
from melodex.tasks.passage import Passage

SONG = """X:1
T:Weir <i>Song</i>
M:4/4
L:1/4
Q:1/4=96
K:C
P:A
"C"c e g e | "F"f a "G7"g f | "C"e c "F"f d | "C"c4 |
"C"c e g e | "F"f a "G7"g f | "C"e c "G7"B d | "C"c4 |
P:B
K:Ab
"Ab"A c e c | "Db"d f "Eb7"e d | "Ab"c A "Db"d B | "Ab"A4 |
"Ab"A c e a | "Db"f e "Eb7"d B | "Fm"A c "Bbm"d B | "Eb7"e4 |
P:A
K:C
"C"c e g e | "F"f a "G7"g f | "C"e c "F"f d | "C"c4 |
"C"d f a f | "F"g b "G7"a g | "C"f d "G7"g e | "C"c4 |]
"""
BAR = "C D E F | E D C2 | G F E D | C4 | "
LONG = "X:1\nT:Long\nM:4/4\nL:1/4\nK:C\n" + "\n".join([BAR * 3] * 25) + "\n"


@pytest.fixture(scope="module")
def described(
    read_tune: Callable[[str], Melody], as_passage: Callable[[Melody], Passage]
) -> Callable[[str], Description]:
    """Describes the first tune of some ABC."""
    return lambda text: describe(as_passage(read_tune(text)))


@pytest.fixture(scope="module")
def song(described: Callable[[str], Description]) -> Description:
    """A song in AABA's manner with a change of key."""
    return described(SONG)


def test_bars_of_one_length_are_drawn_of_one_width(song: Description) -> None:
    piece = piece_map(song)
    (ruler,) = ruled_strips(piece)
    edges = [ruler.x(bar.onset_ticks) for bar in piece.bars] + [ruler.right]
    widths = [right - left for left, right in pairwise(edges)]
    assert widths == pytest.approx([widths[0]] * len(piece.bars))
    assert edges[0] == LEFT
    assert edges[-1] <= LEFT + PLOT + 1e-6


def test_a_long_piece_is_cut_where_its_lines_end_and_nothing_is_lost(
    described: Callable[[str], Description],
) -> None:
    piece = piece_map(described(LONG))
    assert len(piece.bars) == 300
    rulers = ruled_strips(piece)
    assert [r.strip.first for r in rulers[1:]] == [r.strip.last + 1 for r in rulers[:-1]]
    assert (rulers[0].strip.first, rulers[-1].strip.last) == (0, 299)
    assert len({ruler.scale for ruler in rulers}) == 1
    # The tune's lines have four bars.
    assert all((ruler.strip.last + 1) % 4 == 0 for ruler in rulers)
    slices = system_slices(drawn_map(piece))
    assert len(slices) == len(rulers) > 5
    notes = sum(
        path.get("d", "").count("z")
        for each in slices
        for path in fromstring(each).iter()
        if path.get("fill") == "currentColor" and path.tag.endswith("path")
    )
    assert notes == len(piece.notes)


def test_every_mark_leads_to_the_row_of_its_sentence(song: Description) -> None:
    page = report_html(song)
    leads = set(re.findall(r'href="#(find-\d+)"', page))
    rows = re.findall(r'<tr id="(find-\d+)"><td>(\d+)</td>', page)
    assert leads
    assert leads <= {anchor for anchor, _ in rows}
    assert all(anchor == f"find-{number}" for anchor, number in rows)
    sentences = {find.number: find.sentence for find in numbered(song.finds)}
    for title in re.findall(r"<title>(\d+)\. ([^<]+)</title>", page):
        plain = title[1].replace("♭", "b").replace("♯", "#").replace("&amp;", "&")
        assert plain == sentences[int(title[0])]
    assert "Bb" not in re.sub(r"<[^>]*>", " ", page.split("<main>")[1].split("<footer>")[0])


def test_sections_follow_one_another_where_printed_numbers_run_back(
    described: Callable[[str], Description],
) -> None:
    found = described(SONG)
    melody, sections = found.passage.melody, found.analysis.sections
    assert sum(part.bars for part in sections) == len(melody.bars)
    # Numbers that begin again on each line, as an edition of old music may have them.
    back = tuple(
        replace(bar, number=place % 5 + 1) for place, bar in enumerate(melody.bars)
    )
    passage = replace(found.passage, melody=replace(melody, bars=back))
    drawn = piece_map(replace(found, passage=passage)).sections
    plain = piece_map(found).sections
    assert [(part.start, part.end) for part in drawn] == [(p.start, p.end) for p in plain]
    assert all(one.end == other.start for one, other in pairwise(drawn))


def test_keys_are_told_by_names_and_hatching_too(song: Description) -> None:
    svg = drawn_map(piece_map(song))
    words = re.findall(r"<text[^>]*>([^<]+)", svg)
    assert words.count("C major") == 2
    assert "A♭ major" in words
    assert 'id="maphatch1"' in svg
    assert svg.count("url(#maphatch1)") == 1
    assert svg.count('class="key-0"') == 2


def test_the_same_song_gives_the_same_bytes_and_keeps_titles_as_text(
    song: Description,
) -> None:
    piece = piece_map(song)
    assert drawn_map(piece) == drawn_map(piece_map(song))
    assert "<i>" not in drawn_map(piece)
    assert "= 96" in drawn_map(piece)


def test_phrases_that_return_have_their_letters(song: Description) -> None:
    melody = song.passage.melody
    spans = phrases(melody)
    returns = phrase_returns(melody, spans)
    letters = {span.first_bar: back for span, back in zip(spans, returns, strict=True)}
    # Bars 5-8 are bars 1-4 with other notes in bar 7; 17-20 are 1-4; 21-23 a step up.
    assert letters[5].letter.rstrip("'") == letters[1].letter == "a"
    assert (letters[17].letter, letters[17].how) == ("a", "same")
    assert letters[21].how in {"moved", "varied"}
    assert "a plain arc, note for note" in map_caption(piece_map(song))


def test_a_tune_without_chords_keys_or_bars_has_a_map(
    described: Callable[[str], Description],
) -> None:
    for text in (
        "X:1\nT:One\nL:1/4\nK:none\nC\n",
        "X:1\nT:Free\nM:none\nL:1/4\nK:none\nC D E F G A B c\n",
    ):
        piece = piece_map(described(text))
        svg = drawn_map(piece)
        assert svg.count('class="system"') == 1
        assert map_lines(piece, Style())


def test_chords_alone_have_a_map_and_a_page(tmp_path: Path) -> None:
    chords = 'P:A\n"C"z4 | "F"z2 "G7"z2 |\nP:B\n"Ab"z4 | "Db"z2 "Eb7"z2 |]\n'
    sheet = tmp_path / "chords.abc"
    sheet.write_text(f"X:1\nT:Chords\nM:4/4\nL:1/4\nK:C\n{chords}", encoding="utf-8")
    found = described_by_name(str(sheet), tmp_path / "none.melodex")
    lines = map_lines(piece_map(found), Style())
    assert lines[0].startswith("Bars     1")
    assert "V7" in drawn_map(piece_map(found))
    assert "The map of the piece" in report_html(found)
    assert ">The melody<" not in report_html(found)


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("signs", [True, False])
def test_the_map_in_letters_fits_the_terminal(
    described: Callable[[str], Description], width: int, signs: bool
) -> None:
    for text in (SONG, LONG):
        piece = piece_map(described(text))
        lines = map_lines(piece, Style(width, signs))
        assert max(map(len, lines)) <= width
        drawn = "\n".join(lines)
        assert drawn.isascii() or signs
        assert ("▲" if signs else "^") in drawn
        for bars in ("Bars     1", "Form ", "Key ", "Phrases "):
            assert bars in drawn


def test_words_are_taken_for_no_narrower_than_they_are() -> None:
    # Widths of Helvetica in thousandths of its size, from the public AFM of Adobe Core 14
    # (from memory): a 556, e 556, j 222, o 556, r 333, m 833, A 667, M 833, space 278.
    thousandths = {"a": 556, "e": 556, "j": 222, "o": 556, "r": 333, "m": 833, "A": 667,
                   "M": 833, " ": 278}  # fmt: skip
    for word in ("A major", "jam", "roe mare"):
        exact = sum(thousandths[sign] for sign in word) / 100
        assert exact <= text_width(word, 10) <= exact * 1.25
