"""Of two long tunes, the passages that match."""

from __future__ import annotations

import random

import pytest

from melodex.presentation.text.compare import comparison_text
from melodex.presentation.text.style import Style
from melodex.reading.abc.reader import read_abc
from melodex.tasks.compare import shared_passages as module
from melodex.tasks.compare.compare import compare
from melodex.tasks.compare.shared_passages import maximal, shared_passages
from melodex.tasks.passage import Passage, passage_of

HEAD = "L:1/4\nM:4/4\nK:C\n"
COMMON = "CEGc|BGAF|EDCG|"
OTHER = "AFDB|"


def one_by_one(scores: list[int], low: int, high: int) -> list[tuple[int, int]]:
    """By the definition of Ruzzo and Tompa (1999): the best stretch of all, the shortest of
    equals, then the same of what is left of it and right of it."""
    best = max(
        (
            (sum(scores[i : j + 1]), i - j, -i, (i, j))
            for i in range(low, high)
            for j in range(i, high)
        ),
        default=(0, 0, 0, (0, 0)),
    )
    if best[0] <= 0:
        return []
    first, last = best[3]
    return [
        *one_by_one(scores, low, first),
        (first, last),
        *one_by_one(scores, last + 1, high),
    ]


def test_stretches_are_those_of_the_definition(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LEAST_SCORE", 1)
    chance = random.Random(19)
    for _ in range(300):
        scores = [chance.choice((-1, -1, 0, 1, 1)) for _ in range(chance.randint(0, 14))]
        found = maximal(scores)
        wanted = one_by_one(scores, 0, len(scores))
        # Equals may begin elsewhere; what they are worth is what counts.
        worth = [sum(scores[i : j + 1]) for i, j in found]
        assert worth == [sum(scores[i : j + 1]) for i, j in wanted], scores


def passage(text: str, title: str) -> Passage:
    melody = read_abc(f"X:1\nT:{title}\n{HEAD}{text}\n", "x").tunes[0].melody
    return passage_of(melody, melody.content_id(), False)


def test_long_tunes_show_what_they_share_and_fold_the_rest() -> None:
    odd = "^F^c_Ac|_e^FB_d|G^cF^A|_B^FCe|"
    a = passage(odd + odd + COMMON + odd, "One")
    b = passage("GFED|" * 9 + COMMON + "GFED|" * 4, "Two")
    found = compare(a, b)
    shared = shared_passages(found)
    assert any(
        each.a.bars[0] <= 9
        and each.a.bars[1] >= 11
        and each.b.bars[0] <= 10
        and each.b.bars[1] >= 12
        for each in shared
    )
    said = comparison_text(found, Style())
    assert "left out" in said
    assert said.count("\n") < 60


def test_short_passages_are_shown_whole() -> None:
    a, b = passage(COMMON + OTHER, "One"), passage(OTHER + COMMON, "Two")
    assert shared_passages(compare(a, b)) == ()
