"""WAV: the chunks of a RIFF file, whatever their headers claim.

References
----------
IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991),
chapter 3: RIFF, ``fmt`` and ``data``. Microsoft, Multiple Channel Audio Data and WAVE
Files (2001): ``WAVE_FORMAT_EXTENSIBLE``. Codes 1 (whole numbers) and 3 (IEEE floats).
EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64): ``ds64`` has the lengths of what may be
longer than 32 bits can say.

Contents: read_wav.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from melodex.errors import ReadingError
from melodex.reading.recording.limits import (
    MOST_SECONDS,
    Samples,
    Sound,
    require_length,
    require_sizes,
)

__all__ = ["read_wav"]

WHOLE, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
UNTOLD = frozenset({0, 0xFFFFFFFF})
"""Lengths that are written by what does not know yet how long it will record."""

MOST_CHUNKS = 1000  # a file with more is made to be slow; real ones have under twenty


@dataclass(frozen=True, slots=True)
class Layout:
    """What ``fmt`` says."""

    code: int
    channels: int
    rate_hz: int
    bits: int

    @property
    def frame_bytes(self) -> int:
        """Bytes of one sample of all channels."""
        return self.channels * self.bits // 8


def read_wav(data: bytes, source: str, most_seconds: float = MOST_SECONDS) -> Sound:
    """Read a WAV file of 8, 16, 24 or 32 bits, or of floats.

    Raises
    ------
    ReadingError
        If it holds no sound, or in a coding that is not read.
    HostileInputError
        If rate, channels or length are out of range.
    """
    layout: Layout | None = None
    told_apart = 0xFFFFFFFF
    for name, start, claimed in chunks(data):
        if name == b"ds64" and start + 16 <= len(data):
            told_apart = struct.unpack_from("<Q", data, start + 8)[0]
        elif name == b"fmt ":
            layout = layout_of(data[start : start + min(claimed, 64)], source)
        elif name == b"data":
            if layout is None:
                break
            length = told_apart if claimed == 0xFFFFFFFF else claimed
            sound = sound_of(data, start, length, layout)
            require_length(sound.frames / sound.rate_hz, source, most_seconds)
            return sound
    raise ReadingError("this WAV file holds no sound that can be read", where=source)


def chunks(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Name, start and claimed length of each chunk, from the start of the file."""
    at = 12
    for _ in range(MOST_CHUNKS):
        if at + 8 > len(data):
            return
        claimed = struct.unpack_from("<I", data, at + 4)[0]
        yield data[at : at + 4], at + 8, claimed
        # Chunks start at even places.
        at += 8 + claimed + claimed % 2


def layout_of(fmt: bytes, source: str) -> Layout:
    """What ``fmt`` says, checked."""
    if len(fmt) < 16:
        raise ReadingError("the header of this WAV file is cut off", where=source)
    code, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", fmt)
    if code == EXTENSIBLE and len(fmt) >= 26:
        code = struct.unpack_from("<H", fmt, 24)[0]
    if (code, bits) not in {(WHOLE, b) for b in (8, 16, 24, 32)} | {
        (FLOAT, 32),
        (FLOAT, 64),
    }:
        raise ReadingError(
            f"this WAV file is coded in a way that is not read (code {code}, {bits} bits)",
            where=source,
            hint="save it as 16-bit PCM",
        )
    require_sizes(rate, channels, source)
    return Layout(code, channels, rate, bits)


def sound_of(data: bytes, start: int, claimed: int, layout: Layout) -> Sound:
    """The samples that are really there."""
    there = len(data) - start
    told = claimed not in UNTOLD
    said: tuple[str, ...] = ()
    if told and claimed > there:
        said = ("The file is shorter than its header says; what is there was read.",)
    frames = (min(claimed, there) if told else there) // layout.frame_bytes

    def part(first: int, stop: int) -> Samples:
        size = layout.frame_bytes
        raw = memoryview(data)[start + first * size : start + stop * size]
        return numbers(raw, layout).reshape(stop - first, layout.channels)

    return Sound(frames, layout.channels, layout.rate_hz, part, said)


def numbers(raw: memoryview, layout: Layout) -> Samples:
    """Bytes as numbers between -1 and 1; 8 bits count from 128, more from 0."""
    if layout.code == FLOAT:
        floats = np.frombuffer(raw, "<f4" if layout.bits == 32 else "<f8")
        with np.errstate(over="ignore"):
            return floats.astype(np.float32)
    if layout.bits == 8:
        steps = np.frombuffer(raw, np.uint8).astype(np.int16) - 128
        return scaled(steps, 7)
    if layout.bits == 24:
        wide = np.zeros((len(raw) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        return scaled(wide.view("<i4")[:, 0], 31)
    kind = "<i2" if layout.bits == 16 else "<i4"
    return scaled(np.frombuffer(raw, kind), layout.bits - 1)


def scaled(steps: npt.NDArray[np.integer[Any]], bits: int) -> Samples:
    """Whole numbers of so many bits and a sign as parts of full scale."""
    return np.asarray(steps.astype(np.float32) * np.float32(2.0**-bits), np.float32)
