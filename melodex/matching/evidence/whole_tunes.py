"""Whether two whole tunes are one tune: what speaks for it, and how sure that is.

Conventions: a tune is given as the search sees it, pitches and length classes, with the
level of the beat on which each note begins, and every transposition is tried. The evidence
is a weighted sum of features and a constant, and :func:`sureness` says it as a probability:
0.5 where a pair is as likely kin as not, among the pairs that are looked at.

The weights are those of a logistic regression on pairs of the tuning half, judged by a rule
that looks at no alignment (``benchmarks/retrieval/judged/kin.py``). That chance hardly ever
brings an alignment so good added nothing to what they weigh, nor did the share of the notes
with a usual ratio of lengths, the points of stretches of twelve notes by themselves, the
strong beats alone, or tonic on tonic.

How many pairs as good are to be expected by chance is said beside it. Points of unrelated
tunes of m and n notes follow P(s) = 1 - exp(-K m n exp(-lambda s)) (Karlin and Altschul
1990, Proc. Natl. Acad. Sci. 87, 2264-2268), with lambda and K from mean and variance of
pairs drawn from the same corpus.

Contents: KIN_FEATURES, KIN_WEIGHTS, WEIGHTS_WITHOUT_BEATS, WholeTune, Pair, Unrelated,
whole_tune, beats_of, alignments, pair_of, paired, query_of, kin_features, evidence_of,
sureness.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from random import Random
from statistics import mean, stdev

from melodex.corpus.chunks import encode_notes
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import engine
from melodex.matching.evidence.kinship import all_figures, steps_of
from melodex.matching.query import EncodedQuery
from melodex.melody import Melody
from melodex.records import dataclass
from melodex.settings import MAX_QUERY_NOTES, AlignmentCosts

__all__ = [
    "KIN_FEATURES",
    "KIN_WEIGHTS",
    "WEIGHTS_WITHOUT_BEATS",
    "Pair",
    "Unrelated",
    "WholeTune",
    "alignments",
    "beats_of",
    "evidence_of",
    "kin_features",
    "pair_of",
    "paired",
    "query_of",
    "sureness",
    "whole_tune",
]

KIN_FEATURES = {
    "agreement": "notes of the shorter that agree",
    "coverage": "points, of what the longer could reach",
    "figures": "figures of nine notes in common, as a logarithm",
    "beats": "notes of the shorter that agree on as strong a beat",
}
"""Names of the features, and what each says."""

KIN_WEIGHTS: dict[str, float] = {
    "constant": -7.997,
    "agreement": 0.560,
    "coverage": 9.597,
    "figures": 0.541,
    "beats": 12.684,
}
"""What one unit of each feature is worth where the metre of both is known. Fitted on the
nearest of 900 tunes; what they reach on those of another 900 is in run ``2026-11-29-kin``,
with the weights that these give."""

WEIGHTS_WITHOUT_BEATS: dict[str, float] = {
    "constant": -7.749,
    "agreement": 5.395,
    "coverage": 12.096,
    "figures": 0.668,
}
"""The same where one is in free metre."""

DRAWN_PAIRS, SEED = 1500, 1
"""Pairs that chance is measured on."""

FEWEST_TO_MEASURE = 40
USUAL_DECAY, USUAL_LOG_SIZE = 0.2055, -5.367
"""Lambda and ln K where the corpus has too few tunes to measure them: those of 12,647 real
tunes."""

EULER = 0.5772156649
"""Euler's constant, the mean of a standard Gumbel distribution."""


@dataclass(frozen=True, slots=True)
class WholeTune:
    """A tune as it is laid over others.

    Parameters
    ----------
    pitch, length_class : bytes of length n
        As in a chunk of the corpus.
    beats : bytes of length n
        Level of the beat on which each note begins, 0 for a downbeat, one more for each
        halving; empty in free metre.
    """

    pitch: bytes
    length_class: bytes
    beats: bytes = b""

    @property
    def notes(self) -> tuple[bytes, bytes]:
        """What is aligned."""
        return self.pitch, self.length_class


def whole_tune(melody: Melody) -> WholeTune:
    """A melody as it is laid over others."""
    return WholeTune(*encode_notes(melody), beats_of(melody))


def beats_of(melody: Melody) -> bytes:
    """The level of the beat of each note of a melody; nothing in free metre."""
    if melody.metre is None:
        return b""
    return bytes(round(-math.log2(value)) for value in melody.beat_strength)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two tunes laid over each other.

    Parameters
    ----------
    points : int
        Of the best alignment.
    agreeing : int
        Pairs of it with the same pitch, under its transposition.
    on_beats : int or None
        So many of these begin on as strong a beat; None where a metre is not known.
    figures : int
        Different figures of nine notes that both have, in any key.
    shorter, longer : int
        Notes of the two.
    """

    points: int
    agreeing: int
    on_beats: int | None
    figures: int
    shorter: int
    longer: int

    @property
    def likeness(self) -> float:
        """Points, of what the shorter could reach: 1 for the same notes."""
        return self.points / (AlignmentCosts().best_pair * self.shorter)


@dataclass(frozen=True, slots=True)
class Unrelated:
    """Lambda and ln K of the tunes of a corpus, and how many tunes it holds."""

    decay: float
    log_size: float
    tunes: int

    @classmethod
    def measured(cls, tunes: Sequence[WholeTune], all_tunes: int) -> Unrelated:
        """From pairs drawn at random, by moments of an extreme value distribution."""
        if len(tunes) < FEWEST_TO_MEASURE:
            return cls(USUAL_DECAY, USUAL_LOG_SIZE, all_tunes)
        dice = Random(SEED)
        found = []
        for _ in range(DRAWN_PAIRS):
            one, other = (tunes[place] for place in dice.sample(range(len(tunes)), 2))
            ((points, _),) = alignments(one, [other])
            found.append((points, math.log(len(one.pitch) * len(other.pitch))))
        decay = USUAL_DECAY
        for _ in range(20):
            rest = [points - room / decay for points, room in found]
            decay = math.pi / math.sqrt(6) / max(stdev(rest), 1e-6)
        # Such a distribution has its mean at its mode plus Euler's constant.
        return cls(decay, decay * mean(rest) - EULER, all_tunes)

    def expected(self, pair: Pair) -> float:
        """Tunes so near to one of the two that chance would bring to the whole corpus."""
        room = math.log(max(pair.shorter * pair.longer, 1))
        exponent = self.log_size + room - self.decay * pair.points
        return self.tunes * -math.expm1(-math.exp(min(exponent, 30.0)))


def query_of(tune: WholeTune) -> EncodedQuery:
    """A tune as something to look for, as far as the search takes it."""
    return EncodedQuery(tune.pitch[:MAX_QUERY_NOTES], tune.length_class[:MAX_QUERY_NOTES])


def alignments(
    one: WholeTune, others: Sequence[WholeTune], floor: int = 0
) -> list[tuple[int, int]]:
    """Points and transposition of a tune with each of some others.

    Parameters
    ----------
    floor : int
        Of what stays below, neither need be right.
    """
    rows = [tune.notes for tune in others]
    return engine().best(rows, query_of(one), AlignmentCosts(), floor)


def pair_of(one: WholeTune, other: WholeTune, transposition: int) -> Pair | None:
    """Two tunes under the transposition that brings most points; None without any."""
    found = engine().trace(query_of(one), *other.notes, transposition, AlignmentCosts())
    return None if found is None else paired(one, other, found)


def paired(one: WholeTune, other: WholeTune, found: Alignment) -> Pair:
    """Two tunes as an alignment lays them."""
    move = found.transposition_semitones
    agreeing = [
        (i, j)
        for i, j in found.pairs
        if i is not None and j is not None and one.pitch[i] + move == other.pitch[j]
    ]
    on_beats = None
    if one.beats and other.beats:
        on_beats = sum(one.beats[i] == other.beats[j] for i, j in agreeing)
    shared = all_figures(steps_of(one.pitch)) & all_figures(steps_of(other.pitch))
    shorter, longer = sorted((len(one.pitch), len(other.pitch)))
    return Pair(found.points, len(agreeing), on_beats, len(shared), shorter, longer)


def kin_features(pair: Pair) -> Mapping[str, float]:
    """What speaks for two tunes being one, by name; no beats where they are not known."""
    top = AlignmentCosts().best_pair
    found = {
        "agreement": pair.agreeing / pair.shorter,
        "coverage": pair.points / (top * pair.longer),
        "figures": math.log1p(pair.figures),
    }
    if pair.on_beats is not None:
        found["beats"] = pair.on_beats / pair.shorter
    return found


def evidence_of(pair: Pair) -> float:
    """The weighted sum of all features, and the constant."""
    features = kin_features(pair)
    weights = KIN_WEIGHTS if "beats" in features else WEIGHTS_WITHOUT_BEATS
    return weights["constant"] + sum(
        weights[name] * value for name, value in features.items()
    )


def sureness(evidence: float) -> float:
    """How sure two tunes of some evidence are kin, 0 to 1.

    Examples
    --------
    >>> sureness(0.0)
    0.5
    """
    return 1 / (1 + math.exp(-max(min(evidence, 50.0), -50.0)))
