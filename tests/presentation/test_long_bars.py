"""Bars longer than a system, as chants have them, go on over several systems."""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import pytest

from melodex.presentation.engraving.layout import in_time
from melodex.presentation.engraving.long_bars import MOST_EVENTS, parted
from melodex.presentation.engraving.mei import mei_of
from melodex.presentation.engraving.pictures import StaffPart, engrave

MEI = "{http://www.music-encoding.org/ns/mei}"
FOUR = "C D E F"


def chant(notes: str, header: str = "M:none\nL:1/8\nK:C") -> str:
    return f"X:1\nT:One long line\n{header}\n{notes} |]\n"


def pieces_of(part):
    return list(parted(in_time([part], (), drawn=True)))


@pytest.fixture
def long_part(read_tune):
    return StaffPart(read_tune(chant(" ".join([FOUR] * 40))), excerpt=False)


def test_a_chant_of_one_bar_fills_systems_of_like_width(long_part):
    engraved = engrave([long_part])
    assert engraved.note_count == len(long_part.melody) == 160
    systems = [place.system for _, place in engraved.bars]
    assert max(systems) >= 4
    # A bar is picked by any of its pieces.
    assert {number for number, _ in engraved.bars} == {1}
    rows: dict[int, list[float]] = {}
    for note in engraved.notes:
        rows.setdefault(note.system, []).append(note.x)
    nearest = min(b - a for xs in rows.values() for a, b in pairwise(sorted(xs)))
    head = 10
    assert nearest > head


def test_pieces_hold_all_notes_once_in_their_own_time(long_part):
    pieces = [measure.bars[0] for measure in pieces_of(long_part)]
    assert [e.note for piece in pieces for e in piece.events] == list(range(160))
    for piece, after in pairwise(pieces):
        assert piece.bar.onset_ticks + piece.bar.duration_ticks == after.bar.onset_ticks
        assert piece.events[0].onset_ticks == piece.bar.onset_ticks
    assert max(len(piece.events) for piece in pieces) < MOST_EVENTS


@pytest.mark.parametrize("notes", ["(3CDE", "C/D/E/F/", "C3/2D/", "(3CDE FG"])
def test_no_beam_and_no_tuplet_is_parted(read_tune, notes):
    text = chant(" ".join([notes] * 60), "M:40/4\nL:1/8\nK:C")
    pieces = pieces_of(StaffPart(read_tune(text), excerpt=False))
    assert any(measure.begun for measure in pieces)
    for measure, after in pairwise(pieces):
        if not after.begun:
            continue
        last, first = measure.bars[0].events[-1], after.bars[0].events[0]
        assert last.tuplet is None or last.tuplet != first.tuplet
        assert last.beam is None or last.beam != first.beam


def test_what_stands_at_the_ends_of_a_bar_stands_once(read_tune):
    notes = " ".join([FOUR] * 20)
    text = f"X:1\nT:T\nM:none\nL:1/8\nK:C\n|: {notes} :|[K:G] {notes} |]\n"
    part = StaffPart(read_tune(text), excerpt=False)
    root = ElementTree.fromstring(mei_of([part], pieces_of(part), "m"))
    measures = list(root.iter(f"{MEI}measure"))
    assert len(measures) == 20
    assert [m.get("left") for m in measures] == ["rptstart"] + [None] * 19
    rights = ["invis"] * 9 + ["rptend"] + ["invis"] * 9 + ["end"]
    assert [m.get("right") for m in measures] == rights
    signatures = [key.get("sig") for key in root.iter(f"{MEI}keySig")]
    assert signatures == ["0", "1s"]


def test_an_accidental_holds_to_the_end_of_its_bar(read_tune):
    text = chant("^F " + " ".join(["F"] * 49))
    part = StaffPart(read_tune(text), excerpt=False)
    root = ElementTree.fromstring(mei_of([part], pieces_of(part), "m"))
    printed = [note.get("accid") for note in root.iter(f"{MEI}note")]
    assert printed == ["s"] + [None] * 49


def test_lines_of_a_score_are_parted_where_all_have_a_note(read_tune):
    above = StaffPart(read_tune(chant(" ".join([FOUR] * 12))), excerpt=False)
    below = StaffPart(read_tune(chant(" ".join(["C,3 D,3 E,3"] * 5 + ["C,3"]))))
    silent = StaffPart(read_tune(chant("z48 C")))
    engraved = engrave([above, below], layout="score")
    assert engraved.note_count == len(above.melody) + len(below.melody)
    assert len(engraved.bars) > 1
    assert engrave([above, silent], layout="score").note_count == 49


def test_a_bar_that_fits_stays_whole(read_tune):
    text = chant("C/4D/4E/4F/4" * 8, "M:4/4\nL:1/8\nK:C")
    (measure,) = pieces_of(StaffPart(read_tune(text), excerpt=False))
    assert not measure.begun
    assert not measure.goes_on
