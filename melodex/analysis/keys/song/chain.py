"""The tonic at each bar given all bars: forward and backward over twelve tonics.

Conventions: states are pitch classes. Leaving a tonic costs points that depend on the
bar; where a change leads is not alike for all intervals: songs rise by one or two half
steps or go to the relative more often than elsewhere (our choice, after the changes in
the charts that ``weights`` names). Time is linear in the bars.

References
----------
Rabiner (1989), "A tutorial on hidden Markov models", Proceedings of the IEEE 77, 257-286.

Contents: tonic_probabilities.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["tonic_probabilities"]

WAYS = (0.0, 1.5, 1.2, 1.0, -0.5, 0.3, -1.0, 0.3, -0.5, 1.0, 0.0, 0.0)
"""Points of a change upward by so many semitones."""


def tonic_probabilities(points: ndarray, leaving: Sequence[float]) -> ndarray:
    """Say how likely each tonic is in each bar.

    Parameters
    ----------
    points : ndarray of shape (n, 12)
        What each bar says for each tonic.
    leaving : sequence of float, of shape (n,)
        What leaving a tonic costs as each bar begins; the first is not used.

    Returns
    -------
    ndarray of shape (n, 12)
        Rows sum to 1.
    """
    import numpy as np

    heard = np.exp(points - points.max(1, keepdims=True))
    ahead, both = np.empty_like(heard), np.empty_like(heard)
    now = heard[0] / heard[0].sum()
    ahead[0] = now
    for bar in range(1, len(heard)):
        now = (now @ passing(leaving[bar])) * heard[bar]
        now /= now.sum()
        ahead[bar] = now
    after = np.ones(12)
    both[-1] = ahead[-1]
    for bar in range(len(heard) - 1, 0, -1):
        after = passing(leaving[bar]) @ (after * heard[bar])
        after /= after.sum()
        both[bar - 1] = ahead[bar - 1] * after
    found: ndarray = both / both.sum(1, keepdims=True)
    return found


@lru_cache(maxsize=64)
def passing(leaving: float) -> ndarray:
    """Probability of passing from each tonic to each, of shape (12, 12)."""
    import numpy as np

    odds = np.exp(np.array(WAYS) - leaving)
    odds[0] = 1.0
    odds /= odds.sum()
    return np.array([np.roll(odds, tonic) for tonic in range(12)])
