"""Of two long tunes laid side by side, the passages that match.

Conventions: a pair of the same degree counts for a passage, one of other degrees or
without partner against it; an inflection counts neither way. A passage is a stretch of
pairs that no shorter or longer one beats (the maximal scoring subsequences of the
reference), widened to whole bars. Which numbers make tunes long and passages worth
showing is our choice.

References
----------
Ruzzo and Tompa (1999), "A linear time algorithm for finding all maximal scoring
subsequences", Proceedings of ISMB 7, 234-241.

Contents: LONG, shared_passages.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.melody import Melody
from melodex.tasks.compare.compare import Comparison, compare
from melodex.tasks.compare.likeness import AGREEING, INFLECTED
from melodex.tasks.passage import Passage

__all__ = ["LONG", "shared_passages"]

LONG = 48
"""Notes from which a side is too long to be read for what it shares."""
LEAST_SCORE = 6
"""Notes that agree beyond those that do not."""
MOST_SHARED = 0.75
"""From this share of agreeing pairs on the whole is what matches."""

Stretch = tuple[int, int]
"""First and last, both included."""


def shared_passages(found: Comparison) -> tuple[Comparison, ...]:
    """Compare just the passages that match, in the order of the first tune.

    Parameters
    ----------
    found : Comparison
        Of two passages of any length.

    Returns
    -------
    tuple of Comparison
        Empty where the whole is short, or alike nearly throughout: it is to be shown then.
    """
    pairs = found.likeness.pairs
    alike = found.likeness.agreeing
    if found.whole or max(len(found.a.melody), len(found.b.melody)) < LONG:
        return ()
    if alike >= MOST_SHARED * len(pairs):
        return ()
    scores = [
        1 if pair.relation in AGREEING else 0 if pair.relation == INFLECTED else -1
        for pair in pairs
    ]
    sides = [sides_of(found, stretch) for stretch in maximal(scores)]
    return tuple(
        compare(
            cut(found.a, *a),
            cut(found.b, *b),
            transposition_semitones=found.likeness.transposition_semitones,
        )
        for a, b in merged(sides)
    )


def maximal(scores: Sequence[int]) -> list[Stretch]:
    """Stretches that no other beats, of those that score enough, or the best, in order."""
    # Of each: the sum before it, the sum at its end, and where it begins and ends.
    kept: list[tuple[int, int, int, int]] = []
    total = 0
    for place, score in enumerate(scores):
        before, total = total, total + score
        if score <= 0:
            continue
        left, right, first = before, total, place
        while True:
            held = next((n for n in reversed(range(len(kept))) if kept[n][0] < left), None)
            if held is None or kept[held][1] >= right:
                break
            left, first = kept[held][0], kept[held][2]
            del kept[held:]
        kept.append((left, right, first, place))
    most = max((right - left for left, right, _, _ in kept), default=0)
    # Where nothing is long enough, the best there is.
    least = min(LEAST_SCORE, most)
    return [(first, last) for left, right, first, last in kept if right - left >= least]


def sides_of(found: Comparison, stretch: Stretch) -> tuple[Stretch, Stretch]:
    """The notes of each side in a stretch of pairs, widened to whole bars."""
    inside = found.likeness.pairs[stretch[0] : stretch[1] + 1]
    a = [pair.query for pair in inside if pair.query is not None]
    b = [pair.tune for pair in inside if pair.tune is not None]
    return (
        whole_bars(found.a.melody, a[0], a[-1]),
        whole_bars(found.b.melody, b[0], b[-1]),
    )


def whole_bars(melody: Melody, first: int, last: int) -> Stretch:
    """Notes from the start of a bar to the end of one."""
    while first and melody.bar[first - 1] == melody.bar[first]:
        first -= 1
    while last + 1 < len(melody) and melody.bar[last + 1] == melody.bar[last]:
        last += 1
    return first, last


def merged(sides: Sequence[tuple[Stretch, Stretch]]) -> list[tuple[Stretch, Stretch]]:
    """Stretches that share a bar on either side, as one."""
    found: list[tuple[Stretch, Stretch]] = []
    for a, b in sides:
        if found and (a[0] <= found[-1][0][1] or b[0] <= found[-1][1][1]):
            (first, _), (start, _) = found[-1]
            found[-1] = ((first, a[1]), (start, b[1]))
        else:
            found.append((a, b))
    return found


def cut(passage: Passage, first: int, last: int) -> Passage:
    """A part of a passage, by its own notes."""
    return Passage(
        passage.melody.excerpt(first, last),
        passage.whole,
        passage.first_note + first,
        passage.tune_id,
        passage.in_corpus,
        has_rhythm=passage.has_rhythm,
    )
