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

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from melodex.errors import HostileInputError, ReadingError
from melodex.melody.score_line import ScoreLine
from melodex.melody.texture import names_harmony
from melodex.reading.abc.file import TuneText, split_file, tunes_in
from melodex.reading.abc.header import Header, credits_of, read_header
from melodex.reading.abc.lines import Asked, reader_of_melody, shown_name, texture_of
from melodex.reading.abc.tune import TuneReader
from melodex.reading.abc.voice.tokens import strip_comment
from melodex.reading.abc.voices import lines_by_voice
from melodex.reading.common.carried import FIELD, restored
from melodex.reading.lines import pieced
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
    texture = texture_of(melody, shown, reader, readers, header)
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
