"""One voice of one tune: its fields and its music become a melody.

Conventions: what a field says holds from where it stands. The first tempo that is a number
counts.

References
----------
The ABC music standard 2.1 (December 2011), sections 3 and 5.

Contents: TuneReader.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from melodex.melody import Credits, Lyric, Melody, Metre
from melodex.melody.texture import SoundingNote
from melodex.reading.abc.fields import (
    default_unit,
    parse_key,
    parse_metre,
    parse_tempo,
    parse_unit,
    read_text,
)
from melodex.reading.abc.header import Header, Line, is_field
from melodex.reading.abc.voice.music import VoiceReader
from melodex.reading.abc.voice.pitch import PitchReader
from melodex.reading.abc.voice.time import Clock
from melodex.reading.abc.voice.words import align
from melodex.reading.result import Choice, ReadWarning

__all__ = ["TuneReader"]

LONGEST_WARNING = 160
"""Characters of a warning that quotes the source."""

SILENT_FIELDS = frozenset("ABCDFGHINORSWZsrX")


class TuneReader:
    """Reads the fields and music of one voice of one tune."""

    def __init__(
        self,
        header: Header,
        file_header: Header,
        lines: list[Line],
        name: str,
        choice: Choice,
    ) -> None:
        self.header = header
        self.file_header = file_header
        self.lines = lines
        self.found: list[ReadWarning] = []
        self.tempo: float | None = None
        self.lyrics: list[Lyric] = []
        self.verse = 0
        self.lyric_from = self.lyric_start = 0
        metre = self.header_metre()
        directives = {**file_header.directives, **header.directives}
        self.music = VoiceReader(
            Clock(self.header_unit(metre)),
            metre,
            PitchReader(directives.get("propagate-accidentals", "pitch")),
            self.take_inline,
            lowest=choice.chord_note == "bottom",
            has_words=any(line.text.startswith("w:") for line in lines),
        )
        self.notes = self.music.notes
        self.start(name)

    def start(self, name: str) -> None:
        """Take what the header says about key, voice, tempo and signs."""
        key = self.header.key
        if key is not None:
            self.take_key(key.text, key.number, 3)
        if name in self.header.voices:
            self.music.set_key(self.header.voices[name].field)
        for header in (self.file_header, self.header):
            for value in header.fields.get("U", ()):
                self.music.signs.define_letter(value[:1], value[1:])
            for value in header.fields.get("Q", ()):
                self.take_tempo(value, header.places["Q"])
        for line in self.header.strangers:
            self.warn("a line in the header is no field", line.number, 1)
        if not self.header.fields.get("X"):
            self.warn("the tune has no X: field", self.first_line(), 1)

    def first_line(self) -> int:
        """The first line that has a field."""
        return min(self.header.places.values(), default=0)

    def warn(self, text: str, line: int, column: int) -> None:
        """Keep a warning about a field."""
        self.found.append(ReadWarning(shortened(text), line, column))

    def header_metre(self) -> Metre | None:
        """The metre of the header; without ``M:`` the metre is free (3.1.6)."""
        value = self.header.last("M")
        if value is None:
            value = self.file_header.last("M") or "none"
        understood, metre = parse_metre(value)
        if not understood:
            place = self.header.places.get("M", 0)
            self.warn(f"the metre {value!r} is not understood and read as free", place, 3)
        return metre

    def header_unit(self, metre: Metre | None) -> Fraction:
        """The unit length of the header, or the usual one for its metre."""
        value = self.header.last("L") or self.file_header.last("L")
        if value is None:
            return default_unit(metre)
        unit = parse_unit(value)
        if unit is None:
            place = self.header.places.get("L", 0)
            self.warn(f"the unit length {value!r} is not understood", place, 3)
        return unit or default_unit(metre)

    def read(self) -> None:
        """Read every line of the voice."""
        music = self.music
        for line, text, goes_on in joined(self.lines):
            if is_field(text):
                self.take_field(text[0], text[2:].strip(), line.number, 3)
                continue
            self.verse = 0
            music.read_line(text, line.number, line.column)
            if not goes_on:
                music.end_line()
        self.notes.finish()

    def take_inline(self, letter: str, value: str) -> None:
        """A field in square brackets."""
        self.take_field(letter, value.strip(), self.notes.row, self.notes.column + 1)

    def take_field(self, letter: str, value: str, line: int, column: int) -> None:
        """A field of the body."""
        if letter == "w":
            self.take_words(value, line)
        elif letter == "K":
            self.take_key(value, line, column)
        elif letter == "M":
            self.take_metre(value, line, column)
        elif letter == "L":
            self.take_unit(value, line, column)
        elif letter == "Q":
            self.take_tempo(value, line)
        elif letter in "PT":
            if value:
                self.notes.mark(read_text(value))
        elif letter == "U":
            self.music.signs.define_letter(value[:1], value[1:])
        elif letter not in SILENT_FIELDS:
            self.warn(f"the field {letter}: is not understood", line, column)

    def take_key(self, value: str, line: int, column: int) -> None:
        """A key, for the whole tune or from here on."""
        field = parse_key(value)
        if field.leftover:
            words = " ".join(field.leftover)
            self.warn(f"{words!r} in the key {value!r} is not understood", line, column)
        self.music.set_key(field)

    def take_metre(self, value: str, line: int, column: int) -> None:
        """A metre from here on."""
        understood, metre = parse_metre(value)
        if not understood:
            text = f"the metre {value!r} is not understood and read as free"
            self.warn(text, line, column)
        self.notes.set_metre(metre)

    def take_unit(self, value: str, line: int, column: int) -> None:
        """A unit length from here on."""
        unit = parse_unit(value)
        if unit is None:
            self.warn(f"the unit length {value!r} is not understood", line, column)
        else:
            self.music.clock.set_unit(unit)

    def take_tempo(self, value: str, line: int) -> None:
        """A tempo; the first number counts."""
        tempo = parse_tempo(value, self.music.clock.unit)
        if tempo is None and re.sub(r'"[^"]*"', "", value).strip():
            self.warn(f"the tempo {value!r} gives no speed", line, 3)
        self.tempo = self.tempo or tempo

    def take_words(self, value: str, line: int) -> None:
        """A line of lyrics under the notes since the last block of them."""
        if not self.verse:
            self.lyric_from, self.lyric_start = (
                self.lyric_start,
                len(self.notes.written),
            )
        self.verse += 1
        written = self.notes.written[self.lyric_from : self.lyric_start]
        words, unplaced = align(value, written, self.verse)
        self.lyrics.extend(words)
        if unplaced:
            self.warn(f"{unplaced} syllables have no note", line, 3)

    def melody(self, credits_of_tune: Credits) -> Melody:
        """The melody, its bars counted."""
        music, notes, book = self.music, self.notes, self.notes.book
        book.number()
        numbers = [bar.number for bar in book.bars]
        last = len(numbers) - 1
        midi, fifths, onsets, durations, places, lines = notes.columns()
        return Melody(
            midi=midi,
            fifths=fifths,
            onset_ticks=onsets,
            duration_ticks=durations,
            bar=tuple(map(numbers.__getitem__, places)),
            beat_strength=book.strengths(onsets, places),
            phrase=notes.phrases() or counted(lines),
            bars=book.records(),
            keys=tuple(music.keys),
            metres=tuple(notes.metres),
            chords=tuple([replace(c, bar=numbers[min(c.bar, last)]) for c in notes.chords]),
            marks=tuple([replace(m, bar=numbers[min(m.bar, last)]) for m in notes.marks]),
            graces=tuple(notes.graces),
            tuplets=tuple(notes.tuplets),
            lyrics=tuple(self.lyrics),
            dynamics=tuple(sorted(music.signs.dynamics, key=lambda sign: sign.onset_ticks)),
            tempo_quarters_per_minute=self.tempo,
            credits=credits_of_tune,
        )

    def beside(self, line: int) -> Iterator[SoundingNote]:
        """What sounds in chords beside the notes of the melody, as notes of a line."""
        onsets, durations = (self.notes.flat[column::6] for column in (2, 3))
        for index, pitches in self.notes.beside.items():
            end = onsets[index] + durations[index]
            for (midi, fifths), onset in pitches.items():
                yield SoundingNote(onset, end - onset, midi, fifths, line)

    def warnings(self) -> tuple[ReadWarning, ...]:
        """Everything that was not understood, in the order of the lines."""
        numbers = [bar.number for bar in self.notes.book.bars]
        found = [*self.found, *self.notes.faults.warnings(numbers)]
        return tuple(sorted(found, key=lambda warning: (warning.line, warning.column)))


def shortened(text: str) -> str:
    """A warning that quotes no more of a file than helps."""
    return text if len(text) <= LONGEST_WARNING else f"{text[:LONGEST_WARNING]} ..."


def counted(lines: tuple[int, ...]) -> tuple[int, ...]:
    """Phrase indexes from 0 without gaps from the lines that notes stand on."""
    indexes = {line: index for index, line in enumerate(dict.fromkeys(lines))}
    return tuple(map(indexes.__getitem__, lines))


def joined(lines: list[Line]) -> Iterator[tuple[Line, str, bool]]:
    """Lines with ``+:`` taken up, and whether a backslash carries them on."""
    held: tuple[Line, str] | None = None
    for line in lines:
        if line.text.startswith("+:") and held is not None:
            held = (held[0], held[1] + " " + line.text[2:].strip())
            continue
        if held is not None:
            yield *held, False
            held = None
        if is_field(line.text):
            held = (line, line.text)
        elif line.text.endswith("\\"):
            yield line, line.text[:-1], True
        else:
            yield line, line.text, False
    if held is not None:
        yield *held, False
