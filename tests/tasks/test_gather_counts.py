"""How many tunes would remain: each number is that of gathering with that value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.reader import Corpus
from melodex.tasks.gather.counts import FEATURES, remaining, tunes_outside
from melodex.tasks.gather.gather import Wish, gather

WHOLE_NUMBERS = {"key_centres", "section_bars"}


@pytest.fixture(scope="module")
def demo(whole_demo: Path) -> Iterator[Corpus]:
    with Corpus.open(whole_demo) as corpus:
        yield corpus


def with_value(wish: Wish, feature: str, value: str) -> Wish:
    meant: Any = int(value) if feature in WHOLE_NUMBERS else value
    sought: dict[str, Any] = {feature: True if feature == "odd_sections" else meant}
    return replace(wish, **sought)


@pytest.mark.parametrize(
    "wish",
    [
        Wish(),
        Wish(mode="minor"),
        Wish(device="borrowed chord", metre="simple"),
        Wish(phrase="5 4 3 1 2 7, 1", metre="simple"),
        Wish(progression="ii V I", exact_progression=True),
    ],
    ids=lambda wish: "; ".join(wish.told()) or "nothing",
)
def test_a_count_is_what_gathering_with_that_value_finds(demo, wish) -> None:
    found = remaining(demo, wish)
    expected = gather(demo, wish).tunes if wish.told() else demo.tune_count
    assert found.tunes == expected
    assert list(found.options) == list(FEATURES)
    counted = 0
    for feature, counts in found.options.items():
        for count in counts:
            chosen = gather(demo, with_value(wish, feature, count.value))
            assert chosen.tunes == count.tune_count, (feature, count)
            counted += 1
    assert counted > 5


def test_a_value_that_is_not_listed_would_leave_nothing(demo) -> None:
    found = remaining(demo, Wish(metre="irregular"))
    listed = {count.value for count in found.options["mode"]}
    assert listed
    for mode in {"major", "minor", "dorian", "lydian", "mixolydian", "phrygian"} - listed:
        assert gather(demo, Wish(metre="irregular", mode=mode)).tunes == 0


def test_tunes_outside_and_inside_are_all_tunes(demo) -> None:
    outside = tunes_outside(demo, Wish(mode="minor"))
    inside = {example.tune_id for example in gather(demo, Wish(mode="minor")).examples}
    assert len(outside) + len(inside) == demo.tune_count
    assert not outside & inside
    assert tunes_outside(demo, Wish()) == frozenset()
