"""The examples of a teaching set as one MIDI file, one after another.

Conventions: one track of notes; a marker names each example where it starts, and tempo,
metre and key are set anew there. A bar of silence parts two examples. The notes sound
as in the source, or in the common key; what is written for a transposing instrument
still sounds at its own pitch.

References
----------
MIDI Association (1996), The Complete MIDI 1.0 Detailed Specification, part
"Standard MIDI Files 1.0": meta event 6, marker.

Contents: lesson_midi, worksheet_midi.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER, Melody
from melodex.presentation.lesson.questions import as_printed
from melodex.presentation.lesson.setting import SheetSetting, set_passage
from melodex.presentation.notation.midi import (
    DEFAULT_TEMPO,
    VELOCITY,
    Event,
    chunk,
    conductor_events,
    meta,
    origin_ticks,
    track_of,
)
from melodex.tasks.lesson.questions import Worksheet
from melodex.tasks.lesson.sets import Lesson

__all__ = ["lesson_midi", "worksheet_midi"]

SILENCE_QUARTERS = 4
"""Between two passages where no metre gives the length of a bar."""
MOST_NAME = 200
"""Bytes of the name of a MIDI track."""


def lesson_midi(lesson: Lesson, setting: SheetSetting | None = None) -> bytes:
    """Return all examples of a set as a MIDI file of type 1.

    Parameters
    ----------
    lesson : Lesson
        As opened.
    setting : SheetSetting, optional
        Of which only the key counts.

    Raises
    ------
    PresentationError
        If the set is empty.
    """
    if not lesson.examples:
        raise PresentationError("the set has no passages yet", where=lesson.row.name)
    heard = SheetSetting(key=setting.key if setting else "own")
    passages = [
        (
            f"{example.position}. {example.title}",
            set_passage(example.excerpt, example.labels, heard).melody,
        )
        for example in lesson.examples
    ]
    return passages_midi(lesson.row.name, passages)


def worksheet_midi(sheet: Worksheet, setting: SheetSetting | None = None) -> bytes:
    """Return what the questions of a worksheet show, in their order, as a MIDI file.

    Parameters
    ----------
    sheet : Worksheet
        Markers name its questions by their numbers, and tell no title that it hides.
    setting : SheetSetting, optional
        Of which only the key counts.
    """
    heard = SheetSetting(key=setting.key if setting else "own")
    passages = [
        (
            f"Question {number}{f', {shown.letter}' if shown.letter else ''}",
            as_printed(shown, set_passage(shown.excerpt, shown.labels, heard).melody),
        )
        for number, question in enumerate(sheet.questions, start=1)
        for shown in question.passages
    ]
    return passages_midi(sheet.lesson.row.name, passages)


def passages_midi(name: str, passages: Sequence[tuple[str, Melody]]) -> bytes:
    """Some passages one after another, each with its marker."""
    conductor: list[Event] = []
    notes: list[Event] = [(0, 0, meta(0x03, named(name)))]
    start = 0
    for title, melody in passages:
        tempo = melody.tempo_quarters_per_minute or DEFAULT_TEMPO
        conductor.append((start, -1, meta(0x06, named(title))))
        conductor += [
            (start + tick, rank, data)
            for tick, rank, data in conductor_events(melody, min(max(tempo, 4.0), 1000.0))
        ]
        notes += note_events(melody, start)
        bar = (
            melody.metre.bar_ticks if melody.metre else SILENCE_QUARTERS * TICKS_PER_QUARTER
        )
        start += length_ticks(melody) + bar
    tracks = [track_of(conductor), track_of(notes)]
    header = (1).to_bytes(2) + len(tracks).to_bytes(2) + TICKS_PER_QUARTER.to_bytes(2)
    return chunk(b"MThd", header) + b"".join(chunk(b"MTrk", track) for track in tracks)


def named(text: str) -> bytes:
    """A text as MIDI files carry it."""
    return text.encode("latin-1", "replace")[:MOST_NAME]


def note_events(melody: Melody, start: int) -> list[Event]:
    """Starts and ends of the notes, after a number of ticks."""
    origin = origin_ticks(melody)
    events: list[Event] = []
    for pitch, onset, length in zip(
        melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True
    ):
        at = start + onset - origin
        events.append((at, 2, bytes([0x90, pitch, VELOCITY])))
        events.append((at + length, 1, bytes([0x80, pitch, 0])))
    return events


def length_ticks(melody: Melody) -> int:
    """From where an example starts to where its last note or bar ends."""
    return melody.end_ticks - origin_ticks(melody)
