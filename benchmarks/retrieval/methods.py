"""The methods that the retrieval benchmark lays side by side.

Conventions: a method takes queries and returns for each the places of up to
:data:`DEPTH` other tunes than its own, best first; equal points by place.

Contents: DEPTH, Method, Ngrams, Edits, Aligned, Ordered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import fuzz, process
from rapidfuzz.distance import Levenshtein
from sklearn.feature_extraction.text import TfidfVectorizer

from benchmarks.retrieval.corpus import Query, place_of, tune_id
from benchmarks.retrieval.judged.labels import JudgedTune
from melodex.corpus.chunks import PackedChunk
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import measure_null
from melodex.matching.evidence.features import question_of
from melodex.matching.evidence.ngrams import Ngram, ngrams_of
from melodex.matching.evidence.ranking import REORDERED, reorder
from melodex.matching.query import encode_query
from melodex.matching.search import Hit, search
from melodex.melody import Melody
from melodex.settings import NGRAM_LENGTH, AlignmentCosts

__all__ = ["DEPTH", "Aligned", "Edits", "Method", "Ngrams", "Ordered"]

DEPTH = 200
ZERO_STEP = 512
"""Code of a step of no semitones in the letters that the libraries take."""
SHORT = 40
"""Up to so many notes a phrase is sought within tunes, beyond it against the whole."""
AT_ONCE = 128


class Method(Protocol):
    """Whatever ranks tunes for phrases."""

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """Places of tunes for each query, best first, without its own."""


def letters(melody: Melody) -> str:
    """The steps of a melody as letters."""
    return "".join(chr(ZERO_STEP + b - a) for a, b in pairwise(melody.midi))


def best_places(points: NDArray[np.float64], own: int) -> list[int]:
    """Places of the best points above 0, the phrase's own left out."""
    likely = np.flatnonzero(points >= np.partition(points, -DEPTH - 1)[-DEPTH - 1])
    order = likely[np.lexsort((likely, -points[likely]))]
    return [int(place) for place in order if place != own and points[place] > 0][:DEPTH]


class Ngrams:
    """Cosine of interval n-grams of 3 to 6 steps, weighted by TF-IDF (scikit-learn)."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.vectorizer = TfidfVectorizer(
            analyzer="char", ngram_range=(3, 6), lowercase=False, sublinear_tf=True
        )
        matrix = self.vectorizer.fit_transform(letters(t.melody) for t in tunes)
        self.by_ngram = matrix.T.tocsr()

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling cosine."""
        for start in range(0, len(queries), AT_ONCE):
            part = queries[start : start + AT_ONCE]
            vectors = self.vectorizer.transform(letters(q.phrase.melody) for q in part)
            for query, points in zip(
                part, (vectors @ self.by_ngram).toarray(), strict=True
            ):
                yield best_places(points, query.tune)


class Edits:
    """Edit distance on steps: of the best window for phrases, of the whole for tunes."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.texts = [letters(tune.melody) for tune in tunes]

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By rising distance."""
        for query in queries:
            text = letters(query.phrase.melody)
            scorer = (
                fuzz.partial_ratio
                if len(text) < SHORT
                else Levenshtein.normalized_similarity
            )
            points = process.cdist([text], self.texts, scorer=scorer)[0]
            yield best_places(points.astype(np.float64), query.tune)


class Aligned:
    """Stage 1: exact alignment over every transposition."""

    def __init__(
        self, chunks: Sequence[PackedChunk], costs: AlignmentCosts, depth: int = DEPTH
    ) -> None:
        self.chunks, self.costs, self.depth = list(chunks), costs, depth

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling points."""
        for query in queries:
            yield [place_of(hit.tune_id) for hit in self.hits(query)]

    def hits(self, query: Query) -> list[Hit]:
        """The best tunes but for the query's own."""
        return search(
            self.chunks,
            encode_query(query.phrase),
            limit=self.depth,
            costs=self.costs,
            exclude=frozenset({tune_id(query.tune)} if query.tune >= 0 else ()),
        )


class Ordered:
    """Stage 2: the best of the alignment in order of all that speaks for them.

    What the alignment alone says is kept in ``before``, since both take the same search.
    """

    def __init__(self, tunes: Sequence[JudgedTune], aligned: Aligned) -> None:
        self.tunes, self.aligned = tunes, aligned
        self.counts = ngram_counts(tunes)
        self.before: list[list[int]] = []

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling evidence."""
        for query in queries:
            hits = self.aligned.hits(query)
            self.before.append([place_of(hit.tune_id) for hit in hits])
            yield self.ordered(query, hits)

    def ordered(self, query: Query, hits: list[Hit]) -> list[int]:
        """The best of the hits in another order, the rest after them."""
        encoded, costs = encode_query(query.phrase), self.aligned.costs
        itself = frozenset({tune_id(query.tune)} if query.tune >= 0 else ())
        fit = fit_points(measure_null(self.aligned.chunks, encoded, costs, hits, itself))
        counts = {ngram: self.counts[ngram] for ngram in ngrams_of(encoded.pitch)}
        question = question_of(query.phrase, encoded, fit, counts, len(self.tunes))
        best = hits[:REORDERED]
        melodies = {hit.tune_id: self.tunes[place_of(hit.tune_id)].melody for hit in best}
        found = [entry.hit for entry in reorder(question, best, melodies)]
        return [place_of(hit.tune_id) for hit in [*found, *hits[REORDERED:]]]


def ngram_counts(tunes: Sequence[JudgedTune]) -> Counter[Ngram]:
    """Tunes that hold each n-gram: what a corpus is counted for at each phrase."""
    counts: Counter[Ngram] = Counter()
    for tune in tunes:
        steps = tuple(b - a for a, b in pairwise(tune.melody.midi))
        places = range(len(steps) - NGRAM_LENGTH + 1)
        counts.update({steps[n : n + NGRAM_LENGTH] for n in places})
    return counts
