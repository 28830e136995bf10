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

Contents: Tuned, tuned.
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

__all__ = ["Tuned", "tuned"]

MAJOR = (0, 2, 4, 5, 7, 9, 11)
OFFSETS: Floats = np.linspace(-1.5, 1.5, 61, dtype=np.float64)
SPREAD = 0.3
"""Standard deviation of one sung note from the line's own tuning, in semitones."""

MOST_NOTE_COST = 4.0
OUTSIDE_COST = 1.5
FULL_WEIGHT_SECONDS = 0.4
WANDERING = 0.06
WANDERING_SECONDS = 0.3
FAR_OFF_COST = 0.1
"""For a whole semitone: what is no flatter than sharp is taken as written."""

NEIGHBOURS = (-2, -1, 0, 1, 2)


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


def tuned(segments: Sequence[Segment]) -> Tuned:
    """Put notes on semitones."""
    pitch = np.array([segment.pitch for segment in segments])
    weight = np.sqrt(
        np.minimum(
            [
                segment.frames / FRAMES_PER_SECOND / FULL_WEIGHT_SECONDS
                for segment in segments
            ],
            1.0,
        )
    )
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
