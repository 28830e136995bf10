"""The recurrences of the numpy engine: bounds and exact points of tunes side by side.

Conventions: all arrays are of shape (rows, lanes). Lanes are tunes side by side
(for the bound) or transpositions of tunes (for exact points); rows are the notes
of the phrase. Work goes along anti-diagonals: on diagonal d, row i stands for
phrase note i against tune note d - i, so that a row needs only diagonals before.
Points are unsigned and never fall below 0; ``max(x, cost) - cost`` subtracts
without running below. Intervals are kept modulo 256; :data:`NEVER` is no
interval between two MIDI pitches and marks where a tune has no note.

How the bound works. A pair of notes that agree under some transposition is
followed by another pair that agrees under the same one exactly when the interval
between the two phrase notes equals that between the two tune notes. So no
transposition has to be stored to continue a match from one cell to the next, or
across one error (a mismatch, a note left out of either melody), where the
intervals to compare span two steps on one side or both; they also tell what a
mismatch costs, and a second one after it. After two or more errors in a row
nothing is compared: the match may go on under any transposition. Every true
alignment follows this path and is charged no more here than there, so the result
can only be too high, never too low.

Contents: ABSENT, NEVER, Bytes, bounds_of_lanes, points_of_lanes, held_in_lanes,
stretches_of_lanes, contours_of_lanes.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import groupby
from typing import Any

import numpy as np
import numpy.typing as npt

from melodex.matching.query import EncodedQuery
from melodex.settings import NEAR_SEMITONES, AlignmentCosts

__all__ = [
    "ABSENT",
    "NEVER",
    "Bytes",
    "bounds_of_lanes",
    "contours_of_lanes",
    "held_in_lanes",
    "points_of_lanes",
    "stretches_of_lanes",
]

Bytes = npt.NDArray[np.uint8]
Points = npt.NDArray[np.unsignedinteger[Any]]

NEVER = 128
NEAR_BYTE, TWICE_NEAR = np.uint8(NEAR_SEMITONES), np.uint8(2 * NEAR_SEMITONES)
ABSENT = 127
"""Length class where a tune has no note: pairs there bring nothing."""


def skewed(values: Bytes, rows: int, fill: int) -> Bytes:
    """Tune rows in reverse, with room on both sides, so that a diagonal is a slice."""
    notes, lanes = values.shape
    laid = np.full((notes + 2 * (rows - 1), lanes), fill, np.uint8)
    laid[rows - 1 : rows - 1 + notes] = values[::-1]
    return laid


def intervals(pitch: Bytes, lengths: npt.NDArray[np.int64], step: int) -> Bytes:
    """Interval of each note to the one so many notes before, NEVER where there is none."""
    found = np.full_like(pitch, NEVER)
    if len(pitch) > step:
        found[step:] = pitch[step:] - pitch[:-step]
    found[np.arange(len(pitch))[:, None] >= lengths] = NEVER
    return found


def query_rows(query: EncodedQuery, step: int, lanes: int) -> Bytes:
    """Intervals of the phrase, one row per note, the same in every lane."""
    pitch = np.frombuffer(query.pitch, np.uint8)
    found = np.full(len(pitch), NEVER, np.uint8)
    found[step:] = pitch[step:] - pitch[:-step]
    return np.repeat(found[:, None], lanes, axis=1)


@lru_cache(maxsize=256)
def lookup_of(wanted: int, table: tuple[int, ...], fill: int) -> bytes:
    """Points of one row of the costs by the length class of the tune note."""
    found = bytearray([fill]) * 256
    for other in range(-128, 128):
        if other & 0xFF != ABSENT:
            found[other & 0xFF] = table[AlignmentCosts.relation(wanted, other)]
    return bytes(found)


def relation_tables(
    classes: Bytes, query: EncodedQuery, tables: Sequence[tuple[int, ...]]
) -> dict[int, list[Bytes]]:
    """For each length class in the phrase, points against every tune note, skewed.

    Of the tables, the first are gains and the others costs: beyond its ends a
    tune is as if it had absent notes, which gain nothing and cost everything.
    """
    laid = skewed(classes, query.note_count, ABSENT)
    # Translating bytes is the fastest table look-up there is here.
    text, shape = laid.tobytes(), laid.shape
    return {
        wanted: [
            np.frombuffer(
                text.translate(lookup_of(wanted, table, 255 if place else 0)), np.uint8
            ).reshape(shape)
            for place, table in enumerate(tables)
        ]
        for wanted in set(query.classes)
    }


def runs(values: Sequence[int]) -> list[tuple[int, int, int]]:
    """Stretches of equal values: value, start, end."""
    found: list[tuple[int, int, int]] = []
    for place, value in enumerate(values):
        if found and found[-1][0] == value:
            found[-1] = (value, found[-1][1], place + 1)
        else:
            found.append((value, place, place + 1))
    return found


def cost_of_mismatch(
    apart: Bytes, near: Points, far: Points, truth: Any, mask: Any, cost: Any
) -> None:
    """Near costs where pitches lie near, else far costs; ``apart`` is used up."""
    np.add(apart, NEAR_BYTE, out=apart)
    np.less_equal(apart, TWICE_NEAR, out=truth)
    np.negative(truth.view(np.uint8), out=mask, dtype=mask.dtype)
    np.bitwise_xor(near, far, out=cost)
    np.bitwise_and(cost, mask, out=cost)
    np.bitwise_xor(cost, far, out=cost)


def lose(values: Any, cost: Any, out: Any) -> None:
    """Subtract a cost without running below 0."""
    np.maximum(values, cost, out=out)
    np.subtract(out, cost, out=out)


def points_type(query: EncodedQuery, costs: AlignmentCosts) -> type[np.uint8 | np.uint16]:
    """The narrowest numbers that hold every total and every cost."""
    dearest = -min(*costs.near_pitch, *costs.far_pitch, costs.gap)
    most = query.note_count * costs.best_pair
    return np.uint8 if max(most, dearest) <= 255 else np.uint16


# The two loops below are numerical kernels: one step per line, in the order of
# the recurrence, longer than other functions for that reason.


def bounds_of_lanes(
    pitch: Bytes,
    classes: Bytes,
    lengths: npt.NDArray[np.int64],
    query: EncodedQuery,
    costs: AlignmentCosts,
) -> npt.NDArray[np.uint16]:
    """Upper bounds of tunes side by side; see the module for the three states."""
    rows, (notes, lanes) = query.note_count, pitch.shape
    kind = points_type(query, costs)
    one_step = skewed(intervals(pitch, lengths, 1), rows, NEVER)
    two_steps = skewed(intervals(pitch, lengths, 2), rows, NEVER)
    near_costs = tuple(-points for points in costs.near_pitch)
    far_costs = tuple(-points for points in costs.far_pitch)
    tables = relation_tables(classes, query, (costs.same_pitch, near_costs, far_costs))
    stretches = runs(query.classes)
    wanted_one, wanted_two = query_rows(query, 1, lanes), query_rows(query, 2, lanes)
    gain, near, far, mildest, cost, mask, tmp, best = (
        np.zeros((rows, lanes), kind) for _ in range(8)
    )
    gap = np.full((rows, lanes), -costs.gap, kind)
    bytes_apart = np.zeros((rows, lanes), np.uint8)
    truth = np.zeros((rows, lanes), np.bool_)
    # Four diagonals of each state: the cell itself, and one and two notes of the
    # phrase before it. Two rows of nothing on top stand for "before the phrase".
    matched, mismatched, free, loose, erring, gapped = (
        [shifts(np.zeros((rows + 2, lanes), kind)) for _ in range(4)] for _ in range(6)
    )
    for diagonal in range(notes + rows - 1):
        now, back1, back2, back3 = ((diagonal - k) % 4 for k in range(4))
        first = notes + rows - 2 - diagonal
        for value, start, end in stretches:
            part = slice(first + start, first + end)
            for target, table in zip((gain, near, far), tables[value], strict=True):
                target[start:end] = table[part]
        np.minimum(near, far, out=mildest)
        tune_one = one_step[first : first + rows]
        tune_two = two_steps[first : first + rows]
        new = matched[now][0]
        np.copyto(new, free[back2][1])
        for wanted, there, source in (
            (wanted_one, tune_one, matched[back2][1]),
            (wanted_two, tune_two, mismatched[back2][1]),
            (wanted_one, tune_two, gapped[back3][1]),
            (wanted_two, tune_one, gapped[back3][2]),
        ):
            np.equal(wanted, there, out=truth)
            np.negative(truth.view(np.uint8), out=mask, dtype=kind)
            np.bitwise_and(source, mask, out=tmp)
            np.maximum(new, tmp, out=new)
        np.add(new, gain, out=new)
        np.maximum(best, new, out=best)
        lose(new, gap, gapped[now][0])
        # How far apart a mismatched pair is follows from the interval to the last
        # match, one step back or two.
        one_error, more = mismatched[now][0], free[now][0]
        np.subtract(tune_one, wanted_one, out=bytes_apart)
        cost_of_mismatch(bytes_apart, near, far, truth, mask, cost)
        lose(matched[back2][1], cost, one_error)
        np.subtract(tune_two, wanted_two, out=bytes_apart)
        cost_of_mismatch(bytes_apart, near, far, truth, mask, cost)
        lose(mismatched[back2][1], cost, more)
        lose(loose[back2][1], mildest, tmp)
        np.maximum(more, tmp, out=more)
        np.maximum(erring[back1][1], erring[back1][0], out=tmp)
        lose(tmp, gap, tmp)
        np.maximum(more, tmp, out=more)
        unmatched = loose[now][0]
        np.maximum(gapped[back1][1], gapped[back1][0], out=unmatched)
        np.maximum(unmatched, more, out=unmatched)
        np.maximum(unmatched, one_error, out=erring[now][0])
    return np.asarray(best.max(axis=0), np.uint16)


def shifts(state: Any) -> tuple[Any, Any, Any]:
    """Rows of a diagonal as they are, and from one and two phrase notes before."""
    return state[2:], state[1:-1], state[:-2]


def moved_lanes(
    batch: Sequence[tuple[int, int]],
    tunes: Sequence[tuple[bytes, bytes]],
    query: EncodedQuery,
) -> tuple[Bytes, Bytes]:
    """Tunes moved under the phrase, pitches clipped to just beyond what it uses."""
    low = min(query.pitch) - NEAR_SEMITONES - 1
    high = max(query.pitch) + NEAR_SEMITONES + 1
    pitch = np.full((len(tunes[batch[0][0]][0]), len(batch)), high - low, np.uint8)
    classes = np.full(pitch.shape, ABSENT, np.uint8)
    lane = 0
    for index, group in groupby(batch, key=lambda entry: entry[0]):
        moves = np.asarray([move for _, move in group], np.int16)
        notes = np.frombuffer(tunes[index][0], np.uint8).astype(np.int16)
        side = slice(lane, lane + len(moves))
        moved = np.minimum(np.maximum(notes[:, None] - moves, low), high) - low
        pitch[: len(notes), side] = moved
        classes[: len(notes), side] = np.frombuffer(tunes[index][1], np.uint8)[:, None]
        lane += len(moves)
    return pitch, classes


def points_of_lanes(
    batch: Sequence[tuple[int, int]],
    tunes: Sequence[tuple[bytes, bytes]],
    query: EncodedQuery,
    costs: AlignmentCosts,
) -> list[int]:
    """Exact local alignment points of (tune, transposition) lanes, longest tune first."""
    pitch, classes = moved_lanes(batch, tunes, query)
    rows, (notes, lanes) = query.note_count, pitch.shape
    kind = points_type(query, costs)
    low = min(query.pitch) - NEAR_SEMITONES - 1
    wanted = np.frombuffer(query.pitch, np.uint8).astype(np.int16) - low
    wanted_rows = np.repeat(wanted.astype(np.uint8)[:, None], lanes, axis=1)
    pitches = skewed(pitch, rows, 0)
    tables = relation_tables(
        classes,
        query,
        (
            costs.same_pitch,
            tuple(-points for points in costs.near_pitch),
            tuple(-points for points in costs.far_pitch),
        ),
    )
    stretches = runs(query.classes)
    gain, near, far = (np.zeros((rows, lanes), kind) for _ in range(3))
    gap = np.full((rows, lanes), -costs.gap, kind)
    hit, apart = np.zeros((rows, lanes), np.bool_), np.zeros((rows, lanes), np.uint8)
    mask, cost = np.zeros((rows, lanes), kind), np.zeros((rows, lanes), kind)
    best = np.zeros((rows, lanes), kind)
    truth = hit.view(np.uint8)
    points = [np.zeros((rows + 1, lanes), kind) for _ in range(3)]
    for diagonal in range(notes + rows - 1):
        now, back1, back2 = (points[(diagonal - k) % 3] for k in range(3))
        first = notes + rows - 2 - diagonal
        for value, start, end in stretches:
            part = slice(first + start, first + end)
            for target, table in zip((gain, near, far), tables[value], strict=True):
                target[start:end] = table[part]
        there, new = pitches[first : first + rows], now[1:]
        np.subtract(there, wanted_rows, out=apart)
        cost_of_mismatch(apart, near, far, hit, mask, cost)
        # Nothing is lost, and something won, where pitches agree.
        np.equal(there, wanted_rows, out=hit)
        np.negative(truth, out=mask, dtype=kind)
        np.bitwise_and(gain, mask, out=gain)
        np.invert(mask, out=mask)
        np.bitwise_and(cost, mask, out=cost)
        lose(back2[:-1], cost, new)
        np.add(new, gain, out=new)
        np.maximum(back1[:-1], back1[1:], out=cost)
        lose(cost, gap, cost)
        np.maximum(new, cost, out=new)
        np.maximum(best, new, out=best)
    return [int(value) for value in best.max(axis=0)]


def held_in_lanes(pitch: Bytes, lengths: npt.NDArray[np.int64], figure: bytes) -> Bytes:
    """How well each lane holds a figure: 2 exactly, 1 with one note changed."""
    size = len(figure)
    windows = len(pitch) - size + 1
    if windows < 1:
        return np.zeros(len(lengths), np.uint8)
    inside = np.arange(windows)[:, None] < lengths - size + 1
    apart = [pitch[k : k + windows] - np.uint8(value) for k, value in enumerate(figure)]
    changed = sum((row != apart[0]).astype(np.uint8) for row in apart[1:])
    rest = sum((row != apart[1]).astype(np.uint8) for row in apart[2:])
    exact = ((changed == 0) & inside).any(axis=0)
    near = (((changed <= np.uint8(1)) | (rest == np.uint8(0))) & inside).any(axis=0)
    return np.where(exact, 2, near).astype(np.uint8)


def stretches_of_lanes(
    pitch: Bytes, lengths: npt.NDArray[np.int64], own: bytes, worth: bytes, loss: int
) -> Bytes:
    """Points of the best stretch that each lane has in common with an own tune.

    Row by row of the own tune: a step alike adds its worth to the points of the notes
    before; over one or two notes that differ, the points less the loss of each go on.
    """
    notes, lanes = pitch.shape
    apart = {step: intervals(pitch, lengths, step) for step in (1, 2, 3)}
    rows = [np.zeros((notes + 3, lanes), np.uint8) for _ in range(4)]
    best = np.zeros(lanes, np.uint8)
    for k in range(1, len(own)):
        now = rows[k % 4][3:]
        gain = worth[k]
        was = np.minimum(rows[(k - 1) % 4][2:-1], np.uint8(255 - gain)) + np.uint8(gain)
        same = apart[1] == np.uint8((own[k] - own[k - 1]) & 0xFF)
        now[:] = np.where(same, was, np.uint8(0))
        for changed in range(1, min(2, k - 1) + 1):
            step, cost = changed + 1, np.uint8(min(changed * loss, 255))
            ago = rows[(k - step) % 4][3 - step : -step]
            same = apart[step] == np.uint8((own[k] - own[k - step]) & 0xFF)
            np.maximum(now, np.where(same, np.maximum(ago, cost) - cost, 0), out=now)
        np.maximum(best, now.max(axis=0), out=best)
    return best


def contours_of_lanes(
    pitch: Bytes, lengths: npt.NDArray[np.int64], signs: bytes, costs: AlignmentCosts
) -> npt.NDArray[np.uint16]:
    """Exact local alignment points of signs against the steps of each lane."""
    rows, (notes, lanes) = len(signs), pitch.shape
    steps = np.full(pitch.shape, NEVER, np.uint8)
    steps[1:] = 1 + (pitch[1:] > pitch[:-1]) - (pitch[1:] < pitch[:-1])
    steps[np.arange(notes)[:, None] >= lengths] = NEVER
    laid = skewed(steps, rows, NEVER)
    wanted = np.repeat(np.frombuffer(signs, np.uint8)[:, None], lanes, axis=1)
    shape = (rows, lanes)
    same = np.full(shape, costs.same_pitch[3], np.uint16)
    other = np.full(shape, -costs.far_pitch[3], np.uint16)
    gap = np.full(shape, -costs.gap, np.uint16)
    best, tmp = np.zeros(shape, np.uint16), np.zeros(shape, np.uint16)
    points = [np.zeros((rows + 1, lanes), np.uint16) for _ in range(3)]
    for diagonal in range(notes + rows - 1):
        now, back1, back2 = (points[(diagonal - k) % 3] for k in range(3))
        first = notes + rows - 2 - diagonal
        hit = laid[first : first + rows] == wanted
        new = now[1:]
        lose(back2[:-1], other, new)
        np.add(back2[:-1], same, out=new, where=hit)
        np.maximum(back1[:-1], back1[1:], out=tmp)
        lose(tmp, gap, tmp)
        np.maximum(new, tmp, out=new)
        np.maximum(best, new, out=best)
    return np.asarray(best.max(axis=0), np.uint16)
