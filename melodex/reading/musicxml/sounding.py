"""All sounding notes of a part, with the voice that each belongs to.

Conventions: ties are merged where a note of the same voice and pitch ends where the next
begins; grace notes and rests do not sound. Places and lengths are ticks.

Contents: MOST_SOUNDING, part_notes.
"""

from __future__ import annotations

from melodex.melody.texture import SoundingNote
from melodex.reading.common.parts import PartSheet, WrittenNote
from melodex.reading.musicxml.line import voices_of

__all__ = ["MOST_SOUNDING", "part_notes"]

MOST_SOUNDING = 200_000
"""Notes of all parts together from which harmony is still worked out: ten times the
longest movement in music21's corpus."""


def part_notes(sheet: PartSheet, name: str, lines: list[str]) -> list[SoundingNote]:
    """The sounding notes of a part; the names of its voices are appended to ``lines``."""
    found: list[SoundingNote] = []
    voices = {
        voice: sounding
        for voice, written in voices_of(sheet.notes).items()
        if (sounding := [n for n in written if n.midi >= 0 and not n.grace])
    }
    for (number, _), written in voices.items():
        lines.append(f"{name}, voice {number}" if len(voices) > 1 else name)
        found += tied_notes(written, len(lines) - 1)
    return found


def tied_notes(written: list[WrittenNote], line: int) -> list[SoundingNote]:
    """Notes of one voice, those that are tied made one."""
    found: list[SoundingNote] = []
    open_ties: dict[tuple[int, int], int] = {}
    for note in sorted(written, key=lambda note: note.onset_ticks):
        before = open_ties.pop((note.midi, note.onset_ticks), -1) if note.tie_stop else -1
        if before < 0:
            found.append(
                SoundingNote(
                    note.onset_ticks, note.duration_ticks, note.midi, note.fifths, line
                )
            )
            before = len(found) - 1
        else:
            held = found[before]
            found[before] = SoundingNote(
                held.onset_ticks,
                held.duration_ticks + note.duration_ticks,
                held.midi,
                held.fifths,
                line,
            )
        if note.tie_start:
            open_ties[note.midi, note.onset_ticks + note.duration_ticks] = before
    return found
