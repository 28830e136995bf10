"""Engraving: every note is in the picture, where and as it should be."""

from __future__ import annotations

import re
import threading
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Grace, Melody, Tuplet
from melodex.presentation.engraving.marks import (
    RELATION_SHAPES,
    relation_sign,
    system_slices,
)
from melodex.presentation.engraving.pictures import (
    StaffPart,
    engrave,
    engrave_comparison,
    engrave_melody,
)
from melodex.presentation.engraving.sides import moved_chord, parts_of
from melodex.presentation.engraving.words import chord_runs, numeral_runs
from melodex.tasks.compare.compare import compare
from melodex.tasks.compare.likeness import RELATIONS
from melodex.tasks.passage import Passage

SVG = "{http://www.w3.org/2000/svg}"


def note_ids(svg: str) -> list[str]:
    """Ids of the first pieces of all notes in a picture."""
    root = ElementTree.fromstring(svg)
    names = [g.get("id", "") for g in root.iter(f"{SVG}g") if g.get("class") == "note"]
    return [name for name in names if re.fullmatch(r"mp\d+n\d+", name)]


def texts(svg: str, kind: str) -> list[str]:
    """The texts of one row, from left to right."""
    root = ElementTree.fromstring(svg)
    groups = [g for g in root.iter(f"{SVG}g") if g.get("class") == kind]
    return ["".join(group.itertext()) for group in groups]


def test_the_same_input_gives_the_same_bytes(comparison):
    first = engrave_comparison(comparison).svg
    engrave_comparison(comparison, layout="columns")
    assert engrave_comparison(comparison).svg == first


def test_a_worker_thread_draws_the_same_picture(comparison):
    """The engraver's resource path is kept per thread."""
    drawn: list[str] = []
    worker = threading.Thread(
        target=lambda: drawn.append(engrave_comparison(comparison).svg)
    )
    worker.start()
    worker.join()
    assert drawn == [engrave_comparison(comparison).svg]


def test_a_common_key_has_one_tonic_and_one_signature(comparison):
    """B flat minor on F: its flats are printed before the notes, its degrees say so."""
    parts, _ = parts_of(comparison.a.melody, comparison.b.melody, comparison.likeness)
    assert parts[1].melody.key.tonic_fifths == parts[0].melody.key.tonic_fifths == -1
    assert [part.signature_at(None) for part in parts] == [-1, -1]
    svg = engrave_comparison(comparison).svg
    assert texts(svg, "degree")[:5] == ["1", "3", "5", "4", "3"]
    assert "♭3" in texts(svg, "degree")
    assert texts(svg, "chord")[8:12] == ["F", "C7", "F", "Fm"] or "Fm" in texts(
        svg, "chord"
    )


def test_own_keys_leave_both_as_they_are(comparison):
    parts, _ = parts_of(
        comparison.a.melody, comparison.b.melody, comparison.likeness, key="own"
    )
    assert [part.melody.key.tonic_fifths for part in parts] == [-1, -2]
    assert [part.signature_at(None) for part in parts] == [-1, -5]
    with pytest.raises(PresentationError, match="'other' is no choice of key"):
        parts_of(comparison.a.melody, comparison.b.melody, comparison.likeness, key="other")


def test_partners_stand_over_one_another_in_columns(comparison):
    drawn = engrave_comparison(comparison, layout="columns")
    places = {(place.part, place.note): place.x for place in drawn.notes}
    pairs = [
        (pair.query, pair.tune)
        for pair in comparison.likeness.pairs
        if pair.query is not None and pair.tune is not None
    ]
    assert len(pairs) >= 14
    for a, b in pairs:
        assert places[0, a] == pytest.approx(places[1, b], abs=1)


def test_notes_of_one_time_stand_over_one_another_in_time(comparison):
    drawn = engrave_comparison(comparison)
    places = {(place.part, place.note): place.x for place in drawn.notes}
    a, b = comparison.a.melody, comparison.b.melody
    onsets = {onset: index for index, onset in enumerate(b.onset_ticks)}
    same = [(i, onsets[t]) for i, t in enumerate(a.onset_ticks) if t in onsets]
    assert len(same) >= 12
    for i, j in same:
        assert places[0, i] == pytest.approx(places[1, j], abs=60)


def test_bars_meet_where_most_partners_are_though_the_metres_differ(read_tune):
    """3/4 against 4/4: bar stands over bar, and no note is lost."""
    waltz = read_tune("X:1\nT:w\nM:3/4\nL:1/4\nK:C\nC D E | F G A | G3 |")
    march = read_tune("X:1\nT:m\nM:4/4\nL:1/4\nK:C\nz4 | C D E E | F G A A | G4 |")
    pairs = [(0, 0), (1, 1), (2, 2), (3, 4), (4, 5), (5, 6), (6, 8)]
    parts = [StaffPart(waltz, "A", excerpt=False), StaffPart(march, "B", excerpt=False)]
    drawn = engrave(parts, pairs=pairs)
    assert drawn.note_count == 16
    places = {(place.part, place.note): place.x for place in drawn.notes}
    for a, b in pairs:
        assert places[0, a] == pytest.approx(places[1, b], abs=60)


def test_every_relation_has_a_shape_that_grey_keeps_apart():
    """Form and dashes differ, so no two relations depend on colour."""
    assert set(RELATION_SHAPES) >= set(RELATIONS)
    drawn = {
        (RELATION_SHAPES[name].form, RELATION_SHAPES[name].dashes)
        for name in RELATIONS
        if name not in {"same degree", "same shape"}
    }
    # Five of degrees, three of shape: a cross stands for what is neither.
    assert len(drawn) == 8
    forms = [shape.form for shape in RELATION_SHAPES.values()]
    assert set(forms) == {"ring", "diamond", "square", "cross", "dash"}


def test_the_picture_holds_a_shape_for_every_note(comparison):
    svg = engrave_comparison(comparison).svg
    for pair in comparison.likeness.pairs:
        name = RELATION_SHAPES[pair.relation].name
        assert f"rel-{name}" in svg
    counts = {
        name: svg.count(f'class="rel rel-{name}"')
        for name in ("same", "inflected", "shifted")
    }
    for relation in ("same degree and time", "same step, other inflection"):
        notes = sum(
            (p.query is not None) + (p.tune is not None)
            for p in comparison.likeness.pairs
            if p.relation == relation
        )
        assert counts[RELATION_SHAPES[relation].name] == notes


def test_titles_are_text_and_notes_have_names(comparison):
    """Markup in a title stays text; every note says what it is."""
    svg = engrave_comparison(comparison).svg
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    assert "<b>" not in svg
    assert "Harbour <b>Lamps</b> & Co" in (root.findtext(f"{SVG}title") or "")
    names = [
        g.findtext(f"{SVG}title") for g in root.iter(f"{SVG}g") if g.get("class") == "note"
    ]
    assert names[0] == "A: F 4, bar 1, degree 1, same degree and time"
    assert all(names)


def test_no_style_script_or_outside_reference_is_left(comparison):
    """A strict content policy has nothing to refuse."""
    svg = engrave_comparison(comparison).svg
    assert not re.search(r"<style|<script|\sstyle=|https?://(?!www\.w3\.org/2000/svg)", svg)
    assert all(ref.startswith("#m") for ref in re.findall(r'href="([^"]*)"', svg))
    private = [c for c in svg if 0xE000 <= ord(c) <= 0xF8FF]
    assert private == []


def test_ids_carry_the_prefix(comparison):
    svg = engrave_comparison(comparison, prefix="x7").svg
    ids = re.findall(r'\bid="([^"]+)"', svg)
    assert ids
    assert len(set(ids)) == len(ids)
    assert all(name.startswith("x7") for name in ids)


def test_graces_tuplets_marks_repeats_and_endings_are_drawn(read_tune):
    melody = read_tune(
        "X:1\nT:t\nM:2/4\nL:1/8\nK:G\nP:A\n|: {/a}G2 (3Bcd | {AB}c2 z2 |1 d4 :|2 e4 ||\n"
        "P:B\n[K:D] [M:6/8] def ^g=gf |]"
    )
    drawn = engrave_melody(melody)
    assert drawn.note_count == len(melody)
    assert drawn.svg.count('class="note"') == len(melody) + 3
    assert "".join(texts(drawn.svg, "ending")) == "12"
    assert texts(drawn.svg, "section") == ["A", "B"]
    assert texts(drawn.svg, "key") == ["G major", "D major"]


@pytest.mark.parametrize(
    "abc",
    [
        "X:1\nT:one\nK:C\nC |",
        "X:1\nT:double flats\nL:1/4\nK:Cb\n__B __E ^^F =B |",
        "X:1\nT:low and high\nL:1/4\nK:C\nC,,, C,, c'' c''' |",
        "X:1\nT:free\nM:none\nL:1/4\nK:none\nC2 D/ E3 F |",
    ],
)
def test_odd_tunes_are_drawn(abc, read_tune):
    melody = read_tune(abc)
    assert engrave_melody(melody).note_count == len(melody)


def test_forty_bars_against_forty_are_broken_into_systems(read_tune, as_passage):
    from melodex.tasks.compare.compare import compare

    bars = ["CDEF GABc", "c2 G2 E2 C2", "dcBA G4", "E2 F2 G4"]
    text = "X:1\nT:long\nM:4/4\nL:1/8\nK:{}\n" + " | ".join(bars * 10) + " |"
    found = compare(
        as_passage(read_tune(text.format("C"))), as_passage(read_tune(text.format("Cm")))
    )
    drawn = engrave_comparison(found)
    assert drawn.note_count == 2 * len(found.a.melody)
    assert len({place.system for place in drawn.notes}) >= 6
    assert drawn.width <= 1000
    slices = system_slices(drawn.svg)
    assert len(slices) == len({place.system for place in drawn.notes})
    assert sum(len(note_ids(each)) for each in slices) == drawn.note_count


def test_seventeen_in_the_time_of_sixteen_is_drawn():
    onsets = [round(i * 2 * Q / 17) for i in range(18)]
    lengths = tuple(b - a for a, b in pairwise(onsets))
    melody = Melody(
        (60, 62) * 8 + (60,),
        (0, 2) * 8 + (0,),
        tuple(onsets[:17]),
        lengths,
        (1,) * 17,
        (1.0,) * 17,
        (0,) * 17,
        tuplets=(Tuplet(0, 16, 17, 16, 0, 2 * Q),),
        graces=(Grace(3, 66, 6),),
    )
    assert engrave_melody(melody).note_count == 17


def test_what_cannot_be_written_is_refused_with_its_bar(read_tune):
    melody = read_tune("X:1\nT:q\nL:1/4\nK:C\nC D E F | G A B c |")
    quarter_tone = replace(melody, midi=(*melody.midi[:5], 69.5, *melody.midi[6:]))
    with pytest.raises(PresentationError, match="note 6 in bar 2"):
        engrave_melody(quarter_tone)


def test_hostile_texts_stay_texts(read_tune):
    """Chord symbols and marks with markup, control signs or great length."""
    melody = read_tune("X:1\nT:t\nL:1/4\nK:C\nC D E F |")
    from melodex.melody import ChordSymbol, SectionMark

    hostile = "<script>&\x00\x1b]]>" + "x" * 5000
    melody = replace(
        melody,
        chords=(ChordSymbol(hostile, 1, 0),),
        marks=(SectionMark(hostile, 1, 0),),
    ).with_credits(title=hostile)
    svg = engrave_melody(melody).svg
    assert "<script" not in svg
    assert len(svg) < 40_000


def test_chord_symbols_and_numerals_are_set_as_musicians_write_them():
    assert chord_runs("Bbm7b5/Db") == [("B♭m", False), ("7♭5", True), ("/D♭", False)]
    assert chord_runs("Cmaj7") == [("C", False), ("maj7", True), ("", False)]
    # However minor is written, an engraved name has one m; words are no names.
    for text in ("Dmin7", "Dmi7", "DMI7", "Dm7", "D minor7"):
        assert chord_runs(text) == [("Dm", False), ("7", True), ("", False)]
    assert chord_runs("DMaj7") == [("D", False), ("Maj7", True), ("", False)]
    assert chord_runs("Dmadd9") == [("Dm", False), ("add9", True), ("", False)]
    assert chord_runs("D-7") == [("D-", False), ("7", True), ("", False)]
    assert chord_runs("Fine") == [("Fine", False)]
    assert numeral_runs("V7 over 1") == [("V", False), ("7", True), (" over 1", False)]
    assert numeral_runs("Ger6") == [("Ger", False), ("6", True), ("", False)]
    assert numeral_runs("bVI") == [("♭VI", False), ("", True), ("", False)]
    assert numeral_runs("viiø7/V") == [("vii", False), ("ø7", True), ("/V", False)]
    assert moved_chord("Bbm7/Db", 2) == "Cm7/Eb"
    assert moved_chord("who knows", 2) == "who knows"


def test_signs_for_legends_are_decoration():
    for relation in RELATION_SHAPES:
        root = ElementTree.fromstring(relation_sign(relation))
        assert root.get("aria-hidden") == "true"
        assert len(root) == 1


def test_what_follows_a_raised_figure_stands_on_the_line_again(read_tune):
    """In V7/V the 7 is raised, and only the 7."""
    melody = read_tune("X:1\nT:t\nL:1/4\nK:C\nC D E F |")
    part = StaffPart(melody, numerals=((0, "V7/V"),), excerpt=False)
    svg = engrave([part]).svg
    row = svg[svg.index('class="numeral"') :]
    moves = [int(dy) for dy in re.findall(r'dy="(-?\d+)"', row[: row.index("</text>")])]
    assert len(moves) == 2
    assert moves[0] < 0
    assert sum(moves) == 0


def test_a_moved_passage_follows_its_changes_of_key_with_the_fewest_signs(read_tune):
    """Six flats to no sign moves A major to nine sharps: three flats sound the same."""
    a = read_tune("X:1\nT:a\nM:4/4\nL:1/4\nK:C\nCEGc | [K:Eb] EGBe |]")
    b = read_tune(
        'X:1\nT:b\nM:4/4\nL:1/4\nK:Gb\n"Gb"GBdg | [K:A] "Amaj7"Acea | [K:C] "C"CEGc |]'
    )
    passages = [Passage(m, m, 0, m.content_id(), False) for m in (a, b)]
    found = compare(*passages, transposition_semitones=6)
    parts, _ = parts_of(a, b, found.likeness)
    shown = [parts[1].signature_at(change) for change in parts[1].melody.keys]
    assert shown == [0, -3, 6]
    assert [c.text for c in parts[1].melody.chords] == ["C", "Ebmaj7", "F#"]
    assert [name for _, name in parts[1].key_names][:2] == [
        "C major (from Gb major)",
        "Eb major (from A major)",
    ]


def test_notes_that_agree_on_other_degrees_are_not_said_to_be_the_same_degree(read_tune):
    a = read_tune("X:1\nT:a\nM:4/4\nL:1/4\nK:C\nCDEF | GFED |]")
    b = read_tune("X:1\nT:b\nM:4/4\nL:1/4\nK:G\nCDEF | GFED |]")
    passages = [Passage(m, m, 0, m.content_id(), False) for m in (a, b)]
    found = compare(*passages, transposition_semitones=0)
    parts, _ = parts_of(a, b, found.likeness)
    # F sharp of G lies over F.
    inflected = "same shape, other inflection"
    assert set(parts[0].relations) == {"same shape and length", inflected}
    assert "same shape and length" in engrave_comparison(found).svg
    assert "same degree" not in engrave_comparison(found).svg.split("</desc>")[1]
