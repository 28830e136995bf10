"""Sounds for tests: lines of partials, as samples and as WAV files."""

from __future__ import annotations

import io
import wave
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

PARTIALS = (1.0, 0.6, 0.4, 0.2, 0.1)


def tones(
    midi: Iterable[float],
    seconds: float | Sequence[float] = 0.35,
    rate: int = 16_000,
) -> NDArray[np.float64]:
    """One note after another, each struck and fading, with a tenth of quiet around."""
    midi = list(midi)
    lengths = [seconds] * len(midi) if isinstance(seconds, float) else seconds
    parts = [np.zeros(rate // 10)]
    for pitch, length in zip(midi, lengths, strict=True):
        time = np.arange(round(length * rate)) / rate
        hertz = 440 * 2 ** ((pitch - 69) / 12)
        sound = sum(
            size * np.sin(2 * np.pi * (n + 1) * hertz * time)
            for n, size in enumerate(PARTIALS)
            if (n + 1) * hertz < rate / 2
        )
        ends = np.minimum(time / 0.01, 1) * np.minimum((length - time) / 0.03, 1)
        parts.append(0.2 * sound * ends * np.exp(-1.5 * time))
    return np.concatenate([*parts, np.zeros(rate // 10)])


def wav(samples: NDArray[np.float64], rate: int = 16_000, width: int = 2) -> bytes:
    """A WAV file of samples of shape (n,) or (n, channels), by the standard library."""
    columns = samples if samples.ndim == 2 else samples[:, None]
    file = io.BytesIO()
    with wave.open(file, "wb") as written:
        written.setnchannels(columns.shape[1])
        written.setsampwidth(width)
        written.setframerate(rate)
        top = 2 ** (8 * width - 1) - 1
        whole = np.round(np.clip(columns, -1, 1) * top).astype(np.int64)
        if width == 1:
            whole += 128
        raw = whole.astype("<i8").reshape(-1, 1).view(np.uint8)[:, :width]
        written.writeframes(raw.tobytes())
    return file.getvalue()
