"""Which semitones were meant: a line that is flat, sharp or drifts, put on a scale.

Nobody who sings alone sings at 440 Hz, and few end as high as they began. The offset
from the semitones is followed through the line by a best path, for each of the twelve
major scales (their minors have the same notes); the scale that costs least wins.

References
----------
The constants are those of ``benchmarks/hearing``. That singers drift by some tenths of
a semitone a minute, and by more where the line is hard: Mauch, M., Frieler, K. and
Dixon, S. (2014), Intonation in unaccompanied singing: accuracy, drift, and a model of
reference pitch memory, JASA 136(1), 401-411.

Where notes are far off, more than one scale and drift fit about as well:
``tuned_otherwise`` gives the next ways, found by steady drifts, which a best path from note
to note may miss.

Contents: Tuned, tuned, tuned_otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from melodex.reading.recording.segments import Segment
from melodex.reading.recording.tracking import FRAMES_PER_SECOND, Floats

__all__ = ["Tuned", "tuned", "tuned_otherwise"]

MAJOR = (0, 2, 4, 5, 7, 9, 11)
OFFSETS: Floats = np.linspace(-1.5, 1.5, 61, dtype=np.float64)
SPREAD = 0.3
"""Standard deviation of one sung note from the line's own tuning, in semitones."""

MOST_NOTE_COST = 4.0  # of one note, however far off, in nats as all costs here
OUTSIDE_COST = 1.5  # of a note outside the scale
FULL_WEIGHT_SECONDS = 0.4  # a shorter note counts less
WANDERING = 0.06  # standard deviation of the drift in semitones
WANDERING_SECONDS = 0.3  # over so long; it grows with the root of the time
FAR_OFF_COST = 0.1
"""For a whole semitone: what is no flatter than sharp is taken as written."""

NEIGHBOURS = (-2, -1, 0, 1, 2)  # semitones around the nearest that a note may have meant

STEADY_DRIFTS: Floats = np.arange(-6, 7) / 4  # semitones from the first note to the last
STEADY_OFFSETS: Floats = np.arange(-5, 5) / 10  # semitones
WIDER_SPREAD = 0.35  # in semitones, for lines that are far off
DRIFT_COST_PER_SEMITONE = 0.5  # of a drift over the whole line
OTHER_WAYS = 3  # that are given at most
DOUBTFUL = 3.0
"""Cost by which another way may be worse than the best: less than one wrong note's."""

CLEAR = 0.15
"""Cost of a note on average below which a line is clear: a spread of 20 cents."""


@dataclass(frozen=True, slots=True)
class Tuned:
    """Whole semitones, each with the offset that held and how likely it is.

    Parameters
    ----------
    midi : tuple of int
    offsets : tuple of float
        How far the line stood from 440 Hz at each note, in semitones.
    certainty : tuple of float
        Of each semitone against its neighbours, 0 to 1.
    tonic : int
        Pitch class of the major scale that fits best.
    """

    midi: tuple[int, ...]
    offsets: tuple[float, ...]
    certainty: tuple[float, ...]
    tonic: int


def weights_of(segments: Sequence[Segment]) -> Floats:
    """What each note counts: a short one less, since its pitch is less sure."""
    seconds = [segment.frames / FRAMES_PER_SECOND for segment in segments]
    whole = np.minimum(np.array(seconds) / FULL_WEIGHT_SECONDS, 1.0)
    return np.asarray(np.sqrt(whole))


def tuned(segments: Sequence[Segment]) -> Tuned:
    """Put notes on semitones."""
    pitch = np.array([segment.pitch for segment in segments])
    weight = weights_of(segments)
    wanted = pitch[:, None] - OFFSETS
    nearby = np.rint(wanted)[..., None] + np.array(NEIGHBOURS)
    misfit = np.minimum(((wanted[..., None] - nearby) / SPREAD) ** 2 / 2, MOST_NOTE_COST)
    steps = wandering(segments)
    best: tuple[float, int, npt.NDArray[np.intp]] | None = None
    for tonic in range(12):
        outside = ~np.isin((nearby - tonic) % 12, MAJOR)
        own = (misfit * weight[:, None, None] + OUTSIDE_COST * outside).min(axis=2)
        own[0] += FAR_OFF_COST * np.abs(OFFSETS)
        cost, path = best_offsets(own, steps)
        if best is None or cost < best[0] - 1e-9:
            best = cost, tonic, path
    assert best is not None
    return on_scale(pitch, weight, best[1], best[2])


def wandering(segments: Sequence[Segment]) -> list[Floats]:
    """Cost of each change of offset from note to note, of shape (61, 61) each."""
    change = OFFSETS[:, None] - OFFSETS
    costs = []
    for one, other in pairwise(segments):
        gap = max((other.first - one.first) / FRAMES_PER_SECOND, 0.05)
        spread = WANDERING * math.sqrt(gap / WANDERING_SECONDS)
        costs.append((change / spread) ** 2 / 2)
    return costs


def best_offsets(own: Floats, steps: list[Floats]) -> tuple[float, npt.NDArray[np.intp]]:
    """The cheapest path over the offsets, and its cost."""
    total, came = own[0], []
    for step, here in zip(steps, own[1:], strict=True):
        sums = total[:, None] + step
        came.append(sums.argmin(axis=0))
        total = sums.min(axis=0) + here
    path = [int(total.argmin())]
    for origin in reversed(came):
        path.append(int(origin[path[-1]]))
    return float(total.min()), np.array(path[::-1], np.intp)


def on_scale(
    pitch: Floats, weight: Floats, tonic: int, path: npt.NDArray[np.intp]
) -> Tuned:
    """The cheapest semitone of each note under the offsets that were found."""
    offset = OFFSETS[path]
    wanted = pitch - offset
    nearby = np.rint(wanted)[:, None] + np.array(NEIGHBOURS)
    outside = ~np.isin((nearby - tonic) % 12, MAJOR)
    misfit = np.minimum(((wanted[:, None] - nearby) / SPREAD) ** 2 / 2, MOST_NOTE_COST)
    cost = misfit * weight[:, None] + OUTSIDE_COST * outside
    likely = np.exp(-cost)
    chosen = cost.argmin(axis=1)
    rows = np.arange(len(pitch))
    sure = likely[rows, chosen] / likely.sum(axis=1)
    return Tuned(
        midi=tuple(int(n) for n in nearby[rows, chosen]),
        offsets=tuple(round(float(value), 2) for value in offset),
        certainty=tuple(round(float(value), 3) for value in sure),
        tonic=tonic,
    )


def tuned_otherwise(segments: Sequence[Segment], first: Tuned) -> list[Tuned]:
    """Other ways to put notes on semitones that are about as likely, likeliest first.

    Parameters
    ----------
    segments : sequence of Segment
        Of n notes.
    first : Tuned
        The way that has been found.

    Returns
    -------
    list of Tuned
        None where the line is clear; never two with the same steps.
    """
    pitch = np.array([segment.pitch for segment in segments])
    at = np.array([segment.first for segment in segments], float)
    along = (at - at[0]) / max(at[-1] - at[0], 1.0) - 0.5
    weight = weights_of(segments)
    found: dict[bytes, tuple[float, int, float, float]] = {}
    for drift in STEADY_DRIFTS:
        for offset in STEADY_OFFSETS:
            costs, midi = on_every_scale(pitch - offset - drift * along, weight)
            costs += DRIFT_COST_PER_SEMITONE * abs(drift)
            for tonic in range(12):
                steps = np.diff(midi[tonic]).tobytes()
                if steps not in found or costs[tonic] < found[steps][0]:
                    found[steps] = float(costs[tonic]), tonic, offset, drift
    least = min(way[0] for way in found.values())
    if least < CLEAR * len(segments):
        return []
    found.pop(np.diff(np.array(first.midi, float)).tobytes(), None)
    likely = sorted(way for way in found.values() if way[0] <= least + DOUBTFUL)
    return [
        steady(pitch, weight, tonic, offset + drift * along)
        for _, tonic, offset, drift in likely[:OTHER_WAYS]
    ]


def on_every_scale(wanted: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Cost and semitones of a line on each of the twelve scales: (12,) and (12, n)."""
    nearby = np.rint(wanted)[:, None] + np.array(NEIGHBOURS[1:-1])
    off = ((wanted[:, None] - nearby) / WIDER_SPREAD) ** 2 / 2
    misfit = np.minimum(off, MOST_NOTE_COST) * weight[:, None]
    degree = (nearby - np.arange(12)[:, None, None]) % 12
    cost = misfit + OUTSIDE_COST * ~np.isin(degree, MAJOR)
    chosen = cost.argmin(axis=2)[..., None]
    midi = np.take_along_axis(np.broadcast_to(nearby, cost.shape), chosen, axis=2)[..., 0]
    return cost.min(axis=2).sum(axis=1), midi


def steady(pitch: Floats, weight: Floats, tonic: int, offset: Floats) -> Tuned:
    """A line on a scale under given offsets."""
    _, midi = on_every_scale(pitch - offset, weight)
    chosen = midi[tonic]
    off = np.abs(pitch - offset - chosen)
    return Tuned(
        midi=tuple(int(n) for n in chosen),
        offsets=tuple(round(float(value), 2) for value in offset),
        certainty=tuple(round(float(value), 3) for value in 1 - np.minimum(off, 0.5)),
        tonic=tonic,
    )
