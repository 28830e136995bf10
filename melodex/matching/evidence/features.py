"""Features: what a musician would weigh of a match besides its points.

Conventions: each feature is one number, and 0 where nothing is known (a phrase typed
without rhythm says nothing of metre). Shares are parts of the phrase's notes; what may
be so, otherwise, or unknown is 1, -1 or 0. The alignment is that of stage 1; no other
is sought. Nothing here looks at pitch as such: a tune in another key is as good.

Contents: FEATURES, Features, Question, question_of, features_of.

References
----------
Mongeau and Sankoff (1990), Computers and the Humanities 24, 161-175: notes split and
merged. Sparck Jones (1972), J. Documentation 28, 11-21: figures weighed by rarity.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping
from itertools import pairwise

from melodex.matching.chance.fit import Fit
from melodex.matching.evidence.ngrams import Ngram, ngrams_of, weigh
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit
from melodex.melody import Melody, Metre, Phrase, pitch_class
from melodex.records import dataclass

__all__ = ["FEATURES", "Features", "Question", "features_of", "question_of"]

FEATURES = {
    "chance": "decades by which chance is unlikely",
    "function": "tonic falls on tonic",
    "metre": "same time signature",
    "beats": "agreeing notes on as strong a beat",
    "rhythm": "lengths in the usual ratio",
    "spacing": "onsets as far apart, in that ratio",
    "contour": "steps that go the same way",
    "figures": "shared figures, by their rarity",
    "repeats": "shared figures that come again",
    "merging": "notes left out that were split or merged",
    "phrasing": "phrases that begin at the same notes",
    "opening": "both begin their tune, or neither",
    "place": "nearness of the bars within their tunes",
}
"""Names of the features, and what each says."""

USUAL_DECAY = 0.36
"""Lambda where a corpus is too small to measure it: the mean of 2,572 phrases of the
tuning half (0.39 for 12 notes, 0.34 for 20)."""

BARS_NEARBY = 2.0
"""Nearness falls to 1/e over so many bars (our choice)."""

Features = tuple[float, ...]
"""One number for each of :data:`FEATURES`, in that order."""

Paired = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Question:
    """A phrase, and what is worked out of it once for all its matches.

    Parameters
    ----------
    phrase : Phrase
        What is looked for.
    fit : Fit or None
        Chance, where it could be measured.
    figures : tuple of (bytes, float)
        Steps of each n-gram of the phrase, and what sharing it tells, as a part of all.
    metre : Metre or None
        None where nobody knows it.
    starts : frozenset of int
        Notes at which a phrase begins within it.
    """

    phrase: Phrase
    fit: Fit | None
    figures: tuple[tuple[bytes, float], ...]
    metre: Metre | None
    starts: frozenset[int]

    @property
    def begins_tune(self) -> bool | None:
        """Whether the phrase begins its tune; None where it comes from none."""
        if self.phrase.notation != "passage":
            return None
        return self.phrase.first_note == 0


def question_of(
    phrase: Phrase,
    query: EncodedQuery,
    fit: Fit | None,
    counts: Mapping[Ngram, int],
    tunes: int,
) -> Question:
    """Work out of a phrase what all its matches need.

    Parameters
    ----------
    phrase : Phrase
        What is looked for.
    query : EncodedQuery
        The same as matching sees it.
    fit : Fit or None
        Chance, where it could be measured.
    counts : mapping
        Tunes of the corpus that hold each n-gram of the phrase.
    tunes : int
        Tunes in the corpus.
    """
    weights = {
        ngram: weigh(counts[ngram], tunes) * len(starts)
        for ngram, starts in ngrams_of(query.pitch).items()
    }
    total = sum(weights.values()) or 1.0
    return Question(
        phrase=phrase,
        fit=fit,
        figures=tuple(
            (bytes(step & 0xFF for step in ngram), weight / total)
            for ngram, weight in weights.items()
        ),
        metre=phrase.melody.metre if phrase.has_rhythm else None,
        starts=starts_of(phrase.melody.phrase),
    )


def features_of(question: Question, hit: Hit, tune: Melody) -> Features:
    """Weigh one match.

    Parameters
    ----------
    question : Question
        The phrase.
    hit : Hit
        Where it was found.
    tune : Melody
        The whole tune.

    Returns
    -------
    tuple of float, of shape (13,)
        In the order of :data:`FEATURES`.
    """
    mine, theirs = question.phrase.melody.midi, tune.midi
    move = hit.transposition_semitones
    paired = [(i, j) for i, j in hit.alignment.pairs if i is not None and j is not None]
    agreeing = [(i, j) for i, j in paired if mine[i] + move == theirs[j]]
    return (
        chance(question, hit),
        function(question, hit, tune),
        *beat_features(question, hit, tune, agreeing),
        *time_features(question, tune, paired),
        *figure_features(question, theirs),
        merging(question, tune, hit, paired),
        *place_features(question, tune, agreeing),
    )


def chance(question: Question, hit: Hit) -> float:
    """Decades by which so good an alignment with so long a tune is unlikely."""
    if question.fit is None:
        return (USUAL_DECAY * hit.points - math.log(hit.note_count)) / math.log(10)
    return -question.fit.log_alignments(hit.points, hit.note_count) / math.log(10)


def function(question: Question, hit: Hit, tune: Melody) -> float:
    """Whether the transposition carries one tonic to the other."""
    mine = question.phrase.melody.key
    theirs = tune.key_at(tune.onset_ticks[hit.tune_span[0]])
    if not question.phrase.has_tonic or "none" in (mine.mode, theirs.mode):
        return 0.0
    moved = pitch_class(mine.tonic_fifths) + hit.transposition_semitones
    return 1.0 if moved % 12 == pitch_class(theirs.tonic_fifths) else -1.0


def beat_features(
    question: Question, hit: Hit, tune: Melody, agreeing: Paired
) -> tuple[float, float]:
    """Metre and beats."""
    mine, theirs = question.metre, tune.metre_at(tune.onset_ticks[hit.tune_span[0]])
    if mine is None or theirs is None:
        return 0.0, 0.0
    same = mine.bar_ticks == theirs.bar_ticks and mine.kind == theirs.kind
    strong, levels = question.phrase.melody.beat_strength, tune.beat_strength
    beats = sum(strong[i] == levels[j] for i, j in agreeing)
    return 1.0 if same else -1.0, beats / len(strong)


def time_features(
    question: Question, tune: Melody, paired: Paired
) -> tuple[float, float, float]:
    """Rhythm, spacing and contour."""
    phrase, timed = question.phrase.melody, question.phrase.has_rhythm
    mine, theirs = phrase.midi, tune.midi
    lengths, onsets = phrase.duration_ticks, phrase.onset_ticks
    their_onsets = tune.onset_ticks
    ratio, usual = 1.0, 0
    if timed:
        their_lengths = tune.duration_ticks
        ratios = Counter(their_lengths[j] / (lengths[i] or 1) for i, j in paired)
        ratio, usual = max(ratios.items(), key=lambda entry: (entry[1], -entry[0]))
    spaced = alike = 0
    for (i, j), (k, n) in pairwise(paired):
        step, there = mine[k] - mine[i], theirs[n] - theirs[j]
        alike += (step > 0) == (there > 0) and (step < 0) == (there < 0)
        if timed:
            apart = (onsets[k] - onsets[i]) * ratio
            spaced += apart == their_onsets[n] - their_onsets[j]
    count = len(mine)
    return usual / count, spaced / count, alike / count


def figure_features(question: Question, midi: tuple[int, ...]) -> tuple[float, float]:
    """Shared figures, and those that come again."""
    steps = bytes((after - before) & 0xFF for before, after in pairwise(midi))
    shared = again = 0.0
    for figure, weight in question.figures:
        first = steps.find(figure)
        if first >= 0:
            shared += weight
            if steps.find(figure, first + 1) >= 0:
                again += weight
    return shared, again


def merging(question: Question, tune: Melody, hit: Hit, paired: Paired) -> float:
    """Share of notes left out that make up a note of the other with their neighbour."""
    phrase = question.phrase
    if not phrase.has_rhythm or len(paired) == len(hit.alignment.pairs):
        return 0.0
    move = hit.transposition_semitones
    back = [(j, i) for i, j in paired]
    found = 0
    for i, j in hit.alignment.pairs:
        if j is None and i is not None:
            found += is_part(phrase.melody, tune, i, paired, move)
        elif i is None and j is not None:
            found += is_part(tune, phrase.melody, j, back, -move)
    return found / len(phrase.melody)


def is_part(parts: Melody, whole: Melody, lone: int, links: Paired, move: int) -> bool:
    """Whether a note without partner and a neighbour make up one note of the other.

    They do where the neighbour's partner is as long as both together: one note split,
    or two merged (their fragmentation and consolidation).
    """
    after = bisect_right(links, (lone, -1))
    for part, partner in links[max(after - 1, 0) : after + 1]:
        if abs(part - lone) == 1 and parts.midi[part] + move == whole.midi[partner]:
            together = parts.duration_ticks[part] + parts.duration_ticks[lone]
            if together == whole.duration_ticks[partner]:
                return True
    return False


def place_features(
    question: Question, tune: Melody, agreeing: Paired
) -> tuple[float, float, float]:
    """Phrasing, opening and place."""
    phrase = question.phrase.melody
    phrasing = opening = place = 0.0
    if not agreeing:
        return phrasing, opening, place
    if question.starts and tune.phrase[-1]:
        starts = question.starts
        theirs = starts_of(tune.phrase)
        both = sum(i in starts and j in theirs for i, j in agreeing)
        either = sum((i in starts) != (j in theirs) for i, j in agreeing)
        phrasing = (both - either) / len(phrase)
    if question.begins_tune is not None:
        i, j = agreeing[0]
        opening = 1.0 if (j - i <= 1) == question.begins_tune else -1.0
        place = math.exp(-abs(tune.bar[j] - phrase.bar[i]) / BARS_NEARBY)
    return phrasing, opening, place


def starts_of(phrases: tuple[int, ...]) -> frozenset[int]:
    """Notes at which a new phrase begins, the first note of all left out."""
    if phrases[0] == phrases[-1]:
        return frozenset()
    return frozenset(
        n for n, (before, here) in enumerate(pairwise(phrases), start=1) if before != here
    )
