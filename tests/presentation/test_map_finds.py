"""What a mark on the map tells, of few places and of very many."""

from __future__ import annotations

from melodex.presentation.map.content import NumberedFind
from melodex.presentation.map.finds import LONGEST_TOLD, MOST_PLACES, told_of
from melodex.tasks.describe.finds import Find


def find_at(bars: range) -> NumberedFind:
    sentence = f"figure in Bb: {', '.join(map(str, bars))}"
    places = tuple((bar, bar) for bar in bars)
    return NumberedFind(3, "figure", sentence, (Find("figure", 1, 1, sentence, 2, places),))


def test_a_mark_tells_every_place_of_a_find_that_has_few() -> None:
    assert told_of(find_at(range(1, 4))) == (
        "3: figure, bars 1, 2, 3",
        "3. figure in B♭: 1, 2, 3",
    )


def test_a_mark_tells_some_places_of_a_find_that_has_thousands() -> None:
    """Each of its marks would tell them all: a picture would grow with their square."""
    read_out, shown = told_of(find_at(range(1, 3001)))
    assert read_out.endswith(f" {MOST_PLACES} and {3000 - MOST_PLACES} more")
    assert shown.endswith(" …")
    assert len(shown) <= LONGEST_TOLD + len("3.  …")
