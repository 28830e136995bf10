"""What can still be read of a damaged corpus.

Conventions: nothing is changed here. A row is sound if it is as it was written; what is
not is named in words. A melody that no longer agrees with its id is read again from the
kept source.

Contents: Remains, RepairReport, choice_of.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from typing import Any

from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.corpus.care.salvage import every_row
from melodex.corpus.care.soundness import gaps, kept_bytes, melody_of
from melodex.corpus.lessons import ExampleRow, LessonRow
from melodex.corpus.rows import row_crc32
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.tunes.tune_rows import LINE_COLUMNS, score_line_of
from melodex.errors import ReadingError
from melodex.melody import Melody
from melodex.melody.score_line import ScoreLine
from melodex.melody.tune_id import content_id_of, is_id_of
from melodex.reading import read_bytes
from melodex.reading.apart import Apart
from melodex.reading.result import Choice, ReadTune, ReadWarning

__all__ = ["Remains", "RepairReport", "Row", "choice_of"]

UNKNOWN_SOURCE = "source-unknown"
"""Where a tune stands whose place cannot be read."""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class RepairReport:
    """What a repair brought into the new file.

    Parameters
    ----------
    damaged : Path
        Where the damaged file, or the folder of shards, is kept.
    kept : int
        Tunes whose melody was whole.
    read_again : tuple of str
        Tunes read again from the kept source.
    lost : tuple of str
        Ids of tunes that could not be brought back, as far as ids can be read.
    left_out : tuple of str
        What else was left out because it had changed or could not be read, each in
        words, with the names that can still be read.
    """

    damaged: Path
    kept: int
    read_again: tuple[str, ...]
    lost: tuple[str, ...]
    left_out: tuple[str, ...] = ()


@dataclass
class Remains:
    """Everything that can still be read of a damaged corpus.

    Its files are one, or the shards of a folder: a row number is that of one row over all.
    """

    connections: Sequence[sqlite3.Connection]
    apart: Apart
    melodies: dict[int, Melody] = field(default_factory=dict)
    ids: dict[int, str] = field(default_factory=dict)
    collections: dict[int, str] = field(default_factory=dict)
    places: list[Row] = field(default_factory=list)
    warnings: dict[int, list[ReadWarning]] = field(default_factory=dict)
    tags: list[tuple[int, str]] = field(default_factory=list)
    remarks: list[Row] = field(default_factory=list)
    lessons: list[tuple[LessonRow, list[ExampleRow]]] = field(default_factory=list)
    plans: dict[str, str] = field(default_factory=dict)
    read_again: set[str] = field(default_factory=set)
    lost: set[str] = field(default_factory=set)
    left_out: list[str] = field(default_factory=list)
    sets: dict[int, str] = field(default_factory=dict)
    folders: list[Row] = field(default_factory=list)
    changes: list[Row] = field(default_factory=list)
    taken_out: list[Row] = field(default_factory=list)
    renamed: dict[str, str] = field(default_factory=dict)

    def report(self, damaged: Path) -> RepairReport:
        """What was brought into the new corpus, and where the damaged one is kept."""
        return RepairReport(
            damaged=damaged,
            kept=len(self.melodies),
            read_again=tuple(sorted(self.read_again)),
            lost=tuple(sorted(self.lost)),
            left_out=tuple(self.left_out),
        )

    def collect(self) -> None:
        """Read every table as far as it goes."""
        for row in self.table("tune", "id, tune_id, melody"):
            tune_id = self.ids[row["id"]] = str(row["tune_id"])
            melody = melody_of(row["melody"])
            if melody is not None and is_id_of(content_id_of(row["melody"]), tune_id):
                self.melodies[row["id"]] = melody
        self.collections = {row["id"]: row["name"] for row in self.sound("collection")}
        for row in self.sound("read_warning"):
            self.warnings.setdefault(row["place"], []).append(
                ReadWarning(row["text"], row["line"], row["column_number"])
            )
        self.tags = [(row["tune"], row["name"]) for row in self.sound("tag")]
        self.remarks = list(self.sound("remark"))
        self.places = list(self.sound("place"))
        self.folders = list(self.sound("folder"))
        self.changes = list(self.sound("change"))
        known = {row["id"] for row in self.changes}
        self.taken_out = [row for row in self.sound("taken_out") if row["change"] in known]
        self.collect_lessons()

    def collect_lessons(self) -> None:
        """Read the teaching sets; a passage whose set is lost goes into one of its own."""
        names = {row["id"]: row for row in self.sound("lesson")}
        self.plans = {row["name"]: row["value"] for row in self.sound("setting")}
        self.sets = {number: row["name"] for number, row in names.items()}
        examples = sorted(
            self.sound("lesson_example"), key=lambda row: (row["lesson"], row["position"])
        )
        self.left_out += self.missing_passages(examples)
        for number in sorted({*names, *(row["lesson"] for row in examples)}):
            row = names.get(number, {"id": number, "name": f"recovered set {number}"})
            kept = [
                ExampleRow(**{name: each[name] for name in ExampleRow.__slots__})
                for each in examples
                if each["lesson"] == number
            ]
            said = {name: row[name] for name in LessonRow.__slots__ if name in row}
            self.lessons.append((LessonRow(**said), kept))

    def table(self, table: str, columns: str) -> Iterator[Row]:
        """Rows of a table that can be read."""
        unread: list[str] = []
        for connection in self.connections:
            with suppress(sqlite3.DatabaseError):
                for row in every_row(connection, table, columns, unread):
                    yield dict(row)
        self.left_out += [message for message in unread if message not in self.left_out]

    def sound(self, table: str) -> Iterator[Row]:
        """Rows of a table that are as they were written."""
        names = CHECKED_COLUMNS[table]
        for row in self.table(table, ", ".join((*names, "row_crc32"))):
            if row_crc32(row[name] for name in names) == row["row_crc32"]:
                yield row
            elif table in LEFT_OUT:
                self.left_out.append(self.named(table, row))

    def named(self, table: str, row: Row) -> str:
        """A row that has changed, in words; what it says may be what has changed."""
        tune_id = self.ids.get(row.get("tune", 0), "unknown")
        told = {**row, "tune": tune_id, "set": self.set_name(row.get("lesson", 0))}
        return LEFT_OUT[table].format(**told)

    def set_name(self, number: Any) -> str:
        """The name of a teaching set, or what it is called where that is lost."""
        return self.sets.get(number, f"recovered set {number}")

    def note_id(self, place: Row, tune_id: str) -> None:
        """Keep by which id a tune goes into the new file."""
        number = place.get("tune", 0)
        if number in self.ids:
            self.renamed[self.ids[number]] = tune_id
            self.ids[number] = tune_id

    def missing_passages(self, examples: list[Row]) -> Iterator[str]:
        """Passages that are gone from their sets: positions have no gaps."""
        for number, position in gaps(examples):
            what = f"passage {position} of the teaching set {self.set_name(number)!r}"
            if not any(said.startswith(what) for said in self.left_out):
                yield what

    def kept(self, number: int | None) -> tuple[bytes, str]:
        """A kept source and its format; empty where it is damaged or was not kept."""
        if number is None:
            return b"", ""
        for row in self.one("kept_source", "sha256, kept_format, bytes", number):
            data = kept_bytes(row["bytes"], row["sha256"])
            if data is not None:
                return data, row["kept_format"]
        return b"", ""

    def one(self, table: str, columns: str, number: int) -> list[Row]:
        """A row by its number, if it can be read."""
        found: list[Row] = []
        for connection in self.connections:
            cursor = connection.cursor()
            cursor.row_factory = sqlite3.Row
            with suppress(sqlite3.DatabaseError):
                rows = cursor.execute(
                    f"SELECT {columns} FROM {table} WHERE id = ?", [number]
                ).fetchall()
                found += [dict(row) for row in rows]
        return found

    def tune(self, place: Row) -> ReadTune | None:
        """The tune of a place: its own melody, or what the kept source gives again."""
        data, kept_format = self.kept(place["kept_source"])
        warnings = tuple(self.warnings.get(place["id"], ()))
        melody = self.melodies.get(place["tune"])
        if melody is None and data:
            melody = self.again(place, data, kept_format)
        if melody is None:
            self.lost.add(self.ids.get(place["tune"], "unknown"))
            return None
        if place["kept_source"] is not None and not data:
            self.left_out.append(f"the source text of tune {melody.content_id()}")
        # Numbers have to be those of the place, whichever was read first.
        melody = melody.with_credits(number=place["number"], source=place["source"])
        return ReadTune(melody, warnings, data, kept_format, line=line_of(place))

    def again(self, place: Row, data: bytes, kept_format: str) -> Melody | None:
        """A melody read again from its kept source."""
        choice = choice_of(place)
        try:
            # A kept source is a part of a file that nobody vouches for.
            said = (data, kept_format, place["source"], choice)
            tunes = self.apart.do(read_bytes, *said).tunes
        except ReadingError:
            return None
        wanted = self.ids.get(place["tune"])
        for read in tunes:
            number = read.melody.credits.number, read.line.position
            named = read.melody.with_credits(part=read.line.part)
            same_place = number == (place["number"], place.get("line", 1))
            for tune_id in (read.melody.content_id(), named.earlier_id()):
                fits = wanted is not None and is_id_of(tune_id, wanted)
                if fits or (wanted is None and same_place):
                    self.read_again.add(tune_id)
                    return harmonised(read)
        # The id itself may be what was damaged, or the reader has learnt since.
        if len(tunes) == 1:
            self.read_again.add(tunes[0].melody.content_id())
            return harmonised(tunes[0])
        return None

    def files(self) -> Iterator[tuple[Row, list[tuple[Row, ReadTune]]]]:
        """Tunes and places by file, collection and choice, and those that stand nowhere."""
        placed: set[int] = set()

        def shelf(place: Row) -> tuple[Any, ...]:
            return (place["file"], place["collection"], *choice_columns(place))

        for _, group in groupby(sorted(self.places, key=order), key=shelf):
            places = list(group)
            placed.update(place["tune"] for place in places)
            tunes = [(p, tune) for p in places if (tune := self.tune(p)) is not None]
            yield places[0], tunes
        for number, melody in self.melodies.items():
            if number not in placed:
                name = self.ids[number]
                place = {"file": UNKNOWN_SOURCE, "source": UNKNOWN_SOURCE, "collection": 0}
                place["tune"] = number
                yield place, [(place, ReadTune(melody.with_credits(number=name)))]


LEFT_OUT = {
    "collection": "the name of the collection {name!r}",
    "place": "the place of tune {tune}: number {number} of {file!r}",
    "read_warning": "a warning: {text!r}",
    "tag": "the tag {name!r} of tune {tune}",
    "remark": "the {kind} on tune {tune}: {text!r}",
    "folder": "that the folder {path!r} was added",
    "change": "what was done at {done_at}, for undoing it",
    "taken_out": "what a change took out: {kind} {name!r}",
    "lesson": "the name and the words of the teaching set {name!r}",
    "lesson_example": "passage {position} of the teaching set {set!r}: "
    "notes {first_note}-{last_note} of tune {tune_id}",
}
"""Of a row that has changed, what to call it, by its table."""


def order(place: Row) -> tuple[Any, ...]:
    """Places by file, collection and choice, then as they were written.

    Those that stand aside, with negative numbers, come after the others.
    """
    number = place["id"]
    shelf = (place["file"], place["collection"], *choice_columns(place))
    return (*shelf, number < 0, number)


def choice_columns(place: Row) -> tuple[str, str, str, str]:
    """How a place was read, as plain text."""
    return (
        place.get("part", ""),
        place.get("voice", ""),
        place.get("chord_note", "top"),
        place.get("lines", "top"),
    )


def choice_of(place: Row) -> Choice:
    """How a place was read."""
    return Choice.kept(*choice_columns(place))


def line_of(place: Row) -> ScoreLine:
    """Which line of its piece stands at a place."""
    if "line" not in place:
        return ScoreLine()
    # It counts as a piece's first here: the piece is kept by its id.
    line = score_line_of("", [place[name] for name in LINE_COLUMNS])
    return replace(line, is_main=line.position == 1)
