"""Humdrum files become one tune for each piece, or one for every line of it.

Conventions: a file holds one piece, or several in a row: each begins with its
``**kern`` line, or after ``!!!!SEGMENT``. The main line, the other lines and what is said
of both come as from MusicXML; parts count from the top of the score, which is the right
of the file.

References
----------
Humdrum user guide: syntax, reference records, ``**kern``.

Contents: INSTRUMENTS, read_kern.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from melodex.errors import ReadingError
from melodex.reading.decoding import decode
from melodex.reading.humdrum.references import said_by
from melodex.reading.humdrum.walk import KernLine, KernPart, walk_piece
from melodex.reading.lines import rank_of_line, read_tunes
from melodex.reading.musicxml.reader import Part, read_parts
from melodex.reading.result import Choice, FileReading, ReadTune, Refusal

__all__ = ["INSTRUMENTS", "read_kern"]

SEGMENT = "!!!!SEGMENT"
MOST_PIECES = 20_000  # in one file; the largest books of tunes hold some thousands

INSTRUMENTS = {
    "soprn": "Soprano",
    "cant": "Cantus",
    "mezzo": "Mezzo-soprano",
    "calto": "Alto",
    "alto": "Alto",
    "tenor": "Tenor",
    "barit": "Baritone",
    "bari": "Baritone",
    "bass": "Bass",
    "vox": "Voice",
    "violn": "Violin",
    "viola": "Viola",
    "cello": "Cello",
    "cbass": "Double bass",
    "flt": "Flute",
    "picco": "Piccolo",
    "oboe": "Oboe",
    "cangl": "Cor anglais",
    "clars": "Clarinet",
    "clarb": "Bass clarinet",
    "fagot": "Bassoon",
    "cor": "Horn",
    "tromp": "Trumpet",
    "tromb": "Trombone",
    "tuba": "Tuba",
    "timpa": "Timpani",
    "piano": "Piano",
    "cemba": "Harpsichord",
    "organ": "Organ",
    "arpa": "Harp",
    "guitr": "Guitar",
    "liuto": "Lute",
    "accor": "Accordion",
}
"""Codes of instruments and voices (Humdrum user guide, appendix 2)."""

KEYBOARDS = {"Piano", "Harpsichord", "Organ", "Harp"}
"""Two spines of these are two hands of one player."""


@dataclass(slots=True)
class SpinePart(Part):
    """A spine of notes as a part of a sheet."""

    printed_clef: str = ""

    @property
    def rank(self) -> int:
        """How readily a listener follows it: by its name, then for its words."""
        words = (word[1] for note in self.sheet().notes for word in note.lyrics)
        return rank_of_line(self.name, words)

    def clef(self, staff: str) -> str:
        """The first clef that is written."""
        del staff
        return self.printed_clef


def read_kern(data: bytes, source: str, choice: Choice) -> FileReading:
    """Read every piece of a Humdrum file with ``**kern`` spines.

    Parameters
    ----------
    data : bytes
        What the file holds.
    source : str
        What to call the file in messages and credits.
    choice : Choice
        Part by name or position, voice by number, note of a chord, all lines or one.

    Returns
    -------
    FileReading
        The tunes of each piece, and a refusal with its line for each that cannot be
        read. ``kept`` is the text of its piece.
    """
    pieces = list(pieces_of(decode(data)))
    if not pieces:
        return FileReading(source, refusals=(Refusal(source, "there is no **kern in it"),))
    tunes: list[ReadTune] = []
    refusals: list[Refusal] = []
    several = len(pieces) > 1
    for place, lines in enumerate(pieces[:MOST_PIECES], 1):
        number = str(place) if several else ""
        try:
            tunes += tunes_of(lines, source, number, choice)
        except ReadingError as error:
            line = int(error.where) if error.where.isdigit() else 0
            refusals.append(Refusal(source, error.what, number, line, error.hint))
    if len(pieces) > MOST_PIECES:
        refusals.append(Refusal(source, f"what follows piece {MOST_PIECES} is not read"))
    return FileReading(source, tuple(tunes), tuple(refusals))


def pieces_of(text: str) -> Iterator[list[KernLine]]:
    """The lines of each piece of a file.

    What stands between the end of one piece and the spines of the next goes with the one
    or the other as the segments say; without them, records of a title begin the next.
    """
    held: list[KernLine] = []
    has_notes = ended = False
    for number, line in enumerate(text.split("\n"), 1):
        begins = line.startswith(SEGMENT) or (
            ended and line.startswith(("**", "!!!OTL", "!!!COM"))
        )
        if begins and has_notes:
            yield held
            held, has_notes, ended = [], False, False
        held.append((number, line))
        if line.startswith("**"):
            has_notes = has_notes or "**kern" in line
            ended = False
        elif line.startswith("*-"):
            ended = set(line.split("\t")) == {"*-"}
    if has_notes:
        yield held


def tunes_of(
    lines: list[KernLine], source: str, number: str, choice: Choice
) -> tuple[ReadTune, ...]:
    """The tunes of one piece."""
    piece = walk_piece(lines)
    number_alike(piece.parts)
    parts: list[Part] = [
        part_of(part, place, len(piece.parts)) for place, part in enumerate(piece.parts, 1)
    ]
    for part in parts:
        part.sheet().oddities = piece.oddities
    credited = {**said_by(piece.records), "source": source}
    if number:
        credited["number"] = number
    found, texture = read_parts(parts, choice, credited)
    aside = ", ".join(piece.left_aside)
    said = [f"left aside what is no notes, words or chords: {aside}"] if aside else []
    kept = "\n".join(text for _, text in lines).encode()
    return read_tunes(found, kept, "kern", texture, aside=said)


def number_alike(parts: list[KernPart]) -> None:
    """Name parts by their instruments; of several violins the upper one is the first."""
    unnamed = [part for part in parts if not part.name and part.code in INSTRUMENTS]
    many = Counter(INSTRUMENTS[part.code] for part in unnamed)
    seen: Counter[str] = Counter()
    for part in unnamed:
        name = INSTRUMENTS[part.code]
        seen[name] += 1
        by_hand = many[name] > 1 and name not in KEYBOARDS
        part.name = f"{name} {seen[name]}" if by_hand else name


def part_of(part: KernPart, position: int, count: int) -> Part:
    """A spine as a part of a sheet, with every name that it goes by."""
    instrument = INSTRUMENTS.get(part.code, "")
    named = (part.name, instrument, part.abbreviation, part.code)
    known = {text.casefold() for text in named if text}
    return SpinePart(
        position,
        part.name,
        frozenset(known),
        Element("part"),
        instrument,
        count > 1,
        part.sheet,
        part.clef,
    )
