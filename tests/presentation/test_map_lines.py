"""Rows of the map for the lines of a piece: named, bounded for many, without colour."""

from xml.etree.ElementTree import Element

from melodex.analysis.texture.activity import LineActivity
from melodex.presentation.map.activity import MOST_NAMED, MOST_ROOM, activity_lane
from melodex.presentation.map.strips import Ruler, Strip

QUARTER = 10080
RULER = Ruler(Strip(0, 3, 0, 16 * QUARTER), 0.005)


def drawn(count):
    """A lane of so many lines, each entering a quarter later, and how tall it is."""
    home = Element("g")
    lines = [
        LineActivity(f"Part {at}", ((at % 8 * QUARTER, 12 * QUARTER),), 60.0)
        for at in range(count)
    ]
    return home, activity_lane(home, lines, RULER, 0.0)


def test_a_piece_of_one_line_takes_no_room():
    home, tall = drawn(0)
    assert (len(home), tall) == (0, 0.0)


def test_every_line_has_its_name_and_sounds_where_it_does():
    home, _ = drawn(4)
    assert [text.text for text in home.iter("text")] == [f"Part {at}" for at in range(4)]
    thick = [p for p in home.iter("path") if "stroke-opacity" not in p.attrib]
    starts = [float(path.get("d", "")[1:].split()[0]) for path in thick]
    assert starts == [round(RULER.x(at * QUARTER), 1) for at in range(4)]


def test_a_hundred_lines_take_the_room_of_twelve():
    home, tall = drawn(100)
    assert tall <= MOST_ROOM + 2
    assert [text.text for text in home.iter("text")] == ["100 lines"]
    assert len(list(home.iter("path"))) == 200
    assert drawn(MOST_NAMED)[1] <= MOST_ROOM + 2


def test_rows_have_no_colour_of_their_own():
    home, _ = drawn(5)
    assert {path.get("stroke") for path in home.iter("path")} == {"currentColor"}
