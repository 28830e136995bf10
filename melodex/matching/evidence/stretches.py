"""Stretches: what a tune has in common with an own tune, note against note, by worth.

Conventions: a stretch is a row of notes of both tunes, in any key, with nothing put in and
nothing left out; notes may be changed, at most two in a row. It has as many points as its
steps are worth, those to and from changed notes nothing, less a loss for each of these. A
step is worth what it tells under a model of the corpus, in quarters of a bit, but no more
than :data:`MOST_BITS`: one wide leap is no borrowing. So a short stretch of telling steps
is worth as much as a long one of common steps, which counting notes that agree cannot see.

:func:`points_of_stretches` asks the engine, which is exact and cuts off at 255 points;
:func:`best_stretch` finds the one of a single tune.

Contents: LOSS, MOST_BITS, Stretch, worth_of, points_of_stretches, best_stretch.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from melodex.corpus.chunks import PackedChunk, id_in
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import Checked, OnDamage, one_pass
from melodex.matching.evidence.commonness import ORDER, IntervalModel, intervals
from melodex.records import dataclass

__all__ = [
    "LOSS",
    "MOST_BITS",
    "Stretch",
    "best_stretch",
    "points_of_stretches",
    "worth_of",
]

PER_BIT = 4
"""Points: four quarters."""

MOST_BITS = 9.0
"""Of one step."""

LOSS = 4
"""Points for each note that is changed: one bit."""

MOST_CHANGED = 2
"""Changed notes in a row, as in the engines."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What two tunes have in common.

    Parameters
    ----------
    points : int
        What it is worth, in quarters of a bit.
    first, last : int
        Notes of the own tune, from 0.
    other_first : int
        The first note of the other tune; it has as many.
    transposition_semitones : int
        From the own tune to the other.
    """

    points: int
    first: int
    last: int
    other_first: int
    transposition_semitones: int

    @property
    def notes(self) -> int:
        """Notes of the own tune, changed ones included."""
        return self.last - self.first + 1


def worth_of(model: IntervalModel, pitch: bytes) -> bytes:
    """What the step to each note of a tune is worth; nothing for the first note."""
    steps = intervals(pitch)
    bits = (
        model.step_bits(tuple(steps[max(place - ORDER, 0) : place]), step)
        for place, step in enumerate(steps)
    )
    return bytes([0, *(round(PER_BIT * min(each, MOST_BITS)) for each in bits)])


def points_of_stretches(
    chunks: Iterable[PackedChunk],
    own: bytes,
    worth: bytes,
    *,
    on_damage: OnDamage | None = None,
) -> dict[str, tuple[int, int]]:
    """Points of the best stretch of every tune of a corpus, and its notes, by tune id.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    own, worth : bytes
        Pitches of the own tune, at most 4096, and from :func:`worth_of`.
    on_damage : callable, optional
        As in :func:`melodex.matching.search.search`.

    Returns
    -------
    dict
        Points from 0 to 255, of which more count as 255; how many notes the tune has.
    """
    worker = engine()

    def work(part: list[Checked]) -> list[tuple[Checked, bytes]]:
        return [(entry, worker.stretches(entry.chunk, own, worth, LOSS)) for entry in part]

    return {
        id_in(entry.chunk, place): (points, entry.counts[place])
        for entry, found in one_pass(chunks, work, on_damage)
        for place, points in enumerate(found)
    }


Ending = tuple[int, int]
"""Points of the best stretch that ends on a note, and its first own note."""


def best_stretch(own: bytes, worth: bytes, other: bytes) -> Stretch | None:
    """Find the best stretch that two tunes have in common; the first of equals.

    Examples
    --------
    >>> best_stretch(bytes([60, 62, 64, 65]), bytes([0, 8, 9, 7]), bytes([50, 67, 69, 71]))
    Stretch(points=17, first=0, last=2, other_first=1, transposition_semitones=7)
    """
    places: dict[int, list[int]] = defaultdict(list)
    for place in range(1, len(other)):
        places[other[place] - other[place - 1]].append(place)
    rows: list[dict[int, Ending]] = [{}]
    best: tuple[int, int, int, int] | None = None
    for k in range(1, len(own)):
        row: dict[int, Ending] = {}
        for j in places.get(own[k] - own[k - 1], ()):
            points, first = rows[k - 1].get(j - 1, (0, k - 1))
            row[j] = points + worth[k], first
        for changed in range(1, min(MOST_CHANGED, k - 1) + 1):
            go_on(row, rows[k - changed - 1], own, other, k, changed)
        for j, (points, first) in sorted(row.items()):
            if points > 0 and (best is None or points > best[0]):
                best = points, first, k, j
        rows.append(row)
    if best is None:
        return None
    points, first, last, end = best
    return Stretch(points, first, last, end - last + first, other[end] - own[last])


def go_on(
    row: dict[int, Ending],
    ago: dict[int, Ending],
    own: Sequence[int],
    other: Sequence[int],
    k: int,
    changed: int,
) -> None:
    """Let stretches go on over changed notes, where that is better than what is there."""
    apart = changed + 1
    for before, (points, first) in ago.items():
        j, left = before + apart, points - changed * LOSS
        alike = j < len(other) and other[j] - other[before] == own[k] - own[k - apart]
        if alike and left > row.get(j, (0, 0))[0]:
            row[j] = left, first
