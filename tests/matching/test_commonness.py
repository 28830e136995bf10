"""Commonness: the shared run, the verdict and its thresholds, and bits by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.corpus.chunks import TuneNotes
from melodex.corpus.packing import pack
from melodex.matching.align import align
from melodex.matching.asking import Here, Notes
from melodex.matching.engine.alignment import Alignment
from melodex.matching.evidence.commonness import (
    ALPHABET,
    Commonness,
    IntervalModel,
    commonness,
    shared_run,
)
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

# An invented figure, and a line in which it does not occur in any key.
FIGURE = bytes([60, 67, 65, 68, 61, 63])
PLAIN = bytes([60, 62, 64, 62, 60, 62, 64, 62, 60])


def notes_with(holders: int, nearly: int, tunes: int) -> Notes:
    """A corpus of so many tunes of which some hold the figure, each in another key."""
    changed = bytes([*FIGURE[:3], FIGURE[3] + 2, *FIGURE[4:]])
    lines = []
    for number in range(tunes):
        move = number % 12 - 6
        held = FIGURE if number < holders else changed if number < holders + nearly else b""
        lines.append(PLAIN + bytes(note + move for note in held) + PLAIN)
    named = [
        TuneNotes(f"{n:012x}0000", line, bytes(len(line))) for n, line in enumerate(lines)
    ]
    return Notes(Here([pack(named[first : first + 500]) for first in range(0, tunes, 500)]))


def alignment_of(*pairs: tuple[int | None, int | None], move: int = 0) -> Alignment:
    return Alignment(0, move, pairs, (0, 0), (0, 0))


def test_the_longest_run_without_gap_or_changed_note_is_the_shared_one() -> None:
    # By hand: phrase C D E F G A, tune a tone higher with its fourth note a step off,
    # so three notes run, then two; the run is the first three, from tune note 1.
    phrase = [60, 62, 64, 65, 67, 69]
    tune = bytes([40, 62, 64, 66, 68, 69, 71])
    found = alignment_of((0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), move=2)
    assert shared_run(found, phrase, tune) == (1, 3)


@pytest.mark.parametrize("gap", [(None, 3), (2, None)])
def test_a_note_without_partner_ends_the_run_on_either_side(
    gap: tuple[int | None, int | None],
) -> None:
    phrase, tune = [60] * 8, bytes([60] * 8)
    found = alignment_of((0, 0), (1, 1), gap, (4, 4), (5, 5), (6, 6))
    assert shared_run(found, phrase, tune) == (4, 3)


def test_the_first_of_equally_long_runs_is_taken_and_none_is_no_run() -> None:
    phrase, tune = [60, 60, 60, 60, 60], bytes([60, 60, 61, 60, 60])
    diagonal = [(n, n) for n in range(5)]
    assert shared_run(alignment_of(*diagonal), phrase, tune) == (0, 2)
    assert shared_run(alignment_of(*diagonal, move=5), phrase, tune) == (0, 0)


def test_a_phrase_laid_over_itself_in_another_key_is_one_run() -> None:
    query = EncodedQuery(FIGURE, bytes(len(FIGURE)))
    tune = PLAIN + bytes(note + 3 for note in FIGURE) + PLAIN
    found = align(query, tune, bytes(len(tune)), AlignmentCosts())
    assert found is not None
    assert shared_run(found, list(FIGURE), tune) == (len(PLAIN), len(FIGURE))


@pytest.mark.parametrize(
    ("holders", "tunes", "verdict"),
    [
        # One of the holders is being compared, and so is one of the tunes.
        (11, 1001, "stock figure"),  # 10 of 1,000: one in a hundred
        (10, 1001, "shared idiom"),  # 9 of 1,000
        (2, 1001, "shared idiom"),  # 1 of 1,000
        (1, 1001, "distinctive"),  # none other
        (2, 1102, "distinctive"),  # 1 of 1,101: fewer than one in a thousand
        (3, 20, "shared idiom"),  # 2 of 19 are a large share, but two witnesses only
        (4, 20, "stock figure"),
    ],
)
def test_the_verdict_goes_by_the_share_of_other_tunes_that_hold_the_figure(
    holders: int, tunes: int, verdict: str
) -> None:
    (found,) = commonness(notes_with(holders, 0, tunes), [FIGURE])
    assert (found.exact, found.tunes, found.verdict) == (holders - 1, tunes - 1, verdict)


def test_tunes_that_hold_it_with_one_note_changed_are_counted_apart() -> None:
    (found,) = commonness(notes_with(3, 4, 50), [FIGURE])
    assert found == Commonness(6, 2, 6, 49, "shared idiom")
    assert str(found) == (
        "shared idiom: 2 of 49 other tunes hold its 6 notes, 4 more with one note changed"
    )


def test_fewer_than_four_notes_are_no_figure_and_keep_their_place() -> None:
    found = commonness(notes_with(3, 0, 50), [FIGURE[:3], FIGURE, b""])
    assert [each.verdict for each in found] == ["no figure", "shared idiom", "no figure"]
    assert str(found[0]) == "no four notes run together"


def test_both_engines_count_alike(each_engine: object) -> None:
    (found,) = commonness(notes_with(3, 4, 50), [FIGURE])
    assert (found.exact, found.near) == (2, 6)


def test_bits_agree_with_a_worked_example() -> None:
    # Witten and Bell (1991), method C: (count + kinds * shorter) / (total + kinds),
    # blended as in Conklin and Witten (1995). By hand, for the steps +2 +2 -2:
    #   no context: +2 twice, -2 once; total 3, kinds 2
    #   after +2:   +2 once, -2 once;  total 2, kinds 2
    #   after +2 +2: -2 once;          total 1, kinds 1
    model = IntervalModel.learned([bytes([60, 62, 64, 62])])
    up = (2 + 2 / 49) / 5
    down = (1 + 2 / 49) / 5
    up_up = (1 + 2 * up) / 4
    up_down = (1 + 2 * down) / 4
    up_up_down = (1 + up_down) / 2
    assert model.probability((), 2) == pytest.approx(up)
    assert model.probability((2,), -2) == pytest.approx(up_down)
    assert model.probability((2, 2), -2) == pytest.approx(up_up_down)
    bits = -math.log2(up) - math.log2(up_up) - math.log2(up_up_down)
    assert model.bits(bytes([70, 72, 74, 72])) == pytest.approx(bits)


def test_a_model_that_has_seen_nothing_takes_all_steps_for_equally_likely() -> None:
    assert IntervalModel().bits(bytes([60, 61, 62])) == pytest.approx(2 * math.log2(49))


@given(
    st.lists(st.lists(st.integers(40, 100), max_size=30).map(bytes), max_size=6),
    st.lists(st.integers(-24, 24), max_size=2).map(tuple),
)
def test_the_probabilities_of_all_steps_sum_to_one(
    tunes: list[bytes], context: tuple[int, ...]
) -> None:
    model = IntervalModel.learned(tunes)
    steps = range(-(ALPHABET // 2), ALPHABET // 2 + 1)
    assert sum(model.probability(context, step) for step in steps) == pytest.approx(1)


def test_a_figure_tells_the_same_in_every_key_and_never_less_when_longer() -> None:
    model = IntervalModel.learned([FIGURE + PLAIN, PLAIN])
    told = [model.bits(FIGURE[:notes]) for notes in range(1, len(FIGURE) + 1)]
    assert told[0] == 0
    assert told == sorted(told)
    assert model.bits(bytes(note + 7 for note in FIGURE)) == pytest.approx(told[-1])
    assert model.bits(PLAIN[:6]) < told[-1]
