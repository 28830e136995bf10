"""Kin among the tunes of a corpus, pair by pair: who is looked at, and who is called kin.

Conventions: for each tune the :data:`NEAREST` tunes that share most figures with it, by
their rarity, are looked at, once by its steps and once with repeated notes taken as one
(another text asks for other repeated notes). These pairs are aligned whole, exactly and
under every transposition, and those are kin that ``matching.evidence.whole_tunes`` is sure
of by at least :data:`SURE_ENOUGH`.

Contents: LEAST, NEAREST, SURE_ENOUGH, Link, Progress, links_among, kin_of.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Any

from melodex import __version__
from melodex.matching.dealing.dealer import Kept, unreadable
from melodex.matching.dealing.exchange import Exchange
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import batched, in_threads
from melodex.matching.evidence.kinship import steps_of
from melodex.matching.evidence.neighbors import Neighbors
from melodex.matching.evidence.whole_tunes import (
    Pair,
    Unrelated,
    WholeTune,
    alignments,
    evidence_of,
    pair_of,
    sureness,
)
from melodex.settings import AlignmentCosts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "LEAST",
    "NEAREST",
    "SURE_ENOUGH",
    "Link",
    "Progress",
    "kin_of",
    "links_among",
]

LEAST = 0.2
"""Likeness below which no two tunes are kin: of 96 pairs that were read as kin, one lies
below (``benchmarks/retrieval/judged/readings.json``)."""

NEAREST = 20
"""So many tunes are looked at for each, in each of the two ways: of pairs that were read as
kin 95 % are among them; ten more bring 1 %."""

SURE_ENOUGH = 0.62
"""How sure it must be that two tunes are kin. Of pairs of the half not fitted on that were
read as kin or not, 98 % of those so called are kin, and 88 % of the kin are called so (run
``2026-11-29-kin``; at a lower level 98 and 90 %, but a whole corpus holds more pairs that
are no kin)."""

AT_ONCE = 128
"""Tunes between two reports."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Link:
    """Two tunes that are kin, by their places, how much, and how sure that is."""

    one: int
    other: int
    pair: Pair
    sureness: float
    expected: float


def without_repeats(pitch: bytes) -> bytes:
    """Pitches, notes that are struck again taken as one."""
    return bytes(value for value, _ in groupby(pitch))


def links_among(
    tunes: Sequence[WholeTune],
    least: float,
    unrelated: Unrelated,
    progress: Progress | None = None,
    exchange: Exchange | None = None,
) -> list[Link]:
    """Pairs that are kin, in order of their places, by whoever works."""
    done = 0

    def report(more: int) -> None:
        nonlocal done
        done += more
        if progress is not None:
            progress(done, 3 * len(tunes))

    found: list[Link] = []
    worker = engine()

    def work(part: list[tuple[int, list[int]]]) -> list[Link]:
        return [
            link
            for place, others in part
            for link in kin_of(tunes, place, others, least, unrelated)
        ]

    entries = to_look_at(tunes, report)
    if exchange is not None:
        return links_dealt(tunes, list(entries), least, unrelated, exchange, report)
    for block in batched(entries, AT_ONCE * worker.thread_count):
        for links in in_threads(work, batched(block, AT_ONCE), worker.thread_count):
            found += links
        report(len(block))
    report(3 * len(tunes) - done)
    return found


LinkJob = tuple[dict[int, WholeTune], list[tuple[int, list[int]]], float, Unrelated]
"""Tunes by place, whom to lay over whom, the least likeness, and what chance brings."""


def links_dealt(
    tunes: Sequence[WholeTune],
    entries: Sequence[tuple[int, list[int]]],
    least: float,
    unrelated: Unrelated,
    exchange: Exchange,
    report: Callable[[int], None],
) -> list[Link]:
    """Pairs that are kin, by whoever works; what was found before is kept."""
    jobs: list[LinkJob] = []
    for part in batched(entries, AT_ONCE):
        places = sorted({each for one, others in part for each in (one, *others)})
        jobs.append(({each: tunes[each] for each in places}, part, least, unrelated))
    name = name_of_work(tunes, jobs)
    told = 0

    def progress(done: int, total: int) -> None:
        nonlocal told
        now = len(tunes) * done // total
        report(now - told)
        told = now

    dealer = Kept(exchange.dealer, exchange.folder, f"kin-{name}")
    found = dealer.deal(links_of_job, jobs, progress)
    try:
        return [
            Link(one, other, Pair(*pair), sure, expected)
            for links in found
            for one, other, pair, sure, expected in links
        ]
    except (TypeError, ValueError) as error:
        raise unreadable(exchange.folder) from error


def name_of_work(tunes: Sequence[WholeTune], jobs: Sequence[LinkJob]) -> str:
    """What tells this work from work on other tunes, other pairs or at another level."""
    # Another version may find other kin among the same tunes.
    digest = hashlib.sha256(__version__.encode())
    # Piece by piece: as one text all jobs, which name a tune many times, are gigabytes.
    for tune in tunes:
        digest.update(repr(tune).encode())
    for _, *asked in jobs:
        digest.update(repr(asked).encode())
    return digest.hexdigest()[:16]


def links_of_job(job: LinkJob) -> list[tuple[int, int, list[Any], float, float]]:
    """The kin of some tunes among some others, as JSON can hold them."""
    tunes, part, least, unrelated = job
    return [
        (
            link.one,
            link.other,
            [getattr(link.pair, name) for name in Pair.__slots__],
            link.sureness,
            link.expected,
        )
        for place, others in part
        for link in kin_of(tunes, place, others, least, unrelated)
    ]


def to_look_at(
    tunes: Sequence[WholeTune], report: Callable[[int], None]
) -> Iterator[tuple[int, list[int]]]:
    """For each tune those after it that are to be looked at, in order of their places."""
    import numpy as np

    columns: list[NDArray[np.int64]] = [np.zeros(0, np.int64)]
    for form in (bytes, without_repeats):
        near = Neighbors([steps_of(form(tune.pitch)) for tune in tunes])
        for start in range(0, len(tunes), AT_ONCE):
            rows = [
                (place, other)
                for place in range(start, min(start + AT_ONCE, len(tunes)))
                for other in near.of(place, NEAREST)
            ]
            both = np.sort(np.array(rows, np.int64).reshape(-1, 2), axis=1)
            columns.append(both[:, 0] * len(tunes) + both[:, 1])
            report(min(AT_ONCE, len(tunes) - start))
        # Before the next is made: each takes some forty bytes a note.
        del near
    pairs = np.unique(np.concatenate(columns))
    first, second = np.divmod(pairs, max(len(tunes), 1))
    starts = np.flatnonzero(np.diff(first, prepend=-1)).tolist()
    # Row by row, since so many pairs as objects of Python would fill the memory.
    for start, end in pairwise([*starts, len(first)]):
        yield int(first[start]), second[start:end].tolist()


def kin_of(
    tunes: Sequence[WholeTune] | Mapping[int, WholeTune],
    place: int,
    others: Sequence[int],
    least: float,
    unrelated: Unrelated,
) -> Iterator[Link]:
    """The kin of one tune among some others."""
    one, rest = tunes[place], [tunes[other] for other in others]
    top, size = AlignmentCosts().best_pair, len(one.pitch)
    # Fewer points would be too few against any of them.
    shortest = min(len(tune.pitch) for tune in rest)
    floor = max(int(least * top * min(size, shortest)), 1)
    best = alignments(one, rest, floor)
    for other, tune, (points, move) in zip(others, rest, best, strict=True):
        if points < least * top * min(size, len(tune.pitch)):
            continue
        pair = pair_of(one, tune, move)
        if pair is None or pair.likeness < least:
            continue
        sure = sureness(evidence_of(pair))
        if sure >= SURE_ENOUGH:
            yield Link(place, other, pair, sure, unrelated.expected(pair))
