"""Both engines: bounds that hold, and the same results from either."""

from __future__ import annotations

from array import array
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import PackedChunk, verify
from melodex.corpus.packing import unpack
from melodex.errors import SettingsError
from melodex.matching import engine_name
from melodex.matching.contour import CONTOUR_COSTS
from melodex.matching.engine.choice import ENGINE_VARIABLE, engine_called
from melodex.matching.engine.compiled import CompiledEngine
from melodex.matching.engine.numpy_engine import NumpyEngine
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts
from tests.plain.plain_alignment import (
    plain_align,
    plain_contour,
    plain_holding,
    plain_stretch,
)


@pytest.fixture(scope="module")
def both() -> tuple[NumpyEngine, CompiledEngine]:
    return NumpyEngine(), CompiledEngine()


def whole(values: Any) -> list[int]:
    """Bounds of either engine as a list."""
    if isinstance(values, bytes):
        return array("H", values).tolist()
    return values.tolist()


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_bound_is_never_below_the_points_of_any_alignment(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    query, chunk = data.draw(drawn.queries), data.draw(drawn.corpora)
    costs = data.draw(drawn.costs)
    counts = verify(chunk)
    bounds = whole(both[1].bounds([chunk], [counts], query, costs)[0])
    assert bounds == whole(both[0].bounds([chunk], [counts], query, costs)[0])
    for tune, bound in zip(unpack(chunk), bounds, strict=True):
        found = plain_align(query, tune.pitch, tune.length_class, costs)
        assert bound >= (found.points if found else 0)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_both_engines_agree_on_points_and_transpositions(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    query, costs = data.draw(drawn.queries), data.draw(drawn.costs)
    tunes = data.draw(st.lists(drawn.tunes, max_size=12))
    fast = both[1].best(tunes, query, costs)
    assert fast == both[0].best(tunes, query, costs)
    for (pitch, classes), (points, move) in zip(tunes, fast, strict=True):
        for worker in both:
            traced = worker.trace(query, pitch, classes, move, costs)
            assert traced == plain_align(query, pitch, classes, costs)
            assert points == (traced.points if traced else 0)


@pytest.mark.parametrize("length", [63, 64, 300])
def test_engines_agree_where_points_need_sixteen_bits(
    length: int,
    melody: object,
    walks: list[PackedChunk],
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    query = EncodedQuery(*melody(3, length))  # type: ignore[operator]
    chunk, costs = walks[0], AlignmentCosts()
    counts = verify(chunk)
    found = [whole(w.bounds([chunk], [counts], query, costs)[0]) for w in both]
    assert found[0] == found[1]
    tunes = [both[1].notes_at(chunk, counts, index) for index in range(12)]
    assert both[0].best(tunes, query, costs) == both[1].best(tunes, query, costs)


@settings(max_examples=40, deadline=None)
@given(data=st.data(), notes=st.sampled_from([20, 70, 140]), dice=st.randoms())
def test_points_that_reach_a_floor_are_those_of_the_whole_tunes(
    data: st.DataObject,
    notes: int,
    dice: Random,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    # A phrase of 70 notes has more points than a byte holds: in itself they are cut off.
    pitch = bytes(dice.choices([60, 62, 64, 65, 67, 72], k=notes))
    query, costs = EncodedQuery(pitch, bytes(notes)), data.draw(drawn.costs)
    rows = [bytes(dice.choices(range(60, 70), k=dice.randrange(90))) for _ in range(40)]
    rows.append(bytes(v + 3 for v in pitch[: notes * dice.randrange(3) // 2]))
    tunes = [(row, bytes(len(row))) for row in rows]
    exact = both[1].best(tunes, query, costs)
    floor = dice.choice(sorted(points for points, _ in exact))
    found = both[1].best(tunes, query, costs, floor)
    for wanted, got, reached in zip(
        exact, found, both[1].reached(tunes, query, costs), strict=True
    ):
        assert reached <= wanted[0]
        assert got == wanted if wanted[0] >= floor else got[0] <= wanted[0]


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_engines_find_figures_as_the_plain_twin_does(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    chunk = data.draw(drawn.corpora)
    pitches = st.integers(60, data.draw(st.integers(60, 66)))
    figure = bytes(data.draw(st.lists(pitches, min_size=2, max_size=7)))
    parts = [
        (last, notes)
        for last in range(1, len(figure))
        for notes in range(2, last + 2)
        if (last, notes) == (len(figure) - 1, len(figure)) or data.draw(st.booleans())
    ]
    expected = [
        bytes(
            plain_holding(tune.pitch, figure[last + 1 - notes : last + 1])
            for tune in unpack(chunk)
        )
        for last, notes in parts
    ]
    assert both[0].holding(chunk, figure, parts) == expected
    assert both[1].holding(chunk, figure, parts) == expected


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_engines_score_contours_as_the_plain_twin_does(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    chunk = data.draw(drawn.corpora)
    signs = data.draw(st.lists(st.integers(0, 2), min_size=2, max_size=10))
    expected = [plain_contour(tune.pitch, signs, CONTOUR_COSTS) for tune in unpack(chunk)]
    for worker in both:
        assert whole(worker.contours(chunk, bytes(signs), CONTOUR_COSTS)) == expected


@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_engines_count_and_select_bounds_alike(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    query, chunk = data.draw(drawn.queries), data.draw(drawn.corpora)
    costs, counts = AlignmentCosts(), verify(chunk)
    top = query.note_count * costs.best_pair
    low = data.draw(st.integers(0, top))
    found = []
    for worker in both:
        bounds = worker.bounds([chunk, chunk], [counts, counts], query, costs)
        histogram = worker.histogram(bounds, top + 1)
        assert sum(histogram) == 2 * chunk.tune_count
        found.append((histogram, worker.select(bounds[1], low, top)))
    assert found[0] == found[1]
    assert len(found[0][1]) == sum(found[0][0][low:]) // 2


@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_engines_take_one_tune_out_of_a_chunk_alike(
    data: st.DataObject,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    chunk = data.draw(drawn.corpora)
    counts = verify(chunk)
    for index, tune in enumerate(unpack(chunk)):
        for worker in both:
            found = worker.notes_at(chunk, counts, index)
            assert found == (tune.pitch, tune.length_class)


def test_the_environment_chooses_the_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("c", "numpy"):
        monkeypatch.setenv(ENGINE_VARIABLE, name)
        assert engine_name() == name
    monkeypatch.setenv(ENGINE_VARIABLE, "abacus")
    with pytest.raises(SettingsError, match="no engine 'abacus'"):
        engine_name()


def test_without_the_compiled_module_numpy_serves(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "melodex.matching.engine.compiled", None)
    engine_called.cache_clear()
    try:
        monkeypatch.delenv(ENGINE_VARIABLE, raising=False)
        assert engine_name() == "numpy"
        monkeypatch.setenv(ENGINE_VARIABLE, "c")
        with pytest.raises(SettingsError, match="not installed"):
            engine_name()
    finally:
        engine_called.cache_clear()


@settings(max_examples=60, deadline=None)
@given(data=st.data(), loss=st.integers(0, 9), wide=st.booleans())
def test_engines_find_stretches_as_the_plain_twin_does(
    data: st.DataObject,
    loss: int,
    wide: bool,
    drawn: SimpleNamespace,
    both: tuple[NumpyEngine, CompiledEngine],
) -> None:
    own, chunk = data.draw(drawn.queries).pitch, data.draw(drawn.corpora)
    # Worths that add up to more than a byte holds are cut off there.
    worths = st.lists(
        st.integers(0, 90 if wide else 12), min_size=len(own), max_size=len(own)
    )
    worth = bytes(data.draw(worths))
    found = [worker.stretches(chunk, own, worth, loss) for worker in both]
    exact = [plain_stretch(own, worth, tune.pitch, loss) for tune in unpack(chunk)]
    assert found[0] == found[1]
    if max(exact, default=0) <= 255:
        assert list(found[0]) == exact
