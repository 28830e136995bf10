"""Reading ABC: a tune file becomes melodies, warnings and refusals.

Conventions: written order, repeats not played. Of a chord the top note is the
melody, of several voices the main one: that called voice, solo or melody, else the first
with words, else the first that has notes, unless the choice says else.
The phrase of a note is the line of the source that it stands on, counted from 0,
as collections of songs write a phrase to a line; a tune on one line is one phrase.
What is not understood is a warning with line and column. A tune that cannot be
read is refused and the others go on. ``kept`` is the file header and the tune's
own lines.

References
----------
The ABC music standard 2.1 (December 2011).

Contents: read_abc, AbcPart, abc_parts, abc_books, tune_number, MAX_TUNE_CHARACTERS.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from melodex.errors import HostileInputError, ReadingError
from melodex.melody import Credits, Lyric, Melody, Metre
from melodex.melody.score_line import ScoreLine
from melodex.melody.texture import Texture, names_harmony, texture_of_lines
from melodex.reading.abc.fields import (
    default_unit,
    parse_key,
    parse_metre,
    parse_tempo,
    parse_unit,
    read_text,
)
from melodex.reading.abc.file import TuneText, split_file, tunes_in
from melodex.reading.abc.header import Header, Line, credits_of, is_field, read_header
from melodex.reading.abc.music import VoiceReader
from melodex.reading.abc.pitch import PitchReader
from melodex.reading.abc.time import Clock
from melodex.reading.abc.tokens import strip_comment
from melodex.reading.abc.voices import chosen_voices, lines_by_voice
from melodex.reading.abc.words import align
from melodex.reading.bounded import one_line
from melodex.reading.common.carried import FIELD, restored
from melodex.reading.lines import UNDER_SHARE, ReadLine, pieced, rank_of_line
from melodex.reading.result import Choice, FileReading, ReadTune, ReadWarning, Refusal

__all__ = [
    "MAX_TUNE_CHARACTERS",
    "AbcPart",
    "abc_books",
    "abc_parts",
    "read_abc",
    "tune_number",
]

MAX_TUNE_CHARACTERS = 2_000_000
"""A tune of 100,000 notes stays below this."""

LONGEST_WARNING = 160
"""Characters of a warning that quotes the source."""

SILENT_FIELDS = frozenset("ABCDFGHINORSWZsrX")


def read_abc(text: str, source: str = "", choice: Choice | None = None) -> FileReading:
    """Read every tune of an ABC file.

    Parameters
    ----------
    text : str
        The file, decoded; lines end in a line feed.
    source : str
        Path to name in credits and refusals.
    choice : Choice, optional
        Which voice, and which note of a chord, is the melody.

    Returns
    -------
    FileReading
        A tune that has no key, no notes or is hostile is a refusal in it.

    Examples
    --------
    >>> reading = read_abc("X:1\\nT:Scale\\nM:4/4\\nL:1/4\\nK:F\\nF G A B | c4 |]")
    >>> melody = reading.tunes[0].melody
    >>> melody.midi, melody.fifths, melody.bar
    ((65, 67, 69, 70, 72), (-1, 1, 3, -2, 0), (1, 1, 1, 1, 2))
    """
    file_text, tunes = split_file(text.removeprefix("\ufeff"))
    return AbcPart(source, file_text, tuple(tunes)).read(choice or Choice())


@dataclass(frozen=True, slots=True)
class AbcPart:
    """Some tunes of a file, not read yet; it goes from process to process.

    Parameters
    ----------
    source : str
        Path to name in credits and refusals.
    file_text : TuneText
        The file header.
    tunes : tuple of TuneText
        The tunes, with the lines that they stand on in the file.
    share : float
        Share of the file up to the end of these tunes; 1 for its last part.
    """

    source: str
    file_text: TuneText
    tunes: tuple[TuneText, ...]
    share: float = 1.0

    def read(self, choice: Choice) -> FileReading:
        """Read these tunes."""
        file_header = header_of(self.file_text)
        tunes, refusals = [], []
        for tune in self.tunes:
            try:
                tunes += read_tune(tune, self.file_text, file_header, self.source, choice)
            except ReadingError as error:
                number, line = tune_number(tune), tune.first_line
                refusals.append(Refusal.of(error, self.source, number=number, line=line))
        if not self.tunes:
            hint = "a tune starts with X:, its header ends with K:, then come the notes"
            refusals.append(Refusal(self.source, "there is no ABC tune in it", hint=hint))
        return FileReading(self.source, tuple(tunes), tuple(refusals))


def abc_parts(text: str, source: str, tunes_per_part: int) -> Iterator[AbcPart]:
    """Yield the tunes of a file by so many; read in turn they give what it gives whole.

    A file without a tune is one part, which is refused when it is read.
    """
    text = text.removeprefix("\ufeff")
    lines = text.count("\n") + 1
    file_text, tunes = TuneText(1, ()), list[TuneText]()
    for header, tune in tunes_in(text):
        if len(tunes) == tunes_per_part:
            yield AbcPart(source, file_text, tuple(tunes), (tune.first_line - 1) / lines)
            tunes = []
        file_text = header
        tunes.append(tune)
    yield AbcPart(source, file_text, tuple(tunes))


def abc_books(parts: Iterable[AbcPart], choice: Choice) -> Iterator[str]:
    """Yield each name of a book that a tune gives which can be read, once."""
    known: set[str] = set()
    for part in parts:
        file_header = header_of(part.file_text)
        for tune in part.tunes:
            header = file_header
            if any(line.startswith("B:") for line in tune.lines):
                header = header_of(tune)
            book = credits_of(header, file_header, "", "").collection
            if book in known:
                continue
            try:
                read_tune(tune, part.file_text, file_header, part.source, choice)
            except ReadingError:
                continue
            known.add(book)
            yield book


def header_of(text: TuneText) -> Header:
    """The header of a tune or file."""
    return read_header(enumerate(text.lines, text.first_line))


def tune_number(tune: TuneText) -> str:
    """The ``X:`` number of a tune, or empty."""
    first = tune.lines[0]
    return strip_comment(first[2:]).strip()[:40] if first.startswith("X:") else ""


def read_tune(
    tune: TuneText,
    file_text: TuneText,
    file_header: Header,
    source: str,
    choice: Choice,
) -> list[ReadTune]:
    """Read one tune; of all its lines the main one first.

    Raises
    ------
    ReadingError
        If it has no key or no notes, or is larger than any music.
    """
    if sum(map(len, tune.lines)) > MAX_TUNE_CHARACTERS:
        raise HostileInputError(
            f"more than {MAX_TUNE_CHARACTERS} characters in one tune",
            limit=MAX_TUNE_CHARACTERS,
        )
    header = header_of(tune)
    if header.key is None:
        raise ReadingError(
            "it has no K: field", hint="end the header with K: and the key, or K:none"
        )
    choice = kept_choice(header, choice)
    voices = lines_by_voice(header)
    reader, name = reader_of_melody(header, file_header, voices, choice)
    shown = shown_name(header, name)
    by = credits_of(header, file_header, source, shown)
    melody = reader.melody(by)
    if FIELD in header.directives:
        melody = restored(melody, header.directives[FIELD])
    kept = kept_text(file_text, tune, choice).encode("utf-8", "replace")
    names_chords = names_harmony(len(melody.chords), len(melody.bars))
    wants_all = choice.lines != "top" and len(melody) > 0
    readers: dict[str, TuneReader] = {}
    if len(voices) > 1:
        readers = {
            other: TuneReader(header, file_header, lines, other, choice)
            for other, lines in voices.items()
            if other != name
        }
        for each in readers.values():
            each.read()
    texture = None
    if readers:
        texture = texture_of(melody, shown, readers, header)
    if texture and names_chords:
        texture = replace(texture, named=True)
    said = reader.warnings()
    if not wants_all:
        return [ReadTune(melody, said, kept, "abc", texture, ScoreLine(part=shown))]
    readers[name] = reader
    asked = Asked(header, file_header, voices, choice, by)
    read = asked.lines(readers, name, melody)
    lines, aside = pieced(read, as_written=choice.lines == "written")
    said = (*map(ReadWarning, aside), *said)
    return [
        ReadTune(
            line.melody,
            said if line.is_main else tuple(map(ReadWarning, line.warnings)),
            kept,
            "abc",
            texture if line.is_main else None,
            placed,
        )
        for line, placed in lines
    ]


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
            if not reader.voice.flat:
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
    return other.of_notes(kept)


def texture_of(
    melody: Melody, name: str, others: dict[str, TuneReader], header: Header
) -> Texture | None:
    """All voices of a tune together; of chords in a voice the note that is read."""
    lines = [(name, melody)]
    for other, reader in others.items():
        if reader.voice.flat:
            lines.append((shown_name(header, other), reader.melody(Credits())))
    return texture_of_lines(lines)


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
        if reader.voice.flat:
            return reader, name
        if reader.voice.chords and with_chords is None:
            with_chords = name
    if with_chords is not None and choice.chords_alone:
        bare = TuneReader(header, file_header, voices[with_chords], with_chords, choice)
        bare.voice.bare = True
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


def kept_choice(header: Header, choice: Choice) -> Choice:
    """The choice that a kept text carries along, unless another is asked for."""
    voice = choice.voice or header.directives.get("melodex-voice", "")
    chord_note = choice.chord_note
    if chord_note == "top":
        chord_note = header.directives.get("melodex-chord", "top")
    return replace(choice, voice=voice, chord_note=chord_note)


def kept_text(file_text: TuneText, tune: TuneText, choice: Choice) -> str:
    """The file header and the tune, enough to read the same melody again."""
    lines = [*tune.lines[:1]]
    if choice.voice and not any("%%melodex-voice" in line for line in tune.lines):
        lines.append(f"%%melodex-voice {choice.voice}")
    if choice.chord_note != "top" and not any("%%melodex-ch" in t for t in tune.lines):
        lines.append(f"%%melodex-chord {choice.chord_note}")
    lines += tune.lines[1:]
    above = [*file_text.lines, ""] if file_text.lines else []
    return "\n".join([*above, *lines, ""])


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
        self.voice = VoiceReader(
            Clock(self.header_unit(metre)),
            metre,
            PitchReader(directives.get("propagate-accidentals", "pitch")),
            self.take_inline,
            lowest=choice.chord_note == "bottom",
            has_words=any(line.text.startswith("w:") for line in lines),
        )
        self.start(name)

    def start(self, name: str) -> None:
        """Take what the header says about key, voice, tempo and signs."""
        key = self.header.key
        if key is not None:
            self.take_key(key.text, key.number, 3)
        if name in self.header.voices:
            self.voice.set_key(self.header.voices[name].field)
        for header in (self.file_header, self.header):
            for value in header.fields.get("U", ()):
                self.voice.define_letter(value[:1], value[1:])
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
        voice = self.voice
        for line, text, goes_on in joined(self.lines):
            if is_field(text):
                self.take_field(text[0], text[2:].strip(), line.number, 3)
                continue
            self.verse = 0
            voice.read_line(text, line.number, line.column)
            if not goes_on:
                voice.end_line()
        voice.finish()

    def take_inline(self, letter: str, value: str) -> None:
        """A field in square brackets."""
        self.take_field(letter, value.strip(), self.voice.row, self.voice.column + 1)

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
                self.voice.mark(read_text(value))
        elif letter == "U":
            self.voice.define_letter(value[:1], value[1:])
        elif letter not in SILENT_FIELDS:
            self.warn(f"the field {letter}: is not understood", line, column)

    def take_key(self, value: str, line: int, column: int) -> None:
        """A key, for the whole tune or from here on."""
        field = parse_key(value)
        if field.leftover:
            words = " ".join(field.leftover)
            self.warn(f"{words!r} in the key {value!r} is not understood", line, column)
        self.voice.set_key(field)

    def take_metre(self, value: str, line: int, column: int) -> None:
        """A metre from here on."""
        understood, metre = parse_metre(value)
        if not understood:
            text = f"the metre {value!r} is not understood and read as free"
            self.warn(text, line, column)
        self.voice.set_metre(metre)

    def take_unit(self, value: str, line: int, column: int) -> None:
        """A unit length from here on."""
        unit = parse_unit(value)
        if unit is None:
            self.warn(f"the unit length {value!r} is not understood", line, column)
        else:
            self.voice.clock.set_unit(unit)

    def take_tempo(self, value: str, line: int) -> None:
        """A tempo; the first number counts."""
        tempo = parse_tempo(value, self.voice.clock.unit)
        if tempo is None and re.sub(r'"[^"]*"', "", value).strip():
            self.warn(f"the tempo {value!r} gives no speed", line, 3)
        self.tempo = self.tempo or tempo

    def take_words(self, value: str, line: int) -> None:
        """A line of lyrics under the notes since the last block of them."""
        if not self.verse:
            self.lyric_from, self.lyric_start = self.lyric_start, len(self.voice.written)
        self.verse += 1
        written = self.voice.written[self.lyric_from : self.lyric_start]
        words, unplaced = align(value, written, self.verse)
        self.lyrics.extend(words)
        if unplaced:
            self.warn(f"{unplaced} syllables have no note", line, 3)

    def melody(self, credits_of_tune: Credits) -> Melody:
        """The melody, its bars counted."""
        voice, book = self.voice, self.voice.book
        book.number()
        numbers = [bar.number for bar in book.bars]
        last = len(numbers) - 1
        midi, fifths, onsets, durations, places, lines = voice.columns()
        return Melody(
            midi=midi,
            fifths=fifths,
            onset_ticks=onsets,
            duration_ticks=durations,
            bar=tuple(map(numbers.__getitem__, places)),
            beat_strength=book.strengths(onsets, places),
            phrase=voice.phrases() or counted(lines),
            bars=book.records(),
            keys=tuple(voice.keys),
            metres=tuple(voice.metres),
            chords=tuple([replace(c, bar=numbers[min(c.bar, last)]) for c in voice.chords]),
            marks=tuple([replace(m, bar=numbers[min(m.bar, last)]) for m in voice.marks]),
            graces=tuple(voice.graces),
            tuplets=tuple(voice.tuplets),
            lyrics=tuple(self.lyrics),
            dynamics=tuple(sorted(voice.dynamics, key=lambda sign: sign.onset_ticks)),
            tempo_quarters_per_minute=self.tempo,
            credits=credits_of_tune,
        )

    def warnings(self) -> tuple[ReadWarning, ...]:
        """Everything that was not understood, in the order of the lines."""
        numbers = [bar.number for bar in self.voice.book.bars]
        found = [*self.found, *self.voice.faults.warnings(numbers)]
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
