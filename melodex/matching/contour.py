"""Contour: search by the signs of the steps alone, up, level and down.

Conventions: signs are 1, 0, -1 for each step, in the manner of contour theory. A
row of signs is aligned with the signs of a whole tune as melodies are, without
transposition, since signs have none. Points are whole numbers, higher is better;
ties fall to the tune id. A contour of few steps stands in a great many tunes, so
that ties are the rule there and the first tunes are no better than the next.

Contents: CONTOUR_COSTS, signs_of, search_contour.

References
----------
Friedmann (1985), J. Music Theory 29, 223-248: the contour adjacency series.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from melodex.corpus.chunks import UNKNOWN_LENGTH, PackedChunk
from melodex.errors import EmptyMelodyError, PhraseError, SettingsError
from melodex.matching.engine.alignment import Alignment, Pair
from melodex.matching.engine.choice import Engine, engine
from melodex.matching.engine.passes import Checked, OnDamage, one_pass
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Bounded, Hit, Members, id_at
from melodex.settings import MAX_QUERY_NOTES, AlignmentCosts

__all__ = ["CONTOUR_COSTS", "search_contour", "signs_of"]

CONTOUR_COSTS = AlignmentCosts((2, 2, 2, 2), (-3, -3, -3, -3), (-3, -3, -3, -3), -4)
"""Our choice: one wrong sign takes back one and a half right ones, since every
third sign agrees by accident."""

LEAST_SIGNS = 2
SIGN_PITCHES = (0, 40, 80)
"""Signs as pitches too far apart to be near each other."""


def signs_of(pitch: Sequence[int]) -> tuple[int, ...]:
    """Return the signs of the steps of a melody.

    Examples
    --------
    >>> signs_of(bytes([60, 62, 62, 59]))
    (1, 0, -1)
    """
    return tuple((after > before) - (after < before) for before, after in pairwise(pitch))


def search_contour(
    chunks: Iterable[PackedChunk],
    signs: Sequence[int],
    *,
    limit: int = 20,
    exclude: frozenset[str] = frozenset(),
    on_damage: OnDamage | None = None,
) -> list[Hit]:
    """Find the tunes whose contour agrees best with a row of signs, exactly.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    signs : sequence of int
        1, 0 or -1 for each step.
    limit, exclude, on_damage
        As in :func:`melodex.matching.search.search`.

    Returns
    -------
    list of Hit
        Best first; equal points by tune id. The alignment pairs the notes at the
        ends of the steps that were paired; the transposition is that of the first
        pair, taking the phrase to begin on pitch 0, and means nothing.

    Raises
    ------
    EmptyMelodyError, PhraseError
        If there are too few or too many signs, or a sign is none of the three.
    SettingsError
        If the limit is below 1.
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.

    Examples
    --------
    >>> from melodex.corpus.chunks import TuneNotes
    >>> from melodex.corpus.packing import pack
    >>> chunk = pack([TuneNotes("00000000000a0000", bytes([65, 67, 69, 60]), bytes(4)),
    ...               TuneNotes("00000000000b0000", bytes([60, 59, 58, 57]), bytes(4))])
    >>> [(hit.tune_id, hit.points) for hit in search_contour([chunk], [1, 1, -1])]
    [('00000000000a0000', 6), ('00000000000b0000', 2)]
    """
    if limit < 1:
        raise SettingsError(f"at least one match must be asked for, not {limit}")
    check_signs(signs)
    worker = engine()
    wanted = bytes(sign + 1 for sign in signs)

    def work(part: list[Checked]) -> list[Bounded]:
        return [
            Bounded(
                entry.chunk,
                entry.counts,
                worker.contours(entry.chunk, wanted, CONTOUR_COSTS),
            )
            for entry in part
        ]

    parts = one_pass(chunks, work, on_damage)
    members = Members(parts)
    found = best_tunes(parts, len(signs), limit + 1, exclude, worker, members)
    return hits_of(found, wanted, limit, worker, members)


def check_signs(signs: Sequence[int]) -> None:
    """Refuse rows that are too short, too long, or hold anything but signs."""
    if len(signs) < LEAST_SIGNS:
        raise EmptyMelodyError(
            f"a contour of {len(signs)} steps is in every tune", hint="give at least two"
        )
    if len(signs) > MAX_QUERY_NOTES:
        raise PhraseError(f"a contour of {len(signs)} steps is too long")
    if not set(signs) <= {-1, 0, 1}:
        raise PhraseError("a contour is made of the signs 1, 0 and -1")


def best_tunes(
    parts: Sequence[Bounded],
    sign_count: int,
    limit: int,
    exclude: frozenset[str],
    worker: Engine,
    members: Members,
) -> list[tuple[int, str, tuple[bytes, bytes], tuple[int, int]]]:
    """The best tunes as (points, tune id, notes, place), best first, one of a piece."""
    top = sign_count * CONTOUR_COSTS.best_pair
    counts = worker.histogram([part.bounds for part in parts], top + 1)
    found: list[tuple[int, str, int, int]] = []
    seen: set[tuple[int, int]] = set()
    for level in range(top, 0, -1):
        if len(found) >= limit:
            break
        if counts[level]:
            there = sorted(
                entry
                for part_number, part in enumerate(parts)
                for points, index in worker.select(part.bounds, level, level)
                if (entry := (points, id_at(part.chunk, index), part_number, index))[1]
                not in exclude
            )
            for entry in there:
                key = members.key(*entry[2:])
                if key is None or key not in seen:
                    found.append(entry)
                if key is not None:
                    seen.add(key)
    return [
        (
            points,
            tune_id,
            worker.notes_at(parts[n].chunk, parts[n].counts, index),
            (n, index),
        )
        for points, tune_id, n, index in found[:limit]
    ]


def hits_of(
    found: Sequence[tuple[int, str, tuple[bytes, bytes], tuple[int, int]]],
    wanted: bytes,
    limit: int,
    worker: Engine,
    members: Members,
) -> list[Hit]:
    """The best tunes with their alignments."""
    unknown = bytes([UNKNOWN_LENGTH & 0xFF])
    query = EncodedQuery(
        bytes(SIGN_PITCHES[sign] for sign in wanted), unknown * len(wanted)
    )
    hits = []
    for place, (points, tune_id, (pitch, _), where) in enumerate(found[:limit]):
        note_count, others = members.of_hit(*where)
        steps = bytes(SIGN_PITCHES[sign + 1] for sign in signs_of(pitch))
        of_steps = worker.trace(query, steps, unknown * len(steps), 0, CONTOUR_COSTS)
        assert of_steps is not None
        alignment = notes_from_steps(of_steps, pitch)
        hits.append(
            Hit(
                tune_id=tune_id,
                points=points,
                transposition_semitones=alignment.transposition_semitones,
                query_span=alignment.query_span,
                tune_span=alignment.tune_span,
                alignment=alignment,
                runner_up_points=found[place + 1][0] if place + 1 < len(found) else 0,
                note_count=note_count,
                other_lines=others,
            )
        )
    return hits


def notes_from_steps(alignment: Alignment, pitch: bytes) -> Alignment:
    """An alignment of notes from one of steps: a step leads to the note after it."""
    first_query, first_tune = alignment.query_span[0], alignment.tune_span[0]
    pairs: list[Pair] = [(first_query, first_tune)]
    pairs += [
        (None if i is None else i + 1, None if j is None else j + 1)
        for i, j in alignment.pairs
    ]
    return Alignment(
        alignment.points,
        pitch[first_tune],
        tuple(pairs),
        (first_query, alignment.query_span[1] + 1),
        (first_tune, alignment.tune_span[1] + 1),
    )
