"""Packed chunks: what goes in comes out, and damage is seen."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.corpus.chunks import (
    PackedChunk,
    TuneNotes,
    firsts_of,
    into_range,
    leads_of,
    lines_led,
    notes_at,
    verify,
)
from melodex.corpus.packing import pack, unpack
from melodex.errors import DamagedCorpusError


def tune_of(number: int, notes: list[tuple[int, int]]) -> TuneNotes:
    return TuneNotes(
        f"{number:012x}0000",
        bytes(pitch for pitch, _ in notes),
        bytes(length & 0xFF for _, length in notes),
    )


note_lists = st.lists(st.tuples(st.integers(0, 127), st.integers(-128, 12)), max_size=40)
tune_lists = st.lists(note_lists, max_size=80).map(
    lambda many: [tune_of(number, notes) for number, notes in enumerate(many)]
)


@given(tune_lists)
def test_unpacking_gives_back_every_tune(tunes: list[TuneNotes]) -> None:
    found = unpack(pack(tunes))
    assert sorted(found, key=lambda tune: tune.tune_id) == tunes
    assert [len(tune.pitch) for tune in found] == sorted(
        (len(tune.pitch) for tune in tunes), reverse=True
    )


@given(tune_lists)
def test_one_tune_can_be_had_without_the_rest(tunes: list[TuneNotes]) -> None:
    chunk = pack(tunes)
    counts = verify(chunk)
    for index, tune in enumerate(unpack(chunk)):
        assert notes_at(chunk, counts, index) == (tune.pitch, tune.length_class)


@given(tune_lists, st.randoms(use_true_random=False))
def test_order_of_arrival_changes_no_byte(tunes: list[TuneNotes], random: object) -> None:
    shuffled = list(tunes)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert pack(shuffled) == pack(tunes)


def test_a_note_takes_two_bytes_beside_id_and_length() -> None:
    tunes = [tune_of(n, [(60, 0)] * (40 + n % 50)) for n in range(300)]
    chunk = pack(tunes)
    assert len(chunk.notes) == 2 * chunk.note_count
    assert len(chunk.tune_ids) + len(chunk.lengths) == 12 * len(tunes)


def test_layout_stands_as_documented() -> None:
    chunk = pack([tune_of(1, [(60, 1), (61, 2)]), tune_of(2, [(70, 3), (71, 4), (72, 5)])])
    assert list(chunk.notes) == [70, 60, 71, 61, 72, 3, 1, 4, 2, 5]


@pytest.mark.parametrize("column", ["tune_ids", "lengths", "notes"])
@given(place=st.integers(0, 10_000), change=st.integers(1, 255))
def test_one_altered_byte_is_found(column: str, place: int, change: int) -> None:
    chunk = pack([tune_of(n, [(60 + n, 0)] * (5 + n)) for n in range(40)])
    data = bytearray(getattr(chunk, column))
    data[place % len(data)] ^= change
    parts: dict[str, Any] = {column: bytes(data), "number": 7}
    altered = replace(chunk, **parts)
    with pytest.raises(DamagedCorpusError, match=r"chunk 7: .*checksum does not hold"):
        verify(altered)


@pytest.mark.parametrize(
    ("column", "reason"),
    [("tune_ids", "tune ids"), ("lengths", "table of lengths"), ("notes", "checksum")],
)
def test_a_truncated_column_is_named(column: str, reason: str) -> None:
    chunk = pack([tune_of(1, [(60, 0)] * 5)])
    cut = replace(chunk, **{column: getattr(chunk, column)[:-1]})
    with pytest.raises(DamagedCorpusError, match=reason):
        unpack(cut)


def test_a_wrong_count_is_found_though_the_checksum_holds() -> None:
    chunk = pack([tune_of(1, [(60, 0)] * 5)])
    wrong = PackedChunk(chunk.tune_ids, chunk.lengths, chunk.notes, chunk.checksum, 1, 6)
    with pytest.raises(DamagedCorpusError, match="as many notes"):
        verify(wrong)


def test_a_foreign_tune_id_is_refused() -> None:
    with pytest.raises(ValueError, match="16 digits"):
        pack([TuneNotes("abc", b"<", b"\0")])


def test_pitches_beyond_midi_keep_their_pitch_class() -> None:
    for midi in (-30, -1, 0, 127, 128, 200):
        assert 0 <= into_range(midi) <= 127
        assert (into_range(midi) - midi) % 12 == 0


def test_lines_of_pieces_are_those_that_a_plain_pass_finds() -> None:
    # 256 and 1 have the bytes of a place that is half of two others.
    dice = random.Random(3)
    tunes = [
        TuneNotes(f"{n:016x}", bytes([60] * 9), bytes(9), piece=str(dice.randrange(300)))
        for n in range(1200)
    ]
    chunk = pack(tunes)
    firsts = firsts_of(chunk)
    leads, ids = leads_of(chunk)
    assert list(leads) == [at for at, first in enumerate(firsts) if at == first]
    assert ids == b"".join(chunk.tune_ids[8 * at : 8 * at + 8] for at in leads)
    plain = [[at for at, first in enumerate(firsts) if first == lead] for lead in leads]
    assert lines_led(chunk, leads) == plain
    assert [lines_led(chunk, [lead])[0] for lead in leads] == plain
