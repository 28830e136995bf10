"""Stretches of two tunes: what they are worth, where they lie, and which is the best."""

from __future__ import annotations

import math
from random import Random

import pytest

from melodex.corpus.chunks import TuneNotes
from melodex.corpus.packing import pack
from melodex.matching.engine.choice import Engine
from melodex.matching.evidence.commonness import IntervalModel
from melodex.matching.evidence.stretches import (
    LOSS,
    MOST_BITS,
    PER_BIT,
    best_stretch,
    points_of_stretches,
    worth_of,
)
from tests.plain.plain_alignment import plain_stretch

OWN = bytes([60, 62, 65, 64, 69, 67, 62, 71, 70])


def test_a_step_is_worth_what_it_tells_but_one_leap_is_no_borrowing() -> None:
    model = IntervalModel.learned([bytes([60, 62, 64, 62, 60, 62, 64, 62] * 9)])
    worth = worth_of(model, bytes([60, 62, 64, 85]))
    assert worth[0] == 0
    told = -math.log2(model.probability((), 2))
    assert worth[1] == round(PER_BIT * told)
    assert worth[3] == PER_BIT * MOST_BITS


@pytest.mark.parametrize("move", [-20, 0, 7])
def test_a_stretch_is_found_in_any_key_between_other_notes(move: int) -> None:
    worth = bytes([0, *[10] * 8])
    other = bytes([90, 31, *(note + move for note in OWN[2:8]), 33])
    found = best_stretch(OWN, worth, other)
    assert found is not None
    assert (found.first, found.last, found.other_first) == (2, 7, 2)
    assert found.transposition_semitones == move
    assert found.points == 50


def test_a_changed_note_costs_its_two_steps_and_a_loss() -> None:
    worth = bytes([0, *[10] * 8])
    one, two, three = bytearray(OWN), bytearray(OWN), bytearray(OWN)
    one[4] += 1
    two[4:6] = 72, 61
    three[3:6] = 70, 61, 77
    for other, points in ((one, 60 - LOSS), (two, 50 - 2 * LOSS)):
        found = best_stretch(OWN, worth, bytes(other))
        assert found is not None
        assert (found.points, found.first, found.last) == (points, 0, 8)
    # Three in a row are too many: what remains are the two notes at either end.
    found = best_stretch(OWN, worth, bytes(three))
    assert found is not None
    assert found.last - found.first == 2


def test_tunes_without_a_common_step_have_no_stretch() -> None:
    assert best_stretch(bytes([60, 62]), bytes([0, 9]), bytes([60, 61, 62])) is None
    assert best_stretch(b"", b"", OWN) is None
    assert best_stretch(OWN, bytes(9), OWN) is None


def test_the_best_stretch_has_the_points_that_the_engines_say(each_engine: Engine) -> None:
    dice = Random(3)
    tunes = [
        TuneNotes(f"{n:012x}0000", bytes(dice.choices(range(60, 66), k=size)), bytes(size))
        for n, size in enumerate(dice.choices(range(40), k=90))
    ]
    own = bytes(dice.choices(range(60, 66), k=30))
    worth = bytes([0, *dice.choices(range(9), k=29)])
    told = points_of_stretches([pack(tunes[:50]), pack(tunes[50:])], own, worth)
    assert len(told) == 90
    for tune in tunes:
        found = best_stretch(own, worth, tune.pitch)
        points = plain_stretch(own, worth, tune.pitch, LOSS)
        assert told[tune.tune_id] == (points, len(tune.pitch))
        assert points == (found.points if found else 0)
