"""What a file gave, made into rows before the corpus is touched.

Conventions: this is the slow part of adding (digests, facets, notes for matching),
and it needs no transaction. Tunes of one file that share a number are told apart
by their order: ``occurrence`` counts from 1.

Contents: AddReport, PreparedTune, PreparedFile, prepared, folder_of, clash.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.corpus.chunks import TuneNotes, encode_notes
from melodex.corpus.facets import facet_rows, line_rows
from melodex.corpus.rows import facets_crc32, place_path, storable, tune_columns, words_of
from melodex.melody.score_line import ScoreLine
from melodex.melody.tune_id import content_id_of, earlier_text
from melodex.reading.result import Choice, FileReading, ReadTune, ReadWarning, Refusal

__all__ = [
    "AddReport",
    "PreparedFile",
    "PreparedTune",
    "Row",
    "clash",
    "folder_of",
    "prepared",
]

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class AddReport:
    """What became of one file.

    Parameters
    ----------
    source : str
        The path as given.
    added, unchanged : tuple of str
        Ids of tunes that are new, and of tunes that the corpus had already.
    replaced : tuple of (str, str)
        Old and new id where the file holds another tune at the same number. The
        old tune stays only if another place holds it.
    refusals : tuple of Refusal
        What could not be read, and why.
    warnings : int
        How many things were not understood.
    further : tuple of str
        Ids of further lines of these pieces that are new.
    """

    source: str
    added: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()
    replaced: tuple[tuple[str, str], ...] = ()
    refusals: tuple[Refusal, ...] = ()
    warnings: int = 0
    further: tuple[str, ...] = ()

    def and_then(self, other: AddReport) -> AddReport:
        """The report of two parts of a file that follow each other."""
        return AddReport(
            source=self.source,
            added=self.added + other.added,
            unchanged=self.unchanged + other.unchanged,
            replaced=self.replaced + other.replaced,
            refusals=self.refusals + other.refusals,
            warnings=self.warnings + other.warnings,
            further=self.further + other.further,
        )


@dataclass(slots=True)
class PreparedTune:
    """A tune made into rows, all but the row numbers; it goes from process to process."""

    tune_id: str
    tune: Row
    facets: dict[str, list[Row]]
    notes: TuneNotes
    number: str
    occurrence: int
    warnings: tuple[ReadWarning, ...]
    kept: bytes
    kept_format: str
    words: dict[str, str] = field(default_factory=dict)
    line: ScoreLine = field(default_factory=ScoreLine)
    piece: str = ""

    def line_columns(self) -> Row:
        """Which line of its piece it is, as columns of a place."""
        line = self.line
        return {
            "piece": self.piece or self.tune_id,
            "line": line.position,
            "line_count": line.count,
            "part_name": storable(line.part),
            "voice_name": storable(line.voice),
            "instrument": storable(line.instrument),
            "clef": storable(line.clef),
            "transposition_semitones": line.transposition_semitones,
            "sung_syllables": line.sung_syllables,
            "doubled_by": storable("; ".join(line.doubled_by)),
        }

    def as_earlier(self) -> PreparedTune:
        """The same tune as it is where the name of its part counted."""
        text = earlier_text(self.tune["melody"], self.line.part)
        tune_id = content_id_of(text)
        row = {"tune_id": tune_id, "melody": text, "part": storable(self.line.part)}
        return replace(
            self,
            tune_id=tune_id,
            tune={**self.tune, **row},
            notes=replace(self.notes, tune_id=tune_id),
        )


@dataclass(slots=True)
class PreparedFile:
    """A file, or a part of one, made into rows, and the report that grows as they go in.

    Parameters
    ----------
    is_first : bool
        Whether nothing of the file comes before.
    share : float
        Share of the file up to the end of this part; 1 for a whole file or its last part.
    """

    source: str
    file: str
    choice: Choice
    collection: str
    is_first: bool = True
    share: float = 1.0
    tunes: list[PreparedTune] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    replaced: list[tuple[str, str]] = field(default_factory=list)
    further: list[str] = field(default_factory=list)

    @property
    def is_last(self) -> bool:
        """Whether nothing of the file comes after."""
        return self.share >= 1

    def report(self) -> AddReport:
        """What became of this file or part."""
        return AddReport(
            source=self.source,
            added=tuple(self.added),
            unchanged=tuple(self.unchanged),
            replaced=tuple(self.replaced),
            refusals=tuple(self.refusals),
            warnings=sum(len(tune.warnings) for tune in self.tunes),
            further=tuple(self.further),
        )


def prepared(
    reading: FileReading, collection: str, choice: Choice, path: str = ""
) -> PreparedFile:
    """Make a file into rows, ready to be written.

    Parameters
    ----------
    reading : FileReading
        What a reader gave.
    collection : str
        Name of the collection; empty for the book, if all tunes of the file name the
        same, and otherwise for the file's folder.
    choice : Choice
        How it was read.
    path : str
        The whole path; empty to work it out from where we are.
    """
    file = PreparedFile(
        source=reading.source,
        file=path or place_path(reading.source),
        choice=choice,
        collection="",
        refusals=list(reading.refusals),
    )
    books = {storable(read.melody.credits.collection) for read in reading.tunes}
    book = books.pop() if len(books) == 1 else ""
    file.collection = storable(collection) or book or folder_of(file.file)
    seen: Counter[str] = Counter()
    piece = ""
    for read in reading.tunes:
        number = storable(read.melody.credits.number)
        if not len(read.melody) and not read.melody.chords:
            file.refusals.append(
                Refusal(reading.source, "this tune has no notes", number=number)
            )
            continue
        # The main line comes first, and the others are lines of its piece.
        seen[number] += read.line.is_main
        tune = prepared_tune(read, max(seen[number], 1))
        piece = tune.tune_id if read.line.is_main else piece
        tune.piece = piece
        file.tunes.append(tune)
    return file


def folder_of(file: str) -> str:
    """Name of the folder that a file lies in."""
    return Path(file).parent.name or "/"


def prepared_tune(read: ReadTune, occurrence: int) -> PreparedTune:
    """A tune made into rows."""
    melody = harmonised(read)
    text = melody.content_text()
    tune_id = content_id_of(text)
    tables = facet_rows(melody) if read.line.is_main else line_rows(melody)
    pitch, length_class = encode_notes(melody)
    return PreparedTune(
        tune_id=tune_id,
        tune={
            "tune_id": tune_id,
            **tune_columns(melody),
            # What is written of the part stands at the place.
            "part": "",
            "facet_crc32": facets_crc32(tables),
            "melody": text,
        },
        facets=tables,
        notes=TuneNotes(tune_id, pitch, length_class),
        number=storable(read.melody.credits.number),
        occurrence=occurrence,
        warnings=read.warnings,
        kept=read.kept,
        kept_format=read.kept_format,
        words=words_of(melody),
        line=read.line,
        piece=tune_id,
    )


def clash(file: PreparedFile, tune: PreparedTune) -> Refusal:
    """The refusal of a tune whose id another tune has by chance."""
    return Refusal(
        file.source,
        f"by chance it has the id of another tune, {tune.tune_id}",
        number=tune.number,
        hint="change its title by a letter and add it again",
    )
