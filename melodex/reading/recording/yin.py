"""A tracker in numpy: the troughs of YIN weighed as in pYIN, joined by a best path.

For each frame the cumulative mean normalised difference says at which lags the sound
repeats itself. A trough is taken where it is the first under a threshold, and the
threshold is not one number but a distribution; so each trough has a probability. The
path through the troughs of all frames that is likeliest, jumps and silences being paid
for, is the pitch.

It differs from the papers in five things: where no trough is under the threshold, the
first that is about as deep as any is taken, and whether there is a pitch at all is asked
of its depth alone, since an echo fills the troughs of a good line; the distribution of
thresholds is summed in closed form, not at a hundred places; the path runs over the
troughs themselves, not over a grid of tenths of a semitone, and what lies far from the
middle of the line is less likely; and the lag is measured over as many periods as fit,
since one period of a whistle is only a few samples.

References
----------
de Cheveigné, A. and Kawahara, H. (2002), YIN, a fundamental frequency estimator for
speech and music, JASA 111(4), 1917-1930: steps 1 to 5. Mauch, M. and Dixon, S. (2014),
pYIN: a fundamental frequency estimator using probabilistic threshold distributions,
ICASSP, 659-663: thresholds from Beta(2, 18), whose mean is 0.1.

Contents: YinTracker.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from melodex.reading.recording.tracking import HOP, Floats, PitchTrack, semitones_of
from melodex.reading.recording.waveform import RATE_HZ, Waveform

__all__ = ["YinTracker"]

WINDOW = 512
"""Samples compared: 32 ms, two periods of the lowest note."""

LONGEST_LAG = 272
"""58.8 Hz: below the lowest notes of a bass singer."""

SHORTEST_LAG = 3.7
"""4,300 Hz: above the highest notes of piano and whistle."""

FINER = 2
"""Lags go by half samples: a whole one is an eighth of the period of a high whistle."""

LAGS = FINER * LONGEST_LAG
FRAME = WINDOW + LONGEST_LAG
SPECTRUM = 1024  # samples of the transform: the next power of two above a frame
FRAMES_AT_ONCE = 250  # about 1 MB for each table of differences

BETA_B = 18.0  # Mauch and Dixon (2014), as above
ABSENT = 2.0  # above every depth: a normalised difference seldom passes 1
ABOUT_AS_DEEP = 0.1  # of a normalised difference
HALF_VOICED = 0.5  # depth at which a pitch is as likely as none
VOICING_SLOPE = 0.06  # change of depth that makes it e times as likely
CANDIDATES = 5  # troughs kept of each frame

JUMP_COST_PER_SEMITONE = 1.2  # in nats, as all costs of the path
MOST_JUMP_COST = 5.0  # an octave is no dearer than four semitones
VOICING_COST = 3.0  # of beginning or ending a pitch
LEAST_PROBABILITY = 1e-3  # a floor under the logarithm

CLEAR_DEPTH = 0.2  # frames that tell where the middle of the line is
USUAL_REACH = 12.0  # semitones on each side of it
FAR_COST_PER_SEMITONE = 0.3
"""A line keeps within an octave of its middle: two notes that ring together repeat
themselves at a lag that is that of neither, far below."""

REFINED_LAG = 100
"""Lags are measured anew at a multiple about here, where that is no other period."""


@dataclass(frozen=True, slots=True)
class YinTracker:
    """Follows one pitch by how a sound repeats itself."""

    def track(self, waveform: Waveform) -> PitchTrack:
        """Follow the pitch, one value for each frame."""
        count = -(-len(waveform.samples) // HOP)
        padded = np.pad(np.asarray(waveform.samples, float), (FRAME // 2, FRAME + HOP))
        parts = []
        for start in range(0, count, FRAMES_AT_ONCE):
            stop = min(start + FRAMES_AT_ONCE, count)
            part = padded[start * HOP : (stop - 1) * HOP + FRAME]
            parts.append(candidates(differences(part)))
        lag, chance, depth = (np.concatenate(column) for column in zip(*parts, strict=True))
        return self.joined(semitones_of(RATE_HZ / lag), chance, depth)

    def joined(self, pitch: Floats, chance: Floats, depth: Floats) -> PitchTrack:
        """The likeliest path through the candidates, and how well the sound repeats."""
        far = np.abs(pitch - centre_of(pitch, depth)) - USUAL_REACH
        chance = chance * np.exp(-FAR_COST_PER_SEMITONE * far.clip(0.0))
        path = best_path(pitch, chance, repeating(depth.min(axis=1)))
        voiced = path < CANDIDATES
        taken = np.where(voiced, path, 0)[:, None]
        confidence = 1 - np.take_along_axis(depth, taken, axis=1)[:, 0]
        return PitchTrack(
            pitch=np.take_along_axis(pitch, taken, axis=1)[:, 0],
            confidence=np.where(voiced, confidence.clip(0.0), 0.0),
            voiced=voiced,
        )


def differences(samples: Floats) -> Floats:
    """Cumulative mean normalised differences, of shape (frames, lags).

    Equations 6 to 8 of YIN; the products by way of the Fourier transform.
    """
    frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP]
    heads = np.fft.rfft(frames[:, :WINDOW], SPECTRUM)
    # A longer inverse transform puts values between the samples.
    cross = np.conj(heads) * np.fft.rfft(frames, SPECTRUM)
    product = FINER * np.fft.irfft(cross, FINER * SPECTRUM)[:, :LAGS]
    squares = np.cumsum(np.pad(frames**2, ((0, 0), (1, 0))), axis=1)
    whole = squares[:, WINDOW : FRAME + 1] - squares[:, : LONGEST_LAG + 1]
    energy = np.empty((len(frames), LAGS))
    energy[:, ::FINER] = whole[:, :-1]
    energy[:, 1::FINER] = (whole[:, :-1] + whole[:, 1:]) / 2
    difference = np.maximum(energy[:, :1] + energy - 2 * product, 0.0)
    so_far = np.cumsum(difference, axis=1)
    lags = np.arange(LAGS)
    # A frame of silence repeats nothing.
    silent = so_far <= 1e-9 * WINDOW * lags
    normal = difference * lags / np.where(silent, 1.0, so_far)
    return np.where(silent, 1.0, normal)


def candidates(normal: Floats) -> tuple[Floats, Floats, Floats]:
    """The likeliest lags of each frame, their probabilities and depths.

    All of shape (frames, candidates).
    """
    trough = np.zeros(normal.shape, bool)
    middle = normal[:, 1:-1]
    trough[:, 1:-1] = (middle < normal[:, :-2]) & (middle <= normal[:, 2:])
    trough[:, : int(FINER * SHORTEST_LAG)] = False
    depth = np.where(trough, normal, ABSENT)
    before = np.minimum.accumulate(depth, axis=1)
    before = np.concatenate([np.full((len(depth), 1), ABSENT), before[:, :-1]], axis=1)
    chance = (under(before) - under(depth)).clip(0.0)
    # Where the threshold lies under all troughs: the first that is about as deep as any.
    enough = depth <= depth.min(axis=1, keepdims=True) + ABOUT_AS_DEEP
    rows = np.arange(len(depth))
    chance[rows, enough.argmax(axis=1)] += 1 - chance.sum(axis=1)
    best = np.argsort(-chance, axis=1, kind="stable")[:, :CANDIDATES]
    likely, deep = (np.take_along_axis(part, best, axis=1) for part in (chance, depth))
    return refined(normal, best), likely, deep


def centre_of(pitch: Floats, depth: Floats) -> float:
    """The middle of the likeliest pitches, of those that repeat themselves well."""
    first, clear = pitch[:, 0], depth[:, 0] < CLEAR_DEPTH
    return float(np.median(first[clear] if clear.any() else first))


def repeating(depth: Floats) -> Floats:
    """How likely it is that a sound repeats itself at all, by its deepest trough."""
    return np.asarray(1 / (1 + np.exp((depth - HALF_VOICED) / VOICING_SLOPE)))


def under(threshold: Floats) -> Floats:
    """Chance that a threshold of Beta(2, 18) lies under a value."""
    value = np.clip(threshold, 0.0, 1.0)
    return np.asarray(1 - (1 - value) ** BETA_B * (1 + BETA_B * value))


def refined(normal: Floats, lags: npt.NDArray[np.intp]) -> Floats:
    """Lags in samples, by a parabola through a trough and its neighbours."""
    lag = vertex(normal, lags)
    # One period more and more: each narrows the lag enough to find the next.
    for periods in (2, 4, 8, 16, 32):
        wanted = np.rint(lag * periods).astype(np.intp)
        fits = wanted <= FINER * REFINED_LAG
        place = np.where(fits, wanted, lags)
        lag = np.where(fits, nearest_trough(normal, place) / periods, lag)
    return np.clip(lag / FINER, SHORTEST_LAG, LONGEST_LAG)


def nearest_trough(normal: Floats, place: npt.NDArray[np.intp]) -> Floats:
    """The vertex at the lowest of the three places around each place."""
    around = np.stack([place - 1, place, place + 1])
    around = np.clip(around, 1, LAGS - 2)
    rows = np.arange(len(normal))[:, None]
    lowest = normal[rows, around].argmin(axis=0)
    return vertex(normal, np.take_along_axis(around, lowest[None], axis=0)[0])


def vertex(normal: Floats, lags: npt.NDArray[np.intp]) -> Floats:
    """Where a parabola through three values is lowest, at most half a sample away."""
    place = np.clip(lags, 1, LAGS - 2)
    rows = np.arange(len(normal))[:, None]
    left, here, right = (normal[rows, place + shift] for shift in (-1, 0, 1))
    bend = left - 2 * here + right
    shift = 0.5 * (left - right) / np.where(bend > 1e-12, bend, np.inf)
    return np.asarray(place + np.clip(shift, -0.5, 0.5))


def best_path(pitch: Floats, chance: Floats, repeats: Floats) -> npt.NDArray[np.intp]:
    """Which candidate each frame takes; :data:`CANDIDATES` where none is."""
    count = len(pitch)
    likely = chance * repeats[:, None]
    here = -np.log(np.maximum(likely, LEAST_PROBABILITY))
    none = -np.log(np.maximum(1 - repeats[:, None], LEAST_PROBABILITY))
    own = np.concatenate([here, none], axis=1)
    came = np.zeros((count, CANDIDATES + 1), np.intp)
    steps = np.full((CANDIDATES + 1, CANDIDATES + 1), VOICING_COST)
    steps[-1, -1] = 0.0
    total = own[0]
    for frame in range(1, count):
        jump = np.abs(pitch[frame - 1][:, None] - pitch[frame])
        steps[:-1, :-1] = np.minimum(JUMP_COST_PER_SEMITONE * jump, MOST_JUMP_COST)
        sums = total[:, None] + steps
        came[frame] = sums.argmin(axis=0)
        total = sums.min(axis=0) + own[frame]
    path = np.zeros(count, np.intp)
    path[-1] = total.argmin()
    for frame in range(count - 1, 0, -1):
        path[frame - 1] = came[frame, path[frame]]
    return path
