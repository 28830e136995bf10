"""The compiled module itself: no input takes the process down."""

from __future__ import annotations

import contextlib
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import PackedChunk
from melodex.matching.engine import _kernel
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts().numbers
REFUSED = (ValueError, TypeError, OverflowError, IndexError)

lengths = st.one_of(
    st.binary(max_size=40),
    st.lists(st.integers(0, 40), max_size=40).map(
        lambda many: struct.pack(f"<{len(many)}I", *sorted(many, reverse=True))
    ),
    st.lists(st.integers(0, 2**32 - 1), max_size=3).map(
        lambda many: struct.pack(f"<{len(many)}I", *many)
    ),
)
columns = st.binary(max_size=70)
numbers = st.one_of(
    st.just(COSTS),
    st.lists(st.integers(-300, 300), max_size=14).map(tuple),
    st.tuples(*[st.integers(0, 255)] * 4, *[st.integers(-255, 0)] * 8, st.just(-1)),
)


def attempt(function: object, *arguments: object) -> None:
    """Call with anything: an answer or a refusal, never a crash."""
    with contextlib.suppress(*REFUSED):
        function(*arguments)  # type: ignore[operator]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=600), lengths, columns, columns, numbers)
def test_bounds_survive_any_bytes(
    notes: bytes, sizes: bytes, pitch: bytes, classes: bytes, costs: tuple[int, ...]
) -> None:
    attempt(_kernel.bounds, notes, sizes, pitch, classes, costs)
    attempt(_kernel.bounds, notes, sizes, pitch, pitch, costs)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(columns, columns), max_size=5), columns, numbers, st.booleans())
def test_best_and_trace_survive_any_bytes(
    tunes: list[tuple[bytes, bytes]],
    query: bytes,
    costs: tuple[int, ...],
    equal: bool,
) -> None:
    if equal:
        tunes = [(pitch, pitch) for pitch, _ in tunes]
    attempt(_kernel.best, tunes, query, query, costs, len(query) - 30)
    for pitch, classes in tunes:
        attempt(_kernel.trace, query, query, pitch, classes, len(query) - 30, costs)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=600), lengths, columns, st.integers(-2, 300))
def test_other_calls_survive_any_bytes(
    notes: bytes, sizes: bytes, pattern: bytes, number: int
) -> None:
    attempt(_kernel.holding, notes, sizes, pattern, pattern)
    attempt(_kernel.holding, notes, sizes, pattern, bytes([abs(number) % 256, 2]))
    attempt(_kernel.contours, notes, sizes, pattern, number, 3, 4)
    attempt(_kernel.notes_at, notes, sizes, number)
    attempt(_kernel.select, notes, number, 400)
    attempt(_kernel.histogram, [notes, sizes], number)


@pytest.mark.parametrize("entry", [None, 3, (b"a",), (b"a", b"b", b"c"), ("a", "b"), []])
def test_tunes_of_the_wrong_shape_are_refused(entry: object) -> None:
    with pytest.raises(TypeError):
        _kernel.best([(b"ab", b"ab"), entry], b"ab", b"ab", COSTS, 0)  # type: ignore[list-item]


def test_columns_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        _kernel.best([(b"ab", b"a")], b"ab", b"ab", COSTS, 0)
    with pytest.raises(ValueError, match="do not fit"):
        _kernel.trace(b"ab", b"ab", b"abc", b"a", 0, COSTS)


def test_lengths_that_claim_more_than_there_is_are_refused(
    walks: list[PackedChunk],
) -> None:
    chunk = walks[0]
    for notes, sizes in (
        (chunk.notes[:-1], chunk.lengths),
        (chunk.notes, chunk.lengths[:-1]),
        (chunk.notes, struct.pack("<2I", 1, 2)),
        (chunk.notes, struct.pack("<1I", 2**32 - 1)),
    ):
        with pytest.raises(ValueError, match="do not fit"):
            _kernel.bounds(notes, sizes, b"ab", b"ab", COSTS)
        with pytest.raises(ValueError, match="do not fit"):
            _kernel.holding(notes, sizes, b"ab", bytes([1, 2]))


@pytest.mark.parametrize(
    ("figure", "parts"),
    [
        (b"a", bytes([0, 2])),
        (bytes(65), bytes([64, 65])),
        (b"abc", bytes([3, 2])),
        (b"abc", bytes([1, 3])),
        (b"abc", bytes([2, 1])),
        (b"abc", bytes([2])),
    ],
)
def test_parts_that_no_figure_has_are_refused(
    walks: list[PackedChunk], figure: bytes, parts: bytes
) -> None:
    with pytest.raises(ValueError, match="2 to 64 notes"):
        _kernel.holding(walks[0].notes, walks[0].lengths, figure, parts)


def test_buffers_of_any_kind_are_taken(walks: list[PackedChunk]) -> None:
    chunk = walks[0]
    plain = _kernel.bounds(chunk.notes, chunk.lengths, b"<>@", bytes(3), COSTS)
    viewed = _kernel.bounds(
        memoryview(bytearray(chunk.notes)),  # type: ignore[arg-type]
        bytearray(chunk.lengths),  # type: ignore[arg-type]
        b"<>@",
        bytes(3),
        COSTS,
    )
    assert plain == viewed
