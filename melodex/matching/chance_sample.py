"""The sample of a corpus on which chance is measured for one phrase.

Conventions: as in :mod:`melodex.matching.chance`.

With one half of the sample the phrase is aligned backwards, which keeps its intervals
and its range but has no relatives; with the other half as it stands, since a figure may
be common in one direction only. Of the latter the relatives of the phrase would be among
the best: points above a high quantile are only taken to lie above it. A phrase that is
much the same backwards is only aligned as it stands. Since many points matter little but
shape the fit, those below a quantile are only taken to lie below it.

Contents: NULL_SAMPLE, is_symmetric, measure_null, sample_tunes.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from random import Random

from melodex.corpus.chunks import UNKNOWN_LENGTH, PackedChunk, verify
from melodex.errors import DamagedCorpusError
from melodex.matching.chance import Null
from melodex.matching.engine import engine
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

__all__ = ["NULL_SAMPLE", "is_symmetric", "measure_null", "sample_tunes"]

NULL_SAMPLE = 512
"""Tunes in the null: log10 of the expected number then varies by about 0.26."""

SYMMETRIC_SHARE = 0.75
"""A phrase whose reversal reaches this share of its own points is symmetric."""

CENSORED_ABOVE = 0.95
"""Of a symmetric phrase's own points, those above this quantile may be relatives'."""

CENSORED_HALF = 0.985
"""The same where half of the points are of the phrase as it stands."""

CENSORED_BELOW, FEWEST_SEEN = 0.3, 64
"""Points below this quantile only count as lower, if so many stay above it. Of 0, 0.3,
0.5 and 0.75 the calibration benchmark is nearest to what should be with 0.3: with more
left, short phrases seem too likely; with fewer, the fit is too unsure."""

KINDS_OF_NOTE = 16
"""A further note that agrees makes a match at most so many times rarer: notes of real
tunes tell about three bits each. Whole points on few levels could seem to fall faster."""

TRACED = 48
"""Best alignments of the null on which the notes taken up per point are counted."""


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
    chunks: Sequence[PackedChunk], query: EncodedQuery, costs: AlignmentCosts
) -> Null:
    """Align the phrase, read backwards, with a sample of the corpus.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        The corpus. Damaged chunks are left out.
    query : EncodedQuery
        The phrase; the sample depends on it and on nothing else, so that the same
        question gives the same answer.
    costs : AlignmentCosts
        As for the search.

    Returns
    -------
    Null
        Of up to :data:`NULL_SAMPLE` tunes; of all where the corpus has fewer.
    """
    tunes = sample_tunes(chunks, zlib.crc32(query.pitch + query.length_class))
    symmetric = is_symmetric(query, costs)
    # A small corpus may hold as many relatives as a quantile has room for.
    halved = not symmetric and len(tunes) >= NULL_SAMPLE // 2
    backwards = tunes[::2] if halved else [] if symmetric else tunes
    forwards = tunes[1::2] if halved else tunes if symmetric else []
    found = best_of(backwards, query.reversed(), costs) + best_of(forwards, query, costs)
    points = tuple(best for best, _ in found)
    high = CENSORED_HALF if halved else CENSORED_ABOVE if symmetric else None
    above = quantile(points, high) if high and points else None
    share = min(CENSORED_BELOW, 1 - FEWEST_SEEN / max(len(points), 1))
    asked = query if symmetric else query.reversed()
    traced = forwards if symmetric else backwards
    per_point = notes_per_point(traced, found[: len(traced)], asked, costs, above)
    return Null(
        points=points,
        tune_notes=tuple(len(pitch) for pitch, _ in [*backwards, *forwards]),
        query_notes=query.note_count,
        query_notes_per_point=per_point[0],
        tune_notes_per_point=per_point[1],
        censored_above=above,
        censored_below=quantile(points, share) if share > 0 else None,
        steepest_decay=math.log(KINDS_OF_NOTE) / usual_gain(query, costs),
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
    """The points that this share of a sample does not exceed."""
    return sorted(points)[int(share * (len(points) - 1))]


def notes_per_point(
    tunes: Sequence[tuple[bytes, bytes]],
    found: Sequence[tuple[int, int]],
    query: EncodedQuery,
    costs: AlignmentCosts,
    level: int | None,
) -> tuple[float, float]:
    """Notes of phrase and tune that the best alignments of a null take up per point."""
    order = sorted(
        (-points, place)
        for place, (points, _) in enumerate(found)
        if points > 0 and (level is None or points <= level)
    )
    total = of_query = of_tune = 0
    for negated, place in order[:TRACED]:
        pitch, classes = tunes[place]
        alignment = engine().trace(query, pitch, classes, found[place][1], costs)
        assert alignment is not None
        total -= negated
        of_query += alignment.query_span[1] - alignment.query_span[0] + 1
        of_tune += alignment.tune_span[1] - alignment.tune_span[0] + 1
    return (of_query / total, of_tune / total) if total else (0.0, 0.0)


def sample_tunes(chunks: Sequence[PackedChunk], seed: int) -> list[tuple[bytes, bytes]]:
    """Up to NULL_SAMPLE tunes drawn without replacement."""
    total = sum(chunk.tune_count for chunk in chunks)
    wanted = sorted(Random(seed).sample(range(total), min(total, NULL_SAMPLE)))
    tunes: list[tuple[bytes, bytes]] = []
    passed = 0
    for chunk in chunks:
        here = [
            place - passed for place in wanted if 0 <= place - passed < chunk.tune_count
        ]
        passed += chunk.tune_count
        if not here:
            continue
        try:
            counts = verify(chunk)
        except DamagedCorpusError:
            continue
        tunes += [engine().notes_at(chunk, counts, place) for place in here]
    return [tune for tune in tunes if tune[0]]
