"""When each line of a piece sounds, and how high.

Conventions: rests shorter than a quarter part nothing; lines stand in the order of the
score. Heights are mean MIDI numbers.

Contents: LineActivity, activity_of.
"""

from __future__ import annotations

from dataclasses import dataclass

from melodex.melody import TICKS_PER_QUARTER
from melodex.melody.texture import SoundingNote, Texture

__all__ = ["LineActivity", "activity_of"]


@dataclass(frozen=True, slots=True)
class LineActivity:
    """A line and where it sounds: stretches of (start, end) in ticks."""

    name: str
    stretches: tuple[tuple[int, int], ...]
    height: float


def activity_of(texture: Texture) -> tuple[LineActivity, ...]:
    """Return when each line sounds; nothing for a piece of one line.

    Examples
    --------
    >>> notes = [SoundingNote(0, 10080, 60, 0, 0), SoundingNote(40320, 10080, 62, 2, 0)]
    >>> low = [SoundingNote(0, 50400, 48, 0, 1)]
    >>> found = activity_of(Texture.of([*notes, *low], ["High", "Low"]))
    >>> [(line.name, line.stretches) for line in found]
    [('High', ((0, 10080), (40320, 50400))), ('Low', ((0, 50400),))]
    """
    by_line: dict[int, list[SoundingNote]] = {}
    for note in texture.notes:
        by_line.setdefault(note.line, []).append(note)
    if len(by_line) < 2:
        return ()
    return tuple(
        LineActivity(
            texture.lines[line],
            stretches_of(by_line[line]),
            sum(note.midi for note in by_line[line]) / len(by_line[line]),
        )
        for line in sorted(by_line)
    )


def stretches_of(notes: list[SoundingNote]) -> tuple[tuple[int, int], ...]:
    """Where notes in order of onset sound, short rests passed over."""
    found: list[tuple[int, int]] = []
    for note in notes:
        if found and note.onset_ticks < found[-1][1] + TICKS_PER_QUARTER:
            found[-1] = (found[-1][0], max(found[-1][1], note.end_ticks))
        else:
            found.append((note.onset_ticks, note.end_ticks))
    return tuple(found)
