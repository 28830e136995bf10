"""Chance: how many tunes of a corpus would match as well by chance.

Conventions: points are whole numbers, higher is better. Expected numbers count
tunes. A null is a set of points that nothing but chance brought about.

The best local alignment of a phrase of m notes with an unrelated tune of n notes
reaches s points or more with probability

    P(s) = 1 - exp(-K A(s) exp(-lambda s))

where A is the number of places at which it could begin: m n for long sequences
(Karlin and Altschul 1990 for ungapped alignments; by experience also for gapped
ones, Altschul and Gish 1996). A phrase is short, and an alignment of many points
takes up most of it; so A(s) = (m + 1 - a s)(n + 1 - b s), where a and b are the
notes that an alignment takes up per point, counted on the null's own best, and
either factor fades to nothing smoothly (after Park, Sheetlin and Spouge 2009).

Phrases differ so much in lambda that both numbers are fitted anew for each, on points
that :mod:`melodex.matching.chance_sample` takes from a sample of the corpus. Some points
are only known to lie above a level or below one (censored). What is stated is the mean
of the expected number over how unsure lambda and K are, and over how the tail may bend
further out than the sample reaches.

Contents: Null, Fit, fit_points, widened, expected_by_chance.

References
----------
Karlin and Altschul (1990), Proc. Natl. Acad. Sci. 87, 2264-2268.
Altschul and Gish (1996), Methods in Enzymology 266, 460-480.
Park, Sheetlin and Spouge (2009), Annals of Statistics 37, 3697-3714: that the
finite size is to be taken off both sequences. The smooth fading is ours.
Berndt, Hall, Hall and Hausman (1974), Annals of Economic and Social Measurement
3, 653-665: scoring with the outer product of gradients.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Fit", "Null", "expected_by_chance", "fit_points", "widened"]

FEWEST_IN_NULL = 16
"""With fewer tunes the fit says nothing, and nothing is stated."""

DECAY_UNSURE = 0.13
"""Lambda differs further out by such a share from that of what the sample reaches: tunes
come in styles too rare to be seen in it. Of 0, 0.12, 0.15, 0.18 and 0.2 the calibration
benchmark, on phrases that it does not report, is nearest to what should be at 0.01 with
0.12 to 0.15; with more, synthetic melodies match too seldom."""

FADING_NOTES = 1.0
"""Over how many notes the room for an alignment fades to nothing."""

STEPS, HALVINGS, CLOSE_ENOUGH = 60, 30, 1e-7
LEAST_DECAY, MOST_DECAY = 1e-4, 50.0


@dataclass(frozen=True, slots=True)
class Null:
    """Points that chance brings, one number per tune.

    Parameters
    ----------
    points : tuple of int, of shape (k,)
        Of the best alignment with each tune.
    tune_notes : tuple of int, of shape (k,)
        n, the length of each tune.
    query_notes : int
        m.
    query_notes_per_point, tune_notes_per_point : float
        a and b: how many notes an alignment takes up for each of its points.
    censored_above, censored_below : int or None
        Points above the one, or below the other, are only known to lie there.
    steepest_decay : float
        Lambda is not fitted above this.
    """

    points: tuple[int, ...]
    tune_notes: tuple[int, ...]
    query_notes: int
    query_notes_per_point: float = 0.0
    tune_notes_per_point: float = 0.0
    censored_above: int | None = None
    censored_below: int | None = None
    steepest_decay: float = MOST_DECAY

    def seen(self) -> list[int]:
        """The points that are known exactly."""
        low = -1 if self.censored_below is None else self.censored_below
        high = math.inf if self.censored_above is None else self.censored_above
        return [s for s in self.points if low <= s <= high]

    def log_room(self, points: float, tune_notes: float) -> float:
        """Logarithm of A(s): places at which so good an alignment could begin."""
        return math.log(
            faded(self.query_notes + 1 - self.query_notes_per_point * points)
            * faded(tune_notes + 1 - self.tune_notes_per_point * points)
        )


def faded(room_notes: float) -> float:
    """Room that fades to nothing smoothly below one note, never quite nothing."""
    steep = room_notes / FADING_NOTES
    if steep > 30:
        return room_notes
    return FADING_NOTES * math.log1p(math.exp(max(steep, -30.0)))


@dataclass(frozen=True, slots=True)
class Fit:
    """Lambda and K of one phrase, and how sure they are.

    Parameters
    ----------
    decay : float
        Lambda: by how much the logarithm of the expected number falls per point.
    log_size : float
        Logarithm of K.
    null : Null
        What they were fitted to.
    covariance : tuple of float
        Variances of log K and lambda, and their covariance.
    """

    decay: float
    log_size: float
    null: Null
    covariance: tuple[float, float, float]

    @property
    def size(self) -> float:
        """K."""
        return math.exp(self.log_size)

    def tail(self, points: float, tune_notes: float) -> float:
        """Probability that one unrelated tune reaches so many points or more."""
        return at_least_one(self.log_alignments(points, tune_notes))

    def mean_tail(self, points: float, tune_notes: float) -> float:
        """The same, over all that lambda and K may be.

        The mean is that of the number of alignments, not of the probability, which
        cannot exceed one: so a better match is never likelier, whatever the doubt.
        """
        known = self.log_alignments(points, tune_notes) + math.log(self.doubt(points))
        return at_least_one(widened(known, len(self.null.points)))

    def log_alignments(self, points: float, tune_notes: float) -> float:
        """Logarithm of K A(s) exp(-lambda s): alignments so good with one tune."""
        room = self.null.log_room(points, tune_notes)
        return self.log_size + room - self.decay * points

    def bits(self, points: float) -> float:
        """Points as bits: (lambda s - ln K) / ln 2, comparable between phrases."""
        return (self.decay * points - self.log_size) / math.log(2)

    def spread_decades(self, points: float) -> float:
        """Standard error of log10 of an expected number at so many points."""
        of_size, of_decay, joint = self.covariance
        variance = of_size - 2 * points * joint + points * points * of_decay
        return math.sqrt(max(variance, 0.0)) / math.log(10)

    def doubt(self, points: float) -> float:
        """By how much the mean of an expected number is above its likeliest value.

        Its logarithm is about normal. So far out that doubt would grow faster than
        the number falls, it grows no more: a better match is never more expected.
        """
        of_decay, joint = self.covariance[1:]
        if of_decay > 0:
            points = min(points, max((self.decay + joint) / of_decay, 0.0))
        unsure = math.log(10) * self.spread_decades(points)
        return math.exp(min(unsure * unsure / 2, 700.0))


def widened(log_expected: float, tunes: int) -> float:
    """The mean over how the tail may bend beyond what a sample of tunes reaches.

    It grows no faster than the number itself falls, as doubt does.
    """
    beyond = max(-math.log(max(tunes, 1)) - log_expected, 0.0)
    unsure = DECAY_UNSURE * min(beyond, DECAY_UNSURE**-2)
    return log_expected + unsure * unsure / 2


def at_least_one(log_expected: float) -> float:
    """Probability of at least one of what is so often expected."""
    return -math.expm1(-math.exp(min(log_expected, 700.0)))


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
    Points are whole numbers: s has the probability P(s) - P(s + 1), one that only is
    known to lie above c the probability P(c + 1), below c 1 - P(c). The likelihood
    is climbed by scoring with the outer product of gradients, steps halved until
    they climb.
    """
    seen = null.seen()
    if len(seen) < FEWEST_IN_NULL or min(seen) == max(seen):
        return None
    observations = observed(null)
    sizes = moment_guess(null)
    here = climb(observations, sizes)
    for _ in range(STEPS):
        move = solved(here.information, here.gradient)
        for _ in range(HALVINGS):
            tried = (
                sizes[0] + move[0],
                min(max(sizes[1] + move[1], LEAST_DECAY), null.steepest_decay),
            )
            there = climb(observations, tried)
            if there.log_likelihood >= here.log_likelihood:
                break
            move = (move[0] / 2, move[1] / 2)
        gained = there.log_likelihood - here.log_likelihood
        if gained >= 0:
            sizes, here = tried, there
        if gained < CLOSE_ENOUGH:
            break
    return Fit(sizes[1], sizes[0], null, inverted(here.information))


Observation = tuple[float, float, float, float, int]


def observed(null: Null) -> list[Observation]:
    """Points and room at both ends of what is known of each tune, like ones counted.

    An end that is infinitely far has a room of plus or minus infinity.
    """
    low = -1 if null.censored_below is None else null.censored_below
    high = math.inf if null.censored_above is None else null.censored_above
    counts = Counter(
        (max(min(s, high + 1), low - 1), max(n, 1))
        for s, n in zip(null.points, null.tune_notes, strict=True)
    )
    found = []
    for (s, n), count in sorted(counts.items()):
        first = math.inf if s < low else null.log_room(s, n)
        above = -math.inf if s > high else null.log_room(s + 1, n)
        found.append((float(s), first, float(s + 1), above, count))
    return found


def moment_guess(null: Null) -> tuple[float, float]:
    """Log K and lambda from mean and variance, as of a Gumbel distribution."""
    count = len(null.points)
    mean = sum(null.points) / count
    variance = sum((s - mean) ** 2 for s in null.points) / count
    decay = min(math.pi / math.sqrt(6 * variance), null.steepest_decay)
    usual = sum(null.tune_notes) / count
    return decay * mean - EULER - null.log_room(mean, usual), decay


EULER = 0.5772156649015329
Three = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Slope:
    """Log likelihood, its gradient in (log K, lambda), and the information."""

    log_likelihood: float
    gradient: tuple[float, float]
    information: Three


def climb(observations: Sequence[Observation], sizes: tuple[float, float]) -> Slope:
    """The likelihood and where it rises, for one log K and lambda."""
    log_size, decay = sizes
    total = up_size = up_decay = i_size = i_decay = i_joint = 0.0
    for s, room, s_above, room_above, count in observations:
        x = math.exp(min(log_size + room - decay * s, 600.0))
        y = math.exp(min(log_size + room_above - decay * s_above, 600.0))
        # exp(-y) - exp(-x), without losing what is left of it in the far tail.
        chance = max(math.exp(-y) * -math.expm1(y - x), 1e-300)
        of_x, of_y = x * math.exp(-x), y * math.exp(-y)
        size = (of_x - of_y) / chance
        slope = (s_above * of_y - s * of_x) / chance
        total += count * math.log(chance)
        up_size += count * size
        up_decay += count * slope
        i_size += count * size * size
        i_decay += count * slope * slope
        i_joint += count * size * slope
    return Slope(total, (up_size, up_decay), (i_size, i_decay, i_joint))


def inverted(information: Three) -> Three:
    """The inverse of a symmetric matrix of two rows, as (first, second, off)."""
    first, second, off = information
    determinant = max(first * second - off * off, 1e-300)
    return second / determinant, first / determinant, -off / determinant


def solved(information: Three, gradient: tuple[float, float]) -> tuple[float, float]:
    """The step that the gradient asks for."""
    first, second, off = inverted(information)
    return (
        first * gradient[0] + off * gradient[1],
        off * gradient[0] + second * gradient[1],
    )


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
    >>> fit = Fit(0.5, -2.3, Null((), (), 12), (0.01, 1e-4, 1e-4))
    >>> round(expected_by_chance(fit, 40, corpus_tunes=1000, corpus_notes=70000), 5)
    0.00153
    """
    if not corpus_tunes:
        return 0.0
    return corpus_tunes * fit.mean_tail(points, corpus_notes / corpus_tunes)
