"""How loud a recording is, moment by moment: ITU-R BS.1770.

Conventions: loudness in LUFS, decibels under full scale of K-weighted sound; a channel
counts 1, one behind the listener 1.41, the channel of low effects nothing. Power is kept
in steps of 100 ms, so that loudness can be said of any stretch.

References
----------
Recommendation ITU-R BS.1770-4 (2015), annex 1: tables 1 and 2 (the two filters at 48 kHz),
table 3 (weights of channels), blocks of 400 ms with three quarters of overlap, gates at
-70 LKFS and at 10 LU under what passes it. For other rates the filters are carried over by
the bilinear transform, which keeps the table exactly at 48 kHz.

Contents: STEP_SECONDS, LoudnessCurve, loudness_of_file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.recording.limits import Sound
from melodex.reading.recording.waveform import MOST_FILE_BYTES, RIFF

__all__ = ["STEP_SECONDS", "LoudnessCurve", "loudness_of_file"]

Floats = npt.NDArray[np.float64]

TABLE_RATE_HZ = 48_000
SHELF = (1.53512485958697, -2.69169618940638, 1.19839281085285,
         1.0, -1.69065929318241, 0.73248077421585)  # fmt: skip
"""BS.1770-4, table 1: b0, b1, b2, a0, a1, a2 of the filter for the head."""
HIGH_PASS = (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621)
"""BS.1770-4, table 2: the same of the filter that leaves the lowest out."""

OFFSET_DB = -0.691
STEP_SECONDS = 0.1
STEPS_A_BLOCK = 4
STEPS_AT_ONCE, STEPS_BEFORE = 100, 5
"""Ten seconds, and half a second before them, in which the filters settle: their slowest
answer falls by e in 5 ms."""
ABSOLUTE_GATE, RELATIVE_GATE = -70.0, -10.0
BEHIND = 1.41
MOST_SONG_SECONDS = 1200.0
"""A long movement; as many bytes as any recording may have hold less at most rates."""


@dataclass(frozen=True)
class LoudnessCurve:
    """The weighted power of a recording, step by step.

    Parameters
    ----------
    power : ndarray
        Mean square of all channels, K-weighted, in steps of :data:`STEP_SECONDS`.
    seconds : float
        How long the recording is.
    remarks : tuple of str
        What its reader said.
    """

    power: Floats
    seconds: float
    remarks: tuple[str, ...] = ()

    @cached_property
    def sums(self) -> Floats:
        """Power summed up to the end of each step, from 0."""
        return np.concatenate([[0.0], np.cumsum(self.power)])

    def between(self, start: float, end: float) -> float:
        """Loudness of a stretch from second to second; -inf where nothing is heard."""
        start, end = max(start, 0.0), min(end, len(self.power) * STEP_SECONDS)
        if end <= start:
            return -math.inf
        steps = np.arange(len(self.sums))
        first, last = np.interp(
            [start / STEP_SECONDS, end / STEP_SECONDS], steps, self.sums
        )
        return lufs((last - first) * STEP_SECONDS / (end - start))

    @cached_property
    def integrated(self) -> float:
        """Gated loudness of the whole; -inf where nothing passes the gate."""
        blocks = (self.sums[STEPS_A_BLOCK:] - self.sums[:-STEPS_A_BLOCK]) / STEPS_A_BLOCK
        heard = blocks[blocks > power_at(ABSOLUTE_GATE)]
        if not len(heard):
            return -math.inf
        heard = heard[heard > power_at(lufs(float(heard.mean())) + RELATIVE_GATE)]
        return lufs(float(heard.mean()))


def lufs(power: float) -> float:
    """Loudness of a mean square."""
    return OFFSET_DB + 10 * math.log10(power) if power > 0 else -math.inf


def power_at(loudness: float) -> float:
    """The mean square of a loudness."""
    return float(10 ** ((loudness - OFFSET_DB) / 10))


def loudness_of_file(data: bytes, source: str) -> LoudnessCurve:
    """Measure the bytes of a sound file.

    Raises
    ------
    ReadingError, HostileInputError
        As :func:`~melodex.reading.recording.waveform.read_waveform`, with room for a
        whole song; and if it is silent.
    """
    if len(data) > MOST_FILE_BYTES:
        most = MOST_FILE_BYTES >> 20
        raise HostileInputError(f"the file is larger than {most} MB", where=source)
    if data[:4] in RIFF and data[8:12] == b"WAVE":
        from melodex.reading.recording.wav import read_wav

        curve = loudness_of(read_wav(data, source, MOST_SONG_SECONDS))
    else:
        curve = apart_from(data, source)
    if not np.isfinite(curve.power).all():
        raise HostileInputError("some samples are no numbers", where=source)
    if math.isinf(curve.integrated):
        raise ReadingError("the recording is silent", where=source)
    return curve


def apart_from(data: bytes, source: str) -> LoudnessCurve:
    """Measure what is no WAV in a process that can be ended."""
    from melodex.reading.apart import Apart

    with Apart() as apart:
        try:
            return apart.do(loudness_of_coded, data, source)
        except HostileInputError as error:
            # What passes a limit of the process does not know the file's name.
            raise HostileInputError(error.what, where=source, hint=error.hint) from None


def loudness_of_coded(data: bytes, source: str) -> LoudnessCurve:
    """Measure what is no WAV."""
    from melodex.reading.recording.coded import read_coded

    return loudness_of(read_coded(data, source, MOST_SONG_SECONDS))


def loudness_of(sound: Sound) -> LoudnessCurve:
    """Measure a sound, ten seconds at a time."""
    weights = np.array(weights_of(sound.channels))
    step = round(sound.rate_hz * STEP_SECONDS)
    count = sound.frames // step
    power = np.zeros(count)
    for start in range(0, count, STEPS_AT_ONCE):
        stop = min(start + STEPS_AT_ONCE, count)
        first = max(start - STEPS_BEFORE, 0)
        part = sound.part(first * step, stop * step).astype(np.float64)
        heard = filtered(part, sound.rate_hz)[(start - first) * step :]
        squares = np.square(heard).reshape(stop - start, step, -1).mean(axis=1)
        power[start:stop] = squares @ weights
    return LoudnessCurve(power, sound.frames / sound.rate_hz, sound.remarks)


def filtered(part: Floats, rate_hz: int) -> Floats:
    """Both filters over samples of shape (n, channels).

    By their response at every frequency: what wraps around is the end of their answer,
    which is over long before :data:`STEPS_BEFORE`, and zeros take it up.
    """
    length = len(part) + STEPS_BEFORE * round(rate_hz * STEP_SECONDS)
    turns = np.exp(-2j * np.pi * np.arange(length // 2 + 1) / length)
    response = np.ones(len(turns), complex)
    for table in (SHELF, HIGH_PASS):
        b, a = np.split(carried(table, rate_hz), 2)
        response *= np.polyval(b[::-1], turns) / np.polyval(a[::-1], turns)
    spectrum = np.fft.rfft(part, length, axis=0) * response[:, None]
    found: Floats = np.fft.irfft(spectrum, length, axis=0)[: len(part)]
    return found


def weights_of(channels: int) -> tuple[float, ...]:
    """Weight of each channel, in the order of WAV: left, right, centre, low, behind."""
    if channels <= 3:
        return (1.0,) * channels
    if channels == 4:
        return (1.0, 1.0, BEHIND, BEHIND)
    if channels == 5:
        return (1.0, 1.0, 1.0, BEHIND, BEHIND)
    return (1.0, 1.0, 1.0, 0.0, *(BEHIND,) * (channels - 4))


def carried(table: tuple[float, ...], rate_hz: int) -> Floats:
    """A filter of a table at another rate, of shape (6,)."""
    numbers = np.array(table)
    if rate_hz == TABLE_RATE_HZ:
        return numbers
    b, a = (moved(part, rate_hz) for part in (numbers[:3], numbers[3:]))
    # Neither end of the spectrum is moved by the transform; the shelf's gain is told at
    # the lower end, that of the filter without one at the upper.
    at = 1.0 if abs(numbers[:3].sum()) > 1e-9 else -1.0
    wanted = np.polyval(numbers[:3], at) / np.polyval(numbers[3:], at)
    b *= wanted * np.polyval(a, at) / np.polyval(b, at)
    return np.concatenate([b, a])


def moved(polynomial: Floats, rate_hz: int) -> Floats:
    """The polynomial whose roots are those of another at a new rate."""
    roots = np.roots(polynomial).astype(complex)
    analogue = 2 * TABLE_RATE_HZ * (roots - 1) / (roots + 1)
    digital = (2 * rate_hz + analogue) / (2 * rate_hz - analogue)
    return np.real(np.poly(digital))
