"""Loudness of a recording: values that ITU-R BS.1770-4 and EBU Tech 3341 print.

The tables are named at each check; what has no source is arithmetic.
"""

import io
import math
import wave

import numpy as np
import numpy.typing as npt
import pytest

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.recording.loudness import (
    HIGH_PASS,
    SHELF,
    carried,
    loudness_of_file,
)

Floats = npt.NDArray[np.float64]


def wav(samples: Floats, rate: int = 48_000) -> bytes:
    """Samples of shape (n, channels) as 16-bit WAV."""
    file = io.BytesIO()
    with wave.open(file, "wb") as sound:
        sound.setnchannels(samples.shape[1])
        sound.setsampwidth(2)
        sound.setframerate(rate)
        sound.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return file.getvalue()


def sine(decibels: float, seconds: float, rate: int = 48_000, hertz: float = 997) -> Floats:
    """A sine whose peak lies so far under full scale, of shape (n,)."""
    time = np.arange(round(rate * seconds)) / rate
    return np.asarray(10 ** (decibels / 20) * np.sin(2 * np.pi * hertz * time))


def in_stereo(*parts: Floats) -> Floats:
    """Parts one after the other, alike in two channels."""
    line = np.concatenate(parts)
    return np.stack([line, line], axis=1)


@pytest.mark.parametrize("rate", [48_000, 44_100, 96_000])
def test_a_full_sine_in_one_channel_has_the_loudness_of_the_recommendation(
    rate: int,
) -> None:
    # BS.1770-4, annex 1: 0 dB FS at 997 Hz in the left channel reads -3.01 LKFS.
    curve = loudness_of_file(wav(sine(0, 3, rate)[:, None], rate), "sine.wav")
    assert curve.integrated == pytest.approx(-3.01, abs=0.02)


@pytest.mark.parametrize("level", [-23.0, -33.0])
def test_sines_in_stereo_read_as_they_are_set(level: float) -> None:
    # EBU Tech 3341 (2016), table 1, cases 1 and 2: 1000 Hz in stereo, +-0.1 LU.
    curve = loudness_of_file(wav(in_stereo(sine(level, 5, hertz=1000))), "sine.wav")
    assert curve.integrated == pytest.approx(level, abs=0.1)


@pytest.mark.parametrize(
    "parts",
    [
        [(-36, 10), (-23, 60), (-36, 10)],
        [(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)],
        [(-26, 20), (-20, 20.1), (-26, 20)],
    ],
)
def test_gates_leave_out_what_is_soft(parts: list[tuple[float, float]]) -> None:
    # EBU Tech 3341 (2016), table 1, cases 3, 4 and 5: each reads -23.0 +-0.1 LUFS. The
    # rate is low so that the test is quick; the filters are carried over to it.
    rate = 16_000
    lines = [sine(level, seconds, rate, 1000) for level, seconds in parts]
    curve = loudness_of_file(wav(in_stereo(*lines), rate), "gates.wav")
    assert curve.integrated == pytest.approx(-23.0, abs=0.1)


def test_the_filters_carried_over_keep_their_response() -> None:
    for table in (SHELF, HIGH_PASS):
        assert tuple(carried(table, 48_000)) == table
        other = carried(table, 192_000)
        for hertz in (20.0, 100.0, 1000.0, 4000.0):
            told = [
                abs(response(filter_, hertz, rate))
                for filter_, rate in ((np.array(table), 48_000), (other, 192_000))
            ]
            # In tenths of a decibel up to 4 kHz, where the transform bends little.
            assert 20 * abs(math.log10(told[0] / told[1])) < 0.15


def response(filter_: Floats, hertz: float, rate: int) -> complex:
    """A filter's answer at a frequency."""
    delay = np.exp(-2j * np.pi * hertz / rate)
    above = sum(b * delay**n for n, b in enumerate(filter_[:3]))
    below = sum(a * delay**n for n, a in enumerate(filter_[3:]))
    return complex(above / below)


def test_loudness_of_a_stretch_is_that_of_its_power() -> None:
    curve = loudness_of_file(wav(in_stereo(sine(-40, 4), sine(-20, 4))), "two.wav")
    assert curve.between(1, 3.5) == pytest.approx(-40, abs=0.1)
    assert curve.between(4.5, 8) == pytest.approx(-20, abs=0.1)
    # Half of either: the mean of the powers.
    both = 10 * math.log10((10**-4 + 10**-2) / 2)
    assert curve.between(2, 6) == pytest.approx(both, abs=0.1)
    assert curve.between(9, 12) == -math.inf


def test_silence_and_what_is_no_sound_are_said() -> None:
    with pytest.raises(ReadingError, match="is silent"):
        loudness_of_file(wav(np.zeros((48_000, 2))), "still.wav")
    with pytest.raises(ReadingError):
        loudness_of_file(b"no sound at all", "words.wav")
    with pytest.raises(HostileInputError, match="at most 20 minutes"):
        loudness_of_file(wav(np.zeros((8_000 * 1201, 1)), 8_000), "long.wav")
