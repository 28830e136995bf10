"""Parts of a page: staves while one types, areas of bars, evidence in a line."""

from __future__ import annotations

import random
import re
from html.parser import HTMLParser

from melodex.presentation.engraving.fragments import (
    bar_areas,
    evidence_html,
    evidence_line,
    phrase_picture,
    sections_html,
    tune_picture,
)
from melodex.presentation.engraving.pictures import UNITS_PER_PIXEL
from melodex.presentation.report.forms import comparison_page
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.compare.likeness import RELATIONS


def test_every_note_of_real_tunes_lies_in_the_area_of_its_bar(real_tunes):
    """And of no other bar; areas of one system do not overlap."""
    for melody in random.Random(5).sample(real_tunes, 25):
        drawn = tune_picture(melody)
        areas = bar_areas(drawn)
        width, height = drawn.width * UNITS_PER_PIXEL, drawn.height * UNITS_PER_PIXEL
        for place in drawn.notes:
            x, y = place.x / width, place.y / height
            at = {
                area.bar
                for area in areas
                if area.left <= x < area.left + area.width + 1e-4
                and area.top <= y <= area.top + area.height
            }
            assert at == {melody.bar[place.note]}, melody.title
        # Bars of rests, or of a note tied over, have an area as well.
        assert {area.bar for area in areas} >= set(melody.bar)
        assert all(area.left >= 0 and area.left + area.width <= 1.001 for area in areas)


def test_a_phrase_is_drawn_from_its_first_note_on():
    for count in (1, 2, 3, 9):
        drawn = phrase_picture(read_phrase(" ".join("1234567"[:count]) or "1", fewest=1))
        assert drawn is not None
        assert drawn.note_count == min(count, 7)
    assert phrase_picture(read_phrase("+ + - 0")) is None


# HTML Living Standard, section 13.1.2: elements that have no end tag.
VOID = ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "wbr")


class Tags(HTMLParser):
    """Follows which elements stand open; what ends without having begun stays noted."""

    def __init__(self) -> None:
        super().__init__()
        self.standing: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.standing.append(tag)

    def handle_startendtag(self, tag, attrs):
        """An element of SVG that ends where it begins."""

    def handle_endtag(self, tag):
        if self.standing[-1:] == [tag]:
            self.standing.pop()
        else:
            self.standing.append(f"/{tag}")


def unclosed(text: str) -> list[str]:
    """Elements that are not closed, or closed in a wrong order."""
    tags = Tags()
    tags.feed(text)
    tags.close()
    return tags.standing


def test_elements_that_are_not_closed_in_order_are_noticed():
    assert unclosed("<p hidden>a<br>&nbsp;<i>b</i></p><svg><path d='M0'/></svg>") == []
    assert unclosed("<p><b>a</p></b>") == ["p", "b", "/p", "/b"]
    assert unclosed("<p>a") == ["p"]


def test_sections_keep_every_picture_whole_and_every_player(comparison):
    page = comparison_page(comparison)
    text = sections_html(page.sections)
    notes = len(comparison.a.melody) + len(comparison.b.melody)
    # Drawn twice: in time and in columns. Pieces tied on have names of their own.
    heads = re.findall(r'<g class="note" id="([tc])p\d+n\d+"', text)
    assert sorted(heads) == ["c"] * notes + ["t"] * notes
    assert text.count("data-players") == 1
    assert "<style" not in text
    assert "<script>" not in text
    assert " style=" not in text
    for glyph in set(re.findall(r'href="#([tc]\w+)"', text)):
        assert f'id="{glyph}"' in text
    assert unclosed(text) == []


def test_evidence_leaves_out_what_the_list_says(comparison):
    section = comparison_page(comparison).sections[0]
    text = evidence_html(section)
    assert "<h" not in text.replace("<hr", "")
    assert "facts" not in text
    assert "svg" in text


def test_evidence_in_a_line_names_each_pair(comparison):
    line = evidence_line(comparison.a.melody, comparison.b.melody, comparison.likeness)
    assert len(line) == len(comparison.likeness.pairs)
    for note, pair in zip(line, comparison.likeness.pairs, strict=True):
        assert bool(note.phrase) == (pair.query is not None)
        assert bool(note.tune) == (pair.tune is not None)
        assert note.relation in RELATIONS
    # F major: F A C B flat A; B flat minor: B flat D flat F E flat D flat.
    assert [note.phrase for note in line[:3]] == ["1", "3", "5"]
    assert [note.tune for note in line[:3]] == ["1", "♭3", "5"]
