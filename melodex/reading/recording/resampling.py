"""Samples at one rate become samples at another, by a windowed sinc.

Conventions: rates are whole numbers a second. The filter passes what both rates can
hold, and is a sinc of :data:`CROSSINGS` zero crossings on each side under a Kaiser
window.

References
----------
Smith, J. O., Digital Audio Resampling Home Page (CCRMA, Stanford): band-limited
interpolation by a table of filter phases. Kaiser, J. F. (1974), Nonrecursive digital
filter design using the I0-sinh window function: beta 8 leaves about -80 dB.

Contents: resampled.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt

__all__ = ["resampled"]

Samples = npt.NDArray[np.float32]

CROSSINGS = 16
KAISER_BETA = 8.0
PASSED = 0.94
"""Share of the band that passes whole; the rest is the slope of the filter."""

MOST_STEPS = 500
"""Of inputs until the filter is where it was: 441 for 44,100 Hz. An odd rate, which would
want as many filters as it has samples, is taken for one less than a quarter of a cent away:
the worst are those just beside a ratio of small numbers."""

PLACES_AT_ONCE = 1 << 14  # outputs: what is copied to doubles stays small


def resampled(samples: Samples, rate_hz: int, wanted_hz: int) -> Samples:
    """Resample one channel.

    Parameters
    ----------
    samples : array of shape (n,)
    rate_hz, wanted_hz : int
        What it has, and what is wanted.

    Returns
    -------
    array of shape (ceil(n * wanted / rate),)
    """
    if rate_hz == wanted_hz:
        return samples
    ratio = Fraction(wanted_hz, rate_hz).limit_denominator(MOST_STEPS)
    up, down = ratio.numerator, ratio.denominator
    band = min(1.0, wanted_hz / rate_hz)
    reach = math.ceil(CROSSINGS / band)
    padded = np.concatenate(
        [np.zeros(reach, np.float32), samples, np.zeros(reach + down, np.float32)]
    )
    count = -(-len(samples) * up // down)
    found = np.zeros(count, np.float32)
    for phase in range(min(up, count)):
        # Outputs phase, phase + up, ... fall on the same fraction between two inputs.
        start, fraction = divmod(phase * down, up)
        taps = filter_at(fraction / up, reach, band)
        places = len(range(phase, count, up))
        for first in range(0, places, PLACES_AT_ONCE):
            some = min(PLACES_AT_ONCE, places - first)
            begin = start + first * down
            # Only here as wide as the taps: numpy would copy windows of another width.
            part = padded[begin : begin + (some - 1) * down + len(taps)].astype(float)
            windows = np.lib.stride_tricks.sliding_window_view(part, len(taps))[::down]
            at = phase + first * up
            found[at : at + some * up : up] = windows @ taps
    return found


def filter_at(fraction: float, reach: int, band: float) -> npt.NDArray[np.float64]:
    """Taps for a place that lies a fraction of a sample behind an input."""
    distance = np.arange(-reach, reach + 1) - fraction
    across = np.clip(1 - (distance / (reach + 1)) ** 2, 0, None)
    window = np.i0(KAISER_BETA * np.sqrt(across)) / np.i0(KAISER_BETA)
    scale = band * PASSED
    return np.asarray(scale * np.sinc(scale * distance) * window)
