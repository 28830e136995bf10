"""Reads a recording of one line: the way from a sound file to notes.

Contents: read_recording, hear.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from melodex.errors import EmptyMelodyError
from melodex.melody.pitch import spell
from melodex.reading.recording.judging import require_line, require_sound
from melodex.reading.recording.record import HeardLine, HeardNote, Recording
from melodex.reading.recording.rhythm import PULSES, ratios_of
from melodex.reading.recording.segments import (
    CUTTINGS,
    Segment,
    flux_of,
    segments_of,
    states_of,
    voiced_frames,
)
from melodex.reading.recording.tracking import (
    FRAMES_PER_SECOND,
    Tracker,
    levels_of,
)
from melodex.reading.recording.tuning import Tuned, tuned, tuned_otherwise
from melodex.reading.recording.waveform import Waveform, read_waveform
from melodex.reading.recording.yin import YinTracker

__all__ = ["hear", "read_recording"]

FEWEST_NOTES = 3
OTHERWISE = "with its pitches put on other semitones"
FIFTHS_OF_PITCH_CLASS = tuple((7 * pitch + 5) % 12 - 5 for pitch in range(12))
"""Tonics from D flat to F sharp."""


def read_recording(data: bytes, source: str, tracker: Tracker | None = None) -> Recording:
    """Read the bytes of a sound file as one line of notes.

    Parameters
    ----------
    data : bytes
        WAV, or what soundfile reads where that is installed; a minute at most.
    source : str
        What to call it in messages.
    tracker : Tracker, optional
        What follows the pitch; the one in numpy if not given.

    Returns
    -------
    Recording

    Raises
    ------
    ReadingError
        If it is no sound, or there is no line in it: silence, noise, speech, chords.
    HostileInputError
        If it is too large, too long, or claims what no recording has.
    EmptyMelodyError
        If fewer than three notes are heard.
    """
    return hear(read_waveform(data, source), source, tracker)


def hear(waveform: Waveform, source: str, tracker: Tracker | None = None) -> Recording:
    """Read one channel of sound at 16 kHz; as :func:`read_recording`."""
    level = levels_of(waveform)
    require_sound(level, source)
    track = (tracker or YinTracker()).track(waveform)
    voiced = voiced_frames(track, level)
    states = states_of(track.pitch, voiced, flux_of(waveform))
    readings = [segments_of(track, voiced, states, level, cutting) for cutting in CUTTINGS]
    doubtful = require_line(waveform, track, level, voiced, readings[0], source)
    if len(readings[0]) < FEWEST_NOTES:
        raise EmptyMelodyError(
            f"fewer than {FEWEST_NOTES} notes could be heard in it",
            where=source,
            hint="record a whole phrase, each note clearly begun",
        )
    return recording_of(waveform, source, readings, doubtful)


def recording_of(
    waveform: Waveform,
    source: str,
    readings: Sequence[list[Segment]],
    doubtful: Sequence[str],
) -> Recording:
    """The readings that differ, tuned, with what has to be said."""
    lines: list[HeardLine] = []
    first: Tuned | None = None
    for cutting, segments in zip(CUTTINGS, readings, strict=True):
        if len(segments) < FEWEST_NOTES:
            continue
        placed = tuned(segments)
        first = first or placed
        notes = heard_notes(segments, placed)
        if all(line.notes != notes for line in lines):
            lines.append(HeardLine(cutting.words, notes))
    assert first is not None
    lines += [
        HeardLine(OTHERWISE, heard_notes(readings[0], placed), PULSES[:2])
        for placed in tuned_otherwise(readings[0], first)
    ]
    return Recording(
        source=source,
        seconds=round(waveform.seconds, 2),
        lines=tuple(lines),
        offset_semitones=round(float(np.median(first.offsets)), 2),
        drift_semitones=round(drift_of(readings[0], first), 2),
        remarks=(*waveform.remarks, *doubtful, *doubts(lines)),
    )


def drift_of(segments: Sequence[Segment], placed: Tuned) -> float:
    """How far the line rises from its first note to its last, by a straight line."""
    at = np.array([segment.first for segment in segments], float)
    off = np.array([segment.pitch for segment in segments]) - np.array(placed.midi)
    return float(np.polyfit(at - at[0], off, 1)[0] * (at[-1] - at[0]))


def heard_notes(segments: Sequence[Segment], placed: Tuned) -> tuple[HeardNote, ...]:
    """Segments as notes with names, times and confidence."""
    tonic = FIFTHS_OF_PITCH_CLASS[placed.tonic]
    return tuple(
        HeardNote(
            midi=midi,
            fifths=spell(midi, tonic),
            pitch=round(segment.pitch, 2),
            onset_seconds=round(segment.first / FRAMES_PER_SECOND, 3),
            seconds=round(segment.frames / FRAMES_PER_SECOND, 3),
            off_semitones=round(segment.pitch - offset - midi, 2),
            ratio=round(ratio, 3),
            confidence=round(sure * min(segment.confidence, 1.0), 2),
        )
        for segment, midi, offset, sure, ratio in zip(
            segments,
            placed.midi,
            placed.offsets,
            placed.certainty,
            ratios_of(segments),
            strict=True,
        )
    )


def doubts(lines: Sequence[HeardLine]) -> list[str]:
    """What to do where repeated notes cannot be told apart."""
    counts = [len(line.notes) for line in lines]
    if max(counts) == min(counts):
        return []
    return [
        f"It may be {min(counts)} or {max(counts)} notes: where one is repeated without a "
        'break they cannot be told apart; sing "da" on each, or leave a gap.'
    ]
