"""What a sound file may hold, whatever its header claims.

Contents: Samples, Sound, MOST_SECONDS, LEAST_SECONDS, require_sizes, require_length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from melodex.errors import HostileInputError, ReadingError

__all__ = [
    "LEAST_SECONDS",
    "MOST_SECONDS",
    "Samples",
    "Sound",
    "require_length",
    "require_sizes",
]

Samples = npt.NDArray[np.float32]

MOST_SECONDS = 60.0  # what one remembers as a phrase; a transcription is not offered
LEAST_SECONDS = 0.3  # three of the shortest notes

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000  # telephone to studio
MOST_CHANNELS = 8  # 7.1 surround


FRAMES_AT_ONCE = 1 << 16  # a few MB, whatever the number of channels


@dataclass(frozen=True, slots=True)
class Sound:
    """What a file holds, given out in blocks: numbers take more room than their bytes.

    Parameters
    ----------
    frames, channels, rate_hz : int
        Samples of one channel, how many channels, samples a second.
    part : callable
        Samples of shape (stop - start, channels) from one frame up to another.
    remarks : tuple of str
        Of the reader.
    """

    frames: int
    channels: int
    rate_hz: int
    part: Callable[[int, int], Samples]
    remarks: tuple[str, ...] = ()

    def blocks(self) -> Iterator[Samples]:
        """All samples, some at a time."""
        for start in range(0, self.frames, FRAMES_AT_ONCE):
            yield self.part(start, min(start + FRAMES_AT_ONCE, self.frames))


def require_sizes(rate_hz: int, channels: int, source: str) -> None:
    """Refuse rates and numbers of channels that no recording of a line has.

    Raises
    ------
    HostileInputError
        If one of them is out of range.
    """
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise HostileInputError(
            f"a rate of {rate_hz:,} samples a second is not read",
            where=source,
            hint="8,000 to 192,000 are",
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise HostileInputError(f"{channels} channels are not read", where=source)


def require_length(seconds: float, source: str, most: float = MOST_SECONDS) -> None:
    """Refuse what is longer than ``most``, or too short for a phrase.

    Raises
    ------
    HostileInputError, ReadingError
        If it is too long, or too short.
    """
    if seconds > most:
        minutes, rest = divmod(round(seconds), 60)
        limit = "a minute" if most == MOST_SECONDS else f"{most / 60:.0f} minutes"
        raise HostileInputError(
            f"the recording lasts {minutes}:{rest:02} and at most {limit} is read",
            where=source,
            hint="cut out the phrase that you mean",
        )
    if seconds < LEAST_SECONDS:
        raise ReadingError(
            f"the recording lasts {seconds:.2g} s, too little for a phrase", where=source
        )
