"""How the tunes of a corpus lie to one another: a plane, and clusters with names.

Conventions: two tunes are the more alike the more figures of four notes they share, in
any key, figures that many tunes have counting less; mode and metre count besides. The
plane keeps these distances as well as a plane can: neighbours are alike, but two tunes
that lie far apart need not be the least alike. Tunes are compared each with each, so of a
large corpus a part is drawn that is chosen by tune id, by chance and the same each time.

References
----------
Salton and Buckley (1988), "Term-weighting approaches in automatic text retrieval": the
weights of figures. Torgerson (1952), "Multidimensional scaling: I. Theory and method":
the plane. Ward (1963), "Hierarchical grouping to optimize an objective function": the
clusters. Rousseeuw (1987), "Silhouettes": how many of them. Shares and names are ours.

Contents: Point, Cluster, LikenessMap, likeness_map, MOST_TUNES.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.tasks.collection.duplicates import steps_by_tune

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["MOST_TUNES", "Cluster", "LikenessMap", "Point", "likeness_map"]

MOST_TUNES = 400
"""Tunes that a picture can show apart."""
FEWEST_TUNES = 4
MOST_CLUSTERS = 10
FIGURE_STEPS = 3
FIGURES_SHARE, MODE_SHARE, METRE_SHARE = 0.7, 0.15, 0.15
DIMENSIONS = 8
"""Of the space in which clusters are sought; the first two are the plane."""
TELLING = 0.6
"""Share of a cluster that has what it is named after."""

Facts = dict[str, str]
"""What is known of a tune, by what it is: metre, mode, kind, collection, maker."""


@dataclass(frozen=True, slots=True)
class Point:
    """A tune and where it lies, both coordinates from 0 to 1, and its cluster."""

    row: TuneRow
    x: float
    y: float
    cluster: int


@dataclass(frozen=True, slots=True)
class Cluster:
    """Tunes that lie together: what most of them have in common, and how many they are."""

    name: str
    tunes: int


@dataclass(frozen=True, slots=True)
class LikenessMap:
    """The tunes that are drawn, the largest cluster first.

    ``points`` is empty where there are too few tunes to be told apart.
    """

    points: tuple[Point, ...]
    clusters: tuple[Cluster, ...]
    corpus_tunes: int


def likeness_map(corpus: Corpus, *, most: int = MOST_TUNES) -> LikenessMap:
    """Lay the tunes of a corpus out by likeness.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    most : int
        At most so many tunes.
    """
    steps = steps_by_tune(corpus)
    rows = {row.tune_id: row for row in corpus.tunes() if row.tune_id in steps}
    ids = sorted(rows)[:most]
    if len(ids) < FEWEST_TUNES:
        return LikenessMap((), (), corpus.tune_count)
    facts = facts_of(corpus, [rows[tune_id] for tune_id in ids])
    apart = distances([steps[tune_id] for tune_id in ids], facts)
    space = scaled(apart)
    groups = grouped(space, apart)
    order = [group for group, _ in Counter(groups).most_common()]
    names = unlike([named(facts, [g == group for g in groups]) for group in order])
    plane = unit_square(space[:, :2])
    points = tuple(
        Point(rows[tune_id], round(float(x), 4), round(float(y), 4), order.index(group))
        for tune_id, (x, y), group in zip(ids, plane, groups, strict=True)
    )
    clusters = tuple(
        Cluster(name, groups.count(group)) for name, group in zip(names, order, strict=True)
    )
    return LikenessMap(points, clusters, corpus.tune_count)


def facts_of(corpus: Corpus, rows: Sequence[TuneRow]) -> list[Facts]:
    """What is known of some tunes."""
    modes = dict(
        corpus.query(
            "SELECT tune.tune_id, tune_facet.mode FROM tune_facet "
            "JOIN tune ON tune.id = tune_facet.tune"
        )
    )
    return [
        {
            "metre": row.metre or "free metre",
            "mode": modes.get(row.tune_id) or "no mode",
            "collection": row.collection,
            "maker": row.composer,
        }
        for row in rows
    ]


def distances(tunes: Sequence[bytes], facts: Sequence[Facts]) -> ndarray:
    """How unlike each two tunes are, 0 to 1, of shape (n, n)."""
    import numpy as np

    counted = [
        Counter(
            steps[at : at + FIGURE_STEPS] for at in range(len(steps) - FIGURE_STEPS + 1)
        )
        for steps in tunes
    ]
    spread = Counter(figure for counts in counted for figure in counts)
    columns = {figure: place for place, figure in enumerate(sorted(spread))}
    weights = np.zeros((len(tunes), max(len(columns), 1)))
    for place, counts in enumerate(counted):
        for figure, times in counts.items():
            rarity = math.log((1 + len(tunes)) / (1 + spread[figure])) + 1
            weights[place, columns[figure]] = (1 + math.log(times)) * rarity
    lengths = np.linalg.norm(weights, axis=1, keepdims=True)
    weights /= np.where(lengths > 0, lengths, 1)
    alike = FIGURES_SHARE * (weights @ weights.T)
    for name, share in (("mode", MODE_SHARE), ("metre", METRE_SHARE)):
        values = np.array([fact[name] for fact in facts])
        alike += share * (values[:, None] == values[None, :])
    apart = np.clip(1 - alike, 0, 1)
    np.fill_diagonal(apart, 0)
    found: ndarray = (apart + apart.T) / 2
    return found


def scaled(apart: ndarray) -> ndarray:
    """Places whose distances are near those given, of shape (n, DIMENSIONS)."""
    import numpy as np

    count = len(apart)
    centring = np.eye(count) - 1 / count
    values, vectors = np.linalg.eigh(-centring @ apart**2 @ centring / 2)
    order = np.argsort(values)[::-1][:DIMENSIONS]
    vectors = vectors[:, order]
    # Which way an axis points is arbitrary: the largest entry is made positive.
    largest = np.abs(vectors).argmax(axis=0)
    vectors = vectors * np.where(vectors[largest, range(vectors.shape[1])] < 0, -1, 1)
    places: ndarray = vectors * np.sqrt(np.clip(values[order], 0, None))
    if places.shape[1] < DIMENSIONS:
        places = np.pad(places, ((0, 0), (0, DIMENSIONS - places.shape[1])))
    return places


def grouped(space: ndarray, apart: ndarray) -> list[int]:
    """The cluster of each tune, as many as have the clearest silhouettes."""
    from scipy.cluster.hierarchy import fcluster, linkage

    tree = linkage(space, "ward")
    most = min(MOST_CLUSTERS, len(space) // 3)
    best, chosen = -2.0, [1] * len(space)
    for count in range(2, most + 1):
        groups = [int(group) for group in fcluster(tree, count, "maxclust")]
        clear = silhouette(apart, groups)
        if clear > best + 1e-9:
            best, chosen = clear, groups
    return chosen


def silhouette(apart: ndarray, groups: Sequence[int]) -> float:
    """How much nearer tunes are to their own cluster than to the next, on average."""
    import numpy as np

    labels = np.array(groups)
    kinds = sorted(set(groups))
    if len(kinds) < 2:
        return -1.0
    sums = np.stack([apart[:, labels == kind].sum(axis=1) for kind in kinds], axis=1)
    sizes = np.array([(labels == kind).sum() for kind in kinds])
    own = np.searchsorted(kinds, labels)
    rows = np.arange(len(labels))
    inside = sums[rows, own] / np.maximum(sizes[own] - 1, 1)
    means = sums / sizes
    means[rows, own] = np.inf
    outside = means.min(axis=1)
    clear = (outside - inside) / np.maximum(np.maximum(outside, inside), 1e-12)
    return float(np.where(sizes[own] == 1, 0, clear).mean())


def named(facts: Sequence[Facts], inside: Sequence[bool]) -> list[str]:
    """What a cluster may be called, what tells it most from the rest first."""
    size = sum(inside)
    rest = max(len(facts) - size, 1)
    scored = []
    for what in facts[0]:
        here = Counter(
            fact[what] for fact, is_in in zip(facts, inside, strict=True) if is_in
        )
        there = Counter(
            fact[what] for fact, is_in in zip(facts, inside, strict=True) if not is_in
        )
        for value, times in here.items():
            share, elsewhere = times / size, there[value] / rest
            if value and share >= TELLING and share > elsewhere:
                telling = share * math.log((share + 0.05) / (elsewhere + 0.05))
                scored.append((-telling, value))
    return [value for _, value in sorted(scored)] or ["mixed"]


def unlike(options: Sequence[Sequence[str]]) -> list[str]:
    """A name for each cluster: two of its values, more where another has them too."""
    found: list[str] = []
    for values in options:
        name = ", ".join(values[:2])
        longer = [", ".join(values[:n]) for n in range(3, len(values) + 1)]
        numbered = [f"{name}, {n}" for n in range(2, len(options) + 2)]
        found.append(next(n for n in [name, *longer, *numbered] if n not in found))
    return found


def unit_square(plane: ndarray) -> ndarray:
    """Places in a unit square: halfway between where they lie and their rank on each axis.

    Tunes that share few figures all lie near one another's middle; by ranks they part.
    """
    import numpy as np

    low, high = plane.min(axis=0), plane.max(axis=0)
    even = (plane - low) / np.where(high > low, high - low, 1)
    ranks = plane.argsort(axis=0, kind="stable").argsort(axis=0) / (len(plane) - 1)
    found: ndarray = (even + ranks) / 2
    return found
