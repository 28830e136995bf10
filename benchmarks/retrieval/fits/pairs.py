"""Fitting: costs of alignment learnt from melodies that are known to be kin.

Conventions: melodies come as two columns of signed bytes, as
:func:`melodex.corpus.chunks.encode_notes` makes them. A *kind* of pair is how the
pitches compare under the transposition (same, near, far) together with how the length
classes do (same, one apart, further). Odds are natural logarithms.

The points of a kind are the logarithm of how much more often it occurs between notes
that answer each other than between any two notes of the same two melodies under the
same transposition (Henikoff and Henikoff 1992, who do so for amino acids). The points
of a gap are the logarithm of the share of notes without a partner (Durbin and others
1998, section 4.1, with one parameter). What answers what, an alignment says; so costs
are fitted, melodies aligned anew, and costs fitted again until they stay. All is then
scaled so that the best pair brings the points asked for, and rounded.

Contents: KinPair, FittedCosts, fit_costs.

References
----------
Henikoff and Henikoff (1992), Proc. Natl. Acad. Sci. 89, 10915-10919.
Durbin, Eddy, Krogh and Mitchison (1998), Biological Sequence Analysis.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

from melodex.errors import EmptyMelodyError
from melodex.matching.align import align
from melodex.matching.engine.alignment import Alignment
from melodex.matching.query import EncodedQuery, signed
from melodex.records import dataclass
from melodex.settings import AlignmentCosts

__all__ = ["FittedCosts", "KinPair", "fit_costs"]

SAME, NEAR, FAR = 0, 1, 2
ROUNDS = 8
BEST_PAIR = 4
"""A phrase of 63 notes then still counts in 8 bits, the faster half of the kernel."""

HALF_A_PAIR = 0.5
"""Added to each count, so that what was never seen is rare and not impossible."""

Kind = tuple[int, int]
KINDS: tuple[Kind, ...] = tuple((p, n) for p in (SAME, NEAR, FAR) for n in (0, 1, 2))


@dataclass(frozen=True, slots=True)
class KinPair:
    """Two melodies that are kin.

    Parameters
    ----------
    one : EncodedQuery
        The first, which is aligned with the second as a phrase is with a tune.
    pitch, length_class : bytes
        The second.
    weight : float
        How much it counts; large families should not count by the square of their
        size, so divide by the number of their pairs.
    """

    one: EncodedQuery
    pitch: bytes
    length_class: bytes
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class FittedCosts:
    """Costs, and what they were made of.

    Parameters
    ----------
    costs : AlignmentCosts
        Scaled and rounded.
    odds : tuple of float, of shape (9,)
        Log odds of each kind: same, near and far pitch, each with the same length
        class, one apart, further apart.
    gap_odds : float
        Logarithm of the share of notes without a partner, of either melody.
    points_per_unit : float
        Points for one natural logarithmic unit.
    pairs : int
        Pairs of melodies that had something to align.
    """

    costs: AlignmentCosts
    odds: tuple[float, ...]
    gap_odds: float
    points_per_unit: float
    pairs: int


def fit_costs(
    kin: Sequence[KinPair],
    *,
    start: AlignmentCosts | None = None,
    best_pair: int = BEST_PAIR,
    most_alike: float = 1.0,
) -> FittedCosts:
    """Fit the costs of alignment to pairs of kin melodies.

    Parameters
    ----------
    kin : sequence of KinPair
        Some hundreds of pairs; hold others back to see whether the costs help.
    start : AlignmentCosts, optional
        What the first alignment is made with; the defaults if not given.
    best_pair : int
        Points that the best kind shall bring. Up to 4 keeps phrases of 63 notes in the
        kernel's 8 bits, up to 12 those of 20.
    most_alike : float
        Pairs are left out in which more than this share of the aligned notes agree in
        pitch and length: near copies are found with any costs, and teach that nothing
        ever changes (Henikoff and Henikoff cluster for the same reason).

    Returns
    -------
    FittedCosts
        ``costs`` can be given to a search as they are.

    Raises
    ------
    EmptyMelodyError
        If no pair has anything in common.

    Examples
    --------
    >>> tune = bytes([60, 62, 64, 65, 67, 65, 64, 62, 60, 55, 57, 59])
    >>> other = bytes([60, 62, 64, 65, 67, 64, 64, 62, 60, 55, 57, 59])
    >>> fitted = fit_costs([KinPair(EncodedQuery(tune, bytes(12)), other, bytes(12))])
    >>> fitted.costs.same_pitch, fitted.costs.near_pitch[0] < 0
    ((4, 0, 0, 3), True)
    """
    costs = start or AlignmentCosts()
    seen = {costs}
    while True:
        fitted = fitted_once(kin, costs, best_pair, most_alike)
        if fitted.costs in seen or len(seen) > ROUNDS:
            return fitted
        costs = fitted.costs
        seen.add(costs)


def fitted_once(
    kin: Sequence[KinPair], costs: AlignmentCosts, best_pair: int, most_alike: float
) -> FittedCosts:
    """Align all pairs with some costs and fit costs to what is aligned."""
    answering: Counter[Kind] = Counter()
    any_two: Counter[Kind] = Counter()
    gaps = pairs = 0.0
    used = 0
    for pair in kin:
        found = align(pair.one, pair.pitch, pair.length_class, costs)
        if found is None:
            continue
        kinds = aligned_kinds(pair, found)
        if kinds.get((SAME, 0), 0.0) > most_alike * len(found.pairs):
            continue
        used += 1
        add(answering, kinds, pair.weight)
        # Every melody pair has the same say in what any two notes are like.
        chance = kinds_of_any_two(pair, found.transposition_semitones)
        size = sum(chance.values()) or 1.0
        add(any_two, chance, pair.weight * len(found.pairs) / size)
        lone = sum(i is None or j is None for i, j in found.pairs)
        gaps += pair.weight * lone
        pairs += pair.weight * (len(found.pairs) - lone)
    if not sum(answering.values()):
        raise EmptyMelodyError("no two melodies have notes of known length in common")
    gap_odds = math.log((gaps + HALF_A_PAIR) / (gaps + 2 * pairs + 2 * HALF_A_PAIR))
    return as_costs(shares(answering), shares(any_two), gap_odds, best_pair, used)


def add(total: Counter[Kind], counts: Mapping[Kind, float], weight: float) -> None:
    """Add weighted counts."""
    for kind, count in counts.items():
        total[kind] += weight * count  # type: ignore[assignment]


def kind_of(difference_semitones: int, first: int, second: int) -> Kind | None:
    """Kind of a pair of notes, or None where a length is not known."""
    relation = AlignmentCosts.relation(first, second)
    if relation > 2:
        return None
    return pitch_kind(difference_semitones), relation


def pitch_kind(difference_semitones: int) -> int:
    """Same, near or far, as the costs tell them apart."""
    if difference_semitones == 0:
        return SAME
    probe = AlignmentCosts((1, 1, 1, 1), (0, 0, 0, 0), (-1, -1, -1, -1))
    return NEAR if probe.row(difference_semitones) == probe.near_pitch else FAR


def aligned_kinds(pair: KinPair, found: Alignment) -> dict[Kind, float]:
    """How often each kind occurs between notes that answer each other."""
    move = found.transposition_semitones - pair.one.moved_semitones
    mine, theirs = pair.one.classes, signed(pair.length_class)
    kinds = Counter(
        kind_of(pair.one.pitch[i] + move - pair.pitch[j], mine[i], theirs[j])
        for i, j in found.pairs
        if i is not None and j is not None
    )
    return {kind: float(count) for kind, count in kinds.items() if kind}


def kinds_of_any_two(pair: KinPair, transposition: int) -> dict[Kind, float]:
    """How often each kind occurs between any note of one and any of the other."""
    move = transposition - pair.one.moved_semitones
    mine = Counter(zip(pair.one.pitch, pair.one.classes, strict=True))
    theirs = Counter(zip(pair.pitch, signed(pair.length_class), strict=True))
    kinds: Counter[Kind] = Counter()
    for (pitch, length), count in mine.items():
        for (other, other_length), others in theirs.items():
            kind = kind_of(pitch + move - other, length, other_length)
            if kind:
                kinds[kind] += count * others
    return {kind: float(count) for kind, count in kinds.items()}


def shares(counts: Counter[Kind]) -> dict[Kind, float]:
    """Counts as parts of one."""
    total = sum(counts.values()) + HALF_A_PAIR * len(KINDS)
    return {kind: (counts[kind] + HALF_A_PAIR) / total for kind in KINDS}


def as_costs(
    answering: Mapping[Kind, float],
    any_two: Mapping[Kind, float],
    gap_odds: float,
    best_pair: int,
    used: int,
) -> FittedCosts:
    """Log odds scaled to whole points of the signs that costs must have."""
    odds = {kind: math.log(answering[kind] / any_two[kind]) for kind in KINDS}
    scale = best_pair / max(odds[SAME, relation] for relation in range(3))

    def row(pitch: int) -> tuple[int, int, int, int]:
        mine = sum(answering[pitch, n] for n in range(3))
        theirs = sum(any_two[pitch, n] for n in range(3))
        values = [*(odds[pitch, n] for n in range(3)), math.log(mine / theirs)]
        points = [round(scale * value) for value in values]
        same, next_to, apart, unknown = (
            max(p, 0) if pitch == SAME else min(p, 0) for p in points
        )
        return same, next_to, apart, unknown

    costs = AlignmentCosts(row(SAME), row(NEAR), row(FAR), min(round(scale * gap_odds), -1))
    ordered = tuple(odds[kind] for kind in KINDS)
    return FittedCosts(costs, ordered, gap_odds, scale, used)
