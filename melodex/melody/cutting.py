"""Parts of a melody by other signs than the first and the last note.

Conventions: times stay as they are in the whole. Of what sounds between two times, a note
that sounds into the window, or out of it, is cut at its edge, whether or not it begins
there; bars are those of the window.

Contents: notes_of_bars, some_notes, sounding_within.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar

from melodex.errors import PassageError
from melodex.melody.marks import KeyChange, MetreChange, Tuplet
from melodex.melody.record import NOTE_COLUMNS, Melody, out_of_range

__all__ = ["notes_of_bars", "some_notes", "sounding_within"]

Change = TypeVar("Change", KeyChange, MetreChange)


def notes_of_bars(melody: Melody, first_bar: int, last_bar: int) -> tuple[int, int]:
    """Return the first and last index of the notes that start in some bars.

    Raises
    ------
    PassageError
        If the melody has no such bars, or no note starts in them.
    """
    numbers = [bar.number for bar in melody.bars] or list(melody.bar)
    if not numbers:
        raise PassageError("this tune has no bars", where=melody.title)
    lowest, highest = min(numbers), max(numbers)
    if first_bar > last_bar or first_bar < lowest or last_bar > highest:
        raise out_of_range("bars", (first_bar, last_bar), (lowest, highest), melody.title)
    inside = [i for i, bar in enumerate(melody.bar) if first_bar <= bar <= last_bar]
    if not inside:
        raise PassageError(
            f"no note starts in bars {first_bar}-{last_bar}", where=melody.title
        )
    return inside[0], inside[-1]


def some_notes(melody: Melody, kept: Sequence[int]) -> Melody:
    """The same bars and signs with some of the notes, given by rising index.

    Grace notes and words of the others go; tuplets go where one of theirs does.
    """
    index = {note: place for place, note in enumerate(kept)}
    columns: dict[str, Any] = {
        name: tuple([getattr(melody, name)[note] for note in kept]) for name in NOTE_COLUMNS
    }
    return replace(
        melody,
        **columns,
        graces=tuple(
            replace(g, note=index[g.note]) for g in melody.graces if g.note in index
        ),
        tuplets=tuple(
            replace(t, first=index[t.first], last=index[t.last])
            for t in melody.tuplets
            if all(note in index for note in range(t.first, t.last + 1))
        ),
        lyrics=tuple(
            replace(word, note=index[word.note])
            for word in melody.lyrics
            if word.note in index
        ),
    )


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
    part = some_notes(melody, kept)
    held_over = [onset < start for onset in part.onset_ticks]
    onsets = tuple(max(onset, start) for onset in part.onset_ticks)
    bars = tuple(bar for bar in melody.bars if start <= bar.onset_ticks < end)
    first_bar = bars[0].number if bars else 0
    return replace(
        part,
        onset_ticks=onsets,
        duration_ticks=tuple(
            min(ends[note], end) - onset for note, onset in zip(kept, onsets, strict=True)
        ),
        bar=tuple(
            first_bar if over else bar
            for over, bar in zip(held_over, part.bar, strict=True)
        ),
        bars=bars,
        keys=held(melody.keys, start, end),
        centres=held(melody.centres, start, end),
        metres=held(melody.metres, start, end),
        chords=tuple(c for c in melody.chords if start <= c.onset_ticks < end),
        marks=tuple(m for m in melody.marks if start <= m.onset_ticks < end),
        tuplets=tuple(t for t in part.tuplets if is_whole(t, start, end)),
        lyrics=tuple(word for word in part.lyrics if not held_over[word.note]),
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
