"""Which pairs of tunes are near-duplicates, worked out whole and by whoever works."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from melodex.matching.dealing.dealer import Here
from melodex.matching.dealing.exchange import Exchange
from melodex.matching.evidence.kinship import SharedFigures, all_figures, shared_figures
from melodex.tasks.collection import duplicates
from melodex.tasks.collection.duplicates import jaccard, near_pairs


def tunes_by_dice(count: int, seed: int) -> list[bytes]:
    """Tunes of few kinds of step, many of them another one with a part in its place."""
    dice = random.Random(seed)
    found = [bytes(dice.choices((1, 2, 254, 255), k=dice.randrange(6, 50)))]
    while len(found) < count:
        new = bytes(dice.choices((1, 2, 254, 255), k=dice.randrange(0, 30)))
        cut = dice.randrange(12)
        found.append(dice.choice(found)[cut:] + new if dice.random() < 0.8 else new + new)
    return found


def plain(one: bytes, other: bytes) -> float:
    """Jaccard's share by its definition."""
    first, second = all_figures(one), all_figures(other)
    return len(first & second) / len(first | second) if first | second else 0.0


def test_a_share_is_that_of_the_definition_wherever_it_is_not_below_the_least() -> None:
    """Also at the level itself, for every share of small numbers."""
    shares = sorted({a / b for b in range(1, 31) for a in range(1, b + 1)})
    dice = random.Random(3)
    met = 0
    for seed in range(60):
        tunes = [tune for tune in tunes_by_dice(30, seed) if len(tune) > 8]
        for _ in range(40):
            one, other = dice.choice(tunes), dice.choice(tunes)
            expected = plain(one, other)
            for least in {expected, dice.choice(shares), dice.choice(shares)} - {0.0}:
                found = jaccard(all_figures(one), other, least)
                assert found == expected or (found == 0.0 and expected < least)
                met += found == least
    assert met > 500


@pytest.mark.parametrize("least", [0.2, 0.6])
def test_near_pairs_are_the_same_dealt_out_and_not_done_twice(
    least: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(duplicates, "PAIRS_AT_ONCE", 7)
    steps = tunes_by_dice(80, 11)
    tunes = {f"{place:016x}": row for place, row in enumerate(steps)}
    leaders = {f"{place:016x}" for place in range(80) if place % 9}
    shared = shared_figures(steps)
    expected = [
        (f"{pair.first:016x}", f"{pair.second:016x}", share)
        for pair in shared
        if pair.first % 9
        and pair.second % 9
        and (share := plain(steps[pair.first], steps[pair.second])) >= least
    ]
    assert expected
    assert [*near_pairs(tunes, leaders, shared, least)] == expected
    asked: list[int] = []

    class Noted(Here):
        def deal(self, work, items, progress=None, done=None):
            asked.append(len(items))
            return super().deal(work, items, progress, done)

    exchange = Exchange(Noted(), tmp_path)
    for _ in range(2):
        assert [*near_pairs(tunes, leaders, shared, least, exchange)] == expected
    assert asked == [-(-len(shared) // 7), 0]
    # At another level it is other work.
    assert len([*near_pairs(tunes, leaders, shared, least / 2, exchange)]) >= len(expected)
    assert asked[-1] > 0


def test_tunes_without_figures_are_near_nothing() -> None:
    for steps in (b"", bytes(7)):
        assert jaccard(frozenset(), steps, 0.5) == 0.0
    assert jaccard(all_figures(bytes(9)), bytes(5), 0.5) == 0.0
    assert not [*near_pairs({"a": b"", "b": b""}, {"a", "b"}, [], 0.5)]
    assert not [*near_pairs({"a": b"", "b": b""}, {"a"}, [SharedFigures(0, 1, 3)], 0.5)]
