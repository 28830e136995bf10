"""FLAC, Ogg and MP3, through soundfile (libsndfile), where the extra is installed.

A decoder in C reads what anybody may have written: it works in a process of its own, as
all readers of files do (:mod:`melodex.reading.apart`).

Contents: read_coded.
"""

from __future__ import annotations

import io

from melodex.errors import REMEDIES, HostileInputError, ReadingError
from melodex.reading.recording.limits import (
    MOST_SECONDS,
    Sound,
    require_length,
    require_sizes,
)

__all__ = ["read_coded"]


def read_coded(data: bytes, source: str, most_seconds: float = MOST_SECONDS) -> Sound:
    """Read a coded sound file, not more of it than may be read.

    Raises
    ------
    ReadingError
        If it is no sound, or soundfile is not installed.
    HostileInputError
        If rate, channels or length are out of range.
    """
    try:
        import soundfile
    except (ImportError, OSError) as error:
        raise ReadingError(
            "this is no WAV file, and what reads others is not installed",
            where=source,
            hint=REMEDIES["read recordings"],
        ) from error
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            require_sizes(file.samplerate, file.channels, source)
            # One more than allowed: what a header says of the length proves nothing.
            most = int(most_seconds * file.samplerate) + 1
            samples = file.read(most, dtype="float32", always_2d=True)
            whole = max(len(samples), min(file.frames, 10**9)) / file.samplerate
            if len(samples) == most:
                require_length(whole, source, most_seconds)
            return Sound(
                len(samples),
                file.channels,
                file.samplerate,
                lambda first, stop: samples[first:stop],
            )
    except (soundfile.SoundFileError, RuntimeError, ValueError, MemoryError) as error:
        raise ReadingError("this is no sound that can be read", where=source) from error
    except OverflowError as error:
        raise HostileInputError("its header makes no sense", where=source) from error
