"""audit note against note: a few telling notes are found, and no more is made of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from benchmarks.material import melody_json, write_corpus
from melodex.corpus.chunks import TuneNotes
from melodex.corpus.reader import Corpus
from melodex.matching.asking import Notes
from melodex.matching.evidence.commonness import IntervalModel
from melodex.matching.evidence.stretches import Stretch
from melodex.tasks.audit import stretched
from melodex.tasks.audit.audit import audit
from melodex.tasks.audit.leads import Lead
from melodex.tasks.audit.stretched import of_many_places, overlap, stretch_leads
from melodex.tasks.matches import searched
from melodex.tasks.passage import Passage

TELLING = bytes([60, 66, 65, 73, 72, 64, 67, 58])
"""Eight notes whose steps no invented tune has one after the other."""


def walk(seed: int, notes: int) -> bytes:
    """A tune that goes by step, back to the middle of its range where it leaves it."""
    dice, pitch, found = Random(seed), 67, []
    for _ in range(notes):
        pitch += dice.choice([-2, -1, 1, 2]) if 58 < pitch < 78 else (67 - pitch) // 4
        found.append(pitch)
    return bytes(found)


def tune(number: int, pitch: bytes) -> TuneNotes:
    return TuneNotes(f"{number:012x}0000", pitch, bytes(len(pitch)))


def own_of(pitch: bytes) -> Passage:
    melody, _ = melody_json(tune(2**40, pitch))
    return Passage(melody, melody, 0, "ffffffffffff0000", False)


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Corpus]:
    """600 invented tunes; one has the telling notes."""
    tunes = [tune(number, walk(number, 60)) for number in range(1, 600)]
    host = walk(600, 60)
    tunes.append(tune(600, host[:30] + bytes(note + 5 for note in TELLING) + host[30:]))
    path = tmp_path_factory.mktemp("stretched") / "many.melodex"
    write_corpus(path, tunes)
    with Corpus.open(path) as opened:
        yield opened


def leads_in(corpus: Corpus, own: Passage, hidden: frozenset[str]) -> list[Lead]:
    model = IntervalModel.learned(walk(number, 60) for number in range(1, 200))
    notes, size = Notes.of(corpus), searched(corpus, frozenset())
    return stretch_leads(corpus, notes, own, model, hidden, size)


def test_eight_telling_notes_come_first_and_are_shown_alone(corpus: Corpus) -> None:
    own = own_of(walk(7001, 40) + TELLING + walk(7002, 40))
    first = audit(corpus, own, threshold=30.0).findings[0]
    assert first.tune.tune_id == f"{600:012x}0000"
    assert (first.own.first_note, len(first.own.melody)) == (40, len(TELLING))
    assert first.tune.first_note == 30
    assert first.likeness.transposition_semitones == 5
    assert first.expected_by_chance is not None
    assert first.expected_by_chance < 1


def test_a_tune_that_is_left_out_leaves_no_stretch(corpus: Corpus) -> None:
    own = own_of(walk(7001, 40) + TELLING + walk(7002, 40))
    source = f"{600:012x}0000"
    assert source == leads_in(corpus, own, frozenset())[0].tune_id
    assert source not in {
        lead.tune_id for lead in leads_in(corpus, own, frozenset({source}))
    }


def test_a_long_likeness_is_shown_whole_though_a_part_of_it_tells_most(
    corpus: Corpus,
) -> None:
    # Ten notes as they stand, then every eighth put in or left out.
    source = walk(11, 60)
    changed = bytearray(source[:10])
    for place, note in enumerate(source[10:50]):
        changed += bytes([note] if place % 8 else [note, note + 1])
    own = own_of(walk(7003, 20) + bytes(changed) + walk(7004, 20))
    first = audit(corpus, own).findings[0]
    assert first.tune.tune_id == f"{11:012x}0000"
    assert len(first.own.melody) > 35


def test_the_last_notes_of_a_very_long_tune_are_compared_too(
    corpus: Corpus, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = own_of(walk(7005, 150) + TELLING + walk(7006, 10))
    whole = leads_in(corpus, own, frozenset())[0]
    monkeypatch.setattr(stretched, "PART", 90)
    monkeypatch.setattr(stretched, "OVERLAP", 20)
    leads = leads_in(corpus, own, frozenset())
    found = [lead for lead in leads if lead.tune_id == whole.tune_id]
    assert (150, 157) in {(lead.first, lead.last) for lead in found}
    assert (whole.first, whole.last) == (150, 157)


def test_notes_that_every_tune_has_are_expected_in_many(corpus: Corpus) -> None:
    leads = leads_in(corpus, own_of(walk(7007, 80)), frozenset())
    assert all(lead.expected is not None and lead.expected > 0.05 for lead in leads)


def test_no_more_than_a_few_stretches_tell_of_the_same_notes() -> None:
    one = Stretch(90, 10, 19, 0, 0)
    laid = [(f"{n:012x}0000", one) for n in range(9)]
    laid.append(("00000000000a0000", replace(one, points=80, first=15, last=24)))
    laid.append(("00000000000b0000", replace(one, points=80, first=16, last=25)))
    kept = of_many_places(laid)
    assert [tune_id[11] for tune_id, _ in kept] == ["0", "1", "2", "3", "b"]
    assert overlap(one, laid[-2][1])
    assert not overlap(one, laid[-1][1])


def test_a_corpus_too_small_to_measure_chance_on_brings_no_stretch(
    tmp_path: Path,
) -> None:
    path = tmp_path / "few.melodex"
    write_corpus(path, [tune(number, walk(number, 60)) for number in range(1, 9)])
    with Corpus.open(path) as few:
        assert leads_in(few, own_of(walk(3, 60)), frozenset()) == []
