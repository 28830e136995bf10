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

A phrase that is much the same backwards is only aligned as it stands, in the sample.

Contents: NULL_SAMPLE, OWN_BEST, is_symmetric, measure_null, sample_tunes.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from melodex.corpus.chunks import UNKNOWN_LENGTH, PackedChunk
from melodex.matching.chance.drawing import DrawnTune, drawn_chunks, drawn_tunes
from melodex.matching.chance.fit import Best, Null, alike
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import engine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.settings import AlignmentCosts

__all__ = ["NULL_SAMPLE", "OWN_BEST", "is_symmetric", "measure_null", "sample_tunes"]

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
    seed = seed_of(query)
    drawn = drawn_tunes(chunks, seed, NULL_SAMPLE)
    tunes = [notes for _, notes in drawn]
    turned = query.reversed()
    steepest = math.log(KINDS_OF_NOTE) / usual_gain(query, costs)
    is_whole = len(tunes) == sum(chunk.tune_count for chunk in chunks)
    own = None if is_whole else best_of_own(chunks, tunes, hits)
    if is_symmetric(query, costs):
        found = best_of(tunes, query, costs)
        above = quantile([points for points, _ in found], CENSORED_ABOVE)
        per_point = notes_per_point(tunes, found, query, costs, above)
        return null_of(query, tunes, found, per_point, steepest, above, own)
    # A small corpus may hold as many relatives as a quantile has room for.
    halved = len(tunes) >= NULL_SAMPLE // 2
    backwards, forwards = halves_of(drawn) if halved else (tunes, [])
    found = best_of(backwards, turned, costs)
    best = None
    if is_whole:
        per_point = notes_per_point(backwards, found, turned, costs)
    else:
        searched = drawn_chunks(chunks, seed, SEARCHED_TUNES)
        back = search(
            searched,
            turned,
            limit=SEARCHED_BEST,
            costs=costs,
            exclude=exclude,
            on_damage=lambda damage: None,
        )
        best = best_among(searched, tunes, back, SEARCHED_BEST)
        per_point = per_point_of([(hit.points, hit.alignment) for hit in back[:TRACED]])
    null = null_of(turned, backwards, found, per_point, steepest, best=best)
    if not halved:
        return null
    found = best_of(forwards, query, costs)
    above = quantile([points for points, _ in found], CENSORED_HALF)
    return null_of(query, forwards, found, per_point, steepest, above, own, null)


def seed_of(query: EncodedQuery) -> int:
    """A number for a phrase, the same in every key."""
    moves = bytes((after - before) & 0xFF for before, after in pairwise(query.pitch))
    return zlib.crc32(moves + query.length_class)


def null_of(
    query: EncodedQuery,
    tunes: Sequence[tuple[bytes, bytes]],
    found: Sequence[tuple[int, int]],
    per_point: tuple[float, float],
    steepest: float,
    above: int | None = None,
    best: Best | None = None,
    turned: Null | None = None,
) -> Null:
    """Points of one direction, those of which little is to be learned censored."""
    points = tuple(best_points for best_points, _ in found)
    share = min(CENSORED_BELOW, 1 - FEWEST_SEEN / max(len(points), 1))
    return Null(
        points=points,
        tune_notes=tuple(len(pitch) for pitch, _ in tunes),
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
    chunks: Sequence[PackedChunk],
    tunes: Sequence[tuple[bytes, bytes]],
    hits: Sequence[Hit],
) -> Best | None:
    """What the search for the phrase tells, those that may be relatives censored."""
    if len(hits) < OWN_BEST:
        return None
    best = best_among(chunks, tunes, hits[:OWN_BEST], OWN_BEST)
    return replace(best, censored_above=hits[OWN_KIN].points)


def best_among(
    chunks: Sequence[PackedChunk],
    tunes: Sequence[tuple[bytes, bytes]],
    hits: Sequence[Hit],
    limit: int,
) -> Best:
    """What a search for so many tunes found; the others are as long as the sample's."""
    level = hits[-1].points if len(hits) == limit else 0
    above = [hit for hit in hits if hit.points > level]
    left = sum(chunk.tune_count for chunk in chunks) - len(above)
    lengths = [len(pitch) for pitch, _ in tunes]
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
    tunes: Sequence[tuple[bytes, bytes]], query: EncodedQuery, costs: AlignmentCosts
) -> list[tuple[int, int]]:
    """Points and transposition of each tune."""
    return engine().best(tunes, query, costs) if tunes else []


def usual_gain(query: EncodedQuery, costs: AlignmentCosts) -> int:
    """Points for a pair that agrees in all that is known of the phrase."""
    unknown = UNKNOWN_LENGTH & 0xFF
    known = any(length != unknown for length in query.length_class)
    return max(costs.best_pair if known else costs.same_pitch[3], 1)


def quantile(points: Sequence[int], share: float) -> int:
    """The points that this share of a sample does not exceed; 0 of none."""
    return sorted(points)[int(share * (len(points) - 1))] if points else 0


def notes_per_point(
    tunes: Sequence[tuple[bytes, bytes]],
    found: Sequence[tuple[int, int]],
    query: EncodedQuery,
    costs: AlignmentCosts,
    level: int | None = None,
) -> tuple[float, float]:
    """Notes of phrase and tune that the best alignments of a null take up per point."""
    order = sorted(
        (-points, place)
        for place, (points, _) in enumerate(found)
        if points > 0 and (level is None or points <= level)
    )
    traced = []
    for negated, place in order[:TRACED]:
        pitch, classes = tunes[place]
        alignment = engine().trace(query, pitch, classes, found[place][1], costs)
        assert alignment is not None
        traced.append((-negated, alignment))
    return per_point_of(traced)


def sample_tunes(chunks: Sequence[PackedChunk], seed: int) -> list[tuple[bytes, bytes]]:
    """Up to NULL_SAMPLE tunes drawn without replacement, in order of their ids."""
    return [notes for _, notes in drawn_tunes(chunks, seed, NULL_SAMPLE)]


def halves_of(
    drawn: Sequence[DrawnTune],
) -> tuple[list[tuple[bytes, bytes]], list[tuple[bytes, bytes]]]:
    """About half of the tunes drawn, and the others: by their ids, as they are drawn."""
    halves: tuple[list[tuple[bytes, bytes]], ...] = ([], [])
    for tune_id, notes in drawn:
        halves[tune_id[-1] & 1].append(notes)
    return halves[0], halves[1]
