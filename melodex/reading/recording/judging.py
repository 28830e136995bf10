"""Whether there is one line to follow: silence, noise, speech and chords are refused.

Conventions: each refusal says what was heard and what to do. The bounds lie between what
single lines gave (four clips of each kind of ``benchmarks/hearing``) and what was made to
be refused: of 40 lines, at most 19 % of the voiced frames repeated themselves badly, and
at least 90 % lay in notes; of 7 rows of chords, at least 53 % did, and of 6 speakers
(espeak-ng) at most 76 % lay in notes.

Contents: require_sound, require_line.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from melodex.errors import ReadingError
from melodex.reading.recording.segments import Flags, Segment, floor_of
from melodex.reading.recording.tracking import Floats, PitchTrack
from melodex.reading.recording.waveform import RATE_HZ, Waveform

__all__ = ["require_line", "require_sound"]

SILENT_DB = -65.0  # of full scale: what is louder than a quiet room lies above it
LEAST_PITCHED = 0.3  # share of the sounding frames that have a pitch
NOISY = 0.2  # spectral flatness above which what has no pitch is noise
CLEAR = 0.75  # confidence: the sound repeats itself to a quarter
MOST_UNCLEAR, SOME_UNCLEAR = 0.48, 0.3  # shares of voiced frames: refused, said
SPOKEN_NOTES = 0.83  # share of the voiced frames that lie in notes, at most
OFF_SEMITONES = 0.35  # from the pitch of the note that a frame lies in
SPOKEN_OFF = 0.08  # share of the frames that are so far off, at least


def require_sound(level: Floats, source: str) -> None:
    """Refuse silence.

    Raises
    ------
    ReadingError
        If nothing in it is louder than a quiet room.
    """
    if float(np.percentile(level, 98)) < SILENT_DB:
        raise ReadingError(
            "the recording is silent",
            where=source,
            hint="check which microphone is chosen, and come closer to it",
        )


def require_line(
    waveform: Waveform,
    track: PitchTrack,
    level: Floats,
    voiced: Flags,
    segments: Sequence[Segment],
    source: str,
) -> list[str]:
    """Refuse what has no single line of pitches.

    Returns
    -------
    list of str
        What has to be said where it is doubtful.

    Raises
    ------
    ReadingError
        If it is noise, speech, or more than one note at a time.
    """
    sounding = level > floor_of(level)
    pitched = voiced.sum() >= LEAST_PITCHED * sounding.sum() and voiced.any()
    if not pitched and flatness(waveform) > NOISY:
        raise ReadingError(
            "no pitch could be heard in it, only noise",
            where=source,
            hint="come closer to the microphone, or record where it is quieter",
        )
    unclear = float((track.confidence[voiced] < CLEAR).mean()) if pitched else 1.0
    if unclear > MOST_UNCLEAR:
        raise ReadingError(
            "more than one note sounds at a time, and one line is followed",
            where=source,
            hint="record the melody alone",
        )
    if is_speech(track, voiced, segments):
        raise ReadingError(
            "this sounds like speech: its pitches never rest",
            where=source,
            hint="sing the notes, or whistle or play them",
        )
    if unclear < SOME_UNCLEAR:
        return []
    return ["There is much noise in it, or more than one note at a time."]


def flatness(waveform: Waveform) -> float:
    """Geometric over arithmetic mean of the spectrum: near 1 for noise, 0 for tones.

    The mean over pieces of a quarter of a second, from 100 to 4,000 Hz; spectral flatness
    as in Gray, A. H. and Markel, J. D. (1974), IEEE Trans. ASSP 22(3), 207-217.
    """
    size = RATE_HZ // 4
    count = max(len(waveform.samples) // size, 1)
    pieces = np.resize(waveform.samples, (count, size)) * np.hanning(size)
    hertz = np.fft.rfftfreq(size, 1 / RATE_HZ)
    power = np.abs(np.fft.rfft(pieces)[:, (hertz >= 100) & (hertz <= 4000)]) ** 2 + 1e-12
    return float((np.exp(np.log(power).mean(axis=1)) / power.mean(axis=1)).mean())


def is_speech(track: PitchTrack, voiced: Flags, segments: Sequence[Segment]) -> bool:
    """Whether much lies in no note, and much of the notes beside their pitch."""
    inside = np.zeros(len(voiced), bool)
    off = np.zeros(len(voiced))
    for segment in segments:
        place = slice(segment.first, segment.end)
        inside[place] = True
        off[place] = np.abs(track.pitch[place] - segment.pitch)
    inside &= voiced
    if not inside.any():
        return True
    held = inside.sum() / voiced.sum()
    return bool(held < SPOKEN_NOTES and (off[inside] > OFF_SEMITONES).mean() > SPOKEN_OFF)
