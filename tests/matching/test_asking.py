"""What a question asks of notes in several parts is what it asks of all in one place."""

from __future__ import annotations

import pickle
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack
from melodex.errors import DamagedCorpusError
from melodex.matching import asking
from melodex.matching.asking import Here, Notes, Question
from melodex.matching.chance import sample
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts()


class Several:
    """Parts as if others held them: what is asked and what is said travels by pickle."""

    at_once = 3

    def __init__(self, parts: Sequence[list[PackedChunk]]) -> None:
        self.parts = parts
        self.count = len(parts)

    def each(
        self, work: Callable[[Sequence[PackedChunk], Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        assert len(arguments) == self.count
        found = []
        for chunks, argument in zip(self.parts, arguments, strict=True):
            sent_work, sent = pickle.loads(pickle.dumps((work, argument)))
            found.append(pickle.loads(pickle.dumps(sent_work(chunks, sent))))
        return found


def tunes_by_dice(count: int, seed: int = 1) -> list[TuneNotes]:
    """Tunes of 20 to 90 notes; every tenth is a piece of two lines."""
    dice = random.Random(seed)
    found = []
    for number in range(count):
        pitch, at = [], 66
        for _ in range(dice.randrange(20, 90)):
            at = min(max(at + dice.choice((-2, -1, 0, 1, 2, 2, -3, 4)), 50), 84)
            pitch.append(at)
        classes = bytes(dice.choice((0, 2, 254)) for _ in pitch)
        piece = f"piece {number - number % 2}" if number % 20 < 2 else ""
        tune_id = f"{dice.randrange(16**12):012x}0000"
        found.append(TuneNotes(tune_id, bytes(pitch), classes, piece))
    return found


def chunks_of(tunes: Sequence[TuneNotes], size: int = 64) -> list[PackedChunk]:
    """Tunes packed; lines of a piece stand next to each other, in one chunk."""
    held: list[list[TuneNotes]] = [[]]
    for tune in tunes:
        last = held[-1]
        if len(last) >= size and (not tune.piece or last[-1].piece != tune.piece):
            held.append([])
        held[-1].append(tune)
    return [pack(part) for part in held if part]


def parted(tunes: Sequence[TuneNotes], count: int, share: float) -> Several:
    """Tunes over parts by dice, lines of a piece together; a share of all in the first."""
    dice = random.Random(count)
    place: dict[str, int] = {}
    held: list[list[TuneNotes]] = [[] for _ in range(count)]
    for tune in tunes:
        key = tune.piece or tune.tune_id
        if key not in place:
            place[key] = 0 if dice.random() < share else dice.randrange(count)
        held[place[key]].append(tune)
    return Several([chunks_of(part) for part in held])


def questions(tunes: Sequence[TuneNotes], limit: int = 100) -> list[Question]:
    phrases = [
        EncodedQuery(tune.pitch[4:18], tune.length_class[4:18]) for tune in tunes[:40:10]
    ]
    # One that is much the same backwards is aligned as it stands alone.
    phrases.append(EncodedQuery(bytes([60, 62, 64, 65, 64, 62, 60]), bytes(7)))
    hidden = frozenset({tunes[3].tune_id})
    return [Question(phrase, limit, COSTS, hidden) for phrase in phrases]


@pytest.mark.parametrize("share", [0.0, 0.9])
@pytest.mark.parametrize("count", [1, 3, 7])
@pytest.mark.parametrize("drawn", [(512, 16384), (40, 160), (900, 2000)])
def test_parts_answer_as_one(
    count: int, share: float, drawn: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (asking, sample):
        monkeypatch.setattr(module, "NULL_SAMPLE", drawn[0])
        monkeypatch.setattr(module, "SEARCHED_TUNES", drawn[1])
    monkeypatch.setattr(asking, "SPARE_TUNES", 5)
    tunes = tunes_by_dice(700)
    one = Notes(Here(chunks_of(tunes)))
    many = Notes(parted(tunes, count, share))
    asked = questions(tunes)
    expected = [one.answers([question])[0] for question in asked]
    assert many.answers(asked) == expected
    assert sum(answer.null is not None for answer in expected) == len(asked)
    assert many.drawn(1, 20) == sorted(one.drawn(1, 20))
    assert many.pieces == one.pieces
    figures = [tune.pitch[3:10] for tune in tunes[:50]]
    assert many.counted(figures, tunes[0].pitch) == one.counted(figures, tunes[0].pitch)
    hidden = frozenset(tune.tune_id for tune in tunes[::3])
    assert many.without(hidden).answers(asked) == one.without(hidden).answers(asked)


@pytest.mark.parametrize("limit", [1, 2, 30])
def test_the_points_of_the_next_are_known_across_parts(limit: int) -> None:
    tunes = tunes_by_dice(200)
    asked = questions(tunes, limit)
    expected = Notes(Here(chunks_of(tunes))).answers(asked)
    assert Notes(parted(tunes, 4, 0.0)).answers(asked) == expected


def test_a_phrase_that_nothing_resembles_has_no_chance() -> None:
    far = TuneNotes("00000000000a0000", bytes([60, 61, 60, 61]), bytes(4))
    hidden = frozenset({far.tune_id})
    asked = [Question(EncodedQuery(bytes([60, 72, 84]), bytes(3)), 5, COSTS, hidden)]
    (answer,) = Notes(Several([[pack([far])], []])).answers(asked)
    assert (answer.hits, answer.null) == ([], None)


def test_damage_in_a_part_is_told_once_and_the_others_answer() -> None:
    tunes = tunes_by_dice(300)
    parts = parted(tunes, 3, 0.0)
    first = parts.parts[1][0]
    parts.parts[1][0] = replace(first, checksum=first.checksum ^ 1)
    told: list[DamagedCorpusError] = []
    asked = questions(tunes)
    answers = Notes(parts).answers(asked, told.append)
    assert len(told) == 1
    assert all(answer.hits for answer in answers)
    with pytest.raises(DamagedCorpusError):
        Notes(parts).answers(asked)
