"""The sample of a corpus on which chance is measured for one phrase.

Conventions: as in :mod:`melodex.matching.chance.fit`.

With one half of the sample the phrase is aligned backwards, which keeps its intervals
and its range but has no relatives; with the other half as it stands, since a figure may
be common in one direction only: each direction has a K of its own. Of the phrase as it
stands the relatives would be among the best: points above a high quantile are only taken
to lie above it. Since many points matter little but shape the fit, those below a quantile
are only taken to lie below it.

A sample of some hundred tunes says little of what happens once in a thousand, and styles
too rare to be seen in it make the tail longer than it looks. So the phrase read backwards
is also searched for, exactly and for its best tunes, in as much of the corpus as costs
little; of all others it is known that they have fewer points.

A piece of several lines counts as one tune, whose points are those of its best line and
whose notes are those of all.

A phrase that is much the same backwards is only aligned as it stands, in the sample.

What chance takes of a corpus is drawn from its chunks wherever they lie (``Drawn``), and
put together where they lie in several places; what is made of it is the same.

Contents: NULL_SAMPLE, OWN_BEST, Drawn, is_symmetric, draw, null_of_drawn, measure_null,
sample_tunes.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from melodex.corpus.chunks import (
    LEADING_BYTES,
    UNKNOWN_LENGTH,
    PackedChunk,
    pieces_in,
)
from melodex.matching.chance.drawing import DrawnTune, drawn_chunks, drawn_tunes
from melodex.matching.chance.fit import Best, Null, alike
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import ignored
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.records import dataclass
from melodex.settings import AlignmentCosts

__all__ = [
    "NULL_SAMPLE",
    "OWN_BEST",
    "SEARCHED_BEST",
    "SEARCHED_TUNES",
    "Drawn",
    "draw",
    "is_symmetric",
    "measure_null",
    "null_of_drawn",
    "sample_tunes",
    "seed_of",
]

NULL_SAMPLE = 512
"""Tunes in the null: log10 of the expected number then varies by about 0.26."""

SYMMETRIC_SHARE = 0.75
"""A phrase whose reversal reaches this share of its own points is symmetric."""

CENSORED_ABOVE = 0.95
"""Of a symmetric phrase's own points, those above this quantile may be relatives'."""

CENSORED_HALF = 0.985
"""The same where half of the points are of the phrase as it stands."""

CENSORED_BELOW, FEWEST_SEEN = 0.6, 64
"""Points below this quantile only count as lower, if so many stay above it. Of 0.3 and
0.6 the calibration benchmark is nearer to what should be with 0.6: what is usual says
little of what is rare."""

KINDS_OF_NOTE = 32
"""A further note that agrees makes a match at most so many times rarer: notes of real
tunes tell about three bits each by pitch, less by rhythm. Whole points on few levels could
seem to fall faster. With 16, phrases of eight notes seem too likely."""

TRACED = 48
"""Best alignments of the null on which the notes taken up per point are counted."""

SEARCHED_TUNES = 16384
"""Tunes among which the best for the phrase read backwards are searched for."""

SEARCHED_BEST = 64
"""So many of them; lambda then varies by an eighth if nothing else were known of it."""

OWN_BEST, OWN_KIN = 100, 50
"""Of the phrase as it stands the best tunes are known from the search for it. Any number
of relatives may be among the first fifty, which are only taken to be better than the
others; a phrase with more of them is a common one."""


Lines = tuple[tuple[bytes, bytes], ...]
"""Pitches and length classes of each line of a tune: chance works on them together."""


@dataclass(frozen=True, slots=True)
class OfTune:
    """The best alignment with a tune: its points, transposition and line."""

    points: int
    transposition: int
    line: tuple[bytes, bytes]


def is_symmetric(query: EncodedQuery, costs: AlignmentCosts) -> bool:
    """Whether a phrase read backwards is much like itself.

    So are palindromes, repeated notes and phrases that go up and down alike. The
    reversal is aligned with the phrase under every transposition.
    """
    turned = query.reversed()
    pairs = [(query.pitch, query.length_class), (turned.pitch, turned.length_class)]
    (own, _), (back, _) = engine().best(pairs, query, costs)
    return back >= SYMMETRIC_SHARE * own


def measure_null(
    chunks: Sequence[PackedChunk],
    query: EncodedQuery,
    costs: AlignmentCosts,
    hits: Sequence[Hit] = (),
    exclude: frozenset[str] = frozenset(),
) -> Null:
    """Align the phrase, also read backwards, with a sample of the corpus.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        The corpus. Damaged chunks are left out.
    query : EncodedQuery
        The phrase; what is drawn depends on it and on the ids of the tunes, and on
        nothing else, so that the same question to the same tunes gives the same answer.
    costs : AlignmentCosts
        As for the search.
    hits : sequence of Hit
        What the search for the phrase found, best first. With fewer than
        :data:`OWN_BEST` of them less is known.
    exclude : frozenset of str
        Ids of tunes that were left out of that search.

    Returns
    -------
    Null
        Of up to :data:`NULL_SAMPLE` tunes, of all where the corpus has fewer; with the
        best of up to :data:`SEARCHED_TUNES` where it has more.
    """
    drawn = draw(chunks, query, costs, exclude)
    return null_of_drawn(drawn, sum(map(pieces_in, chunks)), query, costs, hits)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What was drawn from a corpus, or from a part of it, for one phrase.

    Parameters
    ----------
    tunes : list of DrawnTune
        The sample, in order of ids.
    searched : int
        Among how many tunes the phrase was looked for backwards.
    back : list of Hit
        What that search found, best first; none where it was not needed.
    """

    tunes: list[DrawnTune]
    searched: int
    back: list[Hit]


def draw(
    chunks: Sequence[PackedChunk],
    query: EncodedQuery,
    costs: AlignmentCosts,
    exclude: frozenset[str] = frozenset(),
    counts: tuple[int, int] | None = None,
    is_whole: bool | None = None,
) -> Drawn:
    """Draw what chance is measured on from a corpus, or from a part of it.

    Parameters
    ----------
    chunks, query, costs, exclude
        As for :func:`measure_null`.
    counts : tuple of int, optional
        How many tunes for the sample, and how many to look for the phrase backwards in:
        of a part, as many as it has of those of the whole.
    is_whole : bool, optional
        Whether the sample of the whole is all of it, where the chunks are a part.
    """
    seed = seed_of(query)
    of_sample, of_search = counts or (NULL_SAMPLE, SEARCHED_TUNES)
    tunes = drawn_tunes(chunks, seed, of_sample) if of_sample else []
    if is_whole is None:
        is_whole = len(tunes) == sum(map(pieces_in, chunks))
    if is_whole or not of_search or is_symmetric(query, costs):
        return Drawn(tunes, 0, [])
    searched = drawn_chunks(chunks, seed, of_search)
    back = search(
        searched,
        query.reversed(),
        limit=SEARCHED_BEST,
        costs=costs,
        exclude=exclude,
        on_damage=ignored,
    )
    return Drawn(tunes, sum(map(pieces_in, searched)), back)


def null_of_drawn(
    drawn: Drawn,
    pieces: int,
    query: EncodedQuery,
    costs: AlignmentCosts,
    hits: Sequence[Hit] = (),
) -> Null:
    """Align the phrase, also read backwards, with what was drawn.

    Parameters
    ----------
    drawn : Drawn
        From the whole corpus.
    pieces : int
        Tunes of the corpus.
    query, costs, hits
        As for :func:`measure_null`.
    """
    tunes = [lines for _, lines in drawn.tunes]
    turned = query.reversed()
    steepest = math.log(KINDS_OF_NOTE) / usual_gain(query, costs)
    is_whole = len(tunes) == pieces
    own = None if is_whole else best_of_own(pieces, tunes, hits)
    if is_symmetric(query, costs):
        found = best_of(tunes, query, costs)
        above = quantile([best.points for best in found], CENSORED_ABOVE)
        per_point = notes_per_point(found, query, costs, above)
        return null_of(query, tunes, found, per_point, steepest, above, own)
    # A small corpus may hold as many relatives as a quantile has room for.
    halved = len(tunes) >= NULL_SAMPLE // 2
    backwards, forwards = halves_of(drawn.tunes) if halved else (tunes, [])
    found = best_of(backwards, turned, costs)
    best = None
    if is_whole:
        per_point = notes_per_point(found, turned, costs)
    else:
        best = best_among(drawn.searched, tunes, drawn.back, SEARCHED_BEST)
        traced = [(hit.points, hit.alignment) for hit in drawn.back[:TRACED]]
        per_point = per_point_of(traced)
    null = null_of(turned, backwards, found, per_point, steepest, best=best)
    if not halved:
        return null
    found = best_of(forwards, query, costs)
    above = quantile([best.points for best in found], CENSORED_HALF)
    return null_of(query, forwards, found, per_point, steepest, above, own, null)


def seed_of(query: EncodedQuery) -> int:
    """A number for a phrase, the same in every key."""
    moves = bytes((after - before) & 0xFF for before, after in pairwise(query.pitch))
    return zlib.crc32(moves + query.length_class)


def null_of(
    query: EncodedQuery,
    tunes: Sequence[Lines],
    found: Sequence[OfTune],
    per_point: tuple[float, float],
    steepest: float,
    above: int | None = None,
    best: Best | None = None,
    turned: Null | None = None,
) -> Null:
    """Points of one direction, those of which little is to be learned censored."""
    points = tuple(best.points for best in found)
    share = min(CENSORED_BELOW, 1 - FEWEST_SEEN / max(len(points), 1))
    return Null(
        points=points,
        tune_notes=tuple(map(notes_in, tunes)),
        query_notes=query.note_count,
        query_notes_per_point=per_point[0],
        tune_notes_per_point=per_point[1],
        censored_above=above,
        censored_below=quantile(points, share) if share > 0 else None,
        steepest_decay=steepest,
        best=best,
        turned=turned,
    )


def best_of_own(
    pieces: int,
    tunes: Sequence[Lines],
    hits: Sequence[Hit],
) -> Best | None:
    """What the search for the phrase tells, those that may be relatives censored."""
    if len(hits) < OWN_BEST:
        return None
    best = best_among(pieces, tunes, hits[:OWN_BEST], OWN_BEST)
    return replace(best, censored_above=hits[OWN_KIN].points)


def best_among(
    pieces: int,
    tunes: Sequence[Lines],
    hits: Sequence[Hit],
    limit: int,
) -> Best:
    """What a search among so many tunes found; the others are as long as the sample's."""
    level = hits[-1].points if len(hits) == limit else 0
    above = [hit for hit in hits if hit.points > level]
    left = pieces - len(above)
    lengths = [notes_in(lines) for lines in tunes]
    return Best(
        points=tuple(hit.points for hit in above),
        tune_notes=tuple(hit.note_count for hit in above),
        level=level,
        others=tuple(
            (notes, left * count / len(lengths))
            for _, notes, count in alike([level] * len(lengths), lengths)
        ),
    )


def per_point_of(found: Sequence[tuple[int, Alignment]]) -> tuple[float, float]:
    """Notes of phrase and tune that alignments of so many points take up per point."""
    total = sum(points for points, _ in found)
    if not total:
        return 0.0, 0.0
    spans = [(alignment.query_span, alignment.tune_span) for _, alignment in found]
    return (
        sum(last - first + 1 for (first, last), _ in spans) / total,
        sum(last - first + 1 for _, (first, last) in spans) / total,
    )


def best_of(
    tunes: Sequence[Lines], query: EncodedQuery, costs: AlignmentCosts
) -> list[OfTune]:
    """The best line of each tune, its points and transposition."""
    flat = [line for lines in tunes for line in lines]
    found = iter(engine().best(flat, query, costs)) if flat else iter(())
    best = []
    for lines in tunes:
        each = [(*next(found), line) for line in lines]
        points, move, line = max(each, key=lambda entry: entry[0])
        best.append(OfTune(points, move, line))
    return best


def notes_in(lines: Lines) -> int:
    """Notes of all lines of a tune."""
    return sum(len(pitch) for pitch, _ in lines)


def usual_gain(query: EncodedQuery, costs: AlignmentCosts) -> int:
    """Points for a pair that agrees in all that is known of the phrase."""
    unknown = UNKNOWN_LENGTH & 0xFF
    known = any(length != unknown for length in query.length_class)
    return max(costs.best_pair if known else costs.same_pitch[3], 1)


def quantile(points: Sequence[int], share: float) -> int:
    """The points that this share of a sample does not exceed; 0 of none."""
    return sorted(points)[int(share * (len(points) - 1))] if points else 0


def notes_per_point(
    found: Sequence[OfTune],
    query: EncodedQuery,
    costs: AlignmentCosts,
    level: int | None = None,
) -> tuple[float, float]:
    """Notes of phrase and tune that the best alignments of a null take up per point."""
    order = sorted(
        (-best.points, place)
        for place, best in enumerate(found)
        if best.points > 0 and (level is None or best.points <= level)
    )
    traced = []
    for negated, place in order[:TRACED]:
        best = found[place]
        alignment = engine().trace(query, *best.line, best.transposition, costs)
        assert alignment is not None
        traced.append((-negated, alignment))
    return per_point_of(traced)


def sample_tunes(chunks: Sequence[PackedChunk], seed: int) -> list[tuple[bytes, bytes]]:
    """The lines of up to NULL_SAMPLE tunes drawn without replacement, by their ids."""
    drawn = drawn_tunes(chunks, seed, NULL_SAMPLE)
    return [line for _, lines in drawn for line in lines]


def halves_of(drawn: Sequence[DrawnTune]) -> tuple[list[Lines], list[Lines]]:
    """About half of the tunes drawn, and the others: by their ids, as they are drawn."""
    halves: tuple[list[Lines], ...] = ([], [])
    for tune_id, lines in drawn:
        halves[tune_id[LEADING_BYTES - 1] & 1].append(lines)
    return halves[0], halves[1]
