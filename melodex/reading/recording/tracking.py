"""What a tracker of pitch is, and how loud a sound is.

Conventions: time goes in frames of :data:`HOP` samples (5 ms) at 16 kHz; pitch is in
semitones with fractions, MIDI's 60 being middle C and 69 being 440 Hz. A tracker makes
a :class:`PitchTrack` of a waveform and decides nothing about notes.

Contents: HOP, FRAMES_PER_SECOND, PitchTrack, Tracker, semitones_of, levels_of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from melodex.reading.recording.waveform import RATE_HZ, Waveform

__all__ = [
    "FRAMES_PER_SECOND",
    "HOP",
    "PitchTrack",
    "Tracker",
    "levels_of",
    "semitones_of",
]

Floats = npt.NDArray[np.float64]

HOP = 80
"""Samples from frame to frame: 5 ms, a tenth of the shortest note that is sung."""

FRAMES_PER_SECOND = RATE_HZ // HOP
LEVEL_SAMPLES = 320
CONCERT_A_HZ = 440.0
"""ISO 16:1975."""


@dataclass(frozen=True, slots=True)
class PitchTrack:
    """Pitch through time; all arrays of shape (frames,).

    Parameters
    ----------
    pitch : array
        In semitones; where nothing is voiced it means nothing.
    confidence : array
        From 0 to 1.
    voiced : array of bool
        Where the tracker hears a pitch.
    """

    pitch: Floats
    confidence: Floats
    voiced: npt.NDArray[np.bool_]


class Tracker(Protocol):
    """Anything that follows the pitch of one line."""

    def track(self, waveform: Waveform) -> PitchTrack:
        """Follow the pitch, one value for each frame of :data:`HOP` samples."""


def semitones_of(hertz: npt.ArrayLike) -> Floats:
    """Semitones of frequencies, 69 for 440 Hz.

    Examples
    --------
    >>> [float(value) for value in semitones_of([440.0, 220.0])]
    [69.0, 57.0]
    """
    return np.asarray(69 + 12 * np.log2(np.asarray(hertz, float) / CONCERT_A_HZ))


def levels_of(waveform: Waveform) -> Floats:
    """Level of each frame in dB of full scale: the mean square over 20 ms around it."""
    squares = np.asarray(waveform.samples, float) ** 2
    half = LEVEL_SAMPLES // 2
    total = np.concatenate([[0.0], np.cumsum(np.pad(squares, half))])
    starts = np.arange(0, len(squares), HOP)
    mean = (total[starts + LEVEL_SAMPLES] - total[starts]) / LEVEL_SAMPLES
    return np.asarray(10 * np.log10(np.maximum(mean, 1e-12)))
