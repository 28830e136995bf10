"""Sheets of chord symbols without any note: described, and refused where notes count."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from melodex.errors import ReadingError
from melodex.presentation.data.forms import as_json
from melodex.presentation.report.forms import report_html
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.tasks.describe.describe import described
from melodex.tasks.passage import find_passage

HEAD = "X:1\nT:Grid\nM:4/4\nL:1/4\nK:F\n"
# A twelve-bar blues (common practice, no source), written as people write grids.
WITH_RESTS = '"F7"z4|"Bb7"z4|"F7"z4|"F7"z4|"Bb7"z4|"Bb7"z4|"F7"z4|"F7"z4|"C7"z4|"Bb7"z4|'
BARE = '"F7"|"Bb7"|"F7"|"F7"|"Bb7"|"Bb7"|"F7"|"F7"|"C7"|"Bb7"|'
SHEETS = {
    "grid.abc": HEAD + WITH_RESTS + '"F7"z2"D7"z2|"Gm7"z2"C7"z2|]\n',
    "bare.abc": HEAD + BARE + '"F7" "D7"|"Gm7" "C7"|]\n',
}
MUSICXML = """<score-partwise version="4.0"><part-list><score-part id="P"><part-name/>
</score-part></part-list><part id="P"><measure number="1"><attributes>
<divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes><harmony><root>
<root-step>C</root-step></root><kind>major</kind></harmony><note><rest/><duration>4</duration>
</note></measure><measure number="2"><harmony><root><root-step>F</root-step></root>
<kind>major</kind></harmony><note><rest/><duration>2</duration></note><harmony><root>
<root-step>G</root-step></root><kind>dominant</kind></harmony><note><rest/>
<duration>2</duration></note></measure><measure number="3"><harmony><root>
<root-step>C</root-step></root><kind>major</kind></harmony><note><rest/><duration>4</duration>
</note></measure></part></score-partwise>"""


@pytest.mark.parametrize("name", SHEETS)
def test_a_grid_of_chords_is_described(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text(SHEETS[name], encoding="utf-8")
    found = described(str(path), tmp_path / "none.melodex")
    assert found.summary[0] == "In F major, a blues."
    assert [len(bar.chords) for bar in found.grid] == [1] * 10 + [2, 2]
    assert [bar.chords[0][1] for bar in found.grid][:5] == ["I7", "IV7", "I7", "I7", "IV7"]
    assert "There is no melody, so there is nothing to resemble." in found.unsaid
    assert "There is no melody" in as_text(found, Style(width=80))
    page = report_html(found)
    assert "B♭7" in page
    data = json.loads(as_json(found))
    assert (data["piece"]["first_bar"], data["piece"]["last_bar"]) == (1, 12)
    assert data["key"]["idiom"] == "blues"


def test_a_grid_in_musicxml_is_described(tmp_path: Path) -> None:
    path = tmp_path / "grid.musicxml"
    path.write_text(MUSICXML, encoding="utf-8")
    found = described(str(path), tmp_path / "none.melodex")
    assert [[numeral for _, numeral in bar.chords] for bar in found.grid] == [
        ["I"],
        ["IV", "V7"],
        ["I"],
    ]


def test_where_notes_count_such_a_sheet_is_refused_with_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "bare.abc"
    path.write_text(SHEETS["bare.abc"], encoding="utf-8")
    with pytest.raises(ReadingError, match="chords and no notes"):
        find_passage(str(path))
