"""MusicXML: valid by the published schema, and read back by others note for note."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import music21
import pytest
from lxml import etree

from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Melody
from melodex.presentation.notation.musicxml.document import (
    comparison_musicxml,
    musicxml_text,
)
from melodex.reading import read_bytes
from melodex.reading.result import Choice
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import Passage

NAMESPACES = {
    # Attributes of two other namespaces that the schema refers to.
    "xml": ("http://www.w3.org/XML/1998/namespace", ("lang", "space")),
    "xlink": (
        "http://www.w3.org/1999/xlink",
        ("href", "type", "role", "title", "show", "actuate"),
    ),
}


@pytest.fixture(scope="session")
def schema(tmp_path_factory: pytest.TempPathFactory) -> etree.XMLSchema:
    """The MusicXML 4.0 schema (W3C, 2021), as the package ``musicxml`` carries it."""
    spec = find_spec("musicxml")
    assert spec is not None, "the test extra 'musicxml' is not installed"
    assert spec.origin is not None
    published = Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    home = tmp_path_factory.mktemp("schema")
    for name, (address, attributes) in NAMESPACES.items():
        rows = "".join(f'<xs:attribute name="{a}" type="xs:string"/>' for a in attributes)
        (home / f"{name}.xsd").write_text(
            '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" '
            f'targetNamespace="{address}">{rows}</xs:schema>'
        )
    text = published.read_text("utf-8").replace("http://www.musicxml.org/xsd/", "")
    (home / "sheet.xsd").write_text(text, "utf-8")
    return etree.XMLSchema(etree.parse(str(home / "sheet.xsd")))


def check(schema: etree.XMLSchema, text: str) -> None:
    """Fail with the schema's own words."""
    assert schema.validate(etree.fromstring(text.encode())), schema.error_log.last_error


def heard(part: music21.stream.Part) -> list[tuple[float, float, int]]:
    """Onset, length and pitch of each sounding note, by music21."""
    flat = part.stripTies().flatten().notes
    notes = [n for n in flat if isinstance(n, music21.note.Note) and not n.duration.isGrace]
    return [(float(n.offset), float(n.quarterLength), n.pitch.midi) for n in notes]


def wanted(melody: Melody) -> list[tuple[float, float, int]]:
    """The same of a melody."""
    origin = melody.bars[0].onset_ticks
    rows = zip(melody.onset_ticks, melody.duration_ticks, melody.midi, strict=True)
    return [((onset - origin) / Q, length / Q, pitch) for onset, length, pitch in rows]


def test_the_schema_is_no_rubber_stamp(schema):
    bad = musicxml_text(Melody((60,), (0,), (0,), (Q,), (1,), (1.0,), (0,)))
    bad = bad.replace("<voice>1</voice>", "<voicing>1</voicing>")
    assert not schema.validate(etree.fromstring(bad.encode()))


def test_real_tunes_are_valid_and_come_back_by_our_own_reader(schema, real_tunes):
    for melody in real_tunes:
        text = musicxml_text(melody)
        check(schema, text)
        (tune,) = read_bytes(text.encode(), "musicxml", "x", Choice()).tunes
        back = tune.melody
        assert (back.midi, back.fifths) == (melody.midi, melody.fifths), melody.title
        assert back.onset_ticks == melody.onset_ticks, melody.title
        assert back.duration_ticks == melody.duration_ticks, melody.title
        assert back.bar == melody.bar, melody.title
        assert [(g.note, g.midi) for g in back.graces] == [
            (g.note, g.midi) for g in melody.graces
        ], melody.title


def score_of(text) -> music21.stream.Score:
    sheet = music21.converter.parseData(text, format="musicxml")
    assert isinstance(sheet, music21.stream.Score)
    return sheet


def test_music21_reads_real_tunes_note_for_note(real_tunes):
    for melody in real_tunes[:40]:
        sheet = score_of(musicxml_text(melody))
        got, expected = heard(sheet.parts[0]), wanted(melody)
        assert [p for _, _, p in got] == [p for _, _, p in expected], melody.title
        for mine, theirs in zip(expected, got, strict=True):
            assert theirs[:2] == pytest.approx(mine[:2], abs=0.01), melody.title


def test_music21_reads_spelling_keys_metres_and_chords(read_tune):
    melody = read_tune(
        'X:1\nT:t\nM:6/8\nL:1/8\nK:Ebmin\n"Ebm"e3 "Bb7/D"_c2 =d |'
        ' [M:2/4] [K:A] "E7"^d2 B2 |'
    )
    sheet = score_of(musicxml_text(melody))
    names = [n.pitch.nameWithOctave for n in sheet.flatten().getElementsByClass("Note")]
    assert names == ["E-5", "C-5", "D5", "D#5", "B4"]
    keys = [k.sharps for k in sheet.flatten().getElementsByClass("KeySignature")]
    assert keys == [-6, 3]
    times = [t.ratioString for t in sheet.flatten().getElementsByClass("TimeSignature")]
    assert times == ["6/8", "2/4"]
    roots = [c.root().name for c in sheet.flatten().getElementsByClass("ChordSymbol")]
    assert roots == ["E-", "B-", "E"]


def test_a_comparison_is_two_parts_over_one_another(schema, comparison):
    for key in ("common", "own"):
        text = comparison_musicxml(comparison, key=key)
        check(schema, text)
        sheet = score_of(text)
        assert len(sheet.parts) == 2
        first = [p for _, _, p in heard(sheet.parts[0])]
        second = [p for _, _, p in heard(sheet.parts[1])]
        assert first == list(comparison.a.melody.midi)
        move = 0 if key == "own" else -comparison.likeness.transposition_semitones
        assert second == [pitch + move for pitch in comparison.b.melody.midi]


def test_a_minor_passage_drawn_under_a_major_signature_is_not_called_minor(read_tune):
    a, b = (
        Passage(melody, melody, 0, melody.content_id(), False)
        for melody in (
            read_tune("X:1\nT:a\nM:4/4\nL:1/4\nK:Amaj\nA B c d | e c A2 |]"),
            read_tune("X:1\nT:b\nM:4/4\nL:1/4\nK:Dm\nD E F G | A F D2 |]"),
        )
    )
    for key, expected in (
        ("common", [("3", "major"), ("3", None)]),
        ("own", [("3", "major"), ("-1", "minor")]),
    ):
        root = etree.fromstring(comparison_musicxml(compare(a, b), key=key).encode())
        told = [(k.findtext("fifths"), k.findtext("mode")) for k in root.iter("key")]
        assert told == expected


def test_repeats_endings_and_marks_are_carried(schema, read_tune):
    text = musicxml_text(
        read_tune(
            "X:1\nT:t\nM:2/4\nL:1/4\nK:C\nP:A\n|: C D |1 E F :|2 G2 ||\nP:B\nA {c}B |]"
        )
    )
    check(schema, text)
    root = etree.fromstring(text.encode())
    assert [e.get("type") for e in root.iter("ending")] == ["start", "stop"] * 2
    assert [r.get("direction") for r in root.iter("repeat")] == ["forward", "backward"]
    assert [m.text for m in root.iter("rehearsal")] == ["A", "B"]
    assert len(list(root.iter("grace"))) == 1


def test_markup_in_a_title_stays_text(schema, read_tune):
    melody = read_tune("X:1\nT:t\nK:C\nCDEF|").with_credits(title="<b>&</b>\x00")
    text = musicxml_text(melody)
    check(schema, text)
    assert etree.fromstring(text.encode()).findtext("work/work-title") == "<b>&</b>"
