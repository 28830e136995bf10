"""What resembles a phrase of which a part is known: its contour, its rhythm, some notes.

Conventions: as in :mod:`melodex.tasks.resemble`. Each is an exact search of its own. A
contour and a rhythm are aligned with every tune, so that the best come first; notes with
others between them that are not known are looked for as they stand, all or nothing.

Contents: resemble_partly.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import chain
from typing import TYPE_CHECKING

from melodex.corpus.tunes.tune_rows import piece_of
from melodex.matching.asking import Notes, best_of_all
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.passes import OnDamage, noted_in
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase, duration_class
from melodex.records import dataclass
from melodex.tasks.compare.likeness import (
    SAME_LENGTH,
    Likeness,
    likeness_of_contour,
    likeness_of_known,
    likeness_of_rhythm,
)
from melodex.tasks.matches import Match, Resemblance, Size, passage_of

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["resemble_partly"]

LOOKED_AT = 100
"""Tunes whose lengths are compared to the tick, where their classes agree alike."""


def resemble_partly(
    corpus: Corpus,
    notes: Notes,
    phrase: Phrase,
    limit: int,
    hidden: frozenset[str],
    size: Size,
) -> Resemblance:
    """Find the tunes that go as a contour, a rhythm, or notes with unknown ones do.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    notes : Notes
        Its notes.
    phrase : Phrase
        One that has not all its pitches.
    limit : int
        How many tunes at most.
    hidden : frozenset of str
        Ids of tunes to leave out.
    size : Size
        How much is searched.
    """
    remarks: list[str] = []
    asked = Asked(corpus, notes, phrase, limit, hidden, size.tunes, noted_in(remarks))
    if phrase.contour:
        found = of_contour(asked)
    elif any(phrase.has_pitch):
        found = of_notes(asked)
    else:
        found = of_rhythm(asked)
    return Resemblance(
        phrase=phrase,
        corpus_tunes=size.tunes,
        corpus_notes=size.notes,
        most_points=found.most_points,
        order="alignment",
        matches=found.matches,
        remarks=(*remarks, *found.remarks),
        foreword=found.foreword,
        corpus_lines=size.lines_told,
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """What is searched, what for, and how many are wanted."""

    corpus: Corpus
    notes: Notes
    phrase: Phrase
    limit: int
    hidden: frozenset[str]
    tune_count: int
    on_damage: OnDamage


@dataclass(frozen=True, slots=True)
class Found:
    """Matches, the most points one can have, and what is said before and after them."""

    matches: tuple[Match, ...]
    most_points: int
    foreword: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def of_contour(asked: Asked) -> Found:
    """The tunes that go up and down as a contour does."""
    from melodex.matching.contour import CONTOUR_COSTS, search_contour

    signs = asked.phrase.contour
    wanted = {"limit": asked.limit, "exclude": asked.hidden}
    parts = asked.notes.found(search_contour, signs, asked.on_damage, **wanted)
    hits = best_of_all(parts, asked.limit)
    melodies = read_melodies(asked, hits)

    def alike(hit: Hit) -> Likeness:
        return likeness_of_contour(signs, melodies[hit.tune_id], hit.alignment)

    best = len(signs) * CONTOUR_COSTS.best_pair
    matches = matches_of(hits, melodies, alike)
    foreword = ties_of(hits, best, "contour")
    return Found(matches, best, foreword, no_chance(matches, "a contour"))


def of_rhythm(asked: Asked) -> Found:
    """The tunes that have a rhythm, at any tempo."""
    from melodex.matching.rhythm import RHYTHM_COSTS, search_rhythm

    melody = asked.phrase.melody
    classes = bytes(duration_class(ticks) & 0xFF for ticks in melody.duration_ticks)
    depth = max(asked.limit, LOOKED_AT)
    wanted = {"limit": depth, "exclude": asked.hidden}
    parts = asked.notes.found(search_rhythm, classes, asked.on_damage, **wanted)
    hits = best_of_all(parts, depth)
    best = len(melody) * RHYTHM_COSTS.best_pair
    foreword = ties_of(hits, best, "rhythm")
    # What has fewer points than the last that is wanted is not worth reading.
    fewest = hits[asked.limit - 1].points if len(hits) >= asked.limit else 0
    hits = [hit for hit in hits if hit.points >= fewest]
    melodies = read_melodies(asked, hits)
    alike = {
        hit.tune_id: likeness_of_rhythm(melody, melodies[hit.tune_id], hit.alignment)
        for hit in hits
        if hit.tune_id in melodies
    }
    # Classes of lengths are wide: of equal points, what agrees to the tick comes first.
    hits.sort(key=lambda hit: (-hit.points, -agreeing(alike.get(hit.tune_id)), hit.tune_id))
    matches = matches_of(hits[: asked.limit], melodies, lambda hit: alike[hit.tune_id])
    return Found(matches, best, foreword, no_chance(matches, "a rhythm"))


def of_notes(asked: Asked) -> Found:
    """The tunes that hold some notes with unknown ones among them."""
    from melodex.matching.partial import facts_of, search_partial

    phrase = asked.phrase
    facts = facts_of(phrase)
    parts = asked.notes.found(search_partial, facts, asked.on_damage, exclude=asked.hidden)
    found: list[tuple[str, list[int]]] = sorted(chain.from_iterable(parts))
    best = len(facts.pitch) + len(facts.length)
    found = one_of_each_piece(asked, found)
    hits = [hit_at(tune_id, places[0], phrase, best) for tune_id, places in found]
    melodies = read_melodies(asked, hits[: asked.limit])

    def alike(hit: Hit) -> Likeness:
        return likeness_of_known(phrase, melodies[hit.tune_id], hit.alignment)

    searched = asked.tune_count
    foreword = (f"All that is known of it stands in {len(found):,} of {searched:,} tunes.",)
    matches = matches_of(hits[: asked.limit], melodies, alike)
    remarks = (
        () if found else ("With notes that are not known, nothing near is looked for.",)
    )
    return Found(matches, best, foreword, remarks)


def one_of_each_piece(
    asked: Asked, found: list[tuple[str, list[int]]]
) -> list[tuple[str, list[int]]]:
    """Of the lines of a piece that were found the first by tune id."""
    if asked.corpus.line_count == asked.corpus.tune_count:
        return found
    pieces = piece_of(asked.corpus, [tune_id for tune_id, _ in found])
    first: dict[str, tuple[str, list[int]]] = {}
    for entry in found:
        first.setdefault(pieces.get(entry[0], entry[0]), entry)
    return list(first.values())


def hit_at(tune_id: str, first: int, phrase: Phrase, points: int) -> Hit:
    """A tune that holds a phrase as it stands."""
    last = len(phrase.melody) - 1
    pairs = tuple((place, first + place) for place in range(last + 1))
    span, whole = (first, first + last), (0, last)
    aligned = Alignment(points, 0, pairs, whole, span)
    return Hit(tune_id, points, 0, whole, span, aligned, 0, last + 1)


def read_melodies(asked: Asked, hits: Sequence[Hit]) -> dict[str, Melody]:
    """The tunes of some hits; what cannot be read is said."""
    ids = [hit.tune_id for hit in hits]
    return dict(asked.corpus.melodies(ids, on_damage=asked.on_damage))


def matches_of(
    hits: Sequence[Hit], melodies: Mapping[str, Melody], alike: Callable[[Hit], Likeness]
) -> tuple[Match, ...]:
    """Hits whose tune can be read, as matches."""
    readable = [hit for hit in hits if hit.tune_id in melodies]
    return tuple(
        Match(
            rank=rank,
            passage=passage_of(melodies[hit.tune_id], hit),
            likeness=alike(hit),
            query_notes=hit.query_span,
            tune_notes=hit.tune_span,
        )
        for rank, hit in enumerate(readable, start=1)
    )


def agreeing(alike: Likeness | None) -> int:
    """How many notes have the same length to the tick."""
    pairs = alike.pairs if alike else ()
    return sum(pair.relation == SAME_LENGTH for pair in pairs)


def ties_of(hits: Sequence[Hit], best: int, what: str) -> tuple[str, ...]:
    """What has to be said first where many tunes are as good."""
    whole = sum(hit.points == best for hit in hits)
    if not hits or hits[-1].runner_up_points != hits[-1].points:
        return ()
    if whole == len(hits):
        those = "this one" if whole == 1 else f"these {whole:,}"
        return (
            f"More tunes than {those} have all of the {what}. A longer one tells more.",
        )
    return ("More tunes are as good as the last one; of equals, the order says nothing.",)


def no_chance(matches: Sequence[Match], what: str) -> tuple[str, ...]:
    """That chance was not measured."""
    if not matches:
        return ()
    return (f"How many tunes would have {what} like this by chance is not worked out.",)
