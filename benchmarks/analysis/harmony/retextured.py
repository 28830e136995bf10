"""Four-part writing played as a piano plays it: real harmony under broken chords.

Conventions: the top line of a piece is kept whole, as a singer has it; what the other
lines sound at each beat, and wherever a person heard a new chord, is played in one of
:data:`WAYS`. Time is stretched, so that a beat becomes half a bar or a bar, as harmony
moves in songs with piano. The chords that are true are those of the piece.

Contents: WAYS, Retextured, retextured.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from benchmarks.analysis.harmony.piano_textures import PATTERNS, Hand, Note, texture
from melodex.melody import TICKS_PER_QUARTER, Bar, Melody, Metre, MetreChange
from melodex.melody.texture import SoundingNote, Texture

WAYS = (
    "chords",
    "Alberti bass",
    "broken tenths",
    "tremolo",
    "upward",
    "up and down",
    "off the beat",
    "broken octaves",
    "triplets",
    "stride",
)
"""Of the patterns of ``piano_textures`` those that fill any length."""

NEEDS_A_BAR = {"stride", "broken tenths", "upward"}
"""Of these, those that say nothing of a chord of one beat."""


@dataclass(frozen=True)
class Retextured:
    """A piece as it is played, and how much longer it lasts."""

    melody: Melody
    texture: Texture
    stretch: int


def retextured(
    name: str, whole: Texture, melody: Melody, changes: Sequence[float]
) -> Retextured:
    """Play a piece in the way that its name draws.

    Parameters
    ----------
    name : str
        Draws way and stretch.
    whole : Texture
        The notes of the piece.
    melody : Melody
        Its bars and metres.
    changes : sequence of float
        Where chords change, in quarters.
    """
    rng = random.Random(name)
    stretch, way = rng.choice((2, 2, 4)), rng.choice(WAYS)
    tops = {n.line for n in whole.notes}
    top = min(tops)
    notes: list[tuple[float, float, Note, int]] = [
        (
            n.onset_ticks * stretch / TICKS_PER_QUARTER,
            n.duration_ticks * stretch / TICKS_PER_QUARTER,
            (n.midi, n.fifths),
            0,
        )
        for n in whole.notes
        if n.line == top
    ]
    lower = [n for n in whole.notes if n.line != top]
    for start, end in stretches(lower, changes):
        sounding = sorted(
            {
                (n.midi, n.fifths)
                for n in lower
                if n.onset_ticks / Q <= start < n.end_ticks / Q
            }
        )
        if sounding:
            play(way, sounding, start * stretch, (end - start) * stretch, notes, rng)
    return Retextured(sheet(melody, stretch), texture(notes), stretch)


Q = TICKS_PER_QUARTER


def stretches(
    lower: Sequence[SoundingNote], changes: Sequence[float]
) -> Iterator[tuple[float, float]]:
    """From beat to beat and from chord to chord, in quarters."""
    last = max(n.end_ticks for n in lower) // Q
    cuts = sorted(
        {float(beat) for beat in range(last + 1)} | {c for c in changes if c < last}
    )
    yield from pairwise(cuts)


def play(
    way: str,
    sounding: list[Note],
    onset: float,
    length: float,
    notes: list[tuple[float, float, Note, int]],
    rng: random.Random,
) -> None:
    """Play what sounds, over and over."""
    if length < 2 or (way in NEEDS_A_BAR and length < 4):
        way = "chords" if length < 1 else "off the beat"
    bass, close = sounding[0], sounding[1:] or sounding
    while len(close) < 3:
        close = [
            *close,
            (
                close[-2 if len(close) > 1 else 0][0] + 12,
                close[-2 if len(close) > 1 else 0][1],
            ),
        ]
    low = (bass[0] - 12, bass[1]) if bass[0] > 52 else bass
    if length < 1:
        notes += [(onset, length, note, 1) for note in (low, *close)]
        return
    hand = Hand(onset, int(length), low, low, sorted(close), notes, rng)
    PATTERNS[way](hand)


def sheet(melody: Melody, stretch: int) -> Melody:
    """Bars and metres of a piece that lasts longer: a bar becomes two or four."""
    bars: list[Bar] = []
    metres: list[MetreChange] = []
    starts = [bar.onset_ticks for bar in melody.bars]
    for change in melody.metres:
        place = max(bisect_right(starts, change.onset_ticks) - 1, 0)
        metres.append(replace(change, onset_ticks=starts[place] * stretch))
    for bar in melody.bars:
        bars.append(
            Bar(bar.number, bar.onset_ticks * stretch, bar.duration_ticks * stretch)
        )
    finer: list[Bar] = []
    for bar in bars:
        metre = melody.metre_at(bar.onset_ticks // stretch)
        whole = metre.bar_ticks * stretch if metre else bar.duration_ticks
        # A pickup is counted from its end, so that the downbeat stays one.
        parts = stretch if metre and metre.numerator % stretch == 0 else 1
        each = whole // parts
        at = bar.onset_ticks + bar.duration_ticks % each
        if at > bar.onset_ticks:
            finer.append(replace(bar, duration_ticks=at - bar.onset_ticks))
        while at < bar.onset_ticks + bar.duration_ticks:
            finer.append(replace(bar, onset_ticks=at, duration_ticks=each))
            at += each
    changed = tuple(
        MetreChange(m.onset_ticks, longer(m.metre, stretch) if m.metre else None)
        for m in metres
    )
    return Melody(bars=tuple(finer), metres=changed)


def longer(metre: Metre, stretch: int) -> Metre:
    """The metre of a bar of a piece that lasts longer."""
    if metre.numerator % stretch == 0:
        return Metre(metre.numerator, metre.denominator)
    return Metre(metre.numerator, max(metre.denominator // stretch, 1))
