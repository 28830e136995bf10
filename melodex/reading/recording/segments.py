"""A pitch through time becomes notes: where each begins, ends, and how high it is.

The way and all constants are those of a trial on sound made from real tunes, sung,
whistled and played (``benchmarks/hearing``); where a constant has another source, that
stands beside it.

Contents: Flags, Segment, Cutting, CUTTINGS, floor_of, voiced_frames, flux_of, states_of,
segments_of.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from melodex.reading.recording.tracking import (
    FRAMES_PER_SECOND,
    HOP,
    Floats,
    PitchTrack,
)
from melodex.reading.recording.waveform import RATE_HZ, Waveform

__all__ = [
    "CUTTINGS",
    "Cutting",
    "Flags",
    "Segment",
    "floor_of",
    "flux_of",
    "segments_of",
    "states_of",
    "voiced_frames",
]

Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Segment:
    """One note as it sounds: frames from ``first`` up to ``end``, and its pitch."""

    first: int
    end: int
    pitch: float
    confidence: float

    @property
    def frames(self) -> int:
        """How many frames it lasts."""
        return self.end - self.first


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a pitch that stays is cut into notes that repeat.

    Parameters
    ----------
    dip_db : float
        Between two notes the level falls by so much; infinite: nothing is cut.
    rises : bool
        Whether a rise without a dip begins a note too.
    words : str
        What is done, as a musician would say it.
    """

    dip_db: float
    rises: bool
    words: str


CUTTINGS = (
    Cutting(7.0, True, "as it was heard"),
    Cutting(12.0, False, "with fewer repeated notes"),
    Cutting(np.inf, False, "without repeated notes"),
)
"""The readings of one sound: nobody can be sure which dips begin a note."""

LOWEST_PITCH, HIGHEST_PITCH = 33.0, 109.0  # A1 to C#8: sung, whistled and played
STATE_STEP = 0.25  # semitones between two steady pitches
NEAR_ENOUGH = 0.5  # semitones off a steady pitch that cost 1
MOST_OFF_COST = 2.0  # of a voiced frame, however far off
SILENCE_COST = 2.0  # of calling a voiced frame silent
UNVOICED_COST = 1.0  # of calling an unvoiced frame a pitch
CHANGE_COST = 18.0  # of another pitch: as much as nine frames far off
CHEAPER_BY_FLUX = 0.4  # the share of it that goes where the spectrum rises most
STARTING_COST = 2.0  # of going from silence to a pitch, or back

FLUX_SAMPLES = 320  # 20 ms
FLUX_BAND_HZ = (150.0, 8000.0)  # what a voice or an instrument begins with

SAME_NOTE = 0.55
"""Semitones under which two states that touch are one note."""

NEAR_DIP = 0.030  # seconds from the border of two pitches to a dip that parts them
DIP_REACH = 0.120  # seconds on each side in which the level has been, and comes, back
RISE_TIME = 0.040  # seconds within which a rise begins a note
RISE_DB = 3.5  # by how much the level rises there
LASTING_RISE_DB = 2.5  # by how much it is higher on average afterwards
LASTING_TIME = 0.060  # seconds over which that average is taken
BETWEEN_CUTS = 0.090  # seconds at least from cut to cut
SHORTEST_NOTE = 0.070  # seconds; what is shorter is dropped
LEAST_VOICED = 0.4  # share of the frames of a note; with less it is dropped
SCRAP = 0.130  # seconds under which an octave before a note may be an error
OCTAVE_NEAR = 0.6  # semitones by which it may miss the octave


def in_frames(seconds: float) -> int:
    """A time as a whole number of frames, at least one."""
    return max(1, round(seconds * FRAMES_PER_SECOND))


def voiced_frames(track: PitchTrack, level: Floats) -> Flags:
    """Frames with a pitch that stand out of what lies under the whole recording."""
    return np.asarray(track.voiced & (level > floor_of(level)))


def floor_of(level: Floats) -> float:
    """The level in dB under which nothing is meant to be heard."""
    loud, quiet = np.percentile(level, [98, 5])
    return float(max(loud - 40, min(quiet + 8, loud - 12)))


def flux_of(waveform: Waveform) -> Floats:
    """Mean rise of the spectrum in each frame: where something begins."""
    padded = np.pad(waveform.samples, (FLUX_SAMPLES // 2, FLUX_SAMPLES))
    count = -(-len(waveform.samples) // HOP)
    frames = np.lib.stride_tricks.sliding_window_view(padded, FLUX_SAMPLES)[::HOP][:count]
    hertz = np.fft.rfftfreq(FLUX_SAMPLES, 1 / RATE_HZ)
    band = (hertz >= FLUX_BAND_HZ[0]) & (hertz <= FLUX_BAND_HZ[1])
    flux = np.zeros(count)
    window = np.hanning(FLUX_SAMPLES)
    for start in range(0, count, 1000):
        # One frame more, to compare the first with.
        part = frames[max(start - 1, 0) : start + 1000] * window
        size = np.log2(np.abs(np.fft.rfft(part))[:, band] + 1e-4)
        rise = np.maximum(np.diff(size, axis=0), 0).mean(axis=1)
        first = max(start, 1)
        flux[first : first + len(rise)] = rise
    return flux


def states_of(pitch: Floats, voiced: Flags, flux: Floats) -> Floats:
    """The steady pitch of each frame, and NaN where there is none.

    A best path over states a quarter of a semitone apart and one of silence: pitches
    that move about stay in one state for as long as that costs less than to change.
    """
    states = np.arange(LOWEST_PITCH, HIGHEST_PITCH, STATE_STEP)
    off = np.minimum(np.abs(pitch[:, None] - states) / NEAR_ENOUGH, MOST_OFF_COST)
    own = np.where(voiced[:, None], off, UNVOICED_COST)
    silent = np.where(voiced, SILENCE_COST, 0.0)
    strong = float(np.percentile(flux, 95)) or 1.0
    change = CHANGE_COST * (1 - CHEAPER_BY_FLUX * np.minimum(flux / strong, 1.0))
    path = best_states(own, silent, change)
    found = np.full(len(pitch), np.nan)
    sounding = path >= 0
    found[sounding] = states[path[sounding]]
    return found


def best_states(own: Floats, silent: Floats, change: Floats) -> Places:
    """Index of the best state of each frame, -1 for silence."""
    frames, count = own.shape
    stays = np.zeros((frames, count), bool)
    origin = np.full(frames, -1, np.intp)
    from_pitch = np.full(frames, -1, np.intp)
    total, quiet = own[0] + STARTING_COST, float(silent[0])
    for frame in range(1, frames):
        best = int(total.argmin())
        lowest = float(total[best])
        moved, begun = lowest + change[frame], quiet + STARTING_COST
        origin[frame] = best if moved <= begun else -1
        stays[frame] = total <= min(moved, begun)
        total = np.minimum(total, min(moved, begun)) + own[frame]
        if lowest + STARTING_COST < quiet:
            from_pitch[frame], quiet = best, lowest + STARTING_COST
        quiet += silent[frame]
    here = int(total.argmin()) if float(total.min()) <= quiet else -1
    path = np.full(frames, -1, np.intp)
    for frame in range(frames - 1, -1, -1):
        path[frame] = here
        if here < 0:
            here = int(from_pitch[frame])
        elif not stays[frame, here]:
            here = int(origin[frame])
    return path


def segments_of(
    track: PitchTrack, voiced: Flags, states: Floats, level: Floats, cutting: Cutting
) -> list[Segment]:
    """The notes of one reading, in order."""
    pitch = smoothed(track.pitch)
    dip = dips_of(level)
    runs = [
        run for part in joined_runs(states, dip) for run in cut(part, level, dip, cutting)
    ]
    found = []
    for first, end in runs:
        inside = voiced[first:end]
        if end - first < in_frames(SHORTEST_NOTE) or inside.mean() < LEAST_VOICED:
            continue
        found.append(
            Segment(
                first,
                end,
                middle_pitch(pitch[first:end], inside),
                float(track.confidence[first:end][inside].mean()),
            )
        )
    return without_scraps(found)


def smoothed(pitch: Floats) -> Floats:
    """The median over seven frames."""
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(pitch, 3, mode="edge"), 7)
    return np.asarray(np.median(windows, axis=1))


def middle_pitch(pitch: Floats, voiced: Flags) -> float:
    """The median of the middle three fifths of a note, of what is voiced there."""
    edge = len(pitch) // 5
    inner = slice(edge, len(pitch) - edge)
    chosen = pitch[inner][voiced[inner]]
    return float(np.median(chosen if len(chosen) else pitch[voiced]))


def dips_of(level: Floats) -> Floats:
    """How far each frame lies under the loudest on both sides of it, in dB."""
    reach = in_frames(DIP_REACH)
    padded = np.pad(level, reach, mode="edge")
    highest = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1)
    before, after = highest[: len(level)], highest[reach : reach + len(level)]
    return np.asarray(np.minimum(before, after) - level)


def joined_runs(states: Floats, dip: Floats) -> Iterator[tuple[int, int]]:
    """Runs of one state; those that touch, are nearly as high and have no dip, as one."""
    near = in_frames(NEAR_DIP)
    edges = np.flatnonzero(np.diff(np.nan_to_num(states, nan=-1.0))) + 1
    bounds = [0, *edges.tolist(), len(states)]
    held: tuple[int, int] | None = None
    for first, end in pairwise(bounds):
        if np.isnan(states[first]):
            if held:
                yield held
            held = None
            continue
        if held and held[1] == first:
            close = abs(states[first] - states[first - 1]) < SAME_NOTE
            if (
                close
                and dip[max(first - near, 0) : first + near].max() < CUTTINGS[0].dip_db
            ):
                held = held[0], end
                continue
        if held:
            yield held
        held = first, end
    if held:
        yield held


def cut(
    run: tuple[int, int], level: Floats, dip: Floats, cutting: Cutting
) -> Iterator[tuple[int, int]]:
    """A run of one pitch as the notes that it may be."""
    first, end = run
    apart = in_frames(BETWEEN_CUTS)
    last = first
    for place in cuts_of(first, end, level, dip, cutting):
        if place - last >= apart and end - place >= in_frames(SHORTEST_NOTE):
            yield last, place
            last = place
    yield last, end


def cuts_of(
    first: int, end: int, level: Floats, dip: Floats, cutting: Cutting
) -> list[int]:
    """Frames inside a run where the level falls and comes back, or rises for good."""
    found = []
    near, rise, lasting = in_frames(0.015), in_frames(RISE_TIME), in_frames(LASTING_TIME)
    for place in range(first + rise, end - rise):
        here = level[place - near : place + near + 1]
        if dip[place] >= cutting.dip_db and level[place] <= here.min():
            found.append(place)
        elif (
            cutting.rises and level[place + rise // 2] - level[place - rise // 2] >= RISE_DB
        ):
            after = level[place + rise // 2 : place + rise // 2 + lasting].mean()
            before = level[max(place - rise // 2 - lasting, 0) : place - rise // 2].mean()
            if after - before >= LASTING_RISE_DB:
                found.append(place)
    return found


def without_scraps(segments: list[Segment]) -> list[Segment]:
    """Short octaves at the start of a note, which a tracker makes, belong to the note."""
    found: list[Segment] = []
    for segment in reversed(segments):
        follower = found[-1] if found else None
        if (
            follower
            and segment.frames < in_frames(SCRAP)
            and follower.first - segment.end <= 2
            and abs(abs(segment.pitch - follower.pitch) - 12) <= OCTAVE_NEAR
        ):
            found[-1] = replace(follower, first=segment.first)
        else:
            found.append(segment)
    return found[::-1]
