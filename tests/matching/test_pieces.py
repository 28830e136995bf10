"""Pieces of several lines in the search: one hit, one count, whatever the engine."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack, unpack
from melodex.matching.engine.choice import Engine
from melodex.matching.evidence.figures import count_figures
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import AlignmentCosts


def lined(seed: int, pieces: int = 60) -> list[PackedChunk]:
    """Chunks of pieces of one to five lines."""
    dice = random.Random(seed)
    parts: list[list[TuneNotes]] = [[], []]
    for piece in range(pieces):
        for _ in range(dice.randint(1, 5)):
            length = dice.randint(8, 40)
            pitch = bytes(dice.randint(58, 66) for _ in range(length))
            notes = TuneNotes(
                f"{dice.getrandbits(40):012x}0000", pitch, bytes(length), f"p{piece}"
            )
            parts[piece % 2].append(notes)
    return [pack(part) for part in parts]


def piece_in(tune: TuneNotes) -> str:
    """The piece of a tune of a chunk: its own where it has one line."""
    return tune.piece or tune.tune_id


def test_the_best_line_of_each_piece_is_found_as_if_all_were_aligned(
    each_engine: Engine,
) -> None:
    chunks = lined(7)
    query = EncodedQuery(bytes([60, 62, 63, 60, 65, 64, 60, 58]), bytes(8))
    tunes = [tune for chunk in chunks for tune in unpack(chunk)]
    points = each_engine.best(
        [(t.pitch, t.length_class) for t in tunes], query, AlignmentCosts()
    )
    best: dict[str, tuple[int, str]] = {}
    notes: dict[str, int] = {}
    for tune, (score, _) in zip(tunes, points, strict=True):
        entry = (-score, tune.tune_id)
        piece = piece_in(tune)
        best[piece] = min(best.get(piece, entry), entry)
        notes[piece] = notes.get(piece, 0) + len(tune.pitch)
    piece_of = {tune.tune_id: piece_in(tune) for tune in tunes}
    for limit in (1, 5, 200):
        hits = search(chunks, query, limit=limit)
        expected = sorted(entry for entry in best.values() if entry[0] < 0)[:limit]
        assert [(-hit.points, hit.tune_id) for hit in hits] == expected
        for hit in hits:
            own = piece_of[hit.tune_id]
            assert hit.note_count == notes[own]
            others = {t for t, piece in piece_of.items() if piece == own} - {hit.tune_id}
            assert set(hit.other_lines) == others


def test_figures_are_counted_by_piece(each_engine: Engine) -> None:
    chunks = lined(8)
    figures = [bytes([60, 61, 63]), bytes([60, 62, 60, 61])]
    for figure, count in zip(figures, count_figures(chunks, figures), strict=True):
        steps = [b - a for a, b in pairwise(figure)]
        holding = set()
        pieces = set()
        for tune in (tune for chunk in chunks for tune in unpack(chunk)):
            pieces.add(piece_in(tune))
            moves = [b - a for a, b in pairwise(tune.pitch)]
            for at in range(len(moves)):
                if moves[at : at + len(steps)] == steps:
                    holding.add(piece_in(tune))
        assert (count.exact, count.tunes) == (len(holding), len(pieces))


def test_levels_of_the_lines_of_a_piece_that_lies_are_refused() -> None:
    _kernel = pytest.importorskip("melodex.matching.engine._kernel")
    assert _kernel.leading(bytes([0, 2, 1]), b"\0\0\0\0\x02\0") == bytes([2, 1])
    for wrong in (b"\x01\0\x01\0", b"\x05\0\0\0", b"\0\0"):
        with pytest.raises(ValueError, match="fit together"):
            _kernel.leading(bytes(2), wrong)
