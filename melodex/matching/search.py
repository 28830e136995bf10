"""The exact search: the best tunes for a phrase, as if every tune had been aligned.

Conventions: points are whole numbers, higher is better; ties fall to the lower
tune id. A piece of several lines is found once, by the best of them: limits count
pieces. Transpositions are in semitones, from phrase to tune.

The search takes three steps.

1. One pass over all packed notes gives every tune an upper bound of its points
   over all transpositions (``bound``).
2. Tunes are aligned exactly in order of falling bound, until the bound of the
   next is below the points of the worst that would be returned. No tune left out
   can then belong among them, so the result is that of aligning all.
   Of a long phrase bounds are less close. There, what tunes reach at least
   (``reached``) tells early which points the worst has, so that fewer are aligned.
3. The tunes returned are aligned once more, with pairs.

Contents: Hit, search, Members.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable, Sequence
from dataclasses import field
from typing import Any

from melodex.corpus.chunks import ID_BYTES, PackedChunk, firsts_of
from melodex.errors import SettingsError
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import Engine, engine
from melodex.matching.engine.passes import Checked, OnDamage, in_threads, one_pass
from melodex.matching.query import EncodedQuery, require_room
from melodex.records import dataclass
from melodex.settings import AlignmentCosts

__all__ = ["Hit", "Members", "search"]

BATCH = 64
"""Tunes aligned between two looks at the bound."""

LONG_PHRASE = 32
"""Notes from which on it pays to ask first what tunes reach at least."""

PROBED = 2048
"""Tunes that are asked that, at most so many at a time."""

WIDEST_PROBED = 124
"""Semitones of a phrase: intervals between two transpositions then fit a byte."""

SHARED_CELLS = 1 << 22
"""Pairs of notes from which on threads share the aligning: they take time to begin."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One tune that a phrase resembles.

    Parameters
    ----------
    tune_id : str
        12 hexadecimal digits.
    points : int
        Of its best alignment; higher is better.
    transposition_semitones : int
        From phrase to tune.
    query_span, tune_span : tuple of int
        First and last note of each that takes part, from 0.
    alignment : Alignment
        The pairs.
    runner_up_points : int
        Points of the next best tune, 0 where there is none: how sure the place is.
    note_count : int
        Notes of the whole piece, which chance depends on.
    other_lines : tuple of str
        Tune ids of the other lines of its piece.
    """

    tune_id: str
    points: int
    transposition_semitones: int
    query_span: tuple[int, int]
    tune_span: tuple[int, int]
    alignment: Alignment
    runner_up_points: int
    note_count: int
    other_lines: tuple[str, ...] = ()

    @property
    def piece(self) -> str:
        """What all lines of its piece share: the lowest of their ids."""
        return min((self.tune_id, *self.other_lines))


@dataclass(frozen=True, slots=True)
class Bounded:
    """A chunk and the upper bounds of its tunes."""

    chunk: PackedChunk
    counts: tuple[int, ...]
    bounds: Any


Candidate = tuple[int, str, int, int]
"""A tune that may be kept: -bound, tune id, place of its chunk, index there."""


class Members:
    """Which tunes of some chunks are lines of one piece.

    Parameters
    ----------
    parts : sequence of Bounded
        Chunks that were verified.
    """

    def __init__(self, parts: Sequence[Bounded]) -> None:
        self.parts = parts
        self.firsts = {
            place: firsts_of(part.chunk)
            for place, part in enumerate(parts)
            if part.chunk.pieces
        }

    def key(self, chunk: int, index: int) -> tuple[int, int] | None:
        """What lines of a piece share; None where each tune is a piece of its own."""
        firsts = self.firsts.get(chunk)
        return None if firsts is None else (chunk, firsts[index])

    def lines(self, chunk: int, index: int) -> list[int]:
        """Where the lines of the piece of a tune stand in its chunk."""
        firsts = self.firsts.get(chunk)
        if firsts is None:
            return [index]
        first = firsts[index]
        found: list[int] = []
        while True:
            try:
                found.append(firsts.index(first, found[-1] + 1 if found else first))
            except ValueError:
                return found

    def of_hit(self, chunk: int, index: int) -> tuple[int, tuple[str, ...]]:
        """Notes of the whole piece, and the ids of the other lines."""
        part, lines = self.parts[chunk], self.lines(chunk, index)
        others = tuple(id_at(part.chunk, line) for line in lines if line != index)
        return sum(part.counts[line] for line in lines), others


Kept = tuple[int, str, int, tuple[bytes, bytes], tuple[int, int]]
"""-points, tune id, transposition, notes, and the chunk and place that they are of."""


@dataclass(slots=True)
class Shortlist:
    """The best tunes so far in order, one of each piece.

    ``promised`` are points that as many pieces as it holds are known to reach.
    """

    size: int
    members: Members
    promised: int = 0
    found: list[Kept] = field(default_factory=list)
    held: dict[tuple[int, int], Kept] = field(default_factory=dict)

    def offer(self, entry: Kept) -> None:
        """Keep a tune if it is good enough."""
        if entry[0] >= 0 or -entry[0] < self.promised:
            return
        key = self.members.key(*entry[4])
        if key is not None:
            if key in self.held:
                if self.held[key][:2] <= entry[:2]:
                    return
                self.found.remove(self.held[key])
            self.held[key] = entry
        insort(self.found, entry)
        for gone in self.found[self.size :]:
            lost = self.members.key(*gone[4])
            if lost is not None:
                del self.held[lost]
        del self.found[self.size :]

    @property
    def floor(self) -> int:
        """Points below which a tune cannot be kept."""
        worst = -self.found[-1][0] if len(self.found) == self.size else 0
        return max(worst, self.promised)

    def promise(self, reached: Sequence[int]) -> None:
        """Take note of what some of the tunes, each once, reach at least."""
        if len(reached) >= self.size:
            self.promised = max(self.promised, sorted(reached)[-self.size])

    def admits(self, bound: int, tune_id: str, place: tuple[int, int]) -> bool:
        """Whether a tune with that bound could still be kept."""
        key = self.members.key(*place) if self.held else None
        if key is not None and key in self.held and self.held[key][:2] <= (-bound, tune_id):
            return False
        return self.is_open(bound, tune_id)

    def is_open(self, bound: int, tune_id: str) -> bool:
        """Whether a tune of a further piece could still be kept."""
        if bound < self.promised:
            return False
        if len(self.found) < self.size:
            return bound > 0
        return (-bound, tune_id) <= self.found[-1][:2]


def search(
    chunks: Iterable[PackedChunk],
    query: EncodedQuery,
    *,
    limit: int = 20,
    costs: AlignmentCosts | None = None,
    exclude: frozenset[str] = frozenset(),
    on_damage: OnDamage | None = None,
) -> list[Hit]:
    """Find the tunes that a phrase resembles most, exactly.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus, such as ``Corpus.chunks()``; read in this thread.
    query : EncodedQuery
        The phrase; see :func:`melodex.matching.query.encode_query`.
    limit : int
        How many tunes at most.
    costs : AlignmentCosts, optional
        Points for pairs and gaps; the defaults if not given.
    exclude : frozenset of str
        Tune ids to leave out.
    on_damage : callable, optional
        Called with a DamagedCorpusError for each chunk that cannot be trusted,
        after which the others still answer. Without it, the first one is raised.

    Returns
    -------
    list of Hit
        Best first; equal points by tune id. The same as aligning every tune.

    Raises
    ------
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.
    SettingsError
        If the limit is below 1.
    PhraseError
        If the phrase is too long for the costs.

    Examples
    --------
    >>> from melodex.corpus.chunks import TuneNotes
    >>> from melodex.corpus.packing import pack
    >>> chunk = pack([TuneNotes("00000000000a0000", bytes([65, 67, 69, 65]), bytes(4)),
    ...               TuneNotes("00000000000b0000", bytes([60, 61, 62, 63]), bytes(4))])
    >>> hits = search([chunk], EncodedQuery(bytes([60, 62, 64, 60]), bytes(4)))
    >>> [(hit.tune_id, hit.points, hit.transposition_semitones) for hit in hits]
    [('00000000000a0000', 16, 5), ('00000000000b0000', 4, 0)]
    """
    if limit < 1:
        raise SettingsError(f"at least one match must be asked for, not {limit}")
    costs = costs or AlignmentCosts()
    require_room(query, costs)
    worker = engine()
    bounded = bound_all(chunks, query, costs, worker, on_damage)
    # One more than asked for: the last of them has a runner-up too.
    shortlist = Shortlist(limit + 1, Members(bounded))
    align_by_bound(bounded, query, costs, worker, exclude, shortlist)
    return hits_of(shortlist, limit, query, costs, worker)


def bound_all(
    chunks: Iterable[PackedChunk],
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
    on_damage: OnDamage | None,
) -> list[Bounded]:
    """Upper bounds of all tunes, the chunks shared out among threads."""

    def work(part: list[Checked]) -> list[Bounded]:
        bounds = worker.bounds(
            [entry.chunk for entry in part],
            [entry.counts for entry in part],
            query,
            costs,
        )
        return [
            Bounded(entry.chunk, entry.counts, values)
            for entry, values in zip(part, bounds, strict=True)
        ]

    return one_pass(chunks, work, on_damage)


def align_by_bound(
    bounded: Sequence[Bounded],
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
    exclude: frozenset[str],
    shortlist: Shortlist,
) -> None:
    """Align tunes in order of falling bound for as long as one could be kept."""
    top = query.note_count * costs.best_pair
    is_long = query.note_count >= LONG_PHRASE and query.span <= WIDEST_PROBED
    counts = worker.histogram([part.bounds for part in bounded], top + 1)
    high = top
    while high > 0:
        wanted = max(PROBED if is_long else BATCH, 2 * shortlist.size)
        low = level_holding(counts, high, wanted)
        if shortlist.floor:
            low = shortlist.floor
        if low > high:
            return
        candidates = sorted(
            (-bound, id_at(part.chunk, index), place, index)
            for place, part in enumerate(bounded)
            for bound, index in worker.select(part.bounds, low, high)
        )
        candidates = [entry for entry in candidates if entry[1] not in exclude]
        if is_long:
            probe(candidates[:PROBED], bounded, query, costs, worker, shortlist)
        align_in_order(candidates, bounded, query, costs, worker, shortlist)
        high = low - 1


def level_holding(counts: Sequence[int], high: int, wanted: int) -> int:
    """The highest level such that enough tunes lie between it and ``high``."""
    for level in range(high, 0, -1):
        wanted -= counts[level]
        if wanted <= 0:
            return level
    return 1


def probe(
    candidates: Sequence[Candidate],
    bounded: Sequence[Bounded],
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
    shortlist: Shortlist,
) -> None:
    """Ask what some tunes reach at least; a piece reaches what its best line does."""
    tunes = notes_of(candidates, bounded, worker)
    best: dict[tuple[int, int], int] = {}
    for entry, points in zip(candidates, worker.reached(tunes, query, costs), strict=True):
        key = shortlist.members.key(*entry[2:]) or entry[2:]
        best[key] = max(best.get(key, 0), points)
    shortlist.promise(list(best.values()))


def notes_of(
    candidates: Sequence[Candidate], bounded: Sequence[Bounded], worker: Engine
) -> list[tuple[bytes, bytes]]:
    """Pitches and length classes of some tunes."""
    return [
        worker.notes_at(bounded[chunk].chunk, bounded[chunk].counts, index)
        for _, _, chunk, index in candidates
    ]


def best_of(
    tunes: list[tuple[bytes, bytes]],
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
    floor: int,
) -> list[tuple[int, int]]:
    """Exact points of tunes, in threads where that pays."""
    cells = query.note_count * sum(len(pitch) for pitch, _ in tunes)
    if worker.thread_count == 1 or cells < SHARED_CELLS:
        return worker.best(tunes, query, costs, floor)
    size = max(len(tunes) // (2 * worker.thread_count), 1)
    parts = [tunes[first : first + size] for first in range(0, len(tunes), size)]
    found = in_threads(
        lambda part: worker.best(part, query, costs, floor), parts, worker.thread_count
    )
    return [result for part in found for result in part]


def align_in_order(
    candidates: Sequence[Candidate],
    bounded: Sequence[Bounded],
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
    shortlist: Shortlist,
) -> None:
    """Align (-bound, tune id, chunk, index) in order until none can be kept."""
    size = BATCH
    place = 0
    while place < len(candidates):
        there = candidates[place : place + size]
        batch = [
            entry for entry in there if shortlist.admits(-entry[0], entry[1], entry[2:])
        ]
        if not batch and not any(shortlist.is_open(-e[0], e[1]) for e in there):
            return
        tunes = notes_of(batch, bounded, worker)
        results = best_of(tunes, query, costs, worker, shortlist.floor)
        for entry, notes, (points, move) in zip(batch, tunes, results, strict=True):
            shortlist.offer((-points, entry[1], move, notes, entry[2:]))
        place += size
        size = min(2 * size, 16 * BATCH)


def id_at(chunk: PackedChunk, index: int) -> str:
    """The id of a tune in a chunk."""
    return chunk.tune_ids[index * ID_BYTES : (index + 1) * ID_BYTES].hex()


def hits_of(
    shortlist: Shortlist,
    limit: int,
    query: EncodedQuery,
    costs: AlignmentCosts,
    worker: Engine,
) -> list[Hit]:
    """The shortlist with pairs, and each with the points of the next."""
    hits = []
    found = shortlist.found
    for place, (negated, tune_id, move, notes, where) in enumerate(found[:limit]):
        pitch, classes = notes
        note_count, others = shortlist.members.of_hit(*where)
        alignment = worker.trace(query, pitch, classes, move, costs)
        assert alignment is not None
        hits.append(
            Hit(
                tune_id=tune_id,
                points=-negated,
                transposition_semitones=alignment.transposition_semitones,
                query_span=alignment.query_span,
                tune_span=alignment.tune_span,
                alignment=alignment,
                runner_up_points=-found[place + 1][0] if place + 1 < len(found) else 0,
                note_count=note_count,
                other_lines=others,
            )
        )
    return hits
