"""What an audit finds note against note: stretches that tell much, in a few notes.

Conventions: windows are aligned, and count notes that agree; eight notes that are rare
together have no more points there than eight that every tune has. So all tunes are also
compared note against note (:mod:`melodex.matching.evidence.stretches`), where each step is
worth what it tells. The number expected by chance is fitted on the points of all tunes, as
for an alignment (:mod:`melodex.matching.chance.fit`), for the whole own tune at once: a
figure that many tunes hold is one that many are expected to have.

Contents: stretch_leads.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.corpus.chunks import PackedChunk, TuneNotes, encode_notes
from melodex.corpus.packing import pack
from melodex.matching.asking import Notes
from melodex.matching.chance.fit import (
    Best,
    Fit,
    Null,
    alike,
    expected_by_chance,
    fit_points,
)
from melodex.matching.chance.sample import (
    CENSORED_ABOVE,
    CENSORED_BELOW,
    NULL_SAMPLE,
    OWN_BEST,
    OWN_KIN,
    notes_in,
    quantile,
)
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import ignored
from melodex.matching.evidence.commonness import IntervalModel
from melodex.matching.evidence.stretches import (
    LOSS,
    Stretch,
    best_stretch,
    points_of_stretches,
    worth_of,
)
from melodex.tasks.audit.leads import Lead
from melodex.tasks.matches import Size
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["stretch_leads"]

LOOKED_AT = 40
"""So many of the tunes with most points are laid out note against note."""

FEWEST_NOTES = 7
"""Of a stretch, ends included: fewer are told by one or two wide leaps. With 7 in place of
any, the borrowing is first in two more of 120 tunes with one, on which this was chosen."""

KEPT, KEPT_AT_ONE_PLACE = 16, 4
"""So many of them are told of, and so many that have the same notes of the own tune."""

WAYS = 2
"""A tune is looked for by windows and by stretches, and is found by whichever is the less
to be explained by chance. Of 200 tunes without a borrowing, against 12,943, 32, 6 and 1.5
of 100 have a stretch at 1, 0.1 and 0.01."""

PART, OVERLAP = 2048, 64
"""Notes of an own tune that are compared at once, and those that two parts share."""


@dataclass(frozen=True, slots=True)
class Compared:
    """An own tune, or a part of it, and what every tune of the corpus has of it."""

    own: bytes
    worth: bytes
    points: Mapping[str, tuple[int, int]]


def stretch_leads(
    corpus: Corpus,
    notes: Notes,
    own: Passage,
    model: IntervalModel,
    hidden: frozenset[str],
    size: Size,
) -> list[Lead]:
    """The stretches that are least to be explained by chance, in whatever tunes."""
    pitch, _ = encode_notes(own.melody)
    worth = worth_of(model, pitch)
    leads = []
    for start in range(0, max(len(pitch) - OVERLAP, 1), PART - OVERLAP):
        corpus.pause()
        part = slice(start, start + PART)
        seen = {
            each: had
            for points in notes.told(points_in, (pitch[part], worth[part]))
            for each, had in points.items()
            if each not in hidden
        }
        compared = Compared(pitch[part], worth[part], seen)
        leads += leads_of_part(corpus, notes, compared, start, size)
    return leads


def points_in(
    chunks: Sequence[PackedChunk], asked: tuple[bytes, bytes]
) -> dict[str, tuple[int, int]]:
    """Points of the tunes of a part; damage is told of by the search for the windows."""
    return points_of_stretches(chunks, *asked, on_damage=ignored)


def leads_of_part(
    corpus: Corpus,
    notes: Notes,
    compared: Compared,
    start: int,
    size: Size,
) -> list[Lead]:
    """The leads of one part of an own tune, of which the first note is given."""
    order = sorted(compared.points.items(), key=lambda each: (-each[1][0], each[0]))
    first = [tune_id for tune_id, _ in order[:LOOKED_AT]]
    melodies = corpus.melodies(first, on_damage=ignored)
    laid = []
    for tune_id in first:
        if tune_id in melodies:
            other, _ = encode_notes(melodies[tune_id])
            stretch = best_stretch(compared.own, compared.worth, other)
            if stretch is not None and stretch.notes >= FEWEST_NOTES:
                laid.append((tune_id, stretch))
    fit = fitted(notes, compared, order, [stretch for _, stretch in laid])
    if fit is None:
        return []
    laid.sort(key=lambda each: (-each[1].points, each[0]))
    return [
        Lead(
            first=start + stretch.first,
            last=start + stretch.last,
            tune_id=tune_id,
            points=stretch.points,
            expected=expected(fit, stretch.points, size),
            rhythm=False,
            stretch=True,
        )
        for tune_id, stretch in of_many_places(laid)
    ]


def expected(fit: Fit, points: int, size: Size) -> float:
    """Tunes with so many points that chance would bring, both ways of looking counted."""
    one = expected_by_chance(fit, points, corpus_tunes=size.tunes, corpus_notes=size.notes)
    return min(WAYS * one, float(size.tunes))


def of_many_places(laid: Sequence[tuple[str, Stretch]]) -> list[tuple[str, Stretch]]:
    """The first of them, no more than a few with half of their notes in common."""
    kept: list[tuple[str, Stretch]] = []
    for tune_id, stretch in laid:
        beside = sum(overlap(stretch, other) for _, other in kept)
        if beside < KEPT_AT_ONE_PLACE and len(kept) < KEPT:
            kept.append((tune_id, stretch))
    return kept


def overlap(one: Stretch, other: Stretch) -> bool:
    """Whether two stretches share at least half of the shorter."""
    both = min(one.last, other.last) - max(one.first, other.first) + 1
    return 2 * both >= min(one.last - one.first, other.last - other.first) + 1


def fitted(
    notes: Notes,
    compared: Compared,
    order: Sequence[tuple[str, tuple[int, int]]],
    laid: Sequence[Stretch],
) -> Fit | None:
    """What chance brings: from a sample of the corpus, and from the best of all of it."""
    total = sum(stretch.points for stretch in laid)
    if not total:
        return None
    per_point = sum(stretch.notes for stretch in laid) / total
    drawn = notes.drawn(zlib.crc32(compared.worth), NULL_SAMPLE)
    points = [points_of(lines, compared) for _, lines in drawn]
    lengths = [notes_in(lines) for _, lines in drawn]
    tunes = notes.pieces
    best = None
    if tunes > len(drawn) and len(order) >= OWN_BEST:
        # Any number of relatives may be among the first.
        level = order[OWN_BEST - 1][1][0]
        top = [each for _, each in order[:OWN_BEST] if each[0] > level]
        share = (tunes - len(top)) / len(lengths)
        best = Best(
            points=tuple(reached for reached, _ in top),
            tune_notes=tuple(notes for _, notes in top),
            level=level,
            others=tuple(
                (notes, share * count)
                for _, notes, count in alike([level] * len(lengths), lengths)
            ),
            censored_above=order[OWN_KIN][1][0],
        )
    return fit_points(
        Null(
            points=tuple(points),
            tune_notes=tuple(lengths),
            query_notes=len(compared.own),
            query_notes_per_point=per_point,
            tune_notes_per_point=per_point,
            censored_above=quantile(points, CENSORED_ABOVE),
            censored_below=quantile(points, CENSORED_BELOW),
            best=best,
        )
    )


def points_of(lines: Sequence[tuple[bytes, bytes]], compared: Compared) -> int:
    """Points of the best stretch of a piece, in whichever of its lines."""
    tunes = [TuneNotes(f"{number:016x}", *line) for number, line in enumerate(lines)]
    return max(engine().stretches(pack(tunes), compared.own, compared.worth, LOSS))
