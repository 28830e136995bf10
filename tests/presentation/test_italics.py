"""Accidentals beside words in italics have places of their own."""

from __future__ import annotations

from melodex.presentation.engraving.italics import placed_runs


def test_accidentals_stand_apart_and_spaces_are_kept() -> None:
    placed = placed_runs([("B\u266d major", "", 0), ("7", "-90", 280)], 100, "start", 400)
    words = [run[0] for run, _ in placed]
    places = [at for _, at in placed]
    assert words == ["B", "\u266d", "major", "7"]
    assert places == sorted(places)
    assert places[0] == 100
    gap = places[2] - places[1]
    assert gap > 250, "the width of the sign and of a space"
    assert [run[1] for run, _ in placed] == ["", "", "", "-90"]


def test_the_middle_stays_in_the_middle() -> None:
    (_, start), *_, (_, last) = placed_runs([("E/G\u266f", "", 0)], 0, "middle", 400)
    assert start < 0 < last
