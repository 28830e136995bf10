"""How each note comes and goes in its line, which says how much its chord hangs on it.

Conventions: a note that a step leads to and a step leads away from, on a weaker place than
its neighbours, ornaments; one that is repeated on a stronger place comes early; one that
was there before and goes down by step to a weaker place is suspended. Notes at the ends of
a line, or beside a rest, do none of it. All are common practice, no source.

Contents: ORNAMENT, LEANING, EARLY, SUSPENDED, MANNERS, manners_of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from melodex.melody import TICKS_PER_QUARTER

if TYPE_CHECKING:
    from melodex.melody.texture import SoundingNote

__all__ = ["EARLY", "LEANING", "MANNERS", "ORNAMENT", "SUSPENDED", "manners_of"]

PLAIN, ORNAMENT, LEANING, EARLY, SUSPENDED = range(5)
"""What a note may be in its line: nothing of the kind; passing or a neighbour; the same on
a stronger place; an anticipation; a suspension."""

MANNERS = (ORNAMENT, LEANING, EARLY, SUSPENDED)

STEP = 2
"""Semitones of a step at most."""

SHORT = TICKS_PER_QUARTER
"""An ornament is no longer."""


def manners_of(
    notes: Sequence[SoundingNote], levels: Mapping[int, int]
) -> list[tuple[int, int]]:
    """Indexes of the notes that are something in their lines, and what each is.

    Parameters
    ----------
    notes : sequence of SoundingNote
        In order of onset.
    levels : mapping of int to int
        How strong each onset and end is, 0 the strongest.
    """
    lines: dict[int, list[tuple[int, int, int, int]]] = {}
    for place, note in enumerate(notes):
        start, length = note.onset_ticks, note.duration_ticks
        lines.setdefault(note.line, []).append((start, start + length, note.midi, place))
    found = []
    for line in lines.values():
        for (began, ended, low, _), (start, end, pitch, place), (then, _, high, _) in zip(
            line, line[1:], line[2:], strict=False
        ):
            if ended != start or end != then or high - pitch < -STEP or high - pitch > STEP:
                continue
            strengths = levels[began], levels[start], levels[end]
            manner = manner_of(pitch - low, high - pitch, end - start, strengths)
            if manner:
                found.append((place, manner))
    return found


def manner_of(came: int, goes: int, length: int, levels: tuple[int, int, int]) -> int:
    """What a note is that comes and goes by so many semitones.

    ``levels`` are those of the note before, its own, and of the one after.
    """
    before, level, after = levels
    if came == 0 and goes < 0 and level < after:
        return SUSPENDED
    if goes == 0 and came and level > after and length < SHORT:
        return EARLY
    if not came or not goes or abs(came) > STEP or length > SHORT:
        return PLAIN
    return ORNAMENT if level > after or level > before else LEANING
