"""What an export carries beside the notation is cleaned as any text of a file is."""

from __future__ import annotations

import json

import pytest

from melodex.reading import read_data

ABC = "X:1\nT:Plain\nM:4/4\nL:1/8\n{}K:C\nCDEF GABc|cBAG FEDC|\n"
EVIL = "\r\nX:2\nT:two\x1b[2J\u202eend"


def test_no_text_that_a_file_carries_breaks_a_line_or_steers_a_terminal() -> None:
    """Titles, makers, chords and words came with line breaks and escapes as they were."""
    plain = read_data(ABC.format("").encode(), "a.abc").tunes[0].melody
    carried = {
        "reads": plain.content_id(),
        "credits": {"title": f"Low{EVIL}", "composer": EVIL, "rights": EVIL, "year": 1900},
        "marks": [[f"A{EVIL}", 1, 0]],
        "chords": [[f"C{EVIL}", 1, 0]],
        "lyrics": [[0, f"la{EVIL}", 1]],
    }
    file = ABC.format(f"%%melodex-keeps {json.dumps(carried)}\n")
    melody = read_data(file.encode(), "a.abc").tunes[0].melody
    by = melody.credits
    texts = [by.title, by.composer, by.rights, melody.marks[0].text]
    texts += [melody.chords[0].text, melody.lyrics[0].text]
    assert by.year == 1900
    assert by.title.startswith("Low ")
    assert [text for text in texts if not text.isprintable()] == []


@pytest.mark.parametrize("column", ["bars", "keys", "chords"])
def test_a_place_beyond_all_music_is_not_taken_over(column: str) -> None:
    """It was kept with the tune, and whatever goes through its time took that long."""
    plain = read_data(ABC.format("").encode(), "a.abc").tunes[0].melody
    far = (1 << 40) - 9
    rows = {
        "bars": [[1, 0, far, False, 0, "", "", ""]],
        "keys": [[far, [0, "major"], 0, True]],
        "chords": [["C", far, far]],
    }
    carried = {"reads": plain.content_id(), column: rows[column]}
    file = ABC.format(f"%%melodex-keeps {json.dumps(carried)}\n")
    assert read_data(file.encode(), "a.abc").tunes[0].melody == plain
