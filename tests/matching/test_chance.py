"""Chance: the fit against constants of the literature, a second opinion, and itself."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import TuneNotes
from melodex.corpus.packing import pack
from melodex.matching.chance.fit import (
    Best,
    Fit,
    Null,
    expected_by_chance,
    fit_points,
    widened,
)
from melodex.matching.chance.sample import (
    NULL_SAMPLE,
    OWN_BEST,
    is_symmetric,
    measure_null,
)
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts()

# Robinson and Robinson (1991), Proc. Natl. Acad. Sci. 88, 8880-8884: frequencies of
# amino acids in proteins, in thousandths; from memory.
RESIDUES = {
    "A": 78, "R": 51, "N": 45, "D": 54, "C": 19, "Q": 43, "E": 63, "G": 74, "H": 22,
    "I": 51, "L": 90, "K": 57, "M": 22, "F": 39, "P": 52, "S": 71, "T": 58, "W": 13,
    "Y": 32, "V": 64,
}  # fmt: skip


def ungapped_best(a: np.ndarray, b: np.ndarray) -> int:
    """Best ungapped local alignment at +1 for equal letters and -1 for others."""
    row = np.zeros(len(b) + 1, dtype=np.int64)
    best = 0
    for letter in a:
        row[1:] = np.maximum(row[:-1] + np.where(b == letter, 1, -1), 0)
        best = max(best, int(row.max()))
    return best


def test_four_equal_letters_at_plus_and_minus_one_give_lambda_ln_3() -> None:
    # Karlin and Altschul (1990): lambda solves sum p_i p_j exp(lambda s_ij) = 1,
    # here exp(lambda)/4 + 3 exp(-lambda)/4 = 1, so lambda = ln 3.
    generator = np.random.default_rng(7)
    points = [
        ungapped_best(generator.integers(4, size=250), generator.integers(4, size=250))
        for _ in range(1200)
    ]
    fit = fit_points(Null(tuple(points), (250,) * 1200, 250))
    assert fit is not None
    assert fit.decay == pytest.approx(math.log(3), rel=0.07)


def test_protein_alignments_give_the_published_lambda_and_k() -> None:
    # Altschul and Gish (1996): BLOSUM62 with gaps 11,1: lambda 0.267, K 0.041, H 0.14.
    import parasail

    generator = Random(11)
    letters, weights = list(RESIDUES), list(RESIDUES.values())
    length, trials = 600, 900
    points = []
    for _ in range(trials):
        a = "".join(generator.choices(letters, weights, k=length))
        b = "".join(generator.choices(letters, weights, k=length))
        points.append(parasail.sw_scan_16(a, b, 12, 1, parasail.blosum62).score)
    # Their correction for edge effects: both lengths less ln(K m n) / H.
    lost = math.log(0.041 * length * length) / 0.14
    effective = round(length - lost)
    fit = fit_points(Null(tuple(points), (effective,) * trials, effective))
    assert fit is not None
    assert fit.decay == pytest.approx(0.267, rel=0.07)
    assert 0.041 / 2.5 < fit.size < 0.041 * 2.5
    assert abs(fit.decay - 0.267) < 4 * math.sqrt(fit.covariance[1]) + 0.008


def test_taking_room_off_for_long_alignments_gives_the_same_constants() -> None:
    # The same proteins, shorter; lambda / H = 0.267 / 0.14 places taken up per point.
    import parasail

    generator = Random(12)
    letters, weights = list(RESIDUES), list(RESIDUES.values())
    points = []
    for _ in range(900):
        a = "".join(generator.choices(letters, weights, k=250))
        b = "".join(generator.choices(letters, weights, k=250))
        points.append(parasail.sw_scan_16(a, b, 12, 1, parasail.blosum62).score)
    taken = 0.267 / 0.14
    fit = fit_points(Null(tuple(points), (250,) * 900, 250, taken, taken))
    assert fit is not None
    assert fit.decay == pytest.approx(0.267, rel=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_equal_lengths_give_what_scipy_fits(seed: int) -> None:
    from scipy import stats

    generator = np.random.default_rng(seed)
    points = np.round(generator.gumbel(40, 5, size=600)).astype(int)
    location, scale = stats.gumbel_r.fit(points)
    fit = fit_points(Null(tuple(points.tolist()), (70,) * 600, 12))
    assert fit is not None
    # scipy takes whole points for exact ones, at the middle of what they stand for.
    assert 1 / fit.decay == pytest.approx(scale, rel=0.01)
    middle = (fit.log_size + math.log(13 * 71)) / fit.decay - 0.5
    assert middle == pytest.approx(location, rel=2e-3)


@settings(max_examples=40)
@given(st.floats(0.1, 1.2), st.floats(0.01, 0.5), st.integers(0, 2**31))
def test_the_fit_recovers_what_made_the_points(
    decay: float, size: float, seed: int
) -> None:
    generator = np.random.default_rng(seed)
    notes = generator.integers(20, 300, size=4000)
    made = (np.log(size * 13 * (notes + 1)) + generator.gumbel(size=4000)) / decay
    points = tuple(np.floor(made).astype(int).tolist())
    fit = fit_points(Null(points, tuple(notes.tolist()), 12))
    assert fit is not None
    assert fit.decay == pytest.approx(decay, rel=0.06)
    assert fit.log_size == pytest.approx(math.log(size), abs=0.6)


@pytest.mark.parametrize("relatives", [0, 40])
def test_censoring_forgets_the_relatives_of_a_symmetric_phrase(relatives: int) -> None:
    generator = np.random.default_rng(5)
    notes = generator.integers(30, 200, size=2000)
    made = np.floor((np.log(0.05 * 13 * (notes + 1)) + generator.gumbel(size=2000)) / 0.4)
    made[:relatives] = 90
    level = int(np.quantile(made, 0.9))
    fit = fit_points(
        Null(
            tuple(made.astype(int).tolist()),
            tuple(notes.tolist()),
            12,
            censored_above=level,
        )
    )
    assert fit is not None
    assert fit.decay == pytest.approx(0.4, rel=0.07)


def test_points_that_are_all_the_same_or_too_few_say_nothing() -> None:
    assert fit_points(Null((7,) * 100, (50,) * 100, 12)) is None
    assert fit_points(Null((5, 6, 7), (50,) * 3, 12)) is None


def test_a_better_match_is_never_more_expected_and_none_exceeds_the_corpus() -> None:
    fit = Fit(0.4, -3.0, Null((), (), 12, 0.4, 0.4), (0.01, 1e-4, 1e-4))
    found = [
        expected_by_chance(fit, points, corpus_tunes=800, corpus_notes=56000)
        for points in range(120)
    ]
    assert found == sorted(found, reverse=True)
    assert found[0] <= 800
    assert found[-1] > 0


@example(1.0, -5.0, 0.0625, 0.5, 0.0)  # doubt grew while chance was near one
@given(
    st.floats(0.05, 1.5),
    st.floats(-6, 2),
    st.floats(0.01, 2),
    st.floats(1e-4, 0.5),
    st.floats(-1, 1),
)
def test_doubt_never_makes_a_better_match_more_expected(
    decay: float, log_size: float, size_sd: float, decay_sd: float, correlation: float
) -> None:
    joint = correlation * size_sd * decay_sd
    null = Null((), (), 12, 0.4, 0.4)
    fit = Fit(decay, log_size, null, (size_sd**2, decay_sd**2, joint))
    found = [
        expected_by_chance(fit, points, corpus_tunes=800, corpus_notes=56000)
        for points in range(80)
    ]
    assert all(b <= a * (1 + 1e-9) for a, b in pairwise(found))
    assert all(0 < each <= 800 for each in found)
    assert all(fit.doubt(points) >= 1 for points in range(80))


def test_beyond_the_sample_the_tail_is_less_sure_and_still_falls() -> None:
    told = [widened(-float(x), 512) for x in range(200)]
    assert told[:6] == [-float(x) for x in range(6)]  # ln 512 is 6.2: seen in the sample
    assert all(b < a or b == pytest.approx(a) for a, b in pairwise(told))
    # By hand: 8 beyond the reach of 512, (0.2 * 8)^2 / 2 = 1.28.
    reach = -math.log(512)
    assert widened(reach - 8, 512) == pytest.approx(reach - 8 + 1.28)


def test_expected_numbers_average_to_the_truth_though_each_fit_is_unsure() -> None:
    # Gumbel points with a known tail: of many matches at the level that each small
    # fit calls E = 0.1, as many must really be that rare.
    generator = np.random.default_rng(9)
    seen, level, tunes = 0.0, 0.1, 800
    for _ in range(150):
        made = (math.log(0.1 * 13 * 71) + generator.gumbel(size=100)) / 0.4
        points = tuple(np.floor(made).astype(int).tolist())
        fit = fit_points(Null(points, (70,) * 100, 12))
        assert fit is not None
        wanted = 0.0
        while (
            expected_by_chance(fit, wanted, corpus_tunes=tunes, corpus_notes=70 * tunes)
            > level
        ):
            wanted += 0.5
        seen += tunes * -math.expm1(-0.1 * 13 * 71 * math.exp(-0.4 * wanted))
    assert level / 2 < seen / 150 < level * 2


def test_whole_points_on_two_levels_do_not_make_chance_fall_without_end() -> None:
    points = (9,) * 400 + (12,) * 112
    free = fit_points(Null(points, (70,) * 512, 8))
    held = fit_points(Null(points, (70,) * 512, 8, steepest_decay=math.log(16) / 3))
    assert free is not None
    assert held is not None
    assert held.decay <= math.log(16) / 3
    assert held.decay <= free.decay


def gumbel_points(
    generator: np.random.Generator, log_size: float, decay: float, tunes: int
) -> np.ndarray:
    """Whole points of tunes of 70 notes for a phrase of 12, of a known tail."""
    drawn = generator.gumbel(size=tunes)
    return np.floor((log_size + math.log(13 * 71) + drawn) / decay).astype(int)


def best_of_many(points: np.ndarray, count: int, kin: int | None = None) -> Best:
    """What a search for the best of them tells; those above the kin-th censored."""
    order = np.sort(points)[::-1].tolist()
    level = order[count - 1]
    above = tuple(s for s in order if s > level)
    high = None if kin is None else order[kin]
    others = ((70.0, float(len(order) - len(above))),)
    return Best(above, (70,) * len(above), level, others, high)


def two_sided(generator: np.random.Generator, relatives: int = 0) -> Null:
    """A phrase more at home in the corpus than its reversal, among 20,000 tunes."""
    asked = gumbel_points(generator, math.log(0.15), 0.4, 20_000)
    back = gumbel_points(generator, math.log(0.05), 0.4, 20_000)
    asked[:relatives] = 120
    sampled = generator.permutation(20_000)[:256]
    turned = Null(
        tuple(back[sampled].tolist()), (70,) * 256, 12, best=best_of_many(back, 64)
    )
    level = int(np.quantile(asked[sampled], 0.985))
    points = tuple(asked[sampled].tolist())
    best = best_of_many(asked, 100, 50)
    return Null(points, (70,) * 256, 12, censored_above=level, best=best, turned=turned)


def test_each_direction_has_a_size_of_its_own_and_the_best_make_the_tail_sure() -> None:
    generator = np.random.default_rng(4)
    off, plain = [], []
    for _ in range(40):
        null = two_sided(generator)
        fit = fit_points(null)
        assert fit is not None
        off.append((fit.log_alignments(50, 70) - math.log(0.15 * 13 * 71) + 20) / 2.3)
        only = Null(null.points, null.tune_notes, 12, censored_above=null.censored_above)
        alone = fit_points(only)
        assert alone is not None
        plain.append((alone.log_alignments(50, 70) - math.log(0.15 * 13 * 71) + 20) / 2.3)
    # In decades, where 0.006 of the 20,000 tunes would be as good.
    assert abs(np.mean(off)) < 0.06
    assert np.std(off) < 0.25
    assert np.std(off) < np.std(plain) / 2


def test_thirty_relatives_of_a_phrase_do_not_double_what_chance_brings() -> None:
    with_kin = fit_points(two_sided(np.random.default_rng(6), relatives=30))
    without = fit_points(two_sided(np.random.default_rng(6)))
    assert with_kin is not None
    assert without is not None
    for points in (30, 45):
        more = with_kin.log_alignments(points, 70) - without.log_alignments(points, 70)
        assert 0 <= more < math.log(2)


def test_a_rare_style_that_a_sample_misses_is_seen_among_the_best() -> None:
    # One tune in 250 is of a style in which alignments are 60 times as many.
    generator = np.random.default_rng(8)
    points = gumbel_points(generator, math.log(0.05), 0.4, 16_000)
    points[:64] = gumbel_points(generator, math.log(3.0), 0.4, 64)
    generator.shuffle(points)
    sample = tuple(points[:512].tolist())
    seen = fit_points(Null(sample, (70,) * 512, 12, best=best_of_many(points, 64)))
    unseen = fit_points(Null(sample, (70,) * 512, 12))
    assert seen is not None
    assert unseen is not None
    at = 45
    truth = math.log(13 * 71 * (0.05 * 15_936 + 3.0 * 64) / 16_000) - 0.4 * at
    assert abs(seen.log_alignments(at, 70) - truth) < math.log(2.5)
    assert seen.null.reach == 16_000
    assert unseen.null.reach == 512


@pytest.mark.parametrize("count", [50, 512])
def test_the_stated_spread_is_how_far_repeated_fits_really_spread(count: int) -> None:
    generator = np.random.default_rng(3)
    stated, found = [], []
    for _ in range(60):
        made = (math.log(0.1 * 13 * 71) + generator.gumbel(size=count)) / 0.4
        points = tuple(np.floor(made).astype(int).tolist())
        fit = fit_points(Null(points, (70,) * count, 12))
        assert fit is not None
        stated.append(fit.spread_decades(34))
        found.append(math.log10(fit.tail(34, 70)))
    assert np.std(found) == pytest.approx(np.mean(stated), rel=0.35)


@pytest.mark.parametrize(
    ("pitches", "symmetric"),
    [
        ([60, 62, 64, 65, 64, 62, 60], True),  # a palindrome
        ([60] * 9, True),  # one note
        ([60, 64, 67, 65, 64, 62, 69, 67, 60, 59, 60, 66], False),
    ],
)
def test_a_phrase_that_is_itself_backwards_is_known(
    pitches: list[int], symmetric: bool
) -> None:
    query = EncodedQuery(bytes(pitches), bytes(len(pitches)))
    assert is_symmetric(query, COSTS) is symmetric


def random_tunes(count: int, seed: int) -> list[TuneNotes]:
    generator = Random(seed)
    tunes = []
    for number in range(count):
        pitch, line = 67, []
        for _ in range(generator.randrange(20, 90)):
            pitch = min(90, max(48, pitch + generator.choice([-4, -2, -1, 0, 1, 2, 3, 5])))
            line.append(pitch)
        tunes.append(TuneNotes(f"{number:012x}0000", bytes(line), bytes(len(line))))
    return tunes


def test_the_null_is_the_same_for_the_same_question_and_no_larger_than_its_sample() -> None:
    chunks = [pack(random_tunes(400, 1)), pack(random_tunes(400, 2))]
    query = EncodedQuery(bytes([60, 64, 67, 65, 64, 62, 69, 67]), bytes(8))
    null = measure_null(chunks, query, COSTS)
    assert null == measure_null(chunks, query, COSTS)
    assert null.tune_count == NULL_SAMPLE
    assert null.reach == 800
    small = measure_null([pack(random_tunes(30, 3))], query, COSTS)
    assert small.tune_count == small.reach == 30


def test_a_large_corpus_tells_of_its_best_and_a_damaged_chunk_only_of_less() -> None:
    query = EncodedQuery(bytes([60, 64, 67, 65, 64, 62, 69, 67]), bytes(8))
    chunks = [pack(random_tunes(400, seed)) for seed in range(3)]
    hits = search(chunks, query, limit=OWN_BEST)
    null = measure_null(chunks, query, COSTS, hits)
    assert null.best is not None
    assert null.best.tune_count == null.reach == 1200
    assert null.best.censored_above == hits[50].points
    # The hits are ids of three corpora at once here; only their points matter.
    assert min(null.best.points) > null.best.level == hits[-1].points
    assert null.turned is not None
    assert null.turned.best is not None
    assert null.turned.best.censored_above is None
    broken = replace(chunks[0], notes=chunks[0].notes[:-1] + b"\x00")
    assert fit_points(measure_null([broken, *chunks[1:]], query, COSTS)) is not None


def test_a_corpus_of_one_tune_or_none_gives_no_figure() -> None:
    query = EncodedQuery(bytes([60, 64, 67, 65, 64, 62, 69, 67]), bytes(8))
    assert fit_points(measure_null([pack(random_tunes(1, 3))], query, COSTS)) is None
    assert fit_points(measure_null([], query, COSTS)) is None
