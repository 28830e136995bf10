"""Tunes that stand in a corpus twice, or nearly so, in whatever key.

Conventions: two tunes are compared by their figures, runs of eight intervals in
semitones (nine notes), as sets: the likeness is the number of figures that both
have over the number that either has (Jaccard 1901, Bulletin de la Société
Vaudoise des Sciences Naturelles 37, 547-579). Rhythm and title play no part. A piece of
several lines is compared by its main line.

Contents: DuplicateGroup, Duplicates, find_duplicates, duplicates_among, steps_by_tune.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import lru_cache

from melodex.corpus.packing import unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import TuneRow, lined_pieces
from melodex.matching.dealing.exchange import Exchange, shared_figures_by
from melodex.matching.evidence.kinship import (
    SharedFigures,
    all_figures,
    steps_of,
)

__all__ = [
    "DuplicateGroup",
    "Duplicates",
    "duplicates_among",
    "find_duplicates",
    "steps_by_tune",
]

SHARED_TO_COMPARE = 3
"""Rare figures that two tunes must share before they are compared in full."""


@dataclass(frozen=True, slots=True)
class DuplicateGroup:
    """Tunes that are alike, each to at least one other of them.

    Parameters
    ----------
    tunes : tuple of TuneRow
        In order of tune id.
    likeness : float
        Of the least alike of the pairs that hold the group together; 1 where all
        have the same steps from first note to last.
    """

    tunes: tuple[TuneRow, ...]
    likeness: float


@dataclass(frozen=True, slots=True)
class Duplicates:
    """Groups of tunes that are alike, the most alike first."""

    groups: tuple[DuplicateGroup, ...]
    least: float
    corpus_tunes: int


def find_duplicates(
    corpus: Corpus, *, least: float = 0.6, exchange: Exchange | None = None
) -> Duplicates:
    """Find tunes that are the same, or nearly, in any key.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    least : float
        Likeness from which two tunes count as duplicates, above 0, at most 1.
    exchange : Exchange, optional
        Others who work, and where; this process alone where it is not given.

    Returns
    -------
    Duplicates
        Groups, the most alike first, then by tune id.
    """
    tunes = main_lines(corpus, steps_by_tune(corpus))
    return duplicates_among(corpus, tunes, least, figures_shared(tunes, exchange))


def figures_shared(
    tunes: Mapping[str, bytes], exchange: Exchange | None = None
) -> list[SharedFigures]:
    """Pairs of tunes, by place in order of id, that share enough rare figures."""
    steps = [tunes[tune_id] for tune_id in sorted(tunes)]
    return shared_figures_by(exchange, steps, fewest=SHARED_TO_COMPARE)


def duplicates_among(
    corpus: Corpus,
    tunes: Mapping[str, bytes],
    least: float,
    shared: Sequence[SharedFigures],
) -> Duplicates:
    """Find the duplicates among tunes of which is known what figures they share.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    tunes : mapping of str to bytes
        Steps by tune id; see :func:`steps_by_tune`.
    least : float
        Likeness from which two tunes count as duplicates.
    shared : sequence of SharedFigures
        Places count in order of tune id.
    """
    tunes, shared = of_main_lines(corpus, tunes, shared)
    same = same_steps(tunes)
    leaders = {ids[0] for ids in same}
    pairs = [*equal_pairs(same), *near_pairs(tunes, leaders, shared, least)]
    groups = []
    for members, likeness in grouped(pairs):
        rows = tuple(corpus.tune(tune_id) for tune_id in members)
        groups.append(DuplicateGroup(rows, likeness))
    groups.sort(key=lambda group: (-group.likeness, group.tunes[0].tune_id))
    return Duplicates(tuple(groups), least, corpus.tune_count)


def main_lines(corpus: Corpus, tunes: Mapping[str, bytes]) -> dict[str, bytes]:
    """Those tunes that stand for their pieces: pieces are the same if these are."""
    pieces = lined_pieces(corpus)
    return {
        tune_id: steps
        for tune_id, steps in tunes.items()
        if pieces.get(tune_id, tune_id) == tune_id or pieces[tune_id] not in tunes
    }


def of_main_lines(
    corpus: Corpus, tunes: Mapping[str, bytes], shared: Sequence[SharedFigures]
) -> tuple[Mapping[str, bytes], Sequence[SharedFigures]]:
    """Tunes that stand for their pieces, and what pairs of them share."""
    mains = main_lines(corpus, tunes)
    if len(mains) == len(tunes):
        return tunes, shared
    ids = sorted(tunes)
    place = {tune_id: at for at, tune_id in enumerate(sorted(mains))}
    kept = [
        replace(pair, first=place[ids[pair.first]], second=place[ids[pair.second]])
        for pair in shared
        if ids[pair.first] in place and ids[pair.second] in place
    ]
    return mains, kept


def steps_by_tune(corpus: Corpus) -> dict[str, bytes]:
    """Read the steps of all tunes: one byte each, downward ones wrapped."""
    return {
        tune.tune_id: steps_of(tune.pitch)
        for chunk in corpus.chunks()
        for tune in unpack(chunk)
    }


def same_steps(tunes: Mapping[str, bytes]) -> list[list[str]]:
    """Tune ids by steps, each group and the groups in order of id."""
    found: dict[bytes, list[str]] = defaultdict(list)
    for tune_id in sorted(tunes):
        found[tunes[tune_id]].append(tune_id)
    return list(found.values())


def equal_pairs(same: Iterable[list[str]]) -> Iterator[tuple[str, str, float]]:
    """Pairs that hold together the tunes with the same steps."""
    for ids in same:
        for other in ids[1:]:
            yield ids[0], other, 1.0


def near_pairs(
    tunes: Mapping[str, bytes],
    leaders: Set[str],
    shared: Sequence[SharedFigures],
    least: float,
) -> Iterator[tuple[str, str, float]]:
    """Pairs of tunes that share enough figures, one tune for each row of steps."""
    ids = sorted(tunes)

    @lru_cache(maxsize=4096)
    def figures(tune_id: str) -> frozenset[bytes]:
        return all_figures(tunes[tune_id])

    for pair in shared:
        one, other = ids[pair.first], ids[pair.second]
        if one in leaders and other in leaders:
            likeness = jaccard(figures(one), figures(other))
            if likeness >= least:
                yield one, other, likeness


def jaccard(one: frozenset[bytes], other: frozenset[bytes]) -> float:
    """Share of what either has that both have."""
    both = len(one & other)
    return both / (len(one) + len(other) - both)


def grouped(pairs: Iterable[tuple[str, str, float]]) -> Iterator[tuple[list[str], float]]:
    """Tunes held together by pairs, and the least likeness that holds them."""
    leader: dict[str, str] = {}

    def lead(tune_id: str) -> str:
        while leader.setdefault(tune_id, tune_id) != tune_id:
            leader[tune_id] = leader[leader[tune_id]]
            tune_id = leader[tune_id]
        return tune_id

    weakest: dict[str, float] = {}
    # The strongest pairs first, so that a group is not called weaker than it is.
    for one, other, likeness in sorted(pairs, key=lambda pair: (-pair[2], pair[:2])):
        first, second = sorted((lead(one), lead(other)))
        if first != second:
            leader[second] = first
            weakest[first] = min(
                likeness, weakest.get(first, 1.0), weakest.get(second, 1.0)
            )
    members: dict[str, list[str]] = defaultdict(list)
    for tune_id in sorted(leader):
        members[lead(tune_id)].append(tune_id)
    for first, ids in members.items():
        yield ids, weakest[first]
