"""MIDI files, read back by mido."""

from __future__ import annotations

import io

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Melody
from melodex.presentation.notation.midi import comparison_midi, midi_bytes, variable_length


def read(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data))


def notes(track: mido.MidiTrack) -> list[tuple[int, int, int]]:
    """Onset, length and pitch of each note."""
    place, held, found = 0, {}, []
    for message in track:
        place += message.time
        if message.type == "note_on":
            held[message.note] = place
        elif message.type == "note_off":
            start = held.pop(message.note)
            found.append((start, place - start, message.note))
    assert not held
    return sorted(found)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        # The table of The Complete MIDI 1.0 Detailed Specification, Standard MIDI
        # Files 1.0, "variable-length quantity".
        (0x00, "00"),
        (0x40, "40"),
        (0x7F, "7f"),
        (0x80, "8100"),
        (0x2000, "c000"),
        (0x3FFF, "ff7f"),
        (0x4000, "818000"),
        (0x100000, "c08000"),
        (0x1FFFFF, "ffff7f"),
        (0x200000, "81808000"),
        (0x8000000, "c0808000"),
        (0xFFFFFFF, "ffffff7f"),
    ],
)
def test_lengths_are_written_as_the_standard_shows(value, written):
    assert variable_length(value).hex() == written


def test_real_tunes_come_back_exact(real_tunes: list[Melody]):
    """Type 1, our division, every pitch, onset and length to the tick."""
    for melody in real_tunes:
        file = read(midi_bytes([melody]))
        assert (file.type, file.ticks_per_beat, len(file.tracks)) == (1, Q, 2)
        origin = min(melody.bars[0].onset_ticks, melody.onset_ticks[0])
        wanted = zip(melody.onset_ticks, melody.duration_ticks, melody.midi, strict=True)
        assert notes(file.tracks[1]) == [(o - origin, d, p) for o, d, p in wanted]


@given(st.floats(4, 1000))
def test_the_tempo_is_right_to_the_microsecond(tempo):
    melody = Melody((60,), (0,), (0,), (Q,), (1,), (1.0,), (0,))
    file = read(midi_bytes([melody], tempo_quarters_per_minute=tempo))
    (change,) = [m for m in file.tracks[0] if m.type == "set_tempo"]
    assert change.tempo == round(60_000_000 / tempo)
    assert file.length == pytest.approx(60 / tempo, abs=1e-5)


def test_key_and_metre_are_told(read_tune):
    melody = read_tune(
        "X:1\nT:t\nM:6/8\nL:1/8\nQ:1/4=90\nK:Em\nEFG ABc | [K:Eb] [M:3/4] e6 |"
    )
    track = read(midi_bytes([melody])).tracks[0]
    keys = [m.key for m in track if m.type == "key_signature"]
    metres = [(m.numerator, m.denominator) for m in track if m.type == "time_signature"]
    assert keys == ["Em", "Eb"]
    assert metres == [(6, 8), (3, 4)]
    assert [m.tempo for m in track if m.type == "set_tempo"] == [666667]


def test_a_comparison_gives_either_passage_or_both(comparison):
    both = read(comparison_midi(comparison))
    assert [track.name for track in both.tracks[1:]] == [
        comparison.a.label,
        comparison.b.label,
    ]
    assert len({m.channel for t in both.tracks for m in t if m.type == "note_on"}) == 2
    (_, only_b) = read(comparison_midi(comparison, which="b")).tracks
    assert [pitch for _, _, pitch in notes(only_b)] == list(comparison.b.melody.midi)
    with pytest.raises(PresentationError, match="'c' is no choice of passage"):
        comparison_midi(comparison, which="c")


def test_what_midi_cannot_hold_is_refused():
    quarter_tone = Melody((60.5,), (0,), (0,), (Q,), (3,), (1.0,), (0,))  # type: ignore[arg-type]
    with pytest.raises(PresentationError, match="bar 3 has no MIDI pitch"):
        midi_bytes([quarter_tone])
    with pytest.raises(PresentationError, match="1 to 256 melodies"):
        midi_bytes([])
    with pytest.raises(PresentationError, match="tempo of 2 quarters"):
        midi_bytes(
            [Melody((60,), (0,), (0,), (Q,), (1,), (1.0,), (0,))],
            tempo_quarters_per_minute=2,
        )
