"""Recordings: sounds whose notes are known, and files that lie or hold no line."""

from __future__ import annotations

import io
import os
import struct
import tracemalloc
from unittest import mock

import numpy as np
import pytest
import scipy.signal
import scipy.stats
import soundfile

from melodex.errors import EmptyMelodyError, HostileInputError, ReadingError
from melodex.melody import duration_class
from melodex.reading import budget
from melodex.reading.recording import coded as coding
from melodex.reading.recording import resampling
from melodex.reading.recording.reader import read_recording
from melodex.reading.recording.record import Recording
from melodex.reading.recording.resampling import resampled
from melodex.reading.recording.rhythm import value_of
from melodex.reading.recording.tracking import semitones_of
from melodex.reading.recording.waveform import RATE_HZ, read_waveform
from melodex.reading.recording.yin import YinTracker, under
from tests.reading.sounding import tones, wav

LINE = (67, 71, 74, 72, 69, 66, 67, 62)
NOISE = np.random.default_rng(5).normal(size=2 * RATE_HZ)


def pitches(heard: Recording) -> list[int]:
    return [note.midi for note in heard.notes]


def steps(heard: Recording) -> list[int]:
    return np.diff(pitches(heard)).tolist()


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 44_100, 48_000, 192_000])
def test_a_line_is_heard_at_every_rate(rate: int) -> None:
    assert pitches(read_recording(wav(tones(LINE, rate=rate), rate), "line.wav")) == [*LINE]


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_whole_numbers_of_every_width_are_read(width: int) -> None:
    samples = tones(LINE)
    read = read_waveform(wav(samples, width=width), "line.wav").samples
    assert np.abs(read - (samples - samples.mean())).max() < 2.0 ** (2 - 8 * min(width, 3))


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE", "PCM_24"])
def test_what_libsndfile_writes_is_read_as_it_reads_it(subtype: str) -> None:
    file = io.BytesIO()
    soundfile.write(file, tones(LINE), RATE_HZ, format="WAVEX", subtype=subtype)
    ours = read_waveform(file.getvalue(), "line.wav").samples
    file.seek(0)
    theirs = soundfile.read(file, dtype="float32")[0]
    assert np.abs(ours - (theirs - theirs.mean())).max() < 1e-6


def test_a_file_of_64_bit_lengths_is_read_to_where_its_sound_ends() -> None:
    # EBU Tech 3306, as libsndfile writes it; what follows the sound is none.
    file = io.BytesIO()
    soundfile.write(file, tones(LINE), RATE_HZ, format="RF64")
    whole = file.getvalue()
    at = whole.index(b"data") + 4
    untold = whole[:at] + b"\xff" * 4 + whole[at + 4 :]
    samples = read_waveform(untold + b"odd " + bytes(4000), "line.wav").samples
    assert len(samples) == len(tones(LINE))
    assert pitches(read_recording(whole, "line.wav")) == [*LINE]


def test_a_minute_at_the_highest_rate_takes_little_more_room_than_its_file() -> None:
    # Mixed and resampled in blocks; whole it would be 1,100 MB of double precision.
    sound = wav(np.zeros((60 * 48_000, 2)), 48_000)
    tracemalloc.start()
    read_waveform(sound, "minute.wav")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # One channel of 32 bits, once more for the filter, and what is resampled.
    assert peak < 3 * 4 * 60 * 48_000


@pytest.mark.parametrize("form", ["FLAC", "OGG", "MP3"])
def test_coded_files_are_read(form: str) -> None:
    file = io.BytesIO()
    soundfile.write(file, tones(LINE, rate=44_100), 44_100, format=form)
    assert pitches(read_recording(file.getvalue(), "line")) == [*LINE]


@pytest.mark.parametrize("rate", [8_001, 44_101, 191_999])
def test_an_odd_rate_costs_no_more_and_is_as_right(rate: int) -> None:
    sound = np.sin(2 * np.pi * 440 * np.arange(rate) / rate).astype(np.float32)
    # Each filter is made once: with as many as there are samples this took a minute.
    with mock.patch.object(resampling, "filter_at", wraps=resampling.filter_at) as made:
        found = resampled(sound, rate, RATE_HZ)
    assert made.call_count <= 1000
    assert abs(len(found) - RATE_HZ) <= 2
    phase = np.unwrap(np.angle(scipy.signal.hilbert(found)))[800:-800]
    hertz = (phase[-1] - phase[0]) / len(phase) * RATE_HZ / (2 * np.pi)
    assert abs(1200 * np.log2(hertz / 440)) < 0.5


def coded(samples: np.ndarray, form: str, rate: int = RATE_HZ) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=form)
    return file.getvalue()


@pytest.mark.parametrize("form", ["FLAC", "OGG", "MP3"])
def test_a_decoder_works_in_a_process_that_can_be_ended(
    form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A decoder that never comes back, and one that brings its process down.
    data = coded(tones(LINE), form)
    monkeypatch.setattr(budget, "MOST_SECONDS", 0.3)
    monkeypatch.setattr(coding, "read_coded", lambda *_: [0 for _ in iter(int, 1)])
    with pytest.raises(HostileInputError, match=r"odd: reading it takes more than 0\.3 s"):
        read_recording(data, "odd")
    monkeypatch.setattr(coding, "read_coded", lambda *_: os.abort())
    with pytest.raises(HostileInputError, match=r"odd: the process that reads it ended"):
        read_recording(data, "odd")


def test_an_hour_is_refused_after_a_minute_of_it() -> None:
    with pytest.raises(HostileInputError, match="lasts 60:00"):
        read_recording(coded(np.zeros(3600 * 8_000, np.int16), "FLAC", 8_000), "hour.flac")


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 96_000])
def test_resampling_agrees_with_scipy(rate: int) -> None:
    time = np.arange(rate) / rate
    sound = np.sin(2 * np.pi * 440 * time) + 0.5 * np.sin(2 * np.pi * 2500 * time)
    common = np.gcd(rate, RATE_HZ)
    theirs = scipy.signal.resample_poly(sound, RATE_HZ // common, rate // common)
    ours = resampled(sound.astype(np.float32), rate, RATE_HZ)
    inner = slice(400, -400)
    assert len(ours) == len(theirs)
    assert np.abs(ours[inner] - theirs[inner]).max() < 0.01


def test_thresholds_are_summed_as_scipy_sums_beta() -> None:
    places = np.linspace(0, 1, 51)
    assert np.allclose(under(places), scipy.stats.beta(2, 18).cdf(places))


@pytest.mark.parametrize("hertz", [82.41, 220.0, 440.0, 1046.5, 2093.0, 3520.0])
def test_a_tone_is_followed_to_five_cents(hertz: float) -> None:
    # Frequencies of E2, A3, A4, C6, C7 and A7 in equal temperament at 440 Hz.
    pitch = float(semitones_of(hertz))
    samples = read_waveform(wav(tones([pitch], seconds=0.8)), "tone.wav")
    track = YinTracker().track(samples)
    inner = slice(40, 140)
    assert track.voiced[inner].all()
    assert np.abs(track.pitch[inner] - pitch).max() < 0.05


def test_times_and_lengths_are_heard_as_ratios() -> None:
    lengths = [0.3, 0.3, 0.6, 0.3, 0.3, 0.9, 0.3, 0.3]
    heard = read_recording(wav(tones(LINE, lengths)), "line.wav")
    onsets = 0.1 + np.concatenate([[0], np.cumsum(lengths[:-1])])
    assert np.allclose([n.onset_seconds for n in heard.notes], onsets, atol=0.03)
    ratios = [note.ratio for note in heard.notes]
    assert np.allclose(ratios[:-1], np.array(lengths[:-1]) / 0.3, rtol=0.12)


def test_a_line_out_of_tune_that_drifts_keeps_its_steps() -> None:
    off = np.linspace(0.35, 1.05, 16)
    heard = read_recording(wav(tones(np.array([*LINE, *LINE]) + off)), "line.wav")
    assert steps(heard) == np.diff([*LINE, *LINE]).tolist()
    assert heard.drift_semitones == pytest.approx(0.7, abs=0.2)
    assert "rising by" in heard.tuning


def test_a_doubtful_line_is_put_on_semitones_in_several_ways() -> None:
    assert {line.words for line in read_recording(wav(tones(LINE)), "a.wav").lines} == {
        "as it was heard"
    }
    off = np.array([0.45, -0.3, 0.4, -0.5, 0.2, 0.5, -0.4, 0.3])
    heard = read_recording(wav(tones(np.array(LINE) + off)), "a.wav")
    found = [np.diff([note.midi for note in line.notes]).tolist() for line in heard.lines]
    assert 2 <= len(found) <= 6
    assert len({tuple(line) for line in found}) == len(found)
    assert all(abs(n.pitch - LINE[i] - off[i]) < 0.15 for i, n in enumerate(heard.notes))


def test_repeated_notes_without_a_break_are_read_in_both_ways() -> None:
    samples = tones(LINE, 0.5)
    # Half of the third note again, after a dip of 9 dB over 40 ms.
    middle = round((0.1 + 2 * 0.5 + 0.25) * RATE_HZ)
    samples[middle - 320 : middle + 320] *= 10 ** (-9 / 20)
    heard = read_recording(wav(samples), "line.wav")
    counts = sorted(len(line.notes) for line in heard.lines)
    assert counts == [8, 9]
    assert any("8 or 9 notes" in said and "da" in said for said in heard.remarks)


def test_stereo_out_of_phase_is_read_from_one_side() -> None:
    samples = tones(LINE)
    heard = read_recording(wav(np.stack([samples, -samples], axis=1)), "line.wav")
    assert pitches(heard) == [*LINE]
    assert any("out of phase" in said for said in heard.remarks)


def test_a_clipped_line_is_heard_and_said_to_be_clipped() -> None:
    heard = read_recording(wav(np.clip(20 * tones(LINE), -1, 1)), "line.wav")
    assert pitches(heard) == [*LINE]
    assert any("clipped" in said for said in heard.remarks)


def test_noise_under_a_line_changes_nothing() -> None:
    samples = tones(LINE)
    noise = np.resize(NOISE, len(samples)) * np.sqrt(np.mean(samples**2) / 10)
    assert steps(read_recording(wav(samples + noise), "line.wav")) == np.diff(LINE).tolist()


def chord(*midi: int) -> np.ndarray:
    return np.sum(
        [tones([pitch + move for move in (0, 5, 7, 0)], 0.6) for pitch in midi], axis=0
    )


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        (np.zeros(RATE_HZ), "silent"),
        (0.1 * NOISE, "only noise"),
        (0.4 * chord(48, 52, 55, 59), "more than one note sounds"),
        (tones([60, 64]), "fewer than 3 notes"),
    ],
    ids=["silence", "noise", "chords", "two notes"],
)
def test_what_is_no_line_is_refused_in_words(samples: np.ndarray, said: str) -> None:
    with pytest.raises((ReadingError, EmptyMelodyError), match=said):
        read_recording(wav(samples), "odd.wav")


def test_pitches_that_never_rest_are_taken_for_speech() -> None:
    time = np.arange(4 * RATE_HZ) / RATE_HZ
    # Glides of an octave a second and more, as of a voice that speaks.
    pitch = 50 + 5 * np.sin(2 * np.pi * 1.9 * time) + 3 * np.sin(2 * np.pi * 3.1 * time)
    phase = 2 * np.pi * np.cumsum(440 * 2 ** ((pitch - 69) / 12)) / RATE_HZ
    voice = np.sum([np.sin(n * phase) / n for n in range(1, 12)], axis=0)
    with pytest.raises(ReadingError, match="speech"):
        read_recording(wav(0.2 * voice), "talk.wav")


def header(data: bytes, claimed: int) -> bytes:
    at = data.index(b"data") + 4
    return data[:at] + struct.pack("<I", claimed) + data[at + 4 :]


def test_a_file_cut_off_is_read_as_far_as_it_goes() -> None:
    whole = wav(tones(LINE))
    heard = read_recording(whole[: len(whole) * 3 // 4], "line.wav")
    assert pitches(heard) == list(LINE[: len(heard.notes)])
    assert any("shorter than its header" in said for said in heard.remarks)


@pytest.mark.parametrize("claimed", [0, 0xFFFFFFFF])
def test_a_length_that_was_never_filled_in_is_no_lie(claimed: int) -> None:
    heard = read_recording(header(wav(tones(LINE)), claimed), "line.wav")
    assert pitches(heard) == [*LINE]
    assert not heard.remarks


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (wav(np.zeros(61 * 8_000), 8_000), "lasts 1:01"),
        (wav(np.zeros(800), 8_000), "too little"),
        (wav(tones(LINE), 4_000), "4,000 samples a second"),
        (wav(tones(LINE), 1_000_000), "1,000,000 samples a second"),
        (wav(np.zeros((8_000, 9)), 8_000), "9 channels"),
        (b"RIFF\x00\x00\x00\x00WAVE", "no sound"),
        (wav(tones(LINE))[:30], "header"),
        (b"", "empty"),
        (b"not a sound at all", "no sound that can be read"),
        (b"fLaC" + bytes(2000), "no sound that can be read"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(data: bytes, said: str) -> None:
    with pytest.raises(ReadingError, match=said):
        read_recording(data, "odd.wav")


def test_samples_that_are_no_numbers_are_refused() -> None:
    file = io.BytesIO()
    samples = tones(LINE)
    samples[100] = np.nan
    soundfile.write(file, samples, RATE_HZ, format="WAV", subtype="FLOAT")
    with pytest.raises(HostileInputError, match="no numbers"):
        read_recording(file.getvalue(), "odd.wav")


@pytest.mark.parametrize("seed", range(30))
def test_a_file_changed_at_random_is_read_or_refused(seed: int) -> None:
    dice = np.random.default_rng(seed)
    data = bytearray(wav(tones(LINE[:3], 0.2, 8_000), 8_000))
    for place in dice.integers(0, 48, 4):
        data[place] = int(dice.integers(256))
    said = "odd.wav: "
    try:
        read_recording(bytes(data), "odd.wav")
    except (ReadingError, EmptyMelodyError) as error:
        said = str(error)
    assert said.startswith("odd.wav: ")


def test_lengths_are_written_as_values_of_the_class_that_is_searched() -> None:
    for length_class in range(-8, 9):
        assert duration_class(value_of(length_class)) == length_class
