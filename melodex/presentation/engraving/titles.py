"""A picture and its notes in words, for those who do not see it.

Contents: note_title, described.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.melody import degree_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.words import readable_text
from melodex.presentation.notation.pitch import spoken_pitch

__all__ = ["described", "note_title"]


def note_title(part: StaffPart, note: int) -> str:
    """A note in words: part, pitch, bar, degree, relation."""
    words = [spoken_pitch(part.melody.midi[note], part.melody.fifths[note])]
    words.append(f"bar {part.melody.bar[note]}")
    hidden = note in part.hidden
    if part.degrees and (degree := part.degrees[note]) is not None and not hidden:
        words.append(f"degree {degree_name(degree)}")
    if part.relations and part.relations[note]:
        words.append(part.relations[note])
    return (f"{part.label}: " if part.label else "") + ", ".join(words)


def described(parts: Sequence[StaffPart]) -> str:
    """A picture in words."""
    out = []
    for part in parts:
        melody = part.melody
        if not len(melody):
            out.append(f"{part.label}: rests")
            continue
        bars = f"bars {melody.bar[0]} to {melody.bar[-1]}"
        key = "" if melody.key.mode == "none" else f" in {melody.key}"
        name = f"{part.label}: " if part.label else ""
        out.append(f"{name}{readable_text(melody.title)}, {bars}, {len(melody)} notes{key}")
    return ". ".join(out) + "."
