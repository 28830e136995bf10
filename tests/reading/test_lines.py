"""Every line of a piece: parts, voices and what moves under the top of chords.

The ABC example is written after the one in section 7 of the ABC music standard 2.1 (four
voices with clefs and transpositions, on two staves); MIDI files are made by mido, sheets
of MusicXML by music21, which also says what stands in each of its parts.
"""

from __future__ import annotations

import io
from pathlib import Path

import mido
import music21
import pytest

from melodex.melody import TICKS_PER_QUARTER
from melodex.reading import Choice, FileReading, read_bytes, read_data
from melodex.reading.lines import leads

ALL = Choice(lines="all")
CORPUS = Path(music21.__file__).parent / "corpus"

FOUR_VOICES = """X:1
T:Four Voices
M:4/4
L:1/4
%%score (T1 T2) (B1 B2)
V:T1 clef=treble-8 name="Tenore I"
V:T2 clef=treble-8 name="Tenore II"
V:B1 middle=d clef=bass name="Basso I" transpose=-24
V:B2 middle=d clef=bass name="Basso II" transpose=-24
K:Gm
[V:T1] (B2c2 d2g2) | f6e2 | (d2c2 d2)e2 | d4 c2z2 |
[V:T2] (G2A2 B2e2) | d6c2 | (B2A2 B2)c2 | B4 A2z2 |
[V:B1] z8 | z2f2 g2a2 | b2z2 z2 e2 | f4 f2g2 |
[V:B2] x8 | x8 | G2G2 A2A2 | B4 C2z2 |
"""


def pitches(reading: FileReading) -> dict[str, tuple[int, ...]]:
    """Pitches of each line by its name."""
    return {tune.line.name: tune.melody.midi for tune in reading.tunes}


def test_the_voices_of_the_standard_are_lines() -> None:
    reading = read_data(FOUR_VOICES.encode(), "four.abc", ALL)
    assert list(pitches(reading)) == ["Tenore I", "Tenore II", "Basso I"]
    tenor, second, bass = reading.tunes
    # Section 7: treble-8 sounds an octave lower, transpose=-24 two octaves.
    assert tenor.melody.midi[:4] == (58, 60, 62, 67)
    assert second.melody.midi[:4] == (55, 57, 58, 63)
    assert bass.melody.midi[:3] == (77 - 24, 79 - 24, 81 - 24)
    assert [tune.line.position for tune in reading.tunes] == [1, 2, 3]
    assert [tune.line.is_main for tune in reading.tunes] == [True, False, False]
    assert bass.line.clef == "bass"
    assert bass.line.transposition_semitones == -24
    # Six notes are no line that could be looked for; that is said.
    assert "Basso II (6 notes)" in tenor.warnings[0].text


def test_the_main_line_alone_is_what_all_lines_begin_with() -> None:
    alone = read_data(FOUR_VOICES.encode(), "four.abc").tunes
    first = read_data(FOUR_VOICES.encode(), "four.abc", ALL).tunes[0]
    assert [tune.melody for tune in alone] == [first.melody]


@pytest.mark.parametrize(
    ("names", "words", "main"),
    [
        (("Piano", "Voice"), "", "Voice"),
        (("Solo Violin", "Voice"), "", "Solo Violin"),
        (("Flute", "Alto"), "Alto", "Alto"),
        (("Flute", "Alto"), "", "Flute"),
        (("Trumpet", "Soprano"), "", "Soprano"),
    ],
)
def test_the_main_line_is_the_one_that_is_followed(
    names: tuple[str, str], words: str, main: str
) -> None:
    body = "".join(
        f"V:{place}\n{notes}\n" + ("w: a b c d e f g h\n" if name == words else "")
        for place, (name, notes) in enumerate(
            zip(names, ("cdef edcd", "CDEC FEDC"), strict=True), 1
        )
    )
    heads = "".join(f'V:{place} name="{name}"\n' for place, name in enumerate(names, 1))
    text = f"X:1\nT:Song\nL:1/4\n{heads}K:C\n{body}"
    reading = read_data(text.encode(), "song.abc", ALL)
    assert reading.tunes[0].line.part == main
    assert sorted(tune.line.position for tune in reading.tunes) == [1, 2]
    set_by_hand = read_data(text.encode(), "song.abc", Choice(voice="2", lines="all"))
    assert set_by_hand.tunes[0].line.position == 2


@pytest.mark.parametrize(
    ("name", "part"),
    [
        # A figured bass and an analysis stand where words would; trumpets over a chorale.
        ("corelli/opus3no1/1grave.xml", "Violino I."),
        ("theoryExercises/checker_demo.mxl", "part 1"),
        ("bach/bwv69.6.xml", "Soprano"),
        ("bach/bwv248.64-6.mxl", "Soprano"),
        ("schubert/Lindenbaum.xml", "Voice"),
    ],
)
def test_the_main_line_of_scores_is_the_one_that_is_followed(name: str, part: str) -> None:
    """Read in the sheets of music21's corpus; which line leads is common practice."""
    path = CORPUS / name
    form = "mxl" if path.suffix == ".mxl" else "musicxml"
    reading = read_bytes(path.read_bytes(), form, name, ALL)
    main = reading.tunes[0].line
    assert (main.is_main, main.part) == (True, part)
    sung = any(tune.line.sung_syllables for tune in reading.tunes)
    assert sung is (part == "Voice")


def test_chords_that_move_as_voices_and_doublings() -> None:
    stops = "X:1\nT:Stops\nL:1/4\nK:C\n[ce][df][eg][fa] [eg][df]c[ce] | [ce][df] c2 |"
    top, under = read_data(stops.encode(), "stops.abc", ALL).tunes
    assert top.melody.midi[:3] == (76, 77, 79)
    assert under.melody.midi[:3] == (72, 74, 76)
    assert under.line.voice == "note 2 of chords"
    assert len(under.melody) == 9
    octaves = "X:1\nL:1/4\nV:1\nV:2\nK:C\nV:1\ncdef edcB\nV:2\nCDEF EDCB,"
    (only,) = read_data(octaves.encode(), "octaves.abc", ALL).tunes
    assert only.line.doubled_by == ("2",)
    assert "kept once" in only.warnings[0].text


def midi_of(*tracks: list[tuple[int, int, int]], name: str = "") -> bytes:
    """A MIDI file by mido: tracks of (pitch, start, end) in quarters."""
    file = mido.MidiFile(ticks_per_beat=480)
    for place, notes in enumerate(tracks):
        track = mido.MidiTrack()
        file.tracks.append(track)
        track.append(mido.MetaMessage("track_name", name=f"{name}{place + 1}"))
        events = [(start, 1, pitch) for pitch, start, _ in notes]
        events += [(end, 0, pitch) for pitch, _, end in notes]
        now = 0
        for at, on, pitch in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(
                mido.Message(
                    kind, note=pitch, time=(at - now) * 480, channel=place, velocity=64
                )
            )
            now = at
    held = io.BytesIO()
    file.save(file=held)
    return held.getvalue()


def test_tracks_and_channels_of_midi_are_lines() -> None:
    high = [(72 + step % 5, step, step + 1) for step in range(12)]
    low = [(48 + step % 3, step, step + 1) for step in range(12)]
    both = [*high, *[(60 + step % 4, step, step + 1) for step in range(12)]]
    reading = read_bytes(midi_of(high, low, name="Line "), "midi", "two.mid", ALL)
    assert [tune.line.part for tune in reading.tunes] == ["Line 1", "Line 2"]
    assert [tune.melody.midi for tune in reading.tunes] == [
        tuple(pitch for pitch, _, _ in notes) for notes in (high, low)
    ]
    parted = read_bytes(midi_of(both), "midi", "one.mid", ALL).tunes
    assert [tune.melody.midi for tune in parted] == [
        tuple(pitch for pitch, _, _ in notes) for notes in (high, both[12:])
    ]


def test_two_parts_of_one_name_control_signs_and_vanishing_voices() -> None:
    rest = "z4 | " * 3
    text = (
        'X:1\nT:Odd\nL:1/4\nV:1 name="Horn\x1b[31m"\nV:2 name="Horn"\nK:C\n'
        f"V:1\ncdef | {rest} gfed |\nV:2\nz4 | CDEC | {rest} FGAF |"
    )
    reading = read_data(text.encode(), "odd.abc", ALL)
    names = [tune.line.part for tune in reading.tunes]
    assert names == ["Horn [31m", "Horn"]
    assert len({t.line.position for t in reading.tunes}) == 2
    assert [len(tune.melody) for tune in reading.tunes] == [8, 8]
    assert reading.tunes[1].melody.bar == (2,) * 4 + (6,) * 4


@pytest.mark.parametrize(
    "name",
    ["bach/bwv66.6.mxl", "haydn/opus74no1/movement3.mxl", "joplin/maple_leaf_rag.mxl"],
)
def test_lines_are_those_of_the_parts_that_music21_reads(name: str) -> None:
    """Every note of a line sounds in the part, at its place (music21 part by part)."""
    path = CORPUS / name
    reading = read_bytes(path.read_bytes(), "mxl", name, ALL)
    score = music21.converter.parse(path)
    sounding: set[tuple[int, int]] = set()
    for note in score.flatten().notes:
        at = round(note.offset * TICKS_PER_QUARTER)
        sounding |= {
            (at, pitch.midi) for pitch in note.pitches if not note.duration.isGrace
        }
    assert len(reading.tunes) >= 4
    for tune in reading.tunes:
        own = zip(tune.melody.onset_ticks, tune.melody.midi, strict=True)
        assert sounding.issuperset(own), tune.line.name


def test_names_that_lead() -> None:
    assert leads("Voice")
    assert leads("VIOLIN SOLO")
    assert not leads("Soloists' choir, bass")
