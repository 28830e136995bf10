"""Alignment: sums, ties, and two outside witnesses."""

from __future__ import annotations

import random
from collections.abc import Callable
from types import SimpleNamespace

import parasail
import pytest
from Bio import Align
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import UNKNOWN_LENGTH
from melodex.errors import EmptyMelodyError, PhraseError
from melodex.matching.align import align
from melodex.matching.engine.choice import Engine
from melodex.matching.query import EncodedQuery, encode_query
from melodex.melody import Melody, Phrase
from melodex.settings import AlignmentCosts
from tests.plain.plain_alignment import plain_align, points_of_pairs, transpositions

NO_LENGTH = UNKNOWN_LENGTH & 0xFF


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_points_are_the_sum_over_pairs_and_gaps(
    data: st.DataObject, drawn: SimpleNamespace
) -> None:
    query, (pitch, classes) = data.draw(drawn.queries), data.draw(drawn.tunes)
    costs = data.draw(drawn.costs)
    found = align(query, pitch, classes, costs)
    assert found == plain_align(query, pitch, classes, costs)
    if found is not None:
        total = points_of_pairs(
            found.pairs, query, pitch, classes, found.transposition_semitones, costs
        )
        assert total == found.points
        assert found.query_span[0] <= found.query_span[1]
        assert None not in (*found.pairs[0], *found.pairs[-1])


@settings(max_examples=60, deadline=None)
@given(data=st.data(), move=st.integers(-30, 30))
def test_transposing_the_tune_changes_nothing_but_the_transposition(
    data: st.DataObject, move: int, drawn: SimpleNamespace
) -> None:
    pairs = data.draw(
        st.lists(st.tuples(st.integers(58, 68), st.integers(-2, 1)), min_size=1)
    )
    query, costs = data.draw(drawn.queries), AlignmentCosts()
    classes = bytes(class_ & 0xFF for _, class_ in pairs)
    here = align(query, bytes(p for p, _ in pairs), classes, costs)
    there = align(query, bytes(p + move for p, _ in pairs), classes, costs)
    assert here is not None
    assert there is not None
    assert here.points == there.points


def test_nothing_outscores_a_tune_against_itself(
    melody: Callable[[int, int], tuple[bytes, bytes]],
) -> None:
    costs = AlignmentCosts()
    for seed in range(30):
        query = EncodedQuery(*melody(seed, 20))
        own = align(query, query.pitch, query.length_class, costs)
        assert own is not None
        assert own.points == 20 * costs.best_pair
        for other in range(30):
            found = align(query, *melody(100 + other, 60), costs)
            assert found is not None
            assert found.points <= own.points


@pytest.mark.parametrize("seed", range(3))
def test_points_agree_with_parasail_under_every_transposition(
    seed: int, each_engine: Engine, melody: Callable[[int, int], tuple[bytes, bytes]]
) -> None:
    """Parasail (Daily 2016, BMC Bioinformatics 17:81), its scan mode, one letter per
    pair of pitch and length class; the striped mode is known to under-score."""
    query = EncodedQuery(*melody(seed, 12 + 12 * seed))
    costs = AlignmentCosts()
    for other in range(4):
        pitch, classes = melody(1000 + other, 50)
        letters = sorted(set(zip(query.pitch, query.length_class, strict=True)))
        tune_letters = sorted(set(zip(pitch, classes, strict=True)))
        names = "".join(chr(33 + k) for k in range(len(letters) + len(tune_letters)))
        best = 0
        for move in transpositions(query, pitch):
            matrix = parasail.matrix_create(names, 0, 0, case_sensitive=True)
            for a, (mine, my_class) in enumerate(letters):
                for b, (theirs, their_class) in enumerate(tune_letters, len(letters)):
                    points = costs.pair_points(
                        theirs - mine - move,
                        (my_class ^ 128) - 128,
                        (their_class ^ 128) - 128,
                    )
                    matrix[a, b] = matrix[b, a] = points
            first = "".join(
                names[letters.index(n)]
                for n in zip(query.pitch, query.length_class, strict=True)
            )
            second = "".join(
                names[len(letters) + tune_letters.index(n)]
                for n in zip(pitch, classes, strict=True)
            )
            gap = -costs.gap
            best = max(best, parasail.sw_scan_16(first, second, gap, gap, matrix).score)
        points, _ = each_engine.best([(pitch, classes)], query, costs)[0]
        assert points == best


def test_points_agree_with_biopython_on_random_sequences(each_engine: Engine) -> None:
    """Bio.Align.PairwiseAligner (Cock et al. 2009, Bioinformatics 25, 1422-1423)."""
    costs = AlignmentCosts((5, 5, 5, 5), (-4, -4, -4, -4), (-4, -4, -4, -4), -3)
    judge = Align.PairwiseAligner(
        mode="local",
        match_score=5,
        mismatch_score=-4,
        open_gap_score=-3,
        extend_gap_score=-3,
    )
    dice = random.Random(11)
    # Letters twelve semitones apart, so that no transposition mixes them up but
    # those by whole twelves, which the judge is shown as well.
    for _ in range(60):
        first = [dice.randrange(4) for _ in range(dice.randint(2, 25))]
        second = [dice.randrange(4) for _ in range(dice.randint(1, 40))]
        query = EncodedQuery(bytes(60 + 12 * n for n in first), bytes(len(first)))
        expected = max(
            judge.score("".join(chr(70 + n) for n in first), text)
            for move in range(-3, 4)
            for text in ["".join(chr(70 + n + move) for n in second)]
        )
        tune = (bytes(60 + 12 * n for n in second), bytes(len(second)))
        assert each_engine.best([tune], query, costs)[0][0] == expected


def test_textbook_alignment_comes_out(each_engine: Engine) -> None:
    """The worked matrix of Wikipedia, "Smith-Waterman algorithm" (Example): TGTTACGG
    and GGTTGACTA, match 3, mismatch -3, gap 2; best GTT-AC over GTTGAC, 13 points.
    Letters become pitches between which no interval occurs twice, so that no
    transposition but none brings two different letters together."""
    costs = AlignmentCosts((3, 3, 3, 3), (-3, -3, -3, -3), (-3, -3, -3, -3), -2)
    pitch_of = {"A": 30, "C": 37, "G": 50, "T": 69}
    query = EncodedQuery(bytes(pitch_of[c] for c in "TGTTACGG"), bytes(8))
    tune = (bytes(pitch_of[c] for c in "GGTTGACTA"), bytes(9))
    assert each_engine.best([tune], query, costs) == [(13, 0)]
    found = align(query, *tune, costs)
    assert found is not None
    assert found.points == 13
    assert found.pairs == ((1, 1), (2, 2), (3, 3), (None, 4), (4, 5), (5, 6))


def test_ties_go_to_the_nearest_transposition_and_the_earliest_place(
    each_engine: Engine,
) -> None:
    query = EncodedQuery(bytes([60, 64]), bytes(2))
    pitch = bytes([65, 69, 55, 59, 55, 59, 65, 69])
    points, move = each_engine.best([(pitch, bytes(8))], query, AlignmentCosts())[0]
    assert (points, move) == (8, 5)
    found = each_engine.trace(query, pitch, bytes(8), -5, AlignmentCosts())
    assert found is not None
    assert found.pairs == ((0, 2), (1, 3))


def test_unknown_lengths_neither_add_nor_take_points(each_engine: Engine) -> None:
    query = EncodedQuery(bytes([60, 64, 67]), bytes([NO_LENGTH] * 3))
    tune = (bytes([60, 64, 67]), bytes([0, 4, 250]))
    assert each_engine.best([tune], query, AlignmentCosts())[0] == (9, 0)


def test_an_empty_tune_has_no_alignment(each_engine: Engine) -> None:
    query = EncodedQuery(bytes([60, 64]), bytes(2))
    assert align(query, b"", b"", AlignmentCosts()) is None


def melody_of(midi: list[int]) -> Melody:
    count = len(midi)
    return Melody(
        midi=tuple(midi),
        fifths=(0,) * count,
        onset_ticks=tuple(range(0, 10080 * count, 10080)),
        duration_ticks=(10080,) * count,
        bar=(1,) * count,
        beat_strength=(1.0,) * count,
        phrase=(0,) * count,
    )


@pytest.mark.parametrize("shift", [-70, -30, 0, 55, 80])
def test_a_phrase_beyond_midi_is_moved_and_its_transposition_stays_true(
    shift: int,
) -> None:
    phrase = Phrase(melody_of([60 + shift, 64 + shift, 67 + shift]), "steps")
    query = encode_query(phrase)
    found = align(query, bytes([62, 66, 69]), bytes(3), AlignmentCosts())
    assert found is not None
    assert found.transposition_semitones == 2 - shift


def test_phrases_without_rhythm_have_unknown_lengths() -> None:
    phrase = Phrase(melody_of([60, 64]), "degrees", has_rhythm=False)
    assert encode_query(phrase).classes == (-128, -128)


@pytest.mark.parametrize("midi", [[], [60]])
def test_a_phrase_of_one_note_is_refused(midi: list[int]) -> None:
    with pytest.raises(EmptyMelodyError, match=r"no notes|resembles everything"):
        encode_query(Phrase(melody_of(midi), "steps"))


def test_a_phrase_over_ten_octaves_is_refused() -> None:
    with pytest.raises(PhraseError, match="ten octaves"):
        encode_query(Phrase(melody_of([0, 128]), "steps"))


def test_an_endless_phrase_is_refused() -> None:
    with pytest.raises(PhraseError, match="5000 notes is too long"):
        EncodedQuery(bytes(5000), bytes(5000))
