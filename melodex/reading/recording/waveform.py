"""A sound file becomes one channel of samples at 16 kHz, or a refusal in words.

Conventions: samples are float32, full scale is 1. What is odd but can be heard through
(one channel out of phase, a file cut off, a signal that is clipped) is a remark; what
leaves nothing to hear is an error.

Contents: RATE_HZ, MOST_FILE_BYTES, Waveform, read_waveform.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.recording.limits import Samples, Sound, require_length
from melodex.reading.recording.resampling import resampled

__all__ = [
    "MOST_FILE_BYTES",
    "RATE_HZ",
    "Waveform",
    "read_waveform",
]

Products = npt.NDArray[np.float64]

RATE_HZ = 16_000
"""Rate that all work is done at: the partials of every voice and tune that matter."""

MOST_FILE_BYTES = 96 << 20
"""A minute at 192 kHz in two channels of 32 bits."""

RIFF = frozenset({b"RIFF", b"RF64", b"BW64"})

AGAINST = -0.5
"""Correlation of two channels below which their sum would cancel what they hold."""

FULL_SCALE = 0.999  # of 1: the last step of 10 bits
FLAT_SAMPLES = 3  # equal ones in a row, at full scale, are a cut top
CLIPPED_SHARE = 0.002  # of all samples: two in a thousand can be heard


@dataclass(frozen=True, slots=True)
class Waveform:
    """One channel of shape (n,) at :data:`RATE_HZ`, its mean taken out."""

    samples: Samples
    remarks: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.samples) / RATE_HZ


def read_waveform(data: bytes, source: str) -> Waveform:
    """Read the bytes of a sound file.

    Parameters
    ----------
    data : bytes
        WAV; FLAC, Ogg or MP3 where soundfile is installed.
    source : str
        What to call the file in messages.

    Raises
    ------
    ReadingError
        If it is no sound, or too short.
    HostileInputError
        If it is too large, too long, or claims what no recording has.
    """
    if len(data) > MOST_FILE_BYTES:
        most = MOST_FILE_BYTES >> 20
        raise HostileInputError(f"the file is larger than {most} MB", where=source)
    if not data:
        raise ReadingError("the file is empty", where=source)
    if data[:4] in RIFF and data[8:12] == b"WAVE":
        from melodex.reading.recording.wav import read_wav

        return waveform_of(read_wav(data, source), source)
    from melodex.reading.apart import Apart

    with Apart() as apart:
        try:
            return apart.do(waveform_of_coded, data, source)
        except HostileInputError as error:
            # What passes a limit of the process does not know the file's name.
            raise HostileInputError(error.what, where=source, hint=error.hint) from None


def waveform_of_coded(data: bytes, source: str) -> Waveform:
    """Read what is no WAV; called in a process that can be ended."""
    from melodex.reading.recording.coded import read_coded

    return waveform_of(read_coded(data, source), source)


def waveform_of(sound: Sound, source: str) -> Waveform:
    """Mix, check and resample what a file holds."""
    require_length(sound.frames / sound.rate_hz, source)
    weights, remarks = mixing(products(sound, source))
    mono = np.empty(sound.frames, np.float32)
    start = 0
    for block in sound.blocks():
        mono[start : start + len(block)] = block @ weights
        start += len(block)
    if clipped_share(mono) > CLIPPED_SHARE:
        remarks.append(
            "It is clipped, too loud for the microphone; some notes may be wrong."
        )
    mono -= np.float32(mono.mean(dtype=np.float64))
    np.clip(mono, -64.0, 64.0, out=mono)
    samples = resampled(mono, sound.rate_hz, RATE_HZ)
    return Waveform(samples, (*sound.remarks, *remarks))


def products(sound: Sound, source: str) -> Products:
    """Each channel times each, summed over all samples; shape (channels, channels).

    Raises
    ------
    HostileInputError
        If a sample is no number.
    """
    total = np.zeros((sound.channels, sound.channels))
    for block in sound.blocks():
        if not np.isfinite(block).all():
            raise HostileInputError("some samples are no numbers", where=source)
        wide = block.astype(float)
        total += wide.T @ wide
    return total


def mixing(shared: Products) -> tuple[Samples, list[str]]:
    """Share of each channel in the one that is read; of two that cancel, the louder."""
    energy = shared.diagonal()
    count = len(energy)
    if count > 1:
        first, second = np.argsort(-energy, kind="stable")[:2]
        scale = math.sqrt(float(energy[first])) * math.sqrt(float(energy[second]))
        if scale and float(shared[first, second]) < AGAINST * scale:
            said = (
                "Two channels cancel each other, being out of phase; one of them was read."
            )
            return np.eye(count, dtype=np.float32)[first], [said]
    return np.full(count, 1 / count, np.float32), []


def clipped_share(mono: Samples) -> float:
    """Share of samples in runs of three and more that stand still at the loudest."""
    top = float(max(mono.max(), -mono.min()))
    if top < FULL_SCALE * 0.25:
        return 0.0
    flat = (mono >= FULL_SCALE * top) | (mono <= -FULL_SCALE * top)
    run = flat.copy()
    for back in range(1, FLAT_SAMPLES):
        run[back:] &= flat[:-back]
    return float(run.mean())
