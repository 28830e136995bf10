"""What is told of scores that one knows, out of their notes alone.

Outside checks: the scores in music21's corpus, read by a musician; what a class would be
told of them is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import music21
import pytest

from melodex.analysis.harmony.devices.device import Device
from melodex.analysis.harmony.devices.finding import harmony
from melodex.analysis.harmony.heard.sounding import (
    harmonised,
    over_worked_chords,
    sounding_chords,
)
from melodex.analysis.keys.modal import ModalPassage, parted
from melodex.analysis.piece import DOUBTED, analyse, sure_devices
from melodex.melody import Bar, ChordSymbol, Melody, Metre, MetreChange
from melodex.melody.texture import SoundingNote, Texture
from melodex.reading import read_path
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from tests.analysis.test_devices import Span, found

CORPUS = Path(music21.__file__).parent / "corpus"
QUARTER = 10080
FIFTHS = (0, 7, 2, -3, 4, -1, 6, 1, 8, 3, -2, 5)
"""The twelve notes from C up, on the line of fifths."""


def finds(work: str) -> list[Device]:
    """What is told of a piece of the corpus over the chords that its notes make."""
    melody = harmonised(read_path(CORPUS / work).tunes[0])
    return list(sure_devices(melody, analyse(melody)))


def bars(devices: list[Device], kind: str) -> set[int]:
    """The bars in which finds of a kind end."""
    return {device.last_bar for device in devices if device.kind == kind}


def test_a_bass_that_comes_to_the_root_late_makes_the_cadence():
    # Schumann, op. 48 no. 2: the piano ends each couplet, D going to E under V7 at last.
    devices = finds("schumann_robert/opus48no2.mxl")
    assert {4, 8, 18} <= bars(devices, "authentic cadence")
    # F#7/A# or A#dim: either way a dominant of B minor.
    assert 11 in bars(devices, "secondary dominant")


def test_a_six_four_makes_a_cadence_of_v_that_goes_home():
    # Mozart, K. 80, first movement: I64 V I in bars 60-61 and 64-65; in bar 47 the phrase
    # rests on V, and another begins.
    devices = finds("mozart/k80/movement1.mxl")
    assert {61, 65} <= bars(devices, "authentic cadence")
    assert 47 in bars(devices, "half cadence")
    assert 60 not in bars(devices, "half cadence")


# Common practice, no source: a six-four over a bass that lies there delays nothing.
@pytest.mark.parametrize(
    ("row", "notes", "told"),
    [
        ("C F C/G G C", "C4|A4|E2D2|C4|A4|G4|", True),
        ("C F C/G G C", "C4|A4|E2D2|E4|A4|G4|", False),
        ("C F C/G G C/E", "C4|A4|E2D2|C4|A4|G4|", False),
        ("C G C/G G C", "C4|B4|E2D2|C4|A4|G4|", False),
    ],
)
def test_a_six_four_announces_a_cadence_where_the_tune_goes_home(row, notes, told):
    lengths = [0, 4, 8, 10, 12]
    symbols = tuple(
        ChordSymbol(name, 1 + onset // 4, onset * QUARTER, 0.9)
        for name, onset in zip(row.split(), lengths, strict=True)
    )
    text = f"X:1\nM:4/4\nL:1/4\nK:C\n{notes}"
    (read,) = read_abc(text, "tune.abc", Choice()).tunes
    melody = read.melody.with_worked_chords(symbols)
    spans = [Span()]
    told_of = harmony(melody, spans, phrases=(), sections=()).devices
    ours = {d.chords for d in told_of if d.kind == "authentic cadence"}
    assert ((3, 4) in ours) is told


def test_the_half_diminished_chord_on_the_raised_fourth_leads_to_v():
    # Beach, op. 75 no. 4, bar 29: viiø43 of V before V42 of V. Sopranos stay on B flat over
    # its pedal up to bar 4, which makes no suspension of it.
    work = "beach/prayer_of_a_tired_child.musicxml"
    assert 29 in bars(finds(work), "secondary leading tone")
    told = harmonised(read_path(CORPUS / work).tunes[0]).worked_lines
    held = [line for line in told if line.kind == "suspension"]
    assert held
    assert all(line.first_bar > 4 for line in held)


def test_a_phrase_that_ends_on_a_major_tonic_ends_though_the_next_begins_on_iv():
    # Bach, "Jesu, meine Freude", BWV 227.1: the phrase of bars 15-17 closes in B minor.
    devices = finds("bach/bwv227.1.mxl")
    assert bars(devices, "Picardy third") == {17, 19}
    assert any("V7 to I in B" in device.reason for device in devices)
    assert 17 not in bars(devices, "half cadence")


def test_melodic_minor_over_chords_with_the_minor_sixth_is_not_dorian():
    melody = harmonised(read_path(CORPUS / "bach/bwv227.1.mxl").tunes[0])
    assert analyse(melody).modal == ()


def sounds(notes: list[tuple[float, float, int, int, int]]) -> list[str]:
    """Chords of notes: onset and length in quarters, pitch, place in fifths, line."""
    made = [
        SoundingNote(int(onset * QUARTER), int(length * QUARTER), midi, fifths, line)
        for onset, length, midi, fifths, line in sorted(notes)
    ]
    lines = [f"line {line}" for line in range(1 + max(note.line for note in made))]
    bars = tuple(Bar(n, 4 * n * QUARTER, 4 * QUARTER) for n in range(2))
    melody = Melody(bars=bars, metres=(MetreChange(0, Metre(4, 4)),))
    return [chord.text for chord in sounding_chords(Texture.of(made, lines), melody)]


@pytest.mark.parametrize(
    ("bass", "chord"),
    [
        # The bass rests, and comes with the root at last.
        ([(3.5, 0.5, 43, 1, 1)], "G7"),
        # It goes to the root from the seventh.
        ([(0.0, 3.5, 53, -1, 1), (3.5, 0.5, 43, 1, 1)], "G7"),
        ([(0.0, 4.0, 53, -1, 1)], "G7/F"),
    ],
)
def test_a_late_root_is_the_bass(bass, chord):
    fifth = ((62, 2), (65, -1), (67, 1), (71, 5))
    above = [(0.0, 4.0, midi, fifths, 0) for midi, fifths in fifth]
    home = [(4.0, 4.0, midi, fifths, 0) for midi, fifths in ((60, 0), (64, 4), (67, 1))]
    assert sounds([*above, *bass, *home, (4.0, 4.0, 48, 0, 1)])[0] == chord


def test_clusters_are_no_chord_that_one_may_be_sure_of():
    # Thirteen keys at once, moved about: nothing is told of their harmony.
    notes = [
        SoundingNote(
            beat * QUARTER, QUARTER, 48 + beat % 5 + key, FIFTHS[(beat % 5 + key) % 12]
        )
        for beat in range(30)
        for key in range(13)
    ]
    tops = [note for note in notes if note.midi - 60 == note.onset_ticks // QUARTER % 5]
    bars = tuple(Bar(n + 1, 3 * n * QUARTER, 3 * QUARTER) for n in range(10))
    tune = Melody(
        midi=tuple(note.midi for note in tops),
        fifths=tuple(note.fifths for note in tops),
        onset_ticks=tuple(note.onset_ticks for note in tops),
        duration_ticks=(QUARTER,) * 30,
        bar=tuple(1 + beat // 3 for beat in range(30)),
        beat_strength=(1.0, 0.5, 0.5) * 10,
        phrase=(0,) * 30,
        bars=bars,
        metres=(MetreChange(0, Metre(3, 4)),),
    )
    melody = over_worked_chords(Texture.of(notes, ["piano"]), tune)
    assert len(melody.chords) > 5
    assert all(chord.certainty < DOUBTED for chord in melody.chords)
    assert sure_devices(melody, analyse(melody)) == ()


def test_symbols_on_one_root_are_told_one_by_one():
    assert len(found("C D D7 G7 C")["secondary dominant"]) == 2


def test_a_passage_is_parted_by_chords_that_have_the_degree_that_it_replaces():
    # D dorian by its B; a chord with B flat between the two pairs of them.
    melody = Melody(
        midi=(71,) * 4,
        fifths=(5,) * 4,
        onset_ticks=(0, 1, 4, 5),
        duration_ticks=(1,) * 4,
        bar=(1, 2, 5, 6),
        beat_strength=(1.0,) * 4,
        phrase=(0,) * 4,
    )
    passage = ModalPassage(1, 6, 2, "dorian", "minor", "6", (0, 1, 2, 3))
    bars = [(p.first_bar, p.last_bar) for p in parted(melody, passage, [(3, {-2, 2, -1})])]
    assert bars == [(1, 2), (5, 6)]
    assert list(parted(melody, passage, [(3, {5, 1, 2})])) == [passage]


def worked(row: str, notes: str) -> Melody:
    """A tune in quarters over chords, one in a bar, as if they were worked out of notes."""
    text = f"X:1\nM:4/4\nL:1/4\nK:C\n{notes}"
    (read,) = read_abc(text, "tune.abc", Choice()).tunes
    symbols = tuple(
        ChordSymbol(name, bar + 1, 4 * bar * QUARTER, 0.9)
        for bar, name in enumerate(row.split())
    )
    return read.melody.with_worked_chords(symbols)


@dataclass(frozen=True)
class Phrase:
    """Where a phrase ends, and how that is known."""

    last_note: int
    how: str = "suggested"


def kinds(melody: Melody, phrases: tuple[Phrase, ...] = ()) -> set[str]:
    """The kinds of what is told over chords."""
    told = harmony(melody, [Span()], phrases=phrases, sections=()).devices
    return {device.kind for device in told}


# Common practice, no source: V over another bass leads on where nothing must end.
@pytest.mark.parametrize(
    ("row", "how", "told"),
    [
        ("C G7 C Am", "suggested", {"authentic cadence"}),
        ("C G7/B C Am", "suggested", set()),
        ("C G7/D C Am", "suggested", set()),
        ("C G7 C/E Am", "suggested", set()),
        ("C F C Am", "suggested", set()),
        ("C G7/B C Am", "marked", {"authentic cadence"}),
        ("C F C Am", "marked", {"plagal cadence"}),
    ],
)
def test_chords_that_are_played_close_a_phrase_on_their_roots(row, how, told):
    melody = worked(row, "C4|D4|E4|AEAE|")
    found = kinds(melody, (Phrase(2, how), Phrase(6)))
    assert {kind for kind in found if "cadence" in kind} == told


def test_chords_that_are_played_may_be_in_no_key():
    # As of a few notes without a signature, of which no key is told.
    melody = worked("C F C Am", "C4|D4|E4|AEAE|")
    told = harmony(melody, [Span(mode="none")], phrases=(Phrase(2), Phrase(6)), sections=())
    assert not [device for device in told.devices if "cadence" in device.kind]


def test_a_phrase_ends_in_its_own_key_though_the_next_one_begins_there():
    # Mozart, K. 155, second movement: bars 5-8 rest on V of A major, as bars 29-32 do.
    devices = finds("mozart/k155/movement2.mxl")
    assert {8, 32} <= bars(devices, "half cadence")
    assert not bars(devices, "plagal cadence")


def test_v_of_v_to_v_closes_a_phrase_that_was_on_the_tonic_of_v():
    spans = Span(1), Span(0, onset_ticks=2 * 4 * QUARTER)
    melody = worked("G C D G C", "G4|E4|A4|B4|c4|")
    told = harmony(melody, spans, phrases=(Phrase(3), Phrase(4)), sections=()).devices
    assert [each.reason for each in told if each.chords == (2, 3)] == ["D G: V to I in G"]


def test_i_over_its_fifth_is_the_goal_of_no_ii_v_i():
    assert "ii V I" in kinds(worked("C Dm7 G7 C", "C4|D4|D4|E4|"))
    assert "ii V I" not in kinds(worked("C Dm7 G7 C/G", "C4|D4|D4|E4|"))


def test_chords_a_third_apart_over_a_bass_by_step_are_played_in_passing():
    assert "third relation" in kinds(worked("C Eb C", "G4|G4|G4|"))
    assert "third relation" not in kinds(worked("C Eb/G C", "G4|G4|G4|"))


def test_no_church_mode_lends_to_chords_that_are_played():
    # Lydian has B minor on its vii; what is played touches the key of V.
    assert found("C Bm C")["borrowed chord"]
    assert "borrowed chord" not in kinds(worked("C Bm C", "G4|F4|G4|"))
    assert "borrowed chord" in kinds(worked("C Fm C", "G4|F4|G4|"))


def test_v_to_a_last_unison_is_a_cadence():
    # Corelli, op. 3 no. 1, first movement: the last F has no third.
    assert 19 in bars(finds("corelli/opus3no1/1grave.xml"), "authentic cadence")


def test_augmented_sixths_are_told_by_their_notes():
    # Haydn, op. 74 no. 1, first movement, bar 13: A flat, C and F sharp before I64; no E
    # flat. Beethoven, op. 59 no. 3, first movement, bar 169: with its fifth. Mozart,
    # K. 156, second movement, bar 27: the tune alone has it, over C.
    for work, bar, nation in (
        ("haydn/opus74no1/movement1.mxl", 13, "Italian"),
        ("beethoven/opus59no3/movement1.mxl", 169, "German"),
        ("mozart/k156/movement2.mxl", 27, "German"),
    ):
        told = {
            device.first_bar: device.reason
            for device in finds(work)
            if device.kind == "augmented sixth"
        }
        assert f"is the {nation} sixth" in told[bar]


def test_v_of_a_flat_ii_stands_for_no_v_of_v():
    # Beethoven, op. 18 no. 4, bar 8: V7 of D flat, and back.
    told = finds("beethoven/opus18no4.mxl")
    assert 8 not in bars(told, "tritone substitute")


# Common practice, no source: a hymn closes before its Amen.
@pytest.mark.parametrize(
    ("row", "notes", "told"),
    [
        ("C F G7 C F C", "GEGE|AFAF|DEFD|C4|C4|C4|", True),
        ("C Am G7 C F C", "GEGE|AFAF|DEFD|C4|C4|C4|", False),
        ("C F G7 C F C", "GEGE|AFAF|DEFE|G4|C4|C4|", False),
        ("C F G7 C F C", "GEGE|AFAF|DEFD|CEDE|C4|C4|", False),
    ],
)
def test_a_prepared_v_closes_where_the_tune_rests_on_the_tonic(row, notes, told):
    melody = worked(row, notes)
    devices = harmony(melody, [Span()], phrases=(), sections=()).devices
    ours = {each.chords for each in devices if each.kind == "authentic cadence"}
    assert ((2, 3) in ours) is told


def test_of_music_without_keys_nothing_is_told_as_sure():
    # Schoenberg, op. 19 no. 6: fourths over A and F sharp; it was "in B major, a blues".
    melody = harmonised(read_path(CORPUS / "schoenberg/opus19/movement6.mxl").tunes[0])
    found = analyse(melody)
    assert found.key.idiom == ""
    assert found.key.certainty < 0.5
    assert sure_devices(melody, found) == ()


def test_a_seventh_chord_without_its_third_is_not_sure():
    below = [(0.0, 8.0, 57, 3, 1), (0.0, 8.0, 66, 6, 1)]
    notes = [*below, (0.0, 8.0, 71, 5, 0)]
    made = [
        SoundingNote(int(onset * QUARTER), int(length * QUARTER), midi, fifths, line)
        for onset, length, midi, fifths, line in notes
    ]
    bars = tuple(Bar(n, 4 * n * QUARTER, 4 * QUARTER) for n in range(2))
    melody = Melody(bars=bars, metres=(MetreChange(0, Metre(4, 4)),))
    (chord,) = sounding_chords(Texture.of(made, ["high", "low"]), melody)
    assert chord.certainty < DOUBTED


def test_iv_to_i_in_the_middle_of_a_phrase_that_nothing_marks_is_no_cadence():
    # Beethoven, op. 59 no. 3, second movement, bars 6-7: the phrase is of two bars' turns.
    assert 7 not in bars(finds("beethoven/opus59no3/movement2.mxl"), "plagal cadence")


def test_the_leading_tone_chord_closes_no_phrase_that_nothing_marks():
    assert "authentic cadence" not in kinds(
        worked("C Bdim C Am", "C4|D4|E4|AEAE|"), (Phrase(2), Phrase(6))
    )


def test_a_passage_in_unison_has_no_chords():
    # Mozart, K. 80, second movement: bars 4 and 13-14 are one line in octaves; the D with
    # which bar 4 ends is V all the same.
    melody = harmonised(read_path(CORPUS / "mozart/k80/movement2.mxl").tunes[0])
    told = {bar: [s.text for s in melody.chords if s.bar == bar] for bar in (4, 13, 14, 15)}
    assert told == {4: ["N.C.", "D"], 13: ["G", "N.C."], 14: [], 15: ["D"]}


def test_v_without_its_third_makes_a_cadence():
    melody = worked("C F G C", "C4|A4|D4|C4|")
    doubted = tuple(
        replace(symbol, certainty=0.4, other="Gm") if symbol.text == "G" else symbol
        for symbol in melody.chords
    )
    for chords, told in (
        (doubted, True),
        ((*doubted[:2], replace(doubted[2], other="Em"), doubted[3]), False),
    ):
        heard = melody.with_worked_chords(chords)
        devices = sure_devices(heard, analyse(heard))
        assert ("authentic cadence" in {device.kind for device in devices}) is told
