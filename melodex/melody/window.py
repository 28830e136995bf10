"""What sounds of a line between two times, whether or not it begins there.

Conventions: a note that sounds into the window, or out of it, is cut at its edge. Bars
are those of the window; times stay as they are in the whole.

Contents: sounding_within.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from melodex.melody.marks import KeyChange, MetreChange, Tuplet
from melodex.melody.record import Melody

__all__ = ["sounding_within"]

Change = TypeVar("Change", KeyChange, MetreChange)


def sounding_within(melody: Melody, start: int, end: int) -> Melody:
    """Return what a melody sounds from one time to another; perhaps nothing.

    Parameters
    ----------
    melody : Melody
    start, end : int
        Ticks from the start of the first bar; the end is not in it.

    Examples
    --------
    >>> from melodex.melody import Melody
    >>> line = Melody((60, 62), (0, 2), (0, 8), (8, 8), (1, 1), (1.0, 0.5), (0, 0))
    >>> cut = sounding_within(line, 4, 12)
    >>> cut.midi, cut.onset_ticks, cut.duration_ticks
    ((60, 62), (4, 8), (4, 4))
    """
    ends = [o + d for o, d in zip(melody.onset_ticks, melody.duration_ticks, strict=True)]
    kept = [
        note
        for note, onset in enumerate(melody.onset_ticks)
        if onset < end and ends[note] > start
    ]
    place = {note: at for at, note in enumerate(kept)}
    onsets = tuple(max(melody.onset_ticks[note], start) for note in kept)
    bars = tuple(bar for bar in melody.bars if start <= bar.onset_ticks < end)
    number = bars[0].number if bars else 0
    return replace(
        melody,
        midi=tuple(melody.midi[note] for note in kept),
        fifths=tuple(melody.fifths[note] for note in kept),
        onset_ticks=onsets,
        duration_ticks=tuple(
            min(ends[note], end) - onset for note, onset in zip(kept, onsets, strict=True)
        ),
        bar=tuple(
            number if melody.onset_ticks[note] < start else melody.bar[note]
            for note in kept
        ),
        beat_strength=tuple(melody.beat_strength[note] for note in kept),
        phrase=tuple(melody.phrase[note] for note in kept),
        bars=bars,
        keys=held(melody.keys, start, end),
        centres=held(melody.centres, start, end),
        metres=held(melody.metres, start, end),
        chords=tuple(c for c in melody.chords if start <= c.onset_ticks < end),
        marks=tuple(m for m in melody.marks if start <= m.onset_ticks < end),
        graces=tuple(
            replace(g, note=place[g.note]) for g in melody.graces if g.note in place
        ),
        tuplets=tuple(
            replace(t, first=place[t.first], last=place[t.last])
            for t in melody.tuplets
            if t.first in place and t.last in place and is_whole(t, start, end)
        ),
        lyrics=tuple(
            replace(word, note=place[word.note])
            for word in melody.lyrics
            if word.note in place and melody.onset_ticks[word.note] >= start
        ),
    )


def is_whole(tuplet: Tuplet, start: int, end: int) -> bool:
    """Whether a tuplet lies inside a window."""
    return tuplet.onset_ticks >= start and tuplet.onset_ticks + tuplet.duration_ticks <= end


def held(changes: Sequence[Change], start: int, end: int) -> tuple[Change, ...]:
    """The changes in a window, the one that holds at its start moved there."""
    kept: list[Change] = []
    for change in changes:
        if change.onset_ticks <= start:
            kept = [replace(change, onset_ticks=start)]
        elif change.onset_ticks < end:
            kept.append(change)
    return tuple(kept)
