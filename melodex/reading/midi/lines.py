"""The lines of a MIDI file: which there are, which is the main one, what moves under it.

Conventions: a line is one channel of one track. Notes may sound into the next ones by a
player's legato and still be one line.

Contents: MidiLine, chosen_line, lines_of, one_at_a_time, parted, percussion.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from melodex.errors import ReadingError
from melodex.reading.lines import UNDER_SHARE, rank_of_line
from melodex.reading.midi.file import MidiFile, MidiNote
from melodex.reading.midi.signs import INSTRUMENT, NAME, WORDS, text_of
from melodex.reading.result import Choice

__all__ = ["MidiLine", "chosen_line", "lines_of", "one_at_a_time", "parted", "percussion"]

PERCUSSION_CHANNEL = 10
"""Counted from 1 (General MIDI level 1, MIDI Manufacturers Association 1991)."""

OVERLAP = 0.5
"""A note may sound into the next one for half its length and still be one line."""

MOST_AT_ONCE = 32
"""Notes of one channel that sound together; hostile files hold more."""

MOST_UNDER = 3
"""Notes under the top of what sounds together that may be voices."""


@dataclass(slots=True)
class MidiLine:
    """The notes of one channel in one track."""

    position: int
    name: str
    channel: int
    notes: list[MidiNote]
    sound: str = ""
    is_sung: bool = False

    @property
    def rank(self) -> int:
        """How readily a listener follows it: by its name, then for its words."""
        # Words of a track are not tied to its notes.
        return rank_of_line(self.name, ["la"] if self.is_sung else [])

    def __str__(self) -> str:
        return self.name or f"line {self.position}"


def percussion(file: MidiFile) -> list[str]:
    """Say that percussion is left aside, where there is any."""
    drums = sum(
        note.channel == PERCUSSION_CHANNEL for track in file.tracks for note in track.notes
    )
    return [f"left aside percussion: {drums} strokes"] if drums else []


def parted(
    lines: list[MidiLine], main: MidiLine, choice: Choice
) -> Iterator[tuple[MidiLine, int, list[MidiNote]]]:
    """Every line but the main one, with its level under the top of its channel."""
    for line in lines:
        kept = choice.chord_note if line is main else "top"
        if line is not main:
            yield line, 0, one_at_a_time(line.notes, "top")[0]
        if not is_single(line.notes):
            for level, notes in under_top(line.notes, kept):
                yield line, level, notes


def under_top(notes: list[MidiNote], kept: str) -> Iterator[tuple[int, list[MidiNote]]]:
    """What moves as voices beside the note of each chord that a line keeps.

    A note is on the level of how many sound above it when it starts (below it where the
    bottom is kept): so a voice under a note that is held has its place too.
    """
    sign = 1 if kept == "bottom" else -1
    ordered = sorted(notes, key=lambda note: (note.start, sign * note.midi))
    onsets = len({note.start for note in notes})
    levels: dict[int, list[MidiNote]] = {}
    sounding: list[MidiNote] = []
    for note in ordered:
        # What ends within a player's legato has made room.
        sounding = [
            held
            for held in sounding[-MOST_AT_ONCE:]
            if held.end - note.start > OVERLAP * (held.end - held.start)
        ]
        level = sum(sign * (n.midi - note.midi) < 0 for n in sounding)
        sounding.append(note)
        if 0 < level <= MOST_UNDER:
            levels.setdefault(level, []).append(note)
    for level, found in sorted(levels.items()):
        single, _ = one_at_a_time(found, kept)
        if len(single) < UNDER_SHARE * onsets:
            return
        yield level, single


def lines_of(file: MidiFile) -> Iterator[MidiLine]:
    """Every channel of every track that plays pitches, in order."""
    position = 0
    for track in file.tracks:
        name = next((text_of(e.data) for e in track.meta if e.kind == NAME), "")
        sound = next((text_of(e.data) for e in track.meta if e.kind == INSTRUMENT), "")
        is_sung = any(event.kind == WORDS for event in track.meta)
        channels: dict[int, list[MidiNote]] = {}
        for note in track.notes:
            channels.setdefault(note.channel, []).append(note)
        channels.pop(PERCUSSION_CHANNEL, None)
        for channel, notes in sorted(channels.items()):
            position += 1
            shown = f"{name}, channel {channel}" if len(channels) > 1 else name
            yield MidiLine(
                position, shown.removeprefix(", "), channel, notes, sound, is_sung
            )


def chosen_line(lines: list[MidiLine], choice: Choice) -> MidiLine:
    """The line that was asked for, else one that a listener follows.

    That is one called voice, solo or melody, else a single one, those with words first,
    then those called soprano or the like, else the fullest.
    """
    if not lines:
        raise ReadingError("the file has no notes with a pitch")
    listed = ", ".join(f"{line.position} {line.name}".strip() for line in lines)[:300]
    found = lines
    if choice.part:
        wanted = choice.part.strip().casefold()
        found = [line for line in lines if line.name.casefold() == wanted]
        found = found or [line for line in lines if str(line.position) == wanted]
    if choice.voice:
        found = [line for line in found if str(line.channel) == choice.voice.strip()]
    if not found:
        raise ReadingError(
            "no line of that name or channel has notes", hint=f"lines: {listed}"
        )
    for line in sorted(found, key=lambda line: line.rank):
        if line.rank == 0 or is_single(line.notes):
            return line
    return max(found, key=lambda line: len(line.notes))


def is_single(notes: list[MidiNote]) -> bool:
    """Whether a line plays one note at a time, legato allowed."""
    ordered = sorted(notes, key=lambda note: note.start)
    return all(
        first.end - second.start
        <= OVERLAP * min(first.end - first.start, second.end - second.start)
        and first.start < second.start
        for first, second in pairwise(ordered)
    )


def one_at_a_time(notes: list[MidiNote], kept: str) -> tuple[list[MidiNote], bool]:
    """Keep one note of each chord; a note ends where the next one starts."""
    ordered = sorted(notes, key=lambda note: (note.start, note.midi))
    pick = 0 if kept == "bottom" else -1
    groups = [list(group) for _, group in groupby(ordered, key=lambda note: note.start)]
    single = [replace(group[pick]) for group in groups]
    had_chords = len(single) < len(notes) or not is_single(single)
    for first, second in pairwise(single):
        first.end = min(first.end, second.start)
    return single, had_chords
