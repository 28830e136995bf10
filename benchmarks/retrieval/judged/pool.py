"""The pool: for each query the best of every method, whatever the tunes are called.

A judgement of every pair of 12,647 tunes is out of reach, so those pairs are judged that
any of several unlike methods holds for good; what none of them finds is taken for no kin.
Eight methods give their best to the pool, as many each, none favoured: figures of steps,
figures of steps and lengths, edits, contour, rhythm, degrees at strong beats, plain
alignment, and evidence.

References
----------
Sparck Jones and van Rijsbergen (1975), "Report on the need for and provision of an 'ideal'
information retrieval test collection", British Library Research and Development Report
5266, University of Cambridge: pooling.

Contents: POOLED, DEPTHS, half_of_tune, POOL_LENGTHS, drawn_queries, pooled, ranked_by.
"""

from __future__ import annotations

import hashlib
import json
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import pairwise
from random import Random
from typing import Any

import numpy as np
from sklearn.feature_extraction.text import TfidfVectorizer

from benchmarks.retrieval.corpus import Query, place_of, tune_id
from benchmarks.retrieval.judged.labels import JUDGEMENTS, PLAIN, JudgedTune
from benchmarks.retrieval.methods import (
    Aligned,
    Edits,
    Method,
    Ngrams,
    Ordered,
    best_places,
)
from melodex.corpus.chunks import PackedChunk
from melodex.matching.contour import search_contour, signs_of
from melodex.matching.query import encode_query
from melodex.matching.rhythm import search_rhythm
from melodex.melody import Melody, Phrase, duration_class

__all__ = [
    "DEPTHS",
    "POOLED",
    "POOL_LENGTHS",
    "drawn_queries",
    "half_of_tune",
    "pooled",
    "ranked_by",
]

POOLED = (
    "figures",
    "timed figures",
    "edits",
    "contour",
    "rhythm",
    "strong beats",
    "alignment",
    "evidence",
)
POOL_LENGTHS = ("whole", "12", "20")
DEPTHS = {"whole": 10, "12": 6, "20": 6}
"""So many of the best of each method go into the pool."""
DRAWN, SEED = 280, 24
"""Query tunes of the label families, and as many of all tunes."""
FEWEST_FOR_PHRASES = 24


def half_of_tune(tune: JudgedTune) -> str:
    """The half of a query: by hash of its first label, else of its place."""
    name = min(tune.labels) if tune.labels else f"{tune.source} {tune.number}"
    return "tuning" if hashlib.sha256(name.encode()).digest()[0] % 2 else "reporting"


def drawn_queries(tunes: Sequence[JudgedTune]) -> dict[str, list[Query]]:
    """Whole tunes, and a phrase of each of two lengths from anywhere within each."""
    data: dict[str, Any] = json.loads(JUDGEMENTS.read_text(encoding="utf-8"))
    places = {(tune.source, tune.number): n for n, tune in enumerate(tunes)}
    named = sorted({places[s, x] for f in data["families"] for s, x in f["tunes"]})
    dice = Random(SEED)
    chosen = {*dice.sample(named, DRAWN), *dice.sample(range(len(tunes)), DRAWN)}
    found: dict[str, list[Query]] = {length: [] for length in POOL_LENGTHS}
    for place in sorted(chosen):
        melody = tunes[place].melody
        if len(melody) < FEWEST_FOR_PHRASES:
            continue
        for length in POOL_LENGTHS:
            count = len(melody) if length == "whole" else int(length)
            first = dice.randint(0, len(melody) - count)
            part = melody if length == "whole" else melody.excerpt(first, first + count - 1)
            whole = length == "whole"
            phrase = Phrase(part, "passage", first_note=first, is_whole=whole)
            none: frozenset[int] = frozenset()
            found[length].append(Query(place, place, str(first), phrase, none, none))
    return found


class Words:
    """Cosine of n-grams of 3 to 5 of any tokens, weighted by TF-IDF (scikit-learn)."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.vectorizer = TfidfVectorizer(
            analyzer=self.grams, sublinear_tf=True, dtype=np.float32
        )
        matrix = self.vectorizer.fit_transform(tune.melody for tune in tunes)
        self.by_gram = matrix.T.tocsr()

    def tokens(self, melody: Melody) -> list[str]:
        """What a melody is made of."""
        raise NotImplementedError

    def grams(self, melody: Melody) -> list[str]:
        """All n-grams of a melody."""
        row = self.tokens(melody)
        return [
            " ".join(row[at : at + size])
            for size in (3, 4, 5)
            for at in range(len(row) - size + 1)
        ]

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling cosine."""
        for query in queries:
            vector = self.vectorizer.transform([query.phrase.melody])
            points = (vector @ self.by_gram).toarray()[0]
            yield best_places(points.astype(np.float64), query.tune)


class TimedFigures(Words):
    """Steps, each with the class of the ratio of its lengths."""

    def tokens(self, melody: Melody) -> list[str]:
        """A step and by how much the next note is longer."""
        classes = [duration_class(ticks) for ticks in melody.duration_ticks]
        return [
            f"{b - a}:{d - c}"
            for (a, b), (c, d) in zip(pairwise(melody.midi), pairwise(classes), strict=True)
        ]


class StrongBeats(Words):
    """Degrees at strong beats."""

    def tokens(self, melody: Melody) -> list[str]:
        """The degree of each note that begins on a strong beat."""
        degrees = melody.degrees()
        return [
            str(degree)
            for degree, strength in zip(degrees, melody.beat_strength, strict=True)
            if strength >= 0.5
        ]


class Contour:
    """Ups and downs alone."""

    def __init__(self, chunks: Sequence[PackedChunk]) -> None:
        self.chunks = list(chunks)

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling points."""
        for query in queries:
            signs = signs_of(encode_query(query.phrase).pitch)
            itself = frozenset({tune_id(query.tune)})
            hits = search_contour(self.chunks, signs, limit=30, exclude=itself)
            yield [place_of(hit.tune_id) for hit in hits]


class Rhythm(Contour):
    """Lengths alone."""

    def rankings(self, queries: Sequence[Query]) -> Iterator[list[int]]:
        """By falling points."""
        for query in queries:
            lengths = encode_query(query.phrase).length_class
            itself = frozenset({tune_id(query.tune)})
            hits = search_rhythm(self.chunks, lengths, limit=30, exclude=itself)
            yield [place_of(hit.tune_id) for hit in hits]


def ranked_by(
    name: str, tunes: list[JudgedTune], chunks: list[PackedChunk], length: str
) -> Method:
    """One of the methods of the pool."""
    if name == "figures":
        return Ngrams(tunes)
    if name == "timed figures":
        return TimedFigures(tunes)
    if name == "edits":
        return Edits(tunes)
    if name == "contour":
        return Contour(chunks)
    if name == "rhythm":
        return Rhythm(chunks)
    if name == "strong beats":
        return StrongBeats(tunes)
    aligned = Aligned(chunks, PLAIN, depth=100)
    return Ordered(tunes, aligned) if name == "evidence" else aligned


def pooled(
    tunes: list[JudgedTune], chunks: list[PackedChunk]
) -> dict[str, dict[str, list[list[int]]]]:
    """The rankings of every method for every query: by length, by method, by query."""
    queries = drawn_queries(tunes)
    found: dict[str, dict[str, list[list[int]]]] = {}
    for length in POOL_LENGTHS:
        found[length] = {}
        for name in POOLED:
            began = time.process_time()
            method = ranked_by(name, tunes, chunks, length)
            if name == "alignment":
                continue
            found[length][name] = list(method.rankings(queries[length]))
            if isinstance(method, Ordered):
                found[length]["alignment"] = method.before
            spent = time.process_time() - began
            print(f"{length} {name}: {spent:.0f} s", file=sys.stderr, flush=True)
    return found
