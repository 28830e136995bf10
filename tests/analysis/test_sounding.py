"""Chords out of notes: textbook progressions, broken chords, human analyses."""

from pathlib import Path

import music21
import pytest

import melodex
from benchmarks.analysis.harmony.piano_textures import PATTERNS, known_piece
from melodex.analysis.harmony.heard.sounding import KINDS, harmonised, sounding_chords
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    Melody,
    Metre,
    MetreChange,
    fifths_from_name,
    midi_of,
)
from melodex.melody.texture import SoundingNote, Texture
from melodex.presentation.notation.abc import abc_text
from melodex.reading import read_path
from melodex.scripting.tune import Tune

CORPUS = Path(music21.__file__).parent / "corpus"
Q = TICKS_PER_QUARTER


def sheet(bars: int, beats: int = 4) -> Melody:
    """Bars and metre alone."""
    return Melody(
        bars=tuple(Bar(i + 1, i * beats * Q, beats * Q) for i in range(bars)),
        metres=(MetreChange(0, Metre(beats, 4)),),
    )


def texture(*lines: str) -> Texture:
    """Lines from the lowest up, each note as name, octave and quarters: ``Bb3:2``."""
    notes = []
    for place, line in enumerate(lines):
        onset = 0
        for word in line.split():
            name, length = word.split(":")
            ticks = round(float(length) * Q)
            if name != "-":
                fifths = fifths_from_name(name[:-1])
                midi = midi_of(fifths, int(name[-1]))
                notes.append(SoundingNote(onset, ticks, midi, fifths, place))
            onset += ticks
    return Texture.of(notes, [str(place) for place in range(len(lines))])


def heard(texture: Texture, bars: int, beats: int = 4) -> list[str]:
    """The chords of a texture as symbols."""
    return [chord.text for chord in sounding_chords(texture, sheet(bars, beats))]


def moved(texture: Texture, fifths: int) -> Texture:
    """The same music in another key, within the octave above."""
    semitones = 7 * fifths % 12
    return Texture.of(
        (
            SoundingNote(
                n.onset_ticks,
                n.duration_ticks,
                n.midi + semitones,
                n.fifths + fifths,
                n.line,
            )
            for n in texture.notes
        ),
        texture.lines,
    )


CADENCE = texture(
    "C3:4 F3:4 G2:2 G2:2 C3:4",
    "G3:4 A3:4 G3:2 F3:2 E3:4",
    "C4:4 C4:4 C4:2 B3:2 G3:4",
    "E4:4 F4:4 E4:2 D4:2 C4:4",
)
"""I IV I64 V7 I in four voices; common practice, no source."""


@pytest.mark.parametrize("fifths", range(-5, 7))
def test_a_cadence_is_heard_in_every_key(fifths: int) -> None:
    chords = sounding_chords(moved(CADENCE, fifths), sheet(4))
    names = [(c.root_fifths - fifths, c.kind, c.bass_fifths - fifths) for c in chords]
    assert names == [(0, "", 0), (-1, "", -1), (0, "", 1), (1, "7", 1), (0, "", 0)]


def test_notes_between_chord_notes_change_no_chord() -> None:
    # Passing and neighbouring notes in eighths; common practice, no source.
    found = heard(
        texture(
            "C3:4 G2:4 C3:4",
            "E3:4 D3:4 E3:4",
            "G3:1 A3:0.5 G3:0.5 G3:2 G3:4 G3:4",
            "C4:1 D4:0.5 E4:0.5 C4:2 B3:1 C4:0.5 B3:0.5 B3:2 C4:4",
        ),
        3,
    )
    assert found == ["C", "G", "C"]


def test_a_suspension_is_no_chord_of_its_own() -> None:
    # 4-3 over V: the C is tied over, prepared and resolved; common practice, no source.
    found = heard(
        texture("C3:4 G2:4 C3:4", "G3:4 D3:4 G3:4", "E3:4 G3:4 E3:4", "C4:5 B3:3 C4:4"), 3
    )
    assert found == ["C", "G", "C"]


def test_a_bass_that_moves_under_a_chord_inverts_it() -> None:
    found = heard(texture("C3:2 E3:2 F3:2 A3:2", "G3:4 C4:4", "C4:4 C4:4", "E4:4 F4:4"), 2)
    assert found == ["C", "C/E", "F", "F/A"]


def test_an_alberti_bass_makes_the_chords_of_its_bars() -> None:
    found = heard(
        texture(
            "C4:0.5 G4:0.5 E4:0.5 G4:0.5 C4:0.5 G4:0.5 E4:0.5 G4:0.5 "
            "D4:0.5 G4:0.5 F4:0.5 G4:0.5 C4:0.5 G4:0.5 E4:0.5 G4:0.5",
            "C5:2 E5:1 G5:1 B4:1.5 C5:0.25 D5:0.25 C5:2",
        ),
        2,
    )
    assert found[0] == "C"
    assert found[-1] == "C"
    assert found[1].startswith("G")


def test_a_line_alone_has_no_harmony_nor_has_one_with_a_few_double_stops() -> None:
    line = "C4:1 E4:1 G4:1 C5:1 " * 4
    assert heard(texture(line), 4) == []
    assert heard(texture(line, "-:12 E4:4"), 4) == []


@pytest.mark.parametrize("seed", range(len(PATTERNS)))
def test_broken_chords_are_heard_in_every_pattern(seed: int) -> None:
    piece = known_piece(seed)
    right = whole = 0.0
    for found in sounding_chords(piece.texture, piece.melody):
        for onset, length, root, _, _ in piece.chords:
            shared = min(found.end_ticks / Q, onset + length)
            shared -= max(found.onset_ticks / Q, onset)
            if shared > 0:
                whole += shared
                right += shared * (root == found.root_fifths)
    assert right >= 0.8 * whole


def test_a_known_sonata_begins_as_textbooks_say() -> None:
    # Mozart, K. 545, bars 1-4: I, V43 I, IV64 I, V6 I in C (from memory).
    (tune,) = read_path(CORPUS / "mozart/k545/movement1_exposition.mxl").tunes
    symbols = [c for c in harmonised(tune).chords if c.bar <= 4]
    assert [s.text.rstrip("7").split("/")[0].rstrip("7") for s in symbols] == list(
        "CGCFCGC"
    )


def test_worked_chords_are_no_part_of_the_tune() -> None:
    (read,) = read_path(CORPUS / "bach/bwv269.mxl").tunes
    tune = harmonised(read)
    assert tune.chords_worked_out
    assert not tune.printed_chords
    assert len(tune.chords) > 20
    assert tune == read.melody.with_worked_chords(tune.chords)
    assert tune.content_id() == read.melody.content_id()
    music = [line for line in abc_text(tune).splitlines() if not line.startswith("%")]
    assert not any('"' in line for line in music)
    again = Melody.from_dict(tune.to_dict())
    assert again == tune
    assert again.chords_worked_out


def test_printed_chords_win() -> None:
    (tune,) = read_path(CORPUS / "leadSheet/fosterBrownHair.mxl").tunes
    assert tune.texture is None
    assert harmonised(tune) is tune.melody


def test_chords_of_a_score_are_kept_and_come_to_a_tune_that_lacked_them(
    tmp_path: Path,
) -> None:
    reading = read_path(CORPUS / "bach/bwv269.mxl")
    (read,) = reading.tunes
    bare = type(read)(read.melody, read.warnings, read.kept, read.kept_format)
    file = tmp_path / "c.melodex"
    with CorpusWriter.open(file) as writer:
        writer.add_reading(type(reading)("bare.mxl", (bare,)))
        report = writer.add_reading(reading)
        writer.add_reading(type(reading)("bare.mxl", (bare,)))
    assert not report.refusals
    with Corpus.open(file) as corpus:
        (tune,) = corpus.melodies([read.melody.content_id()]).values()
    assert tune.chords_worked_out
    assert tune.chords == harmonised(read).chords


def test_every_kind_is_heard_as_itself() -> None:
    for kind, degrees in KINDS.items():
        notes = [
            SoundingNote(
                bar * 4 * Q, 4 * Q, 48 + 7 * (d + shift) % 12 + 12 * place, d + shift, place
            )
            for bar, shift in enumerate((0, 0))
            for place, d in enumerate(degrees)
        ]
        found = sounding_chords(Texture.of(notes, ["a"] * 4), sheet(2))
        assert {c.kind for c in found} == {kind}, kind


def test_a_comparison_says_whose_chords_are_worked_out() -> None:
    (read,) = read_path(CORPUS / "bach/bwv269.mxl").tunes
    whole, bare = Tune.of(harmonised(read)), Tune.of(read.melody)
    said = "Chords of A are worked out from all notes."
    assert said in str(melodex.compare(whole, bare, bars=(1, 4)))
    assert said not in str(melodex.compare(bare, bare, bars=(1, 4)))


def test_a_short_bass_before_a_stronger_beat_is_no_bass_of_what_comes() -> None:
    # The bass of BWV 310, bar 2, and like it: D leads to G and does not sound on under it.
    lines = texture(
        "D3:1 F#3:.5 D3:.5 G3:2 G3:4", "C4:2 D4:2 D4:4", "F#4:2 D4:2 D4:4", "A4:2 B4:2 B4:4"
    )
    assert heard(lines, 2) == ["D7", "D7/F#", "G"]


def test_the_leading_tone_chord_over_its_third_is_no_dominant_without_its_root():
    lines = "D3:1 E3:1 F3:1 F3:1", "A3:1 C#4:1 D4:1 A3:1", "F4:1 G4:1 A4:1 D4:1"
    for fifths in range(-4, 5):
        told = [chord[1:] for chord in heard(moved(texture(*lines), fifths), 1)]
        assert [text.lstrip("#b").split("/")[0] for text in told][:2] == ["m", "dim"]


def test_a_diminished_seventh_is_named_by_where_it_goes_however_it_is_written():
    # Over D the sheet has B natural where D diminished has C flat.
    lines = "Eb3:1 D3:1 Eb3:2", "Ab3:1 F3:1 G3:2", "C4:1 Ab3:1 Bb3:2", "Eb4:1 B3:1 Eb4:2"
    assert heard(texture(*lines), 1) == ["Ab/Eb", "Ddim7", "Eb"]


def test_a_note_of_the_next_chord_that_comes_early_brings_no_chord():
    lines = (
        "G2:1 C3:1 F2:2",
        "Db4:1 C4:.5 Bb3:.5 Ab3:2",
        "F4:1 E4:1 C4:2",
        "G4:1.5 F4:.5 F4:2",
    )
    assert heard(texture(*lines), 1)[-2:] in (["C", "Fm"], ["C7", "Fm"])


def test_no_chord_begins_in_a_silence():
    first, second = "C3:2 -:1 G2:1 C3:4", "E4:2 -:1 D4:1 E4:4"
    lines = first, second, second.replace("E4", "G4").replace("D4", "B4")
    told = sounding_chords(texture(*lines), sheet(2))
    assert [(chord.text, chord.onset_ticks // Q) for chord in told] == [
        ("C", 0), ("G", 3), ("C", 4),
    ]  # fmt: skip
    assert [chord.end_ticks // Q for chord in told] == [3, 4, 8]


def test_a_bass_that_rests_in_its_bar_goes_on_under_what_sounds_above():
    bass, above = "G2:1 -:2 C3:1 -:2", "-:1 B3:1 B3:1 -:1 E4:1 E4:1"
    lines = bass, above, "-:1 D4:1 D4:1 -:1 G4:1 G4:1", "G4:3 G4:3"
    assert heard(texture(*lines), 2, 3) == ["G", "C"]


def test_a_bass_that_goes_on_in_another_line_is_another_inversion():
    lines = "C3:2 E3:2 C3:4", "G3:4 G3:4", "E4:4 E4:4", "C5:4 C5:4"
    assert heard(texture(*lines), 2) == ["C", "C/E", "C"]


def test_a_bass_that_takes_turns_with_the_fifth_is_on_its_root():
    # Oom-pah: C and G below by turns, the chord after each.
    above = "-:1 E4:1 -:1 E4:1 -:1 E4:1 -:1 E4:1", "-:1 C4:1 -:1 C4:1 -:1 C4:1 -:1 C4:1"
    tune = "G4:4 G4:4"
    bass = "C3:1 -:1 G2:1 -:1 C3:1 -:1 G2:1 -:1"
    assert heard(texture(f"{bass} C3:4", *above, f"{tune} G4:4"), 3) == ["C"]


def test_a_bass_that_alternates_with_its_seventh_stays_on_it():
    # Wieck, op. 1 no. 1, bar 3: Db Eb Db Eb ... under Eb7, which comes down to C.
    bass = f"{'Db3:.5 Eb3:.5 ' * 4}C3:4"
    lines = bass, "G3:4 Eb3:4", "Bb3:4 Ab3:4", "Eb4:4 Eb4:4"
    assert heard(texture(*lines), 2) == ["Eb7/Db", "Ab/C"]
