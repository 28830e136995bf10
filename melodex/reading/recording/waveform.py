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

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.recording.limits import Samples, Sound, require_length
from melodex.reading.recording.resampling import resampled

__all__ = [
    "MOST_FILE_BYTES",
    "RATE_HZ",
    "Waveform",
    "read_waveform",
]

RATE_HZ = 16_000
"""Rate that all work is done at: the partials of every voice and tune that matter."""

MOST_FILE_BYTES = 96 << 20
"""A minute at 192 kHz in two channels of 32 bits."""

AGAINST = -0.5
"""Correlation of two channels below which their sum would cancel what they hold."""

FULL_SCALE = 0.999
FLAT_SAMPLES = 3
CLIPPED_SHARE = 0.002


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
    if data[:4] == b"RIFF" and data[8:12] == b"WAVE":
        from melodex.reading.recording.wav import read_wav

        sound = read_wav(data, source)
    else:
        from melodex.reading.recording.coded import read_coded

        sound = read_coded(data, source)
    return waveform_of(sound, source)


def waveform_of(sound: Sound, source: str) -> Waveform:
    """Mix, check and resample what a file held."""
    require_length(len(sound.samples) / sound.rate_hz, source)
    if not np.isfinite(sound.samples).all():
        raise HostileInputError("some samples are no numbers", where=source)
    mono, remarks = mixed(sound.samples)
    if clipped_share(mono) > CLIPPED_SHARE:
        remarks.append(
            "It is clipped, too loud for the microphone; some notes may be wrong."
        )
    mono = np.clip(mono - mono.mean(), -64.0, 64.0)
    samples = resampled(mono.astype(np.float32), sound.rate_hz, RATE_HZ)
    return Waveform(samples, (*sound.remarks, *remarks))


def mixed(samples: Samples) -> tuple[Samples, list[str]]:
    """One channel of many; where two cancel each other, the louder one alone."""
    if samples.shape[1] == 1:
        return samples[:, 0], []
    energy = np.einsum("ij,ij->j", samples, samples, dtype=np.float64)
    first, second = np.argsort(-energy, kind="stable")[:2]
    shared = float(
        np.dot(samples[:, first].astype(float), samples[:, second].astype(float))
    )
    scale = math.sqrt(float(energy[first] * energy[second]))
    if scale and shared < AGAINST * scale:
        said = "Two channels cancel each other, being out of phase; one of them was read."
        return samples[:, first], [said]
    return samples.mean(axis=1, dtype=np.float64).astype(np.float32), []


def clipped_share(mono: Samples) -> float:
    """Share of samples in runs of three and more that stand still at the loudest."""
    loud = np.abs(mono)
    top = float(loud.max(initial=0.0))
    if top < FULL_SCALE * 0.25:
        return 0.0
    flat = loud >= FULL_SCALE * top
    run = flat.copy()
    for back in range(1, FLAT_SAMPLES):
        run[back:] &= flat[:-back]
    return float(run.mean())
