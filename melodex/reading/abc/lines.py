"""Which voice of a tune is its melody, and what the others are.

Conventions: a voice that no one is named for is followed by its name and its words. Of
notes that sound together one is the voice's; the others are a line of their own where they
move as one.

Contents: Asked, reader_of_melody, shown_name, texture_of.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from melodex.errors import ReadingError
from melodex.melody import Credits, Melody
from melodex.melody.cutting import some_notes
from melodex.melody.texture import Texture, texture_of_lines
from melodex.reading.abc.header import Header, Line
from melodex.reading.abc.tune import TuneReader
from melodex.reading.abc.voices import chosen_voices
from melodex.reading.bounded import one_line
from melodex.reading.lines import UNDER_SHARE, ReadLine, rank_of_line
from melodex.reading.result import Choice

__all__ = ["Asked", "reader_of_melody", "shown_name", "texture_of"]


def shown_name(header: Header, name: str) -> str:
    """What a voice is called."""
    return one_line(header.voices[name].name if name in header.voices else name)


@dataclass(frozen=True, slots=True)
class Asked:
    """A tune of which all lines are wanted."""

    header: Header
    file_header: Header
    voices: dict[str, list[Line]]
    choice: Choice
    credited: Credits

    def lines(
        self, readers: dict[str, TuneReader], main: str, melody: Melody
    ) -> Iterator[ReadLine]:
        """Every voice, and what moves under the top of its chords."""
        for place, name in enumerate(self.voices):
            reader = readers[name]
            if not reader.music.notes.flat:
                continue
            shown = shown_name(self.header, name)
            by = replace(self.credited, part=shown)
            top = melody if name == main else reader.melody(by)
            yield self.line(place, name, top, is_main=name == main)
            if any(CHORD.search(line.text) for line in self.voices[name]):
                other = self.other_note(name).melody(by)
                if under := without_top(other, top):
                    yield self.line(place, name, under, level=1)

    def line(
        self,
        place: int,
        name: str,
        melody: Melody,
        *,
        level: int = 0,
        is_main: bool = False,
    ) -> ReadLine:
        """One line with what its voice says about it."""
        known = self.header.voices.get(name)
        return ReadLine(
            melody,
            (place, level),
            is_main,
            part=shown_name(self.header, name),
            voice="note 2 of chords" if level else "",
            clef=known.field.clef if known else "",
            transposition_semitones=(known.field.semitones or 0) if known else 0,
        )

    def other_note(self, name: str) -> TuneReader:
        """A voice read for the other end of its chords."""
        end = "top" if self.choice.chord_note == "bottom" else "bottom"
        choice = replace(self.choice, chord_note=end)
        lines = self.voices[name]
        reader = TuneReader(self.header, self.file_header, lines, name, choice)
        reader.read()
        return reader


CHORD = re.compile(r"\[[^\]:A-Za-z]{0,4}[A-Ga-g]")
"""Where notes may be written as a chord."""


def without_top(other: Melody, top: Melody) -> Melody | None:
    """The notes of chords that a voice does not keep, where they move as a voice."""
    if len(other) != len(top):
        return None
    kept = [i for i, midi in enumerate(other.midi) if midi != top.midi[i]]
    if len(kept) < UNDER_SHARE * len(top):
        return None
    return some_notes(other, kept)


def texture_of(
    melody: Melody,
    name: str,
    main: TuneReader,
    others: dict[str, TuneReader],
    header: Header,
) -> Texture | None:
    """All voices of a tune together, with all notes of their chords.

    ``name`` is what the voice of the melody is called, which ``main`` has read.
    """
    if not others and not main.notes.beside:
        return None
    lines = [(name, melody)]
    beside = list(main.beside(0))
    for other, reader in others.items():
        if reader.music.notes.flat:
            beside += reader.beside(len(lines))
            lines.append((shown_name(header, other), reader.melody(Credits())))
    return texture_of_lines(lines, beside)


def reader_of_melody(
    header: Header, file_header: Header, voices: dict[str, list[Line]], choice: Choice
) -> tuple[TuneReader, str]:
    """The voice to be followed, read, and its name; else one with chords if wanted.

    Raises
    ------
    ReadingError
        If there is none.
    """
    with_chords: str | None = None
    names = chosen_voices(header, voices, choice.voice)
    for name in sorted(names, key=lambda each: rank_of(header, voices, each)):
        reader = TuneReader(header, file_header, voices[name], name, choice)
        reader.read()
        if reader.music.notes.flat:
            return reader, name
        if reader.music.notes.chords and with_chords is None:
            with_chords = name
    if with_chords is not None and choice.chords_alone:
        bare = TuneReader(header, file_header, voices[with_chords], with_chords, choice)
        bare.music.notes.bare = True
        bare.read()
        return bare, with_chords
    if with_chords is not None:
        raise ReadingError("it has chords and no notes", hint="describe reads such sheets")
    raise ReadingError("it has no notes", hint="notes follow the K: line")


def rank_of(header: Header, voices: dict[str, list[Line]], name: str) -> int:
    """How readily a listener follows a voice: by its name, then for its words."""
    lines = (line.text for line in voices[name] if line.text.startswith("w:"))
    words = (word for line in lines for word in re.split(r"[\s*|_-]+", line[2:]))
    return rank_of_line(shown_name(header, name), words)
