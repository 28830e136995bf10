"""Range, tessitura and metre class of a melody.

Conventions: the range is from the lowest to the highest note; the tessitura is the
narrowest band round the middle that holds four fifths of the sounding time, a tenth
left out at either end. Metre classes are common practice, no source: beats of simple
metre divide in two, of compound metre in three.

Contents: Compass, compass, metre_class.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from melodex.melody import Melody, note_name

__all__ = ["Compass", "compass", "metre_class"]

LEFT_OUT = 0.1
"""Share of the sounding time left out at either end; our choice."""


@dataclass(frozen=True, slots=True)
class Compass:
    """How far a melody reaches.

    Parameters
    ----------
    lowest, highest : str
        Notes with their octaves, such as ``Bb3``.
    lowest_midi, highest_midi : int
        The same in semitones, middle C 60.
    tessitura_midi : (int, int)
        The band where the melody mostly lies.
    tessitura : (str, str)
        The same as notes.
    peak_bar : int
        Bar of the highest note: where it is strongest, then longest, then first.
    peak_note : int
        Its index.
    peak_share : float
        How far through the piece the peak comes, 0 to 1.
    """

    lowest: str
    highest: str
    lowest_midi: int
    highest_midi: int
    tessitura_midi: tuple[int, int]
    tessitura: tuple[str, str]
    peak_bar: int
    peak_note: int
    peak_share: float

    @property
    def range_semitones(self) -> int:
        """From the lowest to the highest note."""
        return self.highest_midi - self.lowest_midi


def compass(melody: Melody) -> Compass | None:
    """Return how far a melody reaches; None where it has no notes."""
    if not melody.midi:
        return None
    low, high = min(melody.midi), max(melody.midi)
    names = dict(zip(reversed(melody.midi), reversed(melody.fifths), strict=True))
    band = tessitura(melody)
    peak = max(
        [i for i, midi in enumerate(melody.midi) if midi == high],
        key=lambda i: (melody.beat_strength[i], melody.duration_ticks[i], -i),
    )
    first, end = melody.onset_ticks[0], melody.end_ticks
    return Compass(
        note_name(low, names[low]),
        note_name(high, names[high]),
        low,
        high,
        band,
        (note_name(band[0], names[band[0]]), note_name(band[1], names[band[1]])),
        melody.bar[peak],
        peak,
        round((melody.onset_ticks[peak] - first) / max(end - first, 1), 3),
    )


def tessitura(melody: Melody) -> tuple[int, int]:
    """The pitches between which four fifths of the sounding time lie."""
    held: dict[int, int] = defaultdict(int)
    for midi, ticks in zip(melody.midi, melody.duration_ticks, strict=True):
        held[midi] += ticks
    left_out = LEFT_OUT * sum(held.values())
    return edge(held, sorted(held), left_out), edge(
        held, sorted(held, reverse=True), left_out
    )


def edge(held: dict[int, int], order: list[int], left_out: float) -> int:
    """The first pitch in an order at which more time is reached than is left out."""
    passed = 0
    for midi in order:
        passed += held[midi]
        if passed > left_out:
            return midi
    return order[-1]


def metre_class(melody: Melody) -> str:
    """Return ``simple``, ``compound``, ``irregular``, ``mixed`` or ``free``.

    Mixed is a melody whose metre changes; a change of sign for the same metre, such
    as from 4/4 to C, is none.
    """
    metres = {
        (m.numerator, m.denominator, m.groups) if (m := change.metre) else None
        for change in melody.metres
    }
    if not metres or metres == {None}:
        return "free"
    if len(metres) > 1:
        return "mixed"
    return melody.metre.kind if melody.metre else "free"
