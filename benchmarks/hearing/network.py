"""A tracker that is not ours, to measure ours against: a neural network.

swift-f0 (MIT, from PyPI) carries its network with it and runs it in onnxruntime; nothing is
fetched. It follows pitches from 46.875 to 2093.75 Hz (its documentation); above that it
would answer an octave low, which is no fault of its own.

Contents: NetworkTracker, network_tracker.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from melodex.reading.recording.tracking import (
    HOP,
    PitchTrack,
    Tracker,
    semitones_of,
)
from melodex.reading.recording.waveform import RATE_HZ, Waveform

__all__ = ["NetworkTracker", "network_tracker"]

LEAST_CONFIDENCE = 0.5
LOWEST_HZ = 46.875


@dataclass(frozen=True, slots=True)
class NetworkTracker:
    """Follows one pitch by a network."""

    detector: Any

    def track(self, waveform: Waveform) -> PitchTrack:
        """Follow the pitch, one value for each frame."""
        heard = self.detector.detect(waveform.samples, RATE_HZ)
        count = -(-len(waveform.samples) // HOP)
        wanted = np.arange(count) * (HOP / RATE_HZ)
        times = np.asarray(heard.timestamps, float)
        nearest = np.clip(np.rint(np.interp(wanted, times, np.arange(len(times)))), 0, None)
        at = nearest.astype(np.intp)
        confidence = np.asarray(heard.confidence, float)
        pitch = semitones_of(np.maximum(heard.pitch_hz, LOWEST_HZ))
        return PitchTrack(
            np.interp(wanted, times, pitch),
            confidence[at],
            confidence[at] >= LEAST_CONFIDENCE,
        )


def network_tracker() -> Tracker:
    """The network."""
    from swift_f0 import SwiftF0

    # One thread that sleeps between calls: a page shares the machine.
    return NetworkTracker(SwiftF0(threads=1, spin=False))
