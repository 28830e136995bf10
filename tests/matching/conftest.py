"""Melodies, phrases, costs and corpora for the matching tests, and both engines."""

from __future__ import annotations

import random
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from hypothesis import strategies as st

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack
from melodex.matching.engine.choice import ENGINE_VARIABLE, Engine, engine
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts


def bytes_of(values: list[int]) -> bytes:
    return bytes(value & 0xFF for value in values)


def notes_of(pairs: list[tuple[int, int]]) -> tuple[bytes, bytes]:
    return bytes_of([p for p, _ in pairs]), bytes_of([c for _, c in pairs])


# Few values, so that chance agreements, ties and repeated notes are common.
narrow = st.tuples(st.integers(60, 66), st.integers(-2, 1))
wide = st.tuples(st.integers(0, 127), st.sampled_from([-128, -12, -1, 0, 1, 12]))
note = st.one_of(narrow, wide)
tunes = st.one_of(st.lists(narrow, max_size=30), st.lists(note, max_size=30)).map(notes_of)
queries = (
    st.one_of(
        st.lists(narrow, min_size=2, max_size=12), st.lists(note, min_size=2, max_size=12)
    )
    .map(notes_of)
    .map(lambda columns: EncodedQuery(*columns))
)
corpora = st.lists(tunes, max_size=70).map(
    lambda many: pack(
        [
            TuneNotes(f"{7919 * n % 9973:012x}0000", *columns)
            for n, columns in enumerate(many)
        ]
    )
)
gains = st.tuples(*[st.integers(0, 7)] * 4).filter(any)
errors = st.tuples(*[st.integers(-9, 0)] * 4)
costs = st.one_of(
    st.just(AlignmentCosts()),
    st.builds(AlignmentCosts, gains, errors, errors, st.integers(-9, -1)),
)


@pytest.fixture(scope="session")
def drawn() -> SimpleNamespace:
    """The strategies, by name."""
    return SimpleNamespace(tunes=tunes, queries=queries, corpora=corpora, costs=costs)


def walk(seed: int, length: int) -> tuple[bytes, bytes]:
    """A melody that moves by steps and small leaps."""
    dice = random.Random(seed)
    pitch, pitches, classes = 67, [], []
    for _ in range(length):
        pitch = min(max(pitch + dice.choice([-4, -2, -1, 0, 0, 1, 2, 3, 5, -5]), 50), 86)
        pitches.append(pitch)
        classes.append(dice.choice([-2, -2, -2, 0, 0, 1, 2]))
    return notes_of(list(zip(pitches, classes, strict=True)))


@pytest.fixture(scope="session")
def melody() -> Callable[[int, int], tuple[bytes, bytes]]:
    return walk


@pytest.fixture(scope="session")
def walks() -> list[PackedChunk]:
    """Three chunks of 200 invented melodies each."""
    tunes = [TuneNotes(f"{n * 104729:012x}0000", *walk(n, 20 + n % 70)) for n in range(600)]
    return [pack(tunes[start : start + 200]) for start in (0, 200, 400)]


@pytest.fixture(params=["numpy", "c"])
def each_engine(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Engine:
    """Each engine in turn; the compiled one must be there for the tests to pass."""
    monkeypatch.setenv(ENGINE_VARIABLE, request.param)
    found = engine()
    assert found.name == request.param
    return found
