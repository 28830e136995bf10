"""What the meta events of a MIDI file say: keys, metres, tempo, words, chords, marks.

References
----------
MIDI Manufacturers Association (1996), Standard MIDI Files 1.0 (RP-001): meta events.

Contents: INSTRUMENT, NAME, WORDS, Signs, signs_of, text_of.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from melodex.melody import (
    TICKS_PER_QUARTER,
    Key,
    KeyChange,
    Metre,
    MetreChange,
)
from melodex.reading.bounded import MOST_TEXT, one_line, settle
from melodex.reading.common.chord_text import may_be_chord
from melodex.reading.midi.file import MetaEvent, MidiFile

__all__ = ["INSTRUMENT", "NAME", "WORDS", "Signs", "signs_of", "text_of"]

TEXT, RIGHTS, NAME, INSTRUMENT, WORDS, MARKER = 1, 2, 3, 4, 5, 6
TEMPO, METRE, KEY = 0x51, 0x58, 0x59
"""Kinds of meta events, of text and of measure, by their numbers in RP-001."""

FEWEST_CHORDS = 2
"""A single text that looks like a chord symbol may as well be a letter of a section."""


@dataclass(slots=True)
class Signs:
    """What the meta events of all tracks say, in ticks of a melody."""

    keys: list[KeyChange] = field(default_factory=list)
    metres: list[MetreChange] = field(default_factory=list)
    marks: list[tuple[int, str]] = field(default_factory=list)
    words: dict[int, str] = field(default_factory=dict)
    chords: dict[int, str] = field(default_factory=dict)
    tempo: float | None = None
    title: str = ""
    rights: str = ""


def signs_of(file: MidiFile, warnings: list[str]) -> Signs:
    """Gather the meta events of all tracks."""
    signs = Signs()
    events = sorted(
        (event for track in file.tracks for event in track.meta),
        key=lambda event: event.start,
    )
    for event in events:
        ticks = round(event.start * TICKS_PER_QUARTER / file.ticks_per_quarter)
        take_sign(signs, event, ticks, warnings)
    if len(signs.chords) < FEWEST_CHORDS:
        signs.chords.clear()
    first = file.tracks[0].meta if file.tracks else []
    signs.title = next((text_of(e.data) for e in first if e.kind == NAME), "")
    return signs


def take_sign(signs: Signs, event: MetaEvent, ticks: int, warnings: list[str]) -> None:
    """Add what one meta event says."""
    data = event.data
    if event.kind == TEMPO and len(data) == 3 and signs.tempo is None and any(data):
        signs.tempo = round(60_000_000 / int.from_bytes(data, "big"), 3)
    elif event.kind == METRE and len(data) >= 2:
        if 1 <= data[0] <= 128 and data[1] <= 7:
            settle(signs.metres, MetreChange(ticks, Metre(data[0], 1 << data[1])))
        else:
            warnings.append(f"a time signature of {data[0]}/2^{data[1]} is left out")
    elif event.kind == KEY and len(data) >= 2:
        signature = data[0] - 256 if data[0] > 127 else data[0]
        if abs(signature) <= 7 and data[1] <= 1:
            mode = "minor" if data[1] else "major"
            key = Key(signature + 3 * data[1], mode)
            settle(signs.keys, KeyChange(ticks, key, signature))
        else:
            warnings.append("a key signature that no key has is left out")
    elif event.kind == MARKER and text_of(data):
        signs.marks.append((ticks, text_of(data)))
    elif event.kind == WORDS and text_of(data):
        signs.words.setdefault(ticks, text_of(data))
    elif event.kind == TEXT and may_be_chord(text_of(data)):
        signs.chords[ticks] = text_of(data)
    elif event.kind == RIGHTS and not signs.rights:
        signs.rights = text_of(data)


def text_of(data: bytes) -> str:
    """A text of a meta event; UTF-8 where it is that, else Latin-1."""
    data = data[: 4 * MOST_TEXT]
    try:
        return one_line(data.decode("utf-8"))
    except UnicodeDecodeError:
        return one_line(data.decode("latin-1"))
