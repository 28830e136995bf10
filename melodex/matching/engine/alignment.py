"""Alignment: how well a phrase lies over a tune, note by note.

Conventions: a pair ``(i, j)`` says that note i of the phrase answers note j of
the tune; None stands for the missing partner of a note left out. Spans name the
first and the last note, counted from 0. The transposition is in semitones, from
phrase to tune. Points are the sum over pairs and gaps; higher is better.

Of several alignments with equal points, the same one is always given:

1. the transposition nearest to none, upwards before downwards;
2. then the one that ends earliest in the tune, then earliest in the phrase;
3. then, going backwards from its end, a pair rather than a tune note left out,
   and that rather than a phrase note left out; it starts at the last place
   where nothing has been won yet, so that it is never longer than it must be.

Contents: Alignment, align, trace, best_transposition.
"""

from __future__ import annotations

from collections.abc import Iterable

from melodex.matching.query import EncodedQuery, signed
from melodex.records import dataclass
from melodex.settings import AlignmentCosts

__all__ = [
    "Alignment",
    "Pair",
    "best_transposition",
    "preference",
    "trace",
]

Pair = tuple[int | None, int | None]

PAIR, SKIP_TUNE, SKIP_QUERY = 1, 2, 3


@dataclass(frozen=True, slots=True)
class Alignment:
    """A phrase laid over a tune.

    Parameters
    ----------
    points : int
        Sum over pairs and gaps.
    transposition_semitones : int
        From phrase to tune.
    pairs : tuple of (int or None, int or None)
        In order; note of the phrase, note of the tune.
    query_span, tune_span : tuple of int
        First and last note of each that takes part.
    """

    points: int
    transposition_semitones: int
    pairs: tuple[Pair, ...]
    query_span: tuple[int, int]
    tune_span: tuple[int, int]


def preference(transposition: int) -> tuple[int, bool]:
    """Order of transpositions with equal points: nearest first, up before down."""
    return abs(transposition), transposition < 0


def best_transposition(points: Iterable[tuple[int, int]]) -> tuple[int, int]:
    """The best of (points, transposition), ties settled as the module says."""
    return min(points, key=lambda found: (-found[0], *preference(found[1])))


def trace(
    query: EncodedQuery,
    pitch: bytes,
    length_class: bytes,
    transposition: int,
    costs: AlignmentCosts,
) -> Alignment | None:
    """Find the best alignment under one transposition, in plain Python.

    The compiled kernel has the same; this one serves where there is none.

    Parameters
    ----------
    transposition : int
        Semitones from the encoded phrase to the tune.
    """
    points, query_end, tune_end = best_end(query, pitch, length_class, transposition, costs)
    if points <= 0:
        return None
    # No alignment that still has points left can have skipped more tune notes.
    reach = query.note_count * costs.best_pair // -costs.gap + query.note_count
    first = max(tune_end + 1 - reach, 0)
    pairs = walk_back(
        query,
        pitch[first : tune_end + 1],
        length_class[first : tune_end + 1],
        transposition,
        costs,
        query_end,
    )
    return described(points, transposition + query.moved_semitones, pairs, first)


def described(
    points: int, transposition: int, pairs: list[tuple[int, int]], first: int
) -> Alignment:
    """An alignment from pairs in which -1 stands for a missing partner."""
    shifted: tuple[Pair, ...] = tuple(
        (i if i >= 0 else None, j + first if j >= 0 else None) for i, j in pairs
    )
    of_query = [i for i, _ in shifted if i is not None]
    of_tune = [j for _, j in shifted if j is not None]
    return Alignment(
        points,
        transposition,
        shifted,
        (of_query[0], of_query[-1]),
        (of_tune[0], of_tune[-1]),
    )


def point_rows(
    query: EncodedQuery, pitch: bytes, length_class: bytes, move: int, costs: AlignmentCosts
) -> Iterable[list[int]]:
    """Points of every pair, a row for each note of the tune."""
    wanted = [value + move for value in query.pitch]
    classes = query.classes
    known: dict[tuple[int, int], list[int]] = {}
    for note in zip(pitch, signed(length_class), strict=True):
        if note not in known:
            known[note] = [
                costs.pair_points(note[0] - want, note[1], class_)
                for want, class_ in zip(wanted, classes, strict=True)
            ]
        yield known[note]


def next_row(above: list[int], points: list[int], gap: int) -> list[int]:
    """Points at each phrase note, from those one tune note earlier."""
    row, left, diagonal = [], 0, 0
    for before, pair in zip(above, points, strict=True):
        left = max(0, diagonal + pair, before + gap, left + gap)
        row.append(left)
        diagonal = before
    return row


def best_end(
    query: EncodedQuery, pitch: bytes, length_class: bytes, move: int, costs: AlignmentCosts
) -> tuple[int, int, int]:
    """Most points under one transposition, and the earliest place they are reached."""
    row = [0] * query.note_count
    found = (0, 0, 0)
    for j, points in enumerate(point_rows(query, pitch, length_class, move, costs)):
        row = next_row(row, points, costs.gap)
        best = max(row)
        if best > found[0]:
            found = (best, row.index(best), j)
    return found


def walk_back(
    query: EncodedQuery,
    pitch: bytes,
    length_class: bytes,
    move: int,
    costs: AlignmentCosts,
    query_end: int,
) -> list[tuple[int, int]]:
    """Pairs of the best alignment that ends at the last tune note and query_end."""
    pair_points = list(point_rows(query, pitch, length_class, move, costs))
    rows = [[0] * query.note_count]
    for points in pair_points:
        rows.append(next_row(rows[-1], points, costs.gap))
    pairs = []
    i, j = query_end, len(pitch) - 1
    while i >= 0 and j >= 0 and rows[j + 1][i] > 0:
        here = rows[j + 1][i]
        diagonal = rows[j][i - 1] if i else 0
        if here == diagonal + pair_points[j][i]:
            pairs.append((i, j))
            i, j = i - 1, j - 1
        elif here == rows[j][i] + costs.gap:
            pairs.append((-1, j))
            j -= 1
        else:
            pairs.append((i, -1))
            i -= 1
    return pairs[::-1]
