"""Fit the weights of the ranking on the tuning half of the judged families.

Run:  python -m benchmarks.retrieval.fits.ranking [--lengths 8 12 20 whole] [--each]

For each phrase of a checked family, the best matches of the alignment are weighed
(``melodex.matching.evidence.features``). A logistic regression (scikit-learn) then
tells, of one tune that is kin to the phrase and one that is not, which is which, by the
differences of their features. Every pair of a phrase and its kin has the same say;
tunes of the same label whose kinship nobody confirmed are left out. Phrases are taken
as passages, and some as they would be typed in scale degrees without lengths, which
have weights of their own; so have phrases with lengths but without a metre, fitted on
those passages of which a tune is not the whole (``--lengths 8 12 20``).

Which features have a weight was chosen by cross-validation over families of the tuning
half: these brought nothing beside those that stayed: points as a share of the most
possible, the length of the tune, the shares of notes that agree, are left out, or are a
semitone off, the same mode, the metric weight of what agrees, the longest run, and the
costs of intervals of Mongeau and Sankoff (1990).

Printed are the weights as they stand in ``melodex.matching.evidence.ranking``, and the mean
average precision in cross-validation; with ``--each``, also without each feature.

Contents: Weighed, weighed, fitted, cross_validated, main.
"""

from __future__ import annotations

import os
import pickle
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from benchmarks.keeping import asker
from benchmarks.retrieval.corpus import (
    CACHE_VARIABLE,
    Query,
    families,
    judged_corpus,
    phrase_queries,
    place_of,
    said_as,
    tune_id,
    whole_queries,
)
from benchmarks.retrieval.judged.labels import JudgedTune
from benchmarks.retrieval.judged.measures import average_precision
from benchmarks.retrieval.methods import ngram_counts
from melodex.corpus.chunks import PackedChunk
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import measure_null
from melodex.matching.evidence.features import FEATURES, features_of, question_of
from melodex.matching.evidence.ngrams import Ngram, ngrams_of
from melodex.matching.evidence.ranking import (
    REORDERED,
    WEIGHTS_IN_TIME,
    WEIGHTS_OF_PITCH,
    WEIGHTS_WITHOUT_METRE,
)
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.settings import AlignmentCosts

__all__ = ["Weighed", "cross_validated", "fitted", "main", "weighed"]

SHARES = {"8": 0.15, "12": 0.3, "20": 0.3, "whole": 0.2}
"""How many of the phrases of each length are taken."""

SAYS = ("passage", "degrees")
SETS = (
    ("passage", WEIGHTS_IN_TIME),
    ("passage", WEIGHTS_WITHOUT_METRE),
    ("degrees", WEIGHTS_OF_PITCH),
)
"""Which features have a weight for phrases said in each way."""

KIN, UNKNOWN, OTHER = 2, 1, 0
OTHERS = 60
"""So many of the best tunes that are no kin are set against each that is."""
FOLDS = 4
STRENGTH = 1.0
"""C, the inverse strength of the regression's penalty."""
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weighed:
    """The matches of one phrase: features of shape (k, 13), and who they are."""

    family: int
    tune: int
    position: str
    length: str
    said: str
    relevant: int
    features: Array
    kinship: NDArray[np.int8]


def weighed(
    tunes: list[JudgedTune], chunks: list[PackedChunk], length: str, share: float
) -> Iterator[Weighed]:
    """Weigh the matches of a share of the tuning half's phrases, said in each way."""
    judged = families(tunes, "tuning", checked=True)
    if length == "whole":
        queries = whole_queries(tunes, judged)
    else:
        queries = phrase_queries(tunes, judged, int(length))
    dice, counts, costs = Random(11), ngram_counts(tunes), AlignmentCosts()
    for query in queries:
        for said in SAYS:
            if dice.random() >= (share if said == "passage" else share / 2):
                continue
            if length == "whole" and said == "degrees":
                continue
            yield matches_of(query, said, length, tunes, chunks, counts, costs)


def matches_of(
    query: Query,
    said: str,
    length: str,
    tunes: list[JudgedTune],
    chunks: list[PackedChunk],
    counts: Counter[Ngram],
    costs: AlignmentCosts,
) -> Weighed:
    """Weigh the matches of one phrase."""
    phrase = said_as(query.phrase, said)
    encoded = encode_query(phrase)
    itself = frozenset({tune_id(query.tune)})
    hits = search(chunks, encoded, limit=REORDERED, costs=costs, exclude=itself)
    fit = fit_points(measure_null(chunks, encoded, costs, hits, itself))
    known = {ngram: counts[ngram] for ngram in ngrams_of(encoded.pitch)}
    question = question_of(phrase, encoded, fit, known, len(tunes))
    places = [place_of(hit.tune_id) for hit in hits]
    rows = [
        features_of(question, hit, tunes[place].melody)
        for hit, place in zip(hits, places, strict=True)
    ]
    kinship = [
        KIN if place in query.relevant else UNKNOWN if place in query.doubtful else OTHER
        for place in places
    ]
    return Weighed(
        query.family,
        query.tune,
        query.position,
        length,
        said,
        len(query.relevant),
        np.array(rows, np.float64).reshape(-1, len(FEATURES)),
        np.array(kinship, np.int8),
    )


def fitted(data: Sequence[Weighed], columns: Sequence[int]) -> Array:
    """Weights of some features."""
    differences, says = [], []
    for entry in data:
        kin = np.flatnonzero(entry.kinship == KIN)
        others = np.flatnonzero(entry.kinship == OTHER)[:OTHERS]
        if not len(kin) or not len(others):
            continue
        rows = entry.features[:, list(columns)]
        apart = rows[kin][:, None, :] - rows[others][None]
        differences.append(apart.reshape(-1, len(columns)))
        says.append(np.full(len(kin) * len(others), 1 / (len(kin) * len(others))))
    all_apart, weights = np.vstack(differences), np.concatenate(says)
    spread = np.sqrt((all_apart**2).mean(axis=0)) + 1e-9
    # Half of the pairs are turned round, so that there are two classes to tell apart.
    signs = np.where(np.arange(len(all_apart)) % 2, 1, -1)
    model = LogisticRegression(fit_intercept=False, C=STRENGTH, max_iter=1000)
    model.fit(all_apart / spread * signs[:, None], signs, sample_weight=weights)
    return np.asarray(model.coef_[0] / spread)


def precision(entry: Weighed, values: Array) -> float:
    """Average precision of matches put in order by values."""
    order = np.argsort(-values, kind="stable")
    ranking = [int(place) for place in order]
    kin = {int(place) for place in np.flatnonzero(entry.kinship == KIN)}
    if not kin:
        return 0.0
    return average_precision(ranking, kin) * len(kin) / entry.relevant


def cross_validated(data: Sequence[Weighed], columns: Sequence[int]) -> Array:
    """Average precision of each phrase by weights fitted on other families."""
    found = np.zeros(len(data))
    folds = np.array([entry.family % FOLDS for entry in data])
    for fold in range(FOLDS):
        weights = fitted(
            [e for e, f in zip(data, folds, strict=True) if f != fold], columns
        )
        for place in np.flatnonzero(folds == fold).tolist():
            entry = data[place]
            found[place] = precision(entry, entry.features[:, list(columns)] @ weights)
    return found


def kept(name: str, make: Callable[[], Iterator[Weighed]]) -> list[Weighed]:
    """What was weighed before, where a cache is named."""
    folder = os.environ.get(CACHE_VARIABLE)
    path = Path(folder) / f"{name}.pickle" if folder else None
    if path and path.exists():
        data: list[Weighed] = pickle.loads(path.read_bytes())
        return data
    data = list(make())
    if path:
        path.write_bytes(pickle.dumps(data))
    return data


def by_group(data: Sequence[Weighed], values: Array) -> str:
    """Means of values by length and the way of saying."""
    groups = sorted({(entry.length, entry.said) for entry in data})
    return "  ".join(
        f"{length} {said} {np.mean(chosen):.4f}"
        for length, said in groups
        for chosen in [
            [
                v
                for v, e in zip(values, data, strict=True)
                if (e.length, e.said) == (length, said)
            ]
        ]
    )


def main() -> None:
    """Fit, and print the weights and what each feature brings."""
    parser = asker(__doc__)
    parser.add_argument("--lengths", nargs="+", default=list(SHARES))
    parser.add_argument("--each", action="store_true", help="leave each feature out, too")
    options = parser.parse_args()
    tunes, chunks = judged_corpus()
    everything: list[Weighed] = []
    for length in options.lengths:
        share = SHARES[length]
        make = partial(weighed, tunes, chunks, length, share)
        everything += kept(f"weighed-{length}-{share}", make)
    for said, names in SETS:
        data = [entry for entry in everything if entry.said == said]
        told(data, list(names), options.each)


def told(data: Sequence[Weighed], names: list[str], each: bool) -> None:
    """Print what cross-validation says of phrases said in one way, and the weights."""
    order = list(FEATURES)
    columns = [order.index(name) for name in names]
    before = np.array([precision(e, -np.arange(len(e.kinship), dtype=float)) for e in data])
    after = cross_validated(data, columns)
    print(f"{len(data)} phrases; mean average precision in cross-validation")
    print(f"alignment alone:  {by_group(data, before)}")
    print(f"these features:   {by_group(data, after)}")
    for left_out in columns if each else ():
        rest = [column for column in columns if column != left_out]
        less = np.mean(cross_validated(data, rest)) - np.mean(after)
        print(f"without {order[left_out]:12} {less:+.4f}")
    for name, weight in zip(names, fitted(data, columns), strict=True):
        print(f'    "{name}": {weight:.3f},')


if __name__ == "__main__":
    main()
