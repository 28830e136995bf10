"""The methods that the retrieval benchmark lays side by side.

Conventions: a method takes a phrase and the place of its own tune, and returns the
places of up to :data:`DEPTH` other tunes, best first; equal points by place.

Contents: DEPTH, Method, Ngrams, Edits, Aligned, Ordered.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import fuzz, process
from rapidfuzz.distance import Levenshtein
from retrieval_corpus import tune_id
from retrieval_judgements import JudgedTune
from sklearn.feature_extraction.text import TfidfVectorizer

from melodex.corpus.chunks import PackedChunk
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.melody import Melody, Phrase
from melodex.settings import AlignmentCosts

__all__ = ["DEPTH", "Aligned", "Edits", "Method", "Ngrams"]

DEPTH = 200
ZERO_STEP = 512
"""Code of a step of no semitones in the letters that the libraries take."""
SHORT = 40
"""Up to so many notes a phrase is sought within tunes, beyond it against the whole."""


class Method(Protocol):
    """Whatever ranks tunes for a phrase."""

    def rank(self, phrase: Phrase, own: int) -> list[int]:
        """Places of tunes, best first, without the phrase's own."""


def letters(melody: Melody) -> str:
    """The steps of a melody as letters."""
    return "".join(chr(ZERO_STEP + b - a) for a, b in pairwise(melody.midi))


def best_places(points: NDArray[np.float64], own: int) -> list[int]:
    """Places of the best points above 0, the phrase's own left out."""
    order = np.lexsort((np.arange(len(points)), -points))[: DEPTH + 1]
    return [int(place) for place in order if place != own and points[place] > 0][:DEPTH]


class Ngrams:
    """Cosine of interval n-grams of 3 to 6 steps, weighted by TF-IDF (scikit-learn)."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.vectorizer = TfidfVectorizer(
            analyzer="char", ngram_range=(3, 6), lowercase=False, sublinear_tf=True
        )
        self.matrix = self.vectorizer.fit_transform(letters(t.melody) for t in tunes)

    def rank(self, phrase: Phrase, own: int) -> list[int]:
        """By falling cosine."""
        vector = self.vectorizer.transform([letters(phrase.melody)])
        return best_places((self.matrix @ vector.T).toarray().ravel(), own)


class Edits:
    """Edit distance on steps: of the best window for phrases, of the whole for tunes."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.texts = [letters(tune.melody) for tune in tunes]

    def rank(self, phrase: Phrase, own: int) -> list[int]:
        """By rising distance."""
        text = letters(phrase.melody)
        scorer = (
            fuzz.partial_ratio if len(text) < SHORT else Levenshtein.normalized_similarity
        )
        points = process.cdist([text], self.texts, scorer=scorer)[0]
        return best_places(points.astype(np.float64), own)


class Aligned:
    """Stage 1: exact alignment over every transposition."""

    def __init__(
        self, chunks: Sequence[PackedChunk], costs: AlignmentCosts, depth: int = DEPTH
    ) -> None:
        self.chunks, self.costs, self.depth = list(chunks), costs, depth

    def rank(self, phrase: Phrase, own: int) -> list[int]:
        """By falling points."""
        hits = search(
            self.chunks,
            encode_query(phrase),
            limit=self.depth,
            costs=self.costs,
            exclude=frozenset({tune_id(own)}),
        )
        return [int(hit.tune_id, 16) for hit in hits]
