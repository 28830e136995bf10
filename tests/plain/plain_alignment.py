"""Slow twins: alignment and search written for plainness alone.

Every cell of every table is filled, under every transposition, from the textbook
recurrence; nothing is shared with the package but the records and the costs.
"""

from __future__ import annotations

from collections.abc import Iterable

from melodex.corpus.chunks import PackedChunk
from melodex.corpus.packing import unpack
from melodex.matching.engine.alignment import Alignment
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts


def signed(value: int) -> int:
    return value - 256 if value > 127 else value


def table_of(
    query: EncodedQuery, pitch: bytes, classes: bytes, move: int, costs: AlignmentCosts
) -> list[list[int]]:
    """Points of the best alignment that ends at each cell; row and column 0 empty."""
    table = [[0] * (len(pitch) + 1) for _ in range(query.note_count + 1)]
    for i in range(1, query.note_count + 1):
        for j in range(1, len(pitch) + 1):
            table[i][j] = max(
                0,
                table[i - 1][j - 1]
                + pair(query, i - 1, pitch, classes, j - 1, move, costs),
                table[i - 1][j] + costs.gap,
                table[i][j - 1] + costs.gap,
            )
    return table


def pair(
    query: EncodedQuery,
    i: int,
    pitch: bytes,
    classes: bytes,
    j: int,
    move: int,
    costs: AlignmentCosts,
) -> int:
    """Points of one pair, from the words of the settings."""
    apart = abs(query.pitch[i] + move - pitch[j])
    row = costs.far_pitch
    if apart == 0:
        row = costs.same_pitch
    elif apart <= 2:
        row = costs.near_pitch
    mine, theirs = signed(query.length_class[i]), signed(classes[j])
    if mine == -128 or theirs == -128:
        return row[3]
    if mine == theirs:
        return row[0]
    return row[1] if abs(mine - theirs) == 1 else row[2]


def points_of_pairs(
    pairs: Iterable[tuple[int | None, int | None]],
    query: EncodedQuery,
    pitch: bytes,
    classes: bytes,
    transposition_semitones: int,
    costs: AlignmentCosts,
) -> int:
    """What an alignment earns, added up from its pairs and gaps."""
    move = transposition_semitones - query.moved_semitones
    return sum(
        costs.gap
        if i is None or j is None
        else pair(query, i, pitch, classes, j, move, costs)
        for i, j in pairs
    )


def transpositions(query: EncodedQuery, pitch: bytes) -> list[int]:
    """Every transposition that brings any two notes together, in order of preference."""
    low, high = min(pitch) - max(query.pitch), max(pitch) - min(query.pitch)
    return sorted(range(low, high + 1), key=lambda move: (abs(move), -move))


def plain_align(
    query: EncodedQuery, pitch: bytes, classes: bytes, costs: AlignmentCosts
) -> Alignment | None:
    """The best alignment over every transposition, ties settled as documented."""
    best, best_move, best_table = 0, 0, [[0]]
    for move in transpositions(query, pitch) if pitch else []:
        table = table_of(query, pitch, classes, move, costs)
        top = max(max(row) for row in table)
        if top > best:
            best, best_move, best_table = top, move, table
    if best == 0:
        return None
    ends = [
        (j, i) for i, row in enumerate(best_table) for j, v in enumerate(row) if v == best
    ]
    j, i = min(ends)
    pairs: list[tuple[int | None, int | None]] = []
    while best_table[i][j] > 0:
        here = best_table[i][j]
        points = pair(query, i - 1, pitch, classes, j - 1, best_move, costs)
        if here == best_table[i - 1][j - 1] + points:
            i, j = i - 1, j - 1
            pairs.insert(0, (i, j))
        elif here == best_table[i][j - 1] + costs.gap:
            j -= 1
            pairs.insert(0, (None, j))
        else:
            i -= 1
            pairs.insert(0, (i, None))
    mine = [i for i, _ in pairs if i is not None]
    theirs = [j for _, j in pairs if j is not None]
    return Alignment(
        best,
        best_move + query.moved_semitones,
        tuple(pairs),
        (mine[0], mine[-1]),
        (theirs[0], theirs[-1]),
    )


def plain_search(
    chunks: list[PackedChunk],
    query: EncodedQuery,
    limit: int,
    costs: AlignmentCosts,
    exclude: frozenset[str] = frozenset(),
) -> list[tuple[str, Alignment]]:
    """Every tune aligned, the best kept, equal points by tune id."""
    found = []
    for chunk in chunks:
        for tune in unpack(chunk):
            alignment = plain_align(query, tune.pitch, tune.length_class, costs)
            if alignment is not None and tune.tune_id not in exclude:
                found.append((-alignment.points, tune.tune_id, alignment))
    found.sort(key=lambda entry: entry[:2])
    return [(tune_id, alignment) for _, tune_id, alignment in found[:limit]]


def plain_holding(pitch: bytes, figure: bytes) -> int:
    """2 where a tune has the figure, 1 where it has it with one note changed, else 0."""
    best = 0
    for start in range(len(pitch) - len(figure) + 1):
        window = pitch[start : start + len(figure)]
        moves = [note - wanted for note, wanted in zip(window, figure, strict=True)]
        agreeing = max(moves.count(move) for move in moves)
        best = max(best, 2 - min(len(figure) - agreeing, 2))
    return best


def plain_stretch(own: bytes, worth: bytes, pitch: bytes, loss: int) -> int:
    """Points of the best stretch, over every pair of places, note after note."""
    best = 0
    cells: dict[tuple[int, int], int] = {}
    for i in range(len(own)):
        for j in range(len(pitch)):
            points = 0
            for apart in (1, 2, 3):
                a, b = i - apart, j - apart
                if a >= 0 and b >= 0 and own[i] - own[a] == pitch[j] - pitch[b]:
                    gain = worth[i] if apart == 1 else loss * (1 - apart)
                    points = max(points, cells[a, b] + gain)
            cells[i, j] = points
            best = max(best, points)
    return best


def plain_contour(pitch: bytes, signs: list[int], costs: AlignmentCosts) -> int:
    """Points of signs (0 down, 1 level, 2 up) against the steps of a tune."""
    steps = [
        1 + (pitch[k + 1] > pitch[k]) - (pitch[k + 1] < pitch[k])
        for k in range(len(pitch) - 1)
    ]
    row = [0] * (len(signs) + 1)
    best = 0
    for step in steps:
        new = [0]
        for i, sign in enumerate(signs):
            pair_ = costs.same_pitch[3] if sign == step else costs.far_pitch[3]
            new.append(max(0, row[i] + pair_, row[i + 1] + costs.gap, new[i] + costs.gap))
        row = new
        best = max(best, *row)
    return best


def plain_rhythm(classes: bytes, lengths: list[int], costs: AlignmentCosts) -> int:
    """Points of lengths against those of a tune, the best over every augmentation."""
    theirs = [max(-64, min(63, signed(value))) for value in classes]
    best = 0
    for move in range(-80, 81):
        row = [0] * (len(lengths) + 1)
        for length in theirs:
            new = [0]
            for i, wanted in enumerate(lengths):
                agree = wanted + move == length
                points = costs.same_pitch[3] if agree else costs.far_pitch[3]
                new.append(
                    max(0, row[i] + points, row[i + 1] + costs.gap, new[i] + costs.gap)
                )
            row = new
            best = max(best, *row)
    return best


def plain_known(
    pitch: bytes, classes: bytes, wanted: list[int | None], lengths: list[int | None]
) -> list[int]:
    """Where a tune holds notes of which some are not known, in any key and augmentation."""
    found = []
    for start in range(len(pitch) - len(wanted) + 1):
        moves = {
            pitch[start + k] - note for k, note in enumerate(wanted) if note is not None
        }
        times = {
            signed(classes[start + k]) - length
            for k, length in enumerate(lengths)
            if length is not None
        }
        if len(moves) <= 1 and len(times) <= 1:
            found.append(start)
    return found
