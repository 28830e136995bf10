"""What chance allows in the audit benchmark, against counting out and against drawing."""

from __future__ import annotations

import math
from random import Random
from typing import Any

import numpy as np
import pytest

from benchmarks.chance import audit_ceiling
from benchmarks.chance.audit import planted
from benchmarks.chance.audit_ceiling import (
    Line,
    Planting,
    Steps,
    begin,
    changes,
    one_ceiling,
    stretches,
)
from melodex.corpus.chunks import TuneNotes


def walk(dice: Random, notes: int) -> bytes:
    """Notes of a tune that moves by steps and small leaps."""
    line = [67]
    while len(line) < notes:
        step = dice.choice([-3, -2, -2, 2, 2, 3])
        line.append(line[-1] + (step if 55 <= line[-1] + step <= 80 else -step))
    return bytes(line)


def tunes_of(count: int, notes: int = 40) -> list[TuneNotes]:
    dice = Random(5)
    return [
        TuneNotes(
            f"{n:012x}0000", walk(dice, notes), bytes(dice.choices(range(3), k=notes))
        )
        for n in range(count)
    ]


def counted_out(tunes: list[TuneNotes], stretch: bytes) -> list[tuple[int, int]]:
    """Place in all notes and number of notes changed, of every passage, one by one."""
    found, before = [], 0
    for tune in tunes:
        for start in range(len(tune.pitch) - len(stretch) + 1):
            apart = [a - b for a, b in zip(stretch, tune.pitch[start:], strict=False)]
            for move in set(apart):
                off = [abs(each - move) for each in apart if each != move]
                if len(off) <= changes(len(stretch)) and max(off, default=0) <= 4:
                    found.append((before + start, len(off)))
        before += len(tune.pitch)
    return sorted(found)


@pytest.mark.parametrize("notes", [8, 9, 11, 14, 16])
def test_passages_are_those_that_counting_finds(notes: int):
    tunes = tunes_of(60)
    dice = Random(notes)
    source = tunes[7].pitch
    own = bytearray(
        walk(dice, 5) + bytes(p + 3 for p in source[9 : 9 + notes]) + walk(dice, 9)
    )
    for place in dice.sample(range(notes), changes(notes)):
        own[5 + place] += 2
    held = Line(tunes).passages(np.frombuffer(bytes(own), np.uint8), 5)[notes]
    found = sorted(zip(held.places.tolist(), held.changed.tolist(), strict=True))
    assert found == counted_out(tunes, bytes(own[5 : 5 + notes]))
    assert (7 * 40 + 9, changes(notes)) in found


def row_of(tunes: list[TuneNotes], own: Planting) -> dict[str, Any]:
    begin(tunes, [tune.pitch for tune in tunes])
    try:
        return one_ceiling(own)
    finally:
        audit_ceiling._shared.clear()


def test_two_tunes_that_hold_a_stretch_alike_are_told_apart_by_chance_alone():
    tunes = tunes_of(20)
    # As long, with the same notes from the first on, in another key and other lengths.
    copy = bytes(p + 1 for p in tunes[3].pitch[:16]) + walk(Random(9), 24)
    twin = TuneNotes("fffffffffff10000", copy, bytes(40))
    pitch = walk(Random(2), 10) + tunes[3].pitch[:14] + walk(Random(3), 30)
    own = Planting(pitch, tunes[3].tune_id, 10, 14, 0)
    alone, both = row_of(tunes, own), row_of([*tunes, twin], own)
    assert (alone["others"], alone["source_at_most"]) == (0, 1.0)
    assert both["others"] == 1
    assert both["source_at_most"] == pytest.approx(0.5)
    # The twin has lengths of its own: whoever kept them would be told apart.
    assert both["source_with_rhythm"] == 1.0


def test_the_source_is_named_as_often_as_is_said_to_be_possible():
    # Six tunes over few pitches share most stretches of eight notes and more.
    dice = Random(11)
    tunes = [
        TuneNotes(
            f"{n:012x}0000", bytes(dice.choices([67, 69], k=30 + 6 * n)), bytes(30 + 6 * n)
        )
        for n in range(6)
    ]
    begin(tunes, [tune.pitch for tune in tunes])
    drawn, said, right = 400, 0.0, 0
    variance = 0.0
    for _ in range(drawn):
        new = bytes(dice.choices([67, 69], k=30))
        own = planted((new, bytes(30)), dice.choice(tunes), (b"", bytes(30)), dice)
        row = one_ceiling(
            Planting(
                own.notes[0], own.source, own.first, own.last - own.first + 1, own.changed
            )
        )
        said += row["source_at_most"]
        right += row["source_named"]
        variance += row["source_at_most"] * (1 - row["source_at_most"])
    audit_ceiling._shared.clear()
    assert 0.3 < said / drawn < 0.95
    assert abs(right - said) < 3 * math.sqrt(variance)


def test_a_planted_stretch_weighs_more_than_the_same_place_in_a_tune_without():
    tunes = tunes_of(40)
    model = Steps([tune.pitch for tune in tunes])
    made = walk(Random(8), 60)
    taken = made[:20] + bytes(p + 2 for p in tunes[5].pitch[4:20]) + made[36:]
    weighed = {
        name: {(s.first, s.notes): s.by_notes for s in stretches(Line(tunes), model, pitch)}
        for name, pitch in (("made", made), ("taken", taken))
    }
    assert weighed["taken"][20, 16] > 0
    assert weighed["taken"][20, 16] > weighed["made"].get((20, 16), -math.inf)
