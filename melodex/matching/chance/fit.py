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
that :mod:`melodex.matching.chance.sample` takes from the corpus: of the phrase as it
stands, and of the phrase read backwards, which shares lambda with it but has a K of its
own. Some points are only known to lie above a level or below one (censored). What is
stated is the mean of the expected number over how unsure lambda and K are, and over how
the tail may bend further out than what was measured reaches.

Contents: Best, Null, Fit, fit_points, widened, expected_by_chance.

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
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Best", "Fit", "Null", "expected_by_chance", "fit_points", "widened"]

FEWEST_IN_NULL = 16
"""With fewer tunes the fit says nothing, and nothing is stated."""

DECAY_UNSURE = 0.2
"""Lambda differs further out by such a share from that of what was measured: tunes come
in styles too rare to be seen in it. Of 0.01, 0.13, 0.2 and 0.3 the calibration benchmark,
on phrases that it does not report, is nearest to what should be at 0.01 with 0.2; with
0.3, matches that rare are stated half as often as they should be."""

FADING_NOTES = 1.0
"""Over how many notes the room for an alignment fades to nothing."""

STEPS, HALVINGS, CLOSE_ENOUGH = 60, 30, 1e-7  # at most; of a step of the fit
LEAST_DECAY, MOST_DECAY = 1e-4, 50.0  # of the tail, a point: bounds of the search


@dataclass(frozen=True, slots=True)
class Best:
    """The best of very many tunes; of the others only a bound is known.

    Parameters
    ----------
    points, tune_notes : tuple of int, of shape (k,)
        Of tunes with more points than the level, and how long they are.
    level : int
        Points that none of the others exceeds.
    others : tuple of (float, float)
        The others: notes of a tune on average, and how many are about so long.
    censored_above : int or None
        Points above this are only known to lie there.
    """

    points: tuple[int, ...]
    tune_notes: tuple[int, ...]
    level: int
    others: tuple[tuple[float, float], ...]
    censored_above: int | None = None

    @property
    def tune_count(self) -> int:
        """All the tunes among which these are the best."""
        return len(self.points) + round(sum(count for _, count in self.others))


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
    best : Best or None
        What is known of many more tunes than the points are of.
    turned : Null or None
        The same of the phrase read backwards.
    """

    points: tuple[int, ...]
    tune_notes: tuple[int, ...]
    query_notes: int
    query_notes_per_point: float = 0.0
    tune_notes_per_point: float = 0.0
    censored_above: int | None = None
    censored_below: int | None = None
    steepest_decay: float = MOST_DECAY
    best: Best | None = None
    turned: Null | None = None

    @property
    def directions(self) -> tuple[Null, ...]:
        """This one, and that of the phrase read backwards if there is one."""
        return (self,) if self.turned is None else (self, self.turned)

    @property
    def tune_count(self) -> int:
        """Of how many tunes the points are known."""
        return sum(len(null.points) for null in self.directions)

    @property
    def reach(self) -> int:
        """Among how many tunes the rarest points that are known were seen."""
        deepest = [null.best.tune_count for null in self.directions if null.best]
        return max([self.tune_count, *deepest])

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
        return at_least_one(widened(known, self.null.reach))

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
    seen = [points for part in null.directions for points in part.seen()]
    if len(seen) < FEWEST_IN_NULL or min(seen) == max(seen):
        return None
    observations = [observed(part) for part in null.directions]
    log_size, decay = moment_guess(null)
    sizes = (*[log_size] * len(observations), decay)
    here = climb(observations, sizes)
    for _ in range(STEPS):
        move = here.step()
        for _ in range(HALVINGS):
            tried = tuple(size + by for size, by in zip(sizes, move, strict=True))
            decay = min(max(tried[-1], LEAST_DECAY), null.steepest_decay)
            tried = (*tried[:-1], decay)
            there = climb(observations, tried)
            if there.log_likelihood >= here.log_likelihood:
                break
            move = tuple(by / 2 for by in move)
        gained = there.log_likelihood - here.log_likelihood
        if gained >= 0:
            sizes, here = tried, there
        if gained < CLOSE_ENOUGH:
            break
    return Fit(sizes[-1], sizes[0], null, here.covariance())


Observation = tuple[float, float, float, float, float]


def observed(null: Null) -> list[Observation]:
    """Points and room at both ends of what is known of each tune, like ones counted.

    An end that is infinitely far has a room of plus or minus infinity.
    """
    low = -1 if null.censored_below is None else null.censored_below
    high = math.inf if null.censored_above is None else null.censored_above
    held = [max(min(s, high + 1), low - 1) for s in null.points]
    found: list[Observation] = []
    for s, n, count in alike(held, null.tune_notes):
        first = math.inf if s < low else null.log_room(s, n)
        above = -math.inf if s > high else null.log_room(s + 1, n)
        found.append((float(s), first, float(s + 1), above, count))
    if null.best is not None:
        best = null.best
        high = math.inf if best.censored_above is None else best.censored_above
        for s, n, count in alike([min(s, high + 1) for s in best.points], best.tune_notes):
            above = -math.inf if s > high else null.log_room(s + 1, n)
            found.append((float(s), null.log_room(s, n), float(s + 1), above, count))
        level = float(best.level)
        for n, tunes in best.others:
            above = null.log_room(level + 1, n)
            found.append((level, math.inf, level + 1, above, tunes))
    return found


def alike(
    points: Sequence[float], tune_notes: Sequence[int]
) -> list[tuple[float, float, int]]:
    """Points, mean notes and number of tunes with equal points and like lengths.

    Lengths less than an eighth apart leave like room.
    """
    found: dict[tuple[float, int], list[int]] = {}
    for s, n in zip(points, tune_notes, strict=True):
        shift = max(n.bit_length() - 4, 0)
        group = found.setdefault((s, n >> shift << shift), [0, 0])
        group[0] += 1
        group[1] += n
    return [(s, notes / count, count) for (s, _), (count, notes) in sorted(found.items())]


def moment_guess(null: Null) -> tuple[float, float]:
    """Log K and lambda from mean and variance, as of a Gumbel distribution."""
    points = [points for part in null.directions for points in part.points]
    notes = [notes for part in null.directions for notes in part.tune_notes]
    mean = sum(points) / len(points)
    variance = sum((s - mean) ** 2 for s in points) / len(points)
    decay = min(math.pi / math.sqrt(6 * variance), null.steepest_decay)
    return decay * mean - EULER - null.log_room(mean, sum(notes) / len(notes)), decay


EULER = 0.5772156649015329
"""Mean of the standard Gumbel distribution (the Euler-Mascheroni constant)."""


@dataclass(frozen=True, slots=True)
class Slope:
    """Log likelihood, its gradient in (log K of each direction, lambda), information.

    No tune tells of the K of two directions, so of the information in two of them
    together there is none.
    """

    log_likelihood: float
    gradient: tuple[float, ...]
    of_sizes: tuple[float, ...]
    of_joints: tuple[float, ...]
    of_decay: float

    def decay_information(self) -> float:
        """What is known of lambda, whatever the K are."""
        known = self.of_decay - sum(
            joint * joint / size
            for size, joint in zip(self.of_sizes, self.of_joints, strict=True)
        )
        return max(known, 1e-12 * self.of_decay, 1e-300)

    def step(self) -> tuple[float, ...]:
        """The step that the gradient asks for: the inverse information times it."""
        *ups, up_decay = self.gradient
        parts = list(zip(ups, self.of_sizes, self.of_joints, strict=True))
        decay = up_decay - sum(joint * up / size for up, size, joint in parts)
        decay /= self.decay_information()
        return (*((up - joint * decay) / size for up, size, joint in parts), decay)

    def covariance(self) -> tuple[float, float, float]:
        """Variances of the first log K and lambda, and their covariance."""
        of_decay = 1 / self.decay_information()
        lean = self.of_joints[0] / self.of_sizes[0]
        return 1 / self.of_sizes[0] + lean * lean * of_decay, of_decay, -lean * of_decay


def climb(observations: Sequence[Sequence[Observation]], sizes: Sequence[float]) -> Slope:
    """The likelihood and where it rises, for the log K of each direction and lambda."""
    decay = sizes[-1]
    total = up_decay = of_decay = 0.0
    ups, of_sizes, of_joints = [], [], []
    for log_size, part in zip(sizes, observations, strict=False):
        up_size = i_size = i_joint = 0.0
        for s, room, s_above, room_above, count in part:
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
            of_decay += count * slope * slope
            i_joint += count * size * slope
        ups.append(up_size)
        of_sizes.append(max(i_size, 1e-300))
        of_joints.append(i_joint)
    return Slope(total, (*ups, up_decay), tuple(of_sizes), tuple(of_joints), of_decay)


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
    >>> null = Null((0,) * 512, (70,) * 512, 12)
    >>> fit = Fit(0.5, -2.3, null, (0.01, 1e-4, 1e-4))
    >>> round(expected_by_chance(fit, 40, corpus_tunes=1000, corpus_notes=70000), 5)
    0.0011
    """
    if not corpus_tunes:
        return 0.0
    return corpus_tunes * fit.mean_tail(points, corpus_notes / corpus_tunes)
