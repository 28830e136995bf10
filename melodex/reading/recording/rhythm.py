"""How long notes are to each other, without a beat to count by.

A note counts up to the onset of the next, but not for more than twice as long as it
sounds and a little: what is longer is a rest, or a breath. As ratios, the gap that half
of them are under is 1. Written in quarters, that gap may be anything; several are tried.

Contents: PULSES, ratios_of, ticks_of.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.melody import TICKS_PER_QUARTER, duration_class
from melodex.reading.recording.segments import Segment
from melodex.reading.recording.tracking import FRAMES_PER_SECOND

__all__ = ["PULSES", "ratios_of", "ticks_of"]

PULSES = tuple(2.0**power for power in (-1.0, -0.5, 0.0, -1.5, 0.5))
"""Quarters that the middle gap may be, the likeliest first: in printed tunes it is
mostly an eighth; classes of length lie half an octave apart."""

BREATH = 0.1  # seconds beyond twice the sounding length that still count
SHORTEST_RATIO, LONGEST_RATIO = 1 / 16, 16.0  # of the middle gap


def ratios_of(segments: Sequence[Segment]) -> tuple[float, ...]:
    """The length of each note, where the middle one of all is 1."""
    gaps = []
    for place, segment in enumerate(segments):
        sounding = segment.frames / FRAMES_PER_SECOND
        if place + 1 < len(segments):
            gap = (segments[place + 1].first - segment.first) / FRAMES_PER_SECOND
            gaps.append(min(gap, 2 * sounding + BREATH))
        else:
            gaps.append(sounding)
    middle = sorted(gaps)[len(gaps) // 2]
    return tuple(min(max(gap / middle, SHORTEST_RATIO), LONGEST_RATIO) for gap in gaps)


def ticks_of(ratios: Sequence[float], pulse: float) -> tuple[int, ...]:
    """Lengths in ticks, the middle gap being so many quarters.

    Each is the plain or dotted value of its class of length, which is what is searched
    for, so that it can be written.

    Examples
    --------
    >>> [ticks / TICKS_PER_QUARTER for ticks in ticks_of([1.0, 1.4, 2.1], 0.5)]
    [0.5, 0.75, 1.0]
    """
    return tuple(value_of(duration_class(wanted(ratio, pulse))) for ratio in ratios)


def wanted(ratio: float, pulse: float) -> int:
    """A length in ticks as it was heard."""
    return max(1, round(ratio * pulse * TICKS_PER_QUARTER))


def value_of(length_class: int) -> int:
    """Ticks of the plain value of an even class, of the dotted one of an odd class."""
    power, dotted = divmod(length_class, 2)
    return round(TICKS_PER_QUARTER * 2.0**power * (1.5 if dotted else 1.0))
