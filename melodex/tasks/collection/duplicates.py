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
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from melodex.corpus.packing import unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import TuneRow, lined_pieces
from melodex.matching.dealing.dealer import Dealer, Here, Kept, unreadable
from melodex.matching.dealing.exchange import Exchange, name_of_work, shared_figures_by
from melodex.matching.engine.passes import batched
from melodex.matching.evidence.kinship import (
    FIGURE_INTERVALS,
    SharedFigures,
    all_figures,
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

PAIRS_AT_ONCE = 20_000
"""Compared by whoever works in one piece: with their tunes about 3 MB, half a second."""

LOOKED_FURTHER = 2 * FIGURE_INTERVALS
"""Steps of a tune that are looked at beyond as many as may begin no figure of another."""

Pair = tuple[str, str, float]
"""Two tunes and their likeness."""


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
    shared = figures_shared(tunes, exchange)
    return duplicates_among(corpus, tunes, least, shared, exchange)


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
    exchange: Exchange | None = None,
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
    exchange : Exchange, optional
        Others who work, and where; this process alone where it is not given.
    """
    tunes, shared = of_main_lines(corpus, tunes, shared)
    same = same_steps(tunes)
    leaders = {ids[0] for ids in same}
    pairs = [*equal_pairs(same), *near_pairs(tunes, leaders, shared, least, exchange)]
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
        SharedFigures(place[ids[pair.first]], place[ids[pair.second]], pair.count)
        for pair in shared
        if ids[pair.first] in place and ids[pair.second] in place
    ]
    return mains, kept


def steps_by_tune(corpus: Corpus) -> dict[str, bytes]:
    """Read the steps of all tunes: one byte each, downward ones wrapped."""
    import numpy as np

    found = {}
    for chunk in corpus.chunks():
        for tune in unpack(chunk):
            pitch = np.frombuffer(tune.pitch, np.uint8)
            found[tune.tune_id] = (pitch[1:] - pitch[:-1]).tobytes()
    return found


def same_steps(tunes: Mapping[str, bytes]) -> list[list[str]]:
    """Tune ids by steps, each group and the groups in order of id."""
    found: dict[bytes, list[str]] = defaultdict(list)
    for tune_id in sorted(tunes):
        found[tunes[tune_id]].append(tune_id)
    return list(found.values())


def equal_pairs(same: Iterable[list[str]]) -> Iterator[Pair]:
    """Pairs that hold together the tunes with the same steps."""
    for ids in same:
        for other in ids[1:]:
            yield ids[0], other, 1.0


def near_pairs(
    tunes: Mapping[str, bytes],
    leaders: Set[str],
    shared: Sequence[SharedFigures],
    least: float,
    exchange: Exchange | None = None,
) -> Iterator[Pair]:
    """Pairs of tunes that share enough figures, one tune for each row of steps."""
    ids = sorted(tunes)
    led = [tune_id in leaders for tune_id in ids]
    parts = [
        [(pair.first, pair.second) for pair in part if led[pair.first] and led[pair.second]]
        for part in batched(shared, PAIRS_AT_ONCE)
    ]
    steps = [tunes[tune_id] for tune_id in ids]
    jobs = [
        ({place: steps[place] for pair in part for place in pair}, part, least)
        for part in parts
    ]
    dealer: Dealer = Here()
    if exchange is not None:
        name = name_of_work(steps, least, PAIRS_AT_ONCE)
        dealer = Kept(exchange.dealer, exchange.folder, f"near-{name}")
    for part, found in zip(parts, dealer.deal(alike_of_pairs, jobs), strict=True):
        try:
            for at, likeness in found:
                first, second = part[at]
                yield ids[first], ids[second], float(likeness)
        except (TypeError, ValueError, IndexError) as error:
            raise unreadable(exchange.folder if exchange else Path()) from error


PairsJob = tuple[dict[int, bytes], list[tuple[int, int]], float]
"""Steps of tunes by place, which of them are compared, and the least likeness."""


def alike_of_pairs(job: PairsJob) -> list[tuple[int, float]]:
    """Which of some pairs are alike, by their places in the job, and how much."""
    tunes, pairs, least = job
    found = []
    for first, group in groupby(enumerate(pairs), key=lambda entry: entry[1][0]):
        own = all_figures(tunes[first])
        for at, (_, second) in group:
            likeness = jaccard(own, tunes[second], least)
            if likeness >= least:
                found.append((at, likeness))
    return found


def jaccard(own: frozenset[bytes], other: bytes, least: float) -> float:
    """Share of what either has that both have; 0 where it is below the least.

    Most pairs are far from it, and no more of the other is looked at than shows that. Of
    k figures of which d are not among n others, at most k - d are in both and at least
    n + d in either, so that d is at most (k - least n) / (1 + least); one more, since
    numbers are rounded.
    """
    most = len(other) - FIGURE_INTERVALS + 1
    room = int((most - least * len(own)) / (1 + least)) + 1
    if most < 1 or room < 0:
        return 0.0
    if len(all_figures(other[: room + LOOKED_FURTHER]) - own) > room:
        return 0.0
    both = len(own & (figures := all_figures(other)))
    return both / (len(own) + len(figures) - both)


def grouped(pairs: Iterable[Pair]) -> Iterator[tuple[list[str], float]]:
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
