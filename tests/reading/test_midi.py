"""MIDI files, written by mido and by music21, read back; and damaged ones refused.

mido and music21 are the outside witnesses: what they write in their own reading of
Standard MIDI Files 1.0 (MIDI Manufacturers Association 1996) is what must come back.
"""

import io
import random
from itertools import pairwise

import mido
import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.melody import TICKS_PER_QUARTER, Metre, note_name, pitch_class_name
from melodex.reading import Choice, read_bytes
from melodex.reading.midi.grid import GRIDS

TICKS = 480
SCALE = [(60, 480), (62, 240), (64, 240), (65, 720), (67, 240)]


def track_of(notes, channel=0, meta=(), gap=0):
    """A track of notes (pitch, or None for a rest, and ticks) one after another."""
    track = mido.MidiTrack(meta)
    wait = 0
    for pitch, ticks in notes:
        if pitch is None:
            wait += ticks
            continue
        track.append(mido.Message("note_on", note=pitch, time=wait, channel=channel))
        track.append(
            mido.Message("note_off", note=pitch, time=ticks - gap, channel=channel)
        )
        wait = gap
    return track


def file_of(*tracks, kind=1, ticks=TICKS):
    file = mido.MidiFile(type=kind, ticks_per_beat=ticks)
    file.tracks.extend(tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def read(data, choice=None):
    reading = read_bytes(data, "midi", "tune.mid", choice)
    assert not reading.refusals, reading.refusals
    (tune,) = reading.tunes
    return tune


def refusal_of(data, choice=None):
    reading = read_bytes(data, "midi", "tune.mid", choice)
    assert not reading.tunes
    (refusal,) = reading.refusals
    return str(refusal)


def warnings_of(tune):
    return "; ".join(warning.text for warning in tune.warnings)


def meta(kind, **values):
    return mido.MetaMessage(kind, **values)


def test_pitches_and_lengths_come_back_and_the_grid_is_said():
    tune = read(file_of(track_of(SCALE)))
    assert tune.melody.midi == (60, 62, 64, 65, 67)
    assert tune.melody.duration_quarters == (1, 0.5, 0.5, 1.5, 0.5)
    assert "a grid of 2 to the quarter, which they fit" in tune.warnings[0].text


def test_rests_are_gaps():
    melody = read(file_of(track_of([(60, 480), (None, 240), (62, 240)]))).melody
    assert melody.onset_quarters == (0, 1.5)
    assert melody.duration_quarters == (1, 0.5)


@pytest.mark.parametrize("kind", [0, 1])
def test_both_types_of_file_are_read(kind):
    assert read(file_of(track_of(SCALE), kind=kind)).melody.midi == (60, 62, 64, 65, 67)


def test_running_status_and_silent_note_on_end_notes():
    body = bytes((0, 0x90, 60, 64, 96, 60, 0, 0, 62, 64, 48, 62, 0, 0, 0xFF, 0x2F, 0))
    data = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
    data += b"MTrk" + len(body).to_bytes(4, "big") + body
    assert [m.type for m in mido.MidiFile(file=io.BytesIO(data)).tracks[0]][:2] == [
        "note_on",
        "note_on",
    ]
    melody = read(data).melody
    assert (melody.midi, melody.duration_quarters) == ((60, 62), (1, 0.5))


def test_tempo_key_metre_title_and_rights_are_kept():
    head = mido.MidiTrack(
        [
            meta("track_name", name="Low Tide"),
            meta("copyright", text="free to copy"),
            meta("set_tempo", tempo=mido.bpm2tempo(90)),
            meta("key_signature", key="Cm"),
            meta("time_signature", numerator=6, denominator=8),
            meta("marker", text="A"),
        ]
    )
    melody = read(
        file_of(head, track_of(SCALE, meta=[meta("track_name", name="Pipe")]))
    ).melody
    assert melody.title == "Low Tide"
    assert (melody.credits.rights, melody.credits.part) == ("free to copy", "Pipe")
    assert melody.tempo_quarters_per_minute == pytest.approx(90, abs=0.01)
    assert (str(melody.key), melody.keys[0].signature_fifths) == ("C minor", -3)
    assert melody.metre == Metre(6, 8)
    assert [(m.text, m.bar) for m in melody.marks] == [("A", 1)]


@pytest.mark.parametrize(
    "key", ["C", "G", "F#", "Db", "Bb", "Am", "Ebm", "G#m", "Cb", "C#", "Abm", "A#m"]
)
def test_key_signatures_are_those_that_mido_writes(key):
    melody = read(file_of(track_of(SCALE, meta=[meta("key_signature", key=key)]))).melody
    tonic = pitch_class_name(melody.key.tonic_fifths)
    assert tonic + ("m" if melody.key.mode == "minor" else "") == key


def test_bars_follow_the_metre_and_its_changes():
    track = mido.MidiTrack([meta("time_signature", numerator=3, denominator=4)])
    for i in range(10):
        if i == 6:
            track.append(meta("time_signature", numerator=2, denominator=4))
        track.append(mido.Message("note_on", note=60 + i, time=0))
        track.append(mido.Message("note_off", note=60 + i, time=TICKS))
    melody = read(file_of(track)).melody
    assert melody.bar == (1, 1, 1, 2, 2, 2, 3, 3, 4, 4)
    assert [bar.number for bar in melody.bars] == [1, 2, 3, 4]
    assert melody.beat_strength[6:] == (1, 0.5, 1, 0.5)


def test_a_short_first_metre_is_a_pickup():
    track = mido.MidiTrack([meta("time_signature", numerator=1, denominator=4)])
    track.append(mido.Message("note_on", note=67, time=0))
    track.append(mido.Message("note_off", note=67, time=TICKS))
    track.append(meta("time_signature", numerator=4, denominator=4))
    track += track_of([(72, 480), (74, 480)])
    melody = read(file_of(track)).melody
    assert melody.bar == (0, 1, 1)
    assert melody.beat_strength[:2] == (0.25, 1)


def test_without_a_time_signature_the_metre_is_4_4_and_that_is_said():
    tune = read(file_of(track_of(SCALE)))
    assert tune.melody.metre == Metre(4, 4)
    assert "no time signature at the start: read as 4/4" in warnings_of(tune)


def test_the_track_that_plays_one_note_at_a_time_is_the_melody():
    chords = mido.MidiTrack([meta("track_name", name="Chords")])
    for _ in range(9):
        for on in ("note_on", "note_off"):
            for i, pitch in enumerate((48, 52, 55)):
                wait = TICKS if on == "note_off" and i == 0 else 0
                chords.append(mido.Message(on, note=pitch, time=wait))
    line = track_of(SCALE, channel=1, meta=[meta("track_name", name="Tune")])
    tune = read(file_of(chords, line))
    assert tune.melody.midi == (60, 62, 64, 65, 67)
    assert "read Tune; left aside Chords" in warnings_of(tune)
    asked = read(file_of(chords, line), Choice(part="Chords"))
    assert set(asked.melody.midi) == {55}
    assert "of each chord only the top note is read" in warnings_of(asked)
    low = read(file_of(chords, line), Choice(part="1", chord_note="bottom"))
    assert set(low.melody.midi) == {48}


def test_channels_of_one_track_are_lines_and_percussion_is_left_out():
    track = mido.MidiTrack()
    for channel, pitch in ((9, 35), (2, 72), (3, 48)):
        track.append(mido.Message("note_on", note=pitch, channel=channel))
    for i, (channel, pitch) in enumerate(((9, 35), (2, 72), (3, 48))):
        wait = TICKS if i == 0 else 0
        track.append(mido.Message("note_off", note=pitch, channel=channel, time=wait))
    assert read(file_of(track, kind=0)).melody.midi == (72,)
    assert read(file_of(track, kind=0), Choice(voice="4")).melody.midi == (48,)
    drums = track_of([(35, 480)], channel=9)
    assert "no notes with a pitch" in refusal_of(file_of(drums))
    assert "no line of that name" in refusal_of(file_of(track), Choice(part="flute"))


def test_detached_playing_is_not_written_as_rests():
    notes = [(60 + i, TICKS) for i in range(8)]
    melody = read(file_of(track_of(notes, gap=37))).melody
    assert melody.duration_quarters[:7] == (1,) * 7


@pytest.mark.parametrize("steps", GRIDS)
def test_exact_files_get_the_coarsest_grid_that_fits(steps):
    length = TICKS // steps
    tune = read(file_of(track_of([(60, length), (62, 2 * length), (64, TICKS)])))
    assert f"a grid of {steps} to the quarter, which they fit" in warnings_of(tune)
    assert tune.melody.onset_ticks[1] == TICKS_PER_QUARTER // steps


RHYTHMS = [
    (2, [1, 0.5, 0.5, 1, 1, 0.5, 0.5, 2]),
    (4, [0.75, 0.25, 0.5, 0.25, 0.25, 1, 0.5, 0.5]),
    (3, [2 / 3, 1 / 3, 1 / 3, 1 / 3, 1 / 3, 1, 2 / 3, 1 / 3]),
]


@pytest.mark.parametrize(("steps", "rhythm"), RHYTHMS)
@pytest.mark.parametrize("seed", range(5))
def test_a_player_who_is_a_little_off_is_put_on_the_right_grid(steps, rhythm, seed):
    shaky = random.Random(seed)
    places = [0.0]
    for length in rhythm * 4:
        places.append(places[-1] + length)
    played = [round(TICKS * p + shaky.gauss(0, 0.02 * TICKS)) + TICKS for p in places]
    notes = [(60 + i % 5, b - a) for i, (a, b) in enumerate(pairwise(played))]
    tune = read(file_of(track_of([(None, played[0]), *notes])))
    assert f"a grid of {steps} to the quarter; notes lay" in warnings_of(tune)
    shift = tune.melody.onset_quarters[0]
    found = [place - shift for place in tune.melody.onset_quarters]
    assert found == pytest.approx(places[:-1], abs=1e-3)


SPELLINGS = [
    # Harmonic minor scales and a chromatic passing note (common practice, no source).
    ([57, 59, 60, 62, 64, 65, 68, 69], "A3 B3 C4 D4 E4 F4 G#4 A4"),
    ([60, 62, 63, 65, 67, 68, 71, 72], "C4 D4 Eb4 F4 G4 Ab4 B4 C5"),
    ([65, 67, 69, 70, 72, 74, 76, 77], "F4 G4 A4 Bb4 C5 D5 E5 F5"),
    ([64, 66, 68, 69, 71, 73, 75, 76], "E4 F#4 G#4 A4 B4 C#5 D#5 E5"),
]


@pytest.mark.parametrize(("pitches", "expected"), SPELLINGS)
def test_without_a_key_the_spelling_follows_the_scale_that_is_heard(pitches, expected):
    melody = read(file_of(track_of([(pitch, TICKS) for pitch in pitches]))).melody
    names = [note_name(*pair) for pair in zip(melody.midi, melody.fifths, strict=True)]
    assert " ".join(names) == expected
    assert melody.keys == ()


def test_words_are_kept_under_their_notes():
    track = mido.MidiTrack([meta("lyrics", text="sea")])
    track += track_of([(60, 480), (62, 480)])
    assert [(w.note, w.text) for w in read(file_of(track)).melody.lyrics] == [(0, "sea")]


@settings(deadline=None, max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.none() | st.integers(21, 108),
            st.sampled_from([0.25, 0.5, 0.75, 1, 1.5, 2, 3]),
        ),
        min_size=1,
        max_size=30,
    ).filter(lambda notes: any(pitch is not None for pitch, _ in notes)),
    st.sampled_from([96, 480, 960]),
)
def test_what_mido_writes_comes_back(notes, ticks):
    data = file_of(track_of([(p, round(q * ticks)) for p, q in notes]), ticks=ticks)
    melody = read(data).melody
    place, expected = 0.0, []
    for pitch, length in notes:
        if pitch is not None:
            expected.append((pitch, place, length))
        place += length
    found = list(
        zip(melody.midi, melody.onset_quarters, melody.duration_quarters, strict=True)
    )
    assert found == expected


@pytest.mark.parametrize(
    "name", ["bach/bwv66.6", "bach/bwv1.6", "trecento/Fava_Dicant_nunc_iudei"]
)
def test_what_music21_writes_comes_back(name):
    part = music21.corpus.parse(name, forceSource=True).parts[0].stripTies()
    flat = part.flatten()
    writer = music21.midi.translate.streamToMidiFile(flat)
    melody = read(writer.writestr()).melody
    notes = [note for note in flat.notes if not note.duration.isGrace]
    first = min(note.offset for note in notes)
    assert melody.midi == tuple(int(note.pitch.ps) for note in notes)
    shift = melody.onset_quarters[0] - first
    for place, length, note in zip(
        melody.onset_quarters, melody.duration_quarters, notes, strict=True
    ):
        assert place - shift == pytest.approx(float(note.offset), abs=0.01)
        assert length == pytest.approx(float(note.quarterLength), abs=0.01)


def test_files_that_cannot_be_read_say_why():
    good = file_of(track_of(SCALE))
    frames = bytearray(good)
    frames[12] = 0xE7
    assert "film frames" in refusal_of(bytes(frames))
    assert "type 2" in refusal_of(good[:9] + b"\x02" + good[10:])
    assert "no MIDI file" in refusal_of(b"MThd")
    assert "no notes" in refusal_of(good[:14])
    assert "no notes" in refusal_of(file_of(mido.MidiTrack()))


def test_a_file_cut_short_gives_what_came_before():
    good = file_of(track_of(SCALE))
    tune = read(good[:-20])
    assert tune.melody.midi == (60, 62, 64, 65)[: len(tune.melody)]
    assert len(tune.melody) >= 2
    assert "breaks off" in warnings_of(tune)


def test_a_note_without_an_end_is_said():
    track = mido.MidiTrack(
        [mido.Message("note_on", note=60), mido.MetaMessage("marker", time=480)]
    )
    tune = read(file_of(track))
    assert tune.melody.duration_quarters == (1,)
    assert "notes without an end: 1" in warnings_of(tune)


def test_a_file_that_lasts_for_days_is_refused():
    data = bytearray(file_of(track_of([(60, 0x0FFFFFFF)]), ticks=1))
    assert "lasts more than" in refusal_of(bytes(data))


@pytest.mark.timeout(30)
def test_more_events_than_any_piece_has_are_refused():
    body = bytes((0, 0x90, 60, 64)) + bytes((1, 60, 0, 0, 60, 64)) * 400_000
    data = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
    data += b"MTrk" + len(body).to_bytes(4, "big") + body
    assert "more than 400000 events" in refusal_of(data)


def test_more_changes_of_metre_than_any_piece_has_are_refused():
    changes = [meta("time_signature", numerator=2 + i % 2, time=1) for i in range(3000)]
    assert "changes of key or metre" in refusal_of(file_of(track_of(SCALE, meta=changes)))


@given(st.binary(max_size=300))
def test_noise_is_answered(data):
    for start in (b"", b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x00\x60MTrk\x00\x00\x01\x00"):
        reading = read_bytes(start + data + b".", "midi", "noise")
        assert len(reading.tunes) + len(reading.refusals) == 1


@given(st.data())
def test_a_file_with_a_few_bytes_changed_is_answered(data):
    plain = bytearray(file_of(track_of(SCALE)))
    for _ in range(data.draw(st.integers(1, 4))):
        plain[data.draw(st.integers(0, len(plain) - 1))] = data.draw(st.integers(0, 255))
    reading = read_bytes(bytes(plain), "midi", "noise")
    assert len(reading.tunes) + len(reading.refusals) == 1


def test_a_few_notes_in_thousands_of_bars_are_refused():
    far = 4 * TICKS * 2200
    assert "mostly silence" in refusal_of(
        file_of(track_of([(60, 480), (None, far), (62, 480)]))
    )
    tune = [*SCALE, (None, far // 2), *SCALE]
    assert len(read(file_of(track_of(tune))).melody.bars) > 1000
