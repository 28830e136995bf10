"""Rhythm alone, and phrases with unknown notes: checked against all tunes one by one."""

from __future__ import annotations

import random
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack, unpack
from melodex.errors import DamagedCorpusError
from melodex.matching.engine.choice import Engine
from melodex.matching.partial import Facts, facts_of, search_partial
from melodex.matching.rhythm import RHYTHM_COSTS, search_rhythm
from melodex.melody import duration_class
from melodex.reading.phrase.reader import read_phrase
from tests.plain.plain_alignment import plain_known, plain_rhythm


def every_rhythm(chunks: list[PackedChunk], lengths: list[int]) -> list[tuple[int, str]]:
    found = [
        (-plain_rhythm(tune.length_class, lengths, RHYTHM_COSTS), tune.tune_id)
        for chunk in chunks
        for tune in unpack(chunk)
    ]
    return sorted(entry for entry in found if entry[0] < 0)


@given(data=st.data())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_rhythm_finds_what_looking_at_every_tune_finds(
    data: st.DataObject, drawn: SimpleNamespace, each_engine: Engine
) -> None:
    chunk = data.draw(drawn.corpora)
    lengths = data.draw(st.lists(st.integers(-4, 3), min_size=2, max_size=9))
    hits = search_rhythm([chunk], bytes(x & 0xFF for x in lengths), limit=80)
    found = [(-hit.points, hit.tune_id) for hit in hits]
    assert found == every_rhythm([chunk], lengths)


def test_a_rhythm_is_found_in_longer_notes_and_at_its_place(each_engine: Engine) -> None:
    lengths = [1, -2, 0, 0, 2, -2, -2, 0]
    tune = bytes(x & 0xFF for x in [0, 0, *(x + 2 for x in lengths), 0])
    chunk = pack([TuneNotes("0000000000aa0000", bytes([60]) * len(tune), tune)])
    (hit,) = search_rhythm([chunk], bytes(x & 0xFF for x in lengths))
    assert (hit.points, hit.transposition_semitones, hit.tune_span) == (16, 2, (2, 9))


def test_a_damaged_chunk_is_named_and_the_others_answer() -> None:
    sound = pack([TuneNotes("0000000000aa0000", bytes(5), bytes([0, 2, 0, 2, 0]))])
    bad = PackedChunk(sound.tune_ids, sound.lengths, sound.notes, 1, 1, 5, 8)
    said: list[DamagedCorpusError] = []
    assert search_rhythm([bad, sound], bytes([0, 2, 0]), on_damage=said.append)
    assert [error.where for error in said] == ["chunk 8"]
    with pytest.raises(DamagedCorpusError, match="chunk 8"):
        search_rhythm([bad, sound], bytes([0, 2, 0]))
    with pytest.raises(DamagedCorpusError, match="chunk 8"):
        search_partial([bad], Facts(((0, 1, 2),), (), 2))


UNKNOWN = ("5 ? 1' 7", "5*1 ?*1 1'*2", "? 1 ?*2 2*1", "q e e", "1 ? ? 3 ?*2 ?*1", "1 2 ? 3")


@pytest.mark.parametrize("text", UNKNOWN)
def test_unknown_notes_find_what_looking_at_every_note_finds(text: str) -> None:
    phrase = read_phrase(text)
    dice = random.Random(text)
    tunes = [
        TuneNotes(
            f"{number:012x}0000",
            bytes(dice.choice((60, 62, 64, 65, 67)) for _ in range(number % 40)),
            bytes(dice.choice((254, 0, 0, 2)) for _ in range(number % 40)),
        )
        for number in range(400)
    ]
    count = len(phrase.melody)
    pitch = [
        midi if known else None
        for midi, known in zip(phrase.melody.midi, phrase.has_pitch, strict=True)
    ]
    length = [
        duration_class(ticks) if known else None
        for ticks, known in zip(
            phrase.melody.duration_ticks, phrase.has_length, strict=True
        )
    ]
    expected = [
        (tune.tune_id, places)
        for tune in tunes
        if (places := plain_known(tune.pitch, tune.length_class, pitch, length))
    ]
    found = search_partial([pack(tunes[:170]), pack(tunes[170:])], facts_of(phrase))
    assert found == expected
    assert 0 < len(found) < len(tunes)
    assert all(place + count <= 40 for _, places in found for place in places)
