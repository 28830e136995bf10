"""Ranking: the best matches of the alignment, put in order by all that speaks for them.

Conventions: the evidence for a match is a weighted sum of its features
(:mod:`melodex.matching.evidence.features`), higher is better; only differences between
matches of one phrase mean anything. Equal evidence keeps the order of the alignment. Which
tunes are put in order is left to the alignment alone, which is exact: no more than its
best :data:`REORDERED` change places.

The weights are those of a logistic regression that tells a tune that is kin to a
phrase from one that is not (``benchmarks/retrieval/fits/ranking.py``), fitted on the tuning
half of the judged families and nothing else. Those of whole tunes were chosen on the tuning
half of the pooled judgements (``benchmarks/retrieval/judged/pooled.py``).

Contents: ORDERS, REORDERED, WEIGHTS_IN_TIME, WEIGHTS_WITHOUT_METRE, WEIGHTS_OF_PITCH,
WEIGHTS_OF_WHOLE, LONGEST_REORDERED, Ranked, suits, reorder, explained.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field

from melodex.matching.evidence.features import FEATURES, Features, Question, features_of
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase
from melodex.records import dataclass

__all__ = [
    "LONGEST_REORDERED",
    "ORDERS",
    "REORDERED",
    "WEIGHTS_IN_TIME",
    "WEIGHTS_OF_PITCH",
    "WEIGHTS_OF_WHOLE",
    "WEIGHTS_WITHOUT_METRE",
    "Ranked",
    "explained",
    "reorder",
    "suits",
]

ORDERS = ("evidence", "alignment")
"""By all features, or by alignment points alone."""

REORDERED = 100
"""So many of the best matches are put in order; those beyond stay as they are."""

WEIGHTS_IN_TIME: dict[str, float] = {
    "chance": 0.087,
    "function": 0.765,
    "metre": 0.494,
    "beats": 3.106,
    "rhythm": 2.114,
    "spacing": 1.275,
    "figures": 2.326,
    "repeats": 0.780,
    "merging": 9.325,
    "phrasing": 7.678,
    "opening": 0.262,
    "place": 1.488,
}
"""What one unit of each feature is worth for a phrase of which the metre is known."""

WEIGHTS_WITHOUT_METRE: dict[str, float] = {
    "chance": 0.392,
    "function": 1.027,
    "rhythm": 2.143,
    "spacing": 3.278,
    "figures": 2.412,
    "repeats": 0.480,
    "merging": 11.315,
}
"""The same for a phrase that comes with lengths, but without a metre."""

WEIGHTS_OF_PITCH: dict[str, float] = {
    "chance": 0.503,
    "function": 1.506,
    "contour": 5.143,
    "figures": 1.869,
}
"""The same for a phrase of which only the pitches are known."""

WEIGHTS_OF_WHOLE: dict[str, float] = {
    "coverage": 10.0,
    "figures": 0.3,
    "beats": 5.0,
}
"""The same for a whole tune, of features of :mod:`melodex.matching.evidence.whole_tunes`.
Only their ratios matter. Tried besides, on the tuning half, and no better: the weights that
tell kin from others, those of a regression of 22 features, stretches of twelve notes by
themselves, n-grams by rarity, tonic on tonic."""

BEATS_UNKNOWN = 0.5
"""Of the notes that agree, so many count as on equal beats in free metre (our choice)."""

LONGEST_REORDERED = 40
"""Notes. Phrases of 8 to 20 gain by the order of evidence; whole tunes, of 70 notes in the
mean, do not by these weights (run ``2026-11-25-retrieval-ranking``), and have their own.
The place between is ours."""

ROUNDING = 9
"""Digits to which evidence is compared, so that all machines agree on ties."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """A match and what speaks for it.

    Parameters
    ----------
    hit : Hit
        The match.
    features : tuple of float
        In the order of ``names``.
    evidence : float
        Their weighted sum.
    weights : mapping
        By name; a feature that is not there has none.
    names : mapping
        Names of the features, and what each says; by default
        :data:`melodex.matching.evidence.features.FEATURES`.
    """

    hit: Hit
    features: Features
    evidence: float
    weights: Mapping[str, float]
    names: Mapping[str, str] = field(default_factory=lambda: FEATURES)


def suits(phrase: Phrase) -> bool:
    """Whether evidence is known to order the matches of such a phrase better.

    Not those of a contour, nor of phrases beyond :data:`LONGEST_REORDERED` that are no
    whole tune.
    """
    short_enough = len(phrase.melody) <= LONGEST_REORDERED
    return phrase.has_notes and (short_enough or phrase.is_whole)


def reorder(
    question: Question, hits: Sequence[Hit], melodies: Mapping[str, Melody]
) -> list[Ranked]:
    """Put the matches of a phrase in order.

    Parameters
    ----------
    question : Question
        The phrase.
    hits : sequence of Hit
        As the search returns them.
    melodies : mapping
        The tune of each hit, by its id.

    Returns
    -------
    list of Ranked
        All of them, best first.
    """
    if question.phrase.is_whole:
        found = ranked_as_wholes(question.phrase.melody, hits, melodies)
    else:
        found = [ranked(question, hit, melodies[hit.tune_id]) for hit in hits]
    return sorted(found, key=lambda entry: -round(entry.evidence, ROUNDING))


def weights_for(question: Question) -> Mapping[str, float]:
    """The weights that go with what is known of a phrase."""
    if not question.phrase.has_rhythm:
        return WEIGHTS_OF_PITCH
    return WEIGHTS_WITHOUT_METRE if question.metre is None else WEIGHTS_IN_TIME


def ranked(question: Question, hit: Hit, tune: Melody) -> Ranked:
    """One match with its evidence."""
    weights = weights_for(question)
    features = features_of(question, hit, tune)
    pairs = zip(FEATURES, features, strict=True)
    evidence = sum(weights[name] * value for name, value in pairs if name in weights)
    return Ranked(hit, features, evidence, weights)


def ranked_as_wholes(
    one: Melody, hits: Sequence[Hit], melodies: Mapping[str, Melody]
) -> list[Ranked]:
    """Matches of a whole tune with what speaks for theirs being the same tune."""
    from melodex.matching.evidence.whole_tunes import (
        KIN_FEATURES,
        kin_features,
        paired,
        whole_tune,
    )

    found, whole = [], whole_tune(one)
    for hit in hits:
        theirs = whole_tune(melodies[hit.tune_id])
        values = dict(kin_features(paired(whole, theirs, hit.alignment)))
        values.setdefault("beats", BEATS_UNKNOWN * values["agreement"])
        evidence = sum(WEIGHTS_OF_WHOLE[name] * values[name] for name in WEIGHTS_OF_WHOLE)
        features = tuple(values[name] for name in KIN_FEATURES)
        found.append(Ranked(hit, features, evidence, WEIGHTS_OF_WHOLE, KIN_FEATURES))
    return found


def explained(entry: Ranked) -> tuple[str, ...]:
    """Say how a match came by its place: a line for each feature, the most first.

    Examples
    --------
    >>> from melodex.matching.engine.alignment import Alignment
    >>> hit = Hit("00000000000a0000", 9, 0, (0, 1), (0, 1),
    ...           Alignment(9, 0, (), (0, 1), (0, 1)), 0, 40)
    >>> explained(Ranked(hit, (0.0,) * len(FEATURES), 0.0, {}))[0]
    'evidence 0.00, the sum of feature times weight:'
    """
    parts = [
        (name, value, entry.weights[name])
        for name, value in zip(entry.names, entry.features, strict=True)
        if name in entry.weights
    ]
    parts.sort(key=lambda part: -abs(part[1] * part[2]))
    return (
        f"evidence {entry.evidence:.2f}, the sum of feature times weight:",
        *(
            f"{value * weight:+7.2f} = {value:5.2f} x {weight:5.2f}  {entry.names[name]}"
            for name, value, weight in parts
        ),
    )
