"""Tunes drawn by their ids: the same however they lie, and one at a time."""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from melodex.corpus.chunks import PackedChunk, TuneNotes, pieces_in, verify
from melodex.corpus.packing import pack, unpack
from melodex.matching.chance.drawing import (
    drawn_chunks,
    drawn_ids,
    drawn_ids_and_tunes,
    drawn_tunes,
    without_lines,
)
from melodex.matching.chance.sample import measure_null, seed_of
from melodex.matching.engine import _kernel
from melodex.matching.engine.compiled import CompiledEngine
from melodex.matching.engine.numpy_engine import NumpyEngine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts()
QUERY = EncodedQuery(bytes([60, 64, 67, 65, 64, 62, 69, 67]), bytes(8))


def tunes(count: int, seed: int = 1) -> list[TuneNotes]:
    """Tunes of 5 to 60 notes whose ids are digests, as those of a corpus are."""
    dice = Random(seed)
    found = []
    for number in range(count):
        line = [67]
        for _ in range(dice.randrange(4, 60)):
            line.append(min(90, max(48, line[-1] + dice.choice([-4, -2, -1, 1, 2, 3, 5]))))
        name = hashlib.sha256(f"{seed} {number}".encode()).hexdigest()[:16]
        found.append(
            TuneNotes(name, bytes(line), bytes(dice.choices(range(5), k=len(line))))
        )
    return found


def laid(some: list[TuneNotes], seed: int) -> list[PackedChunk]:
    """The tunes in chunks of any sizes, in any order."""
    mixed, dice, chunks = list(some), Random(seed), []
    dice.shuffle(mixed)
    while mixed:
        size = dice.choice([1, 7, 40, 300])
        chunks.append(pack(mixed[:size]))
        mixed = mixed[size:]
    return chunks


@pytest.mark.parametrize("count", [1, 20, 100, 400, 900])
def test_what_is_drawn_does_not_depend_on_where_tunes_lie(count: int) -> None:
    some = tunes(400)
    first = drawn_tunes(laid(some, 1), 7, count)
    assert len(first) == min(count, 400)
    assert all(first == drawn_tunes(laid(some, seed), 7, count) for seed in range(2, 6))
    searched = drawn_chunks(laid(some, 3), 7, count)
    held = {tune.tune_id for chunk in searched for tune in unpack(chunk)}
    assert held == {tune_id.hex() for tune_id, _ in first}


def test_ids_and_tunes_drawn_at_once_are_those_drawn_apart() -> None:
    # One of them has no notes: its id is drawn, and no tune.
    chunks = laid([*tunes(60), TuneNotes("0" * 16, b"", b"")], 1)
    ids, drawn = drawn_ids_and_tunes(chunks, 7, 61)
    assert (ids, drawn) == (drawn_ids(chunks, 7, 61), drawn_tunes(chunks, 7, 61))
    assert (len(ids) // 8, len(drawn)) == (61, 60)
    one, _ = drawn_ids_and_tunes(chunks, 7, 1)
    assert len(one) == 8


def test_the_null_of_a_phrase_does_not_depend_on_where_tunes_lie(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # So few that the search for the phrase read backwards draws as well.
    monkeypatch.setattr("melodex.matching.chance.sample.SEARCHED_TUNES", 700)
    some, found = tunes(1200), []
    for seed in range(3):
        chunks = laid(some, seed)
        hits = search(chunks, QUERY, limit=100, costs=COSTS)
        found.append(measure_null(chunks, QUERY, COSTS, hits))
    assert found[0] == found[1] == found[2]
    assert found[0].turned is not None
    assert found[0].turned.best is not None
    assert found[0].turned.best.tune_count == 700


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**64 - 1), st.integers(0, 299), st.integers(1, 200))
def test_a_tune_less_changes_at_most_one_that_is_drawn(
    seed: int, gone: int, count: int
) -> None:
    some = tunes(300)
    whole = {tune_id for tune_id, _ in drawn_tunes([pack(some)], seed, count)}
    fewer = [tune for place, tune in enumerate(some) if place != gone]
    left = {tune_id for tune_id, _ in drawn_tunes([pack(fewer)], seed, count)}
    lost = whole - left
    assert lost == whole & {bytes.fromhex(some[gone].tune_id)}
    assert len(left - whole) == len(lost)


def test_every_tune_is_drawn_as_often_as_any_other() -> None:
    # Chi-squared over 2,000 seeds; ids that follow each other are drawn as evenly.
    some = [TuneNotes(f"{n:012x}0000", b"<>", b"..") for n in range(64)]
    chunk, seen = pack(some), dict.fromkeys(range(64), 0)
    for seed in range(2000):
        for tune_id, _ in drawn_tunes([chunk], seed, 16):
            seen[int(tune_id.hex()[:12], 16)] += 1
    # Without replacement counts spread a little less than independent ones would.
    assert stats.chisquare(list(seen.values())).pvalue > 0.001


def test_a_phrase_is_given_the_same_sample_in_every_key() -> None:
    moved = EncodedQuery(bytes(pitch + 5 for pitch in QUERY.pitch), QUERY.length_class)
    assert seed_of(moved) == seed_of(QUERY)
    assert seed_of(QUERY.reversed()) != seed_of(QUERY)


@pytest.mark.parametrize("seed", [0, 1, 2**63, 2**64 - 1])
@pytest.mark.parametrize("count", [1, 50, 5000])
def test_both_engines_draw_and_gather_the_same(seed: int, count: int) -> None:
    chunks = laid(tunes(500), 4)
    ids = [chunk.tune_ids for chunk in chunks]
    drawn = CompiledEngine().drawn(ids, seed, count)
    assert drawn == NumpyEngine().drawn(ids, seed, count)
    assert sum(map(len, drawn)) == min(count, 500)
    for chunk in chunks:
        verify(chunk)
    parts = [(chunk, places) for chunk, places in zip(chunks, drawn, strict=True) if places]
    assert CompiledEngine().gathered(parts) == NumpyEngine().gathered(parts)


# The constants of SplitMix64 and its last step are those of Steele, Lea and Flood (2014);
# the first output of the generator from seed 0 is the last step of 0x9E3779B97F4A7C15,
# 0xE220A8397B1DCDAF (from memory, as printed with many implementations).
def test_ids_are_scattered_by_the_published_function() -> None:
    import numpy as np

    from melodex.matching.engine.numpy_engine import scattered

    one = scattered(np.asarray([0x9E3779B97F4A7C15], np.uint64))
    assert int(one[0]) == 0xE220A8397B1DCDAF


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.binary(max_size=60)] * 3, st.lists(st.integers(0, 2**32 - 1))),
        max_size=4,
    ),
    st.lists(st.binary(max_size=40), max_size=5),
    st.integers(0, 2**64 - 1),
    st.integers(-2, 50),
)
def test_drawing_and_gathering_survive_any_bytes(
    parts: list[tuple[bytes, bytes, bytes, list[int]]],
    ids: list[bytes],
    seed: int,
    count: int,
) -> None:
    with contextlib.suppress(ValueError):
        assert len(_kernel.drawn(ids, seed, count)) == len(ids)
    given_ = [
        (*part[:3], b"".join(p.to_bytes(4, "little") for p in part[3])) for part in parts
    ]
    with contextlib.suppress(ValueError):
        _kernel.gathered(given_)  # type: ignore[arg-type]


def test_lines_are_taken_out_of_chunks_and_damage_is_left_to_the_search() -> None:
    lines = [
        TuneNotes(f"{n:012x}0000", bytes([60 + n % 9] * 8), bytes(8), piece=str(n // 4))
        for n in range(40)
    ]
    chunk = pack(lines)
    hidden = frozenset(
        tune.tune_id for tune in lines if int(tune.tune_id[:12], 16) % 4 != 2
    )
    (kept,) = without_lines([chunk], hidden)
    assert kept.tune_count == 10
    assert verify(kept)
    assert pieces_in(kept) == 10
    damaged = replace(chunk, checksum=chunk.checksum ^ 1)
    torn = replace(chunk, tune_ids=None)  # type: ignore[arg-type]
    assert without_lines([damaged, torn], hidden) == [damaged, torn]


def scattered(value: int) -> int:
    """The last step of SplitMix64, by the arithmetic of whole numbers."""
    value = (value ^ value >> 30) * 0xBF58476D1CE4E5B9 % 2**64
    value = (value ^ value >> 27) * 0x94D049BB133111EB % 2**64
    return value ^ value >> 31


@pytest.mark.parametrize("engine", [CompiledEngine(), NumpyEngine()], ids=["c", "numpy"])
def test_what_is_drawn_hangs_on_the_digits_that_ids_always_had(
    engine: CompiledEngine | NumpyEngine,
) -> None:
    """Ids of 64 bits bring the samples that ids of 48 bits brought."""
    dice = Random(11)
    ids = sorted({dice.randbytes(8) for _ in range(400)})
    for seed, count in ((0, 1), (7, 50), (2**64 - 1, 399), (3, 400)):
        key = scattered(seed)
        order = sorted(
            range(len(ids)), key=lambda at: scattered(int.from_bytes(ids[at][:6]) ^ key)
        )
        (places,) = engine.drawn([b"".join(ids)], seed, count)
        assert places == sorted(order[:count])


@pytest.mark.parametrize("engine", [CompiledEngine(), NumpyEngine()], ids=["c", "numpy"])
def test_of_ids_that_agree_in_those_digits_the_others_decide(
    engine: CompiledEngine | NumpyEngine,
) -> None:
    dice = Random(12)
    heads = [dice.randbytes(6) for _ in range(9)]
    ids = [head + bytes([0, tail]) for head in heads for tail in range(7)]
    dice.shuffle(ids)
    parts = [b"".join(ids[:20]), b"".join(ids[20:21]), b"".join(ids[21:])]
    for count in range(1, len(ids) + 1):
        found = engine.drawn(parts, 5, count)
        assert sum(map(len, found)) == count
        drawn = [
            part[8 * at : 8 * at + 8]
            for part, places in zip(parts, found, strict=True)
            for at in places
        ]
        torn = [head for head in heads if 0 < sum(i[:6] == head for i in drawn) < 7]
        assert len(torn) <= 1
        for head in torn:
            tails = sorted(i[7] for i in drawn if i[:6] == head)
            assert tails == list(range(len(tails)))
