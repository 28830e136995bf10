"""Chance: how many tunes of a corpus would match as well by chance.

Conventions: points are whole numbers, higher is better. Expected numbers count
tunes. A null is a set of points that nothing but chance brought about.

The best local alignment of a phrase of m notes with an unrelated tune of n notes
reaches s points or more with probability

    P(s) = 1 - exp(-K m n exp(-lambda s))

(Karlin and Altschul 1990 for ungapped alignments; by experience also for gapped
ones, Altschul and Gish 1996). Phrases differ so much in lambda that both numbers
are fitted anew for each: the phrase is read backwards, which keeps its intervals,
its range and how it moves from note to note, and is aligned with a sample of the
corpus. A phrase that is much the same backwards would find its own relatives so;
it is aligned as it stands, and of the points only those below a high quantile are
used, with the rest known to lie above it (censored from the right).

Contents: Null, Fit, fit_points, measure_null, expected_by_chance.

References
----------
Karlin and Altschul (1990), Proc. Natl. Acad. Sci. 87, 2264-2268.
Altschul and Gish (1996), Methods in Enzymology 266, 460-480.
Lawless (1982), Statistical Models and Methods for Lifetime Data, chapter 4, for
the likelihood of censored extreme values.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from melodex.corpus.chunks import PackedChunk, notes_at, verify
from melodex.errors import DamagedCorpusError
from melodex.matching.engine import engine
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

__all__ = [
    "NULL_SAMPLE",
    "Fit",
    "Null",
    "expected_by_chance",
    "fit_points",
    "is_symmetric",
    "measure_null",
]

NULL_SAMPLE = 512
"""Tunes in the null: log10 of the expected number then varies by about 0.26."""

FEWEST_IN_NULL = 16
"""With fewer tunes the fit says nothing, and nothing is stated."""

SYMMETRIC_SHARE = 0.75
"""A phrase whose reversal reaches this share of its own points is symmetric."""

CENSORED_ABOVE = 0.9
"""Of a symmetric phrase's own points, those above this quantile may be relatives'."""

LATTICE = 0.5
"""Points are whole numbers: s or more means more than s - 0.5 on the fitted line."""

STEPS, GOLDEN_STEPS, BISECTIONS = 60, 24, 30
CLOSE_ENOUGH = 1e-10
LEAST_DECAY, MOST_DECAY = 1e-5, 50.0


@dataclass(frozen=True, slots=True)
class Fit:
    """Lambda and K of one phrase, and how sure they are.

    Parameters
    ----------
    decay : float
        Lambda: by how much the logarithm of the expected number falls per point.
    size : float
        K.
    query_notes : int
        m.
    sample : int
        How many tunes the null held.
    decay_variance : float
        Of lambda, from the curvature of the likelihood.
    centre_points : float
        Points at which the two estimates are independent of each other.
    """

    decay: float
    size: float
    query_notes: int
    sample: int
    decay_variance: float
    centre_points: float

    def tail(self, points: float, tune_notes: float) -> float:
        """Probability that one unrelated tune reaches so many points or more."""
        raised = math.log(self.size * self.query_notes * max(tune_notes, 1.0))
        return -math.expm1(-math.exp(min(raised - self.decay * (points - LATTICE), 700.0)))

    def bits(self, points: float) -> float:
        """Points as bits: (lambda s - ln K) / ln 2, comparable between phrases."""
        return (self.decay * points - math.log(self.size)) / math.log(2)

    def spread_decades(self, points: float) -> float:
        """Standard error of log10 of an expected number at so many points."""
        away = points - self.centre_points
        variance = away * away * self.decay_variance + 1 / self.sample
        return math.sqrt(variance) / math.log(10)


@dataclass(frozen=True, slots=True)
class Null:
    """Points that chance brings: one number per tune, and the length of each tune.

    ``censored_above`` is the level above which points are only known to lie above.
    """

    points: tuple[int, ...]
    tune_notes: tuple[int, ...]
    query_notes: int
    censored_above: float | None = None


def fit_points(null: Null) -> Fit | None:
    """Fit lambda and K by maximum likelihood.

    Parameters
    ----------
    null : Null
        Points of unrelated pairs.

    Returns
    -------
    Fit or None
        None where the points are too few, or all the same, so that nothing can be
        said.

    Notes
    -----
    With a = K m n, the density of s is lambda a exp(-lambda s) exp(-a exp(-lambda s)).
    The likelihood of r points is greatest for K = r / sum(m n exp(-lambda s)), and
    lambda solves

        1/lambda - mean(s) + sum(s n exp(-lambda s)) / sum(n exp(-lambda s)) = 0,

    which falls steadily in lambda: found by Newton steps, held by bisection. Points
    censored at c add log(1 - exp(-a exp(-lambda c))) each; there K is found for each
    lambda, and lambda by golden section.
    """
    level = null.censored_above
    both = list(zip(map(float, null.points), map(float, null.tune_notes), strict=True))
    seen = [(s, max(n, 1.0)) for s, n in both if level is None or s <= level]
    hidden = [max(n, 1.0) for s, n in both if level is not None and s > level]
    if len(seen) < FEWEST_IN_NULL or min(s for s, _ in seen) == max(s for s, _ in seen):
        return None
    if hidden and level is not None:
        decay, log_size, curvature = solve_censored(seen, hidden, level + LATTICE)
        size = math.exp(log_size) / null.query_notes
    else:
        decay = solve_decay(seen)
        weight, first, second = weighted(seen, decay)
        size = len(seen) / (null.query_notes * weight)
        curvature = len(seen) * (1 / decay**2 + second - first * first)
    return Fit(
        decay=decay,
        size=size,
        query_notes=null.query_notes,
        sample=len(null.points),
        decay_variance=1 / curvature,
        centre_points=weighted(seen, decay)[1],
    )


Pairs = Sequence[tuple[float, float]]


def weighted(pairs: Pairs, decay: float) -> tuple[float, float, float]:
    """Sum of n exp(-lambda s), and the mean of s and of s squared under those weights."""
    lowest = min(s for s, _ in pairs)
    # Shifted by the lowest points, so that nothing underflows.
    weights = [n * math.exp(-decay * (s - lowest)) for s, n in pairs]
    total = sum(weights)
    first = sum(w * s for w, (s, _) in zip(weights, pairs, strict=True)) / total
    second = sum(w * s * s for w, (s, _) in zip(weights, pairs, strict=True)) / total
    return total * math.exp(-decay * lowest), first, second


def solve_decay(pairs: Pairs) -> float:
    """The lambda at which the likelihood is greatest, nothing being censored."""
    mean = sum(s for s, _ in pairs) / len(pairs)
    low, high = LEAST_DECAY, MOST_DECAY
    decay = min(max(1.0 / max(mean, 1.0), low), high)
    for _ in range(STEPS):
        _, first, second = weighted(pairs, decay)
        slope = 1 / decay - mean + first
        if abs(slope) < CLOSE_ENOUGH:
            break
        low, high = (decay, high) if slope > 0 else (low, decay)
        step = decay + slope / (1 / decay**2 + second - first * first)
        decay = step if low < step < high else (low + high) / 2
    return decay


def solve_censored(
    seen: Pairs, hidden: Sequence[float], cut: float
) -> tuple[float, float, float]:
    """Lambda, log(K m) and the curvature in lambda, some points lying above a cut."""

    def profile(decay: float) -> tuple[float, float]:
        log_size = solve_size(seen, hidden, cut, decay)
        return log_likelihood(seen, hidden, cut, decay, log_size), log_size

    start = solve_decay(seen)
    low, high = start / 4, min(start * 2, MOST_DECAY)
    ratio = (math.sqrt(5) - 1) / 2
    for _ in range(GOLDEN_STEPS):
        left, right = high - ratio * (high - low), low + ratio * (high - low)
        low, high = (low, right) if profile(left)[0] > profile(right)[0] else (left, high)
    decay = (low + high) / 2
    step = decay / 50
    here = [profile(decay + sign * step)[0] for sign in (-1, 0, 1)]
    curvature = max((2 * here[1] - here[0] - here[2]) / step**2, 1.0)
    return decay, profile(decay)[1], curvature


def solve_size(seen: Pairs, hidden: Sequence[float], cut: float, decay: float) -> float:
    """The log(K m) at which the likelihood is greatest for one lambda, by bisection."""
    raised = [n * math.exp(-decay * (s - cut)) for s, n in seen]
    total = sum(raised)
    low, high = math.log(len(seen) / total) - 2, math.log(len(seen) / total) + 6
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        scale = math.exp(middle)
        slope = len(seen) - scale * total
        for n in hidden:
            x = scale * n
            slope += x / math.expm1(x) if x < 700 else 0.0
        low, high = (middle, high) if slope > 0 else (low, middle)
    return (low + high) / 2 + decay * cut


def log_likelihood(
    seen: Pairs, hidden: Sequence[float], cut: float, decay: float, log_size: float
) -> float:
    """Of points seen, and of points of which only is known that they lie above a cut."""
    total = len(seen) * (math.log(decay) + log_size)
    for s, n in seen:
        total += math.log(n) - decay * s - n * math.exp(log_size - decay * s)
    for n in hidden:
        total += math.log(-math.expm1(-n * math.exp(log_size - decay * cut)))
    return total


def is_symmetric(query: EncodedQuery, costs: AlignmentCosts) -> bool:
    """Whether a phrase read backwards is much like itself.

    So are palindromes, repeated notes and phrases that go up and down alike. The
    reversal is aligned with the phrase under every transposition.
    """
    turned = query.reversed()
    pairs = [(query.pitch, query.length_class), (turned.pitch, turned.length_class)]
    (own, _), (back, _) = engine().best(pairs, query, costs)
    return back >= SYMMETRIC_SHARE * own


def measure_null(
    chunks: Sequence[PackedChunk], query: EncodedQuery, costs: AlignmentCosts
) -> Null:
    """Align the phrase, read backwards, with a sample of the corpus.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        The corpus. Damaged chunks are left out.
    query : EncodedQuery
        The phrase; the sample depends on it and on nothing else, so that the same
        question gives the same answer.
    costs : AlignmentCosts
        As for the search.

    Returns
    -------
    Null
        Of up to :data:`NULL_SAMPLE` tunes; of all where the corpus has fewer.
    """
    tunes = sample_tunes(chunks, zlib.crc32(query.pitch + query.length_class))
    symmetric = is_symmetric(query, costs)
    asked = query if symmetric else query.reversed()
    points = tuple(best for best, _ in engine().best(tunes, asked, costs)) if tunes else ()
    level = None
    if symmetric and points:
        level = float(sorted(points)[int(CENSORED_ABOVE * (len(points) - 1))])
    return Null(points, tuple(len(pitch) for pitch, _ in tunes), query.note_count, level)


def sample_tunes(chunks: Sequence[PackedChunk], seed: int) -> list[tuple[bytes, bytes]]:
    """Up to NULL_SAMPLE tunes drawn without replacement."""
    total = sum(chunk.tune_count for chunk in chunks)
    wanted = sorted(Random(seed).sample(range(total), min(total, NULL_SAMPLE)))
    tunes: list[tuple[bytes, bytes]] = []
    passed = 0
    for chunk in chunks:
        here = [
            place - passed for place in wanted if 0 <= place - passed < chunk.tune_count
        ]
        passed += chunk.tune_count
        if not here:
            continue
        try:
            counts = verify(chunk)
        except DamagedCorpusError:
            continue
        tunes += [notes_at(chunk, counts, place) for place in here]
    return [tune for tune in tunes if tune[0]]


def expected_by_chance(
    fit: Fit, points: float, *, corpus_tunes: int, corpus_notes: int
) -> float:
    """How many unrelated tunes of a corpus would reach so many points or more.

    Parameters
    ----------
    fit : Fit
        Of the phrase.
    points : float
        Of a match.
    corpus_tunes, corpus_notes : int
        How much was searched.

    Returns
    -------
    float
        Between 0 and the number of tunes.

    Examples
    --------
    >>> fit = Fit(0.5, 0.1, 12, 512, 1e-4, 10.0)
    >>> round(expected_by_chance(fit, 40, corpus_tunes=1000, corpus_notes=70000), 6)
    0.000222
    """
    if not corpus_tunes:
        return 0.0
    return corpus_tunes * fit.tail(points, corpus_notes / corpus_tunes)
