"""Checking a corpus: is every byte of it what was written?

Conventions: nothing is changed here. SQLite vouches for its own structure
(``PRAGMA integrity_check``), the tune id for the melody, the melody for what is
derived from it (plain columns, notes for matching), a SHA-256 for each kept
source, and a CRC-32 for each row that nothing else vouches for. What is found
names the tunes that it touches.

Contents: Fault, CheckReport, check_corpus.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from melodex.corpus.care.foreign import foreign_triggers
from melodex.corpus.care.salvage import every_row
from melodex.corpus.care.soundness import (
    MOST_LINES,
    FacetTables,
    definitions,
    gaps,
    ids_in,
    kept_bytes,
    melody_of,
    tune_faults,
)
from melodex.corpus.chunks import (
    CHUNK_COLUMNS,
    PackedChunk,
    TuneNotes,
    encode_notes,
)
from melodex.corpus.connection import journal_bytes, reading
from melodex.corpus.facets import FACET_TABLES, FACET_VERSION
from melodex.corpus.faults import faults_named
from melodex.corpus.lessons import COUNT_OF_SETS
from melodex.corpus.packing import unpack
from melodex.corpus.rows import row_crc32, words_of
from melodex.corpus.schema import (
    CHECKED_COLUMNS,
    SCHEMA_VERSION,
    create_statements,
    state_of,
)
from melodex.corpus.tunes.tune_rows import PIECE_OF_LINES
from melodex.corpus.writing.rows.words import index_holds, index_words
from melodex.errors import CorpusError, DamagedCorpusError

__all__ = ["CheckReport", "Fault", "check_corpus"]


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that is not as it was written, and the tunes that it touches."""

    what: str
    tune_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found; no faults means that every byte in use is accounted for."""

    schema_version: int
    tune_count: int
    note_count: int
    place_count: int
    chunk_count: int
    byte_count: int
    faults: tuple[Fault, ...] = ()
    journal_bytes: int = 0
    """In a journal beside the file, which alone is then not whole."""

    @property
    def touched(self) -> tuple[str, ...]:
        """Ids of all tunes that a fault touches, in order."""
        return tuple(sorted({tune for fault in self.faults for tune in fault.tune_ids}))


def check_corpus(
    path: Path, progress: Callable[[int, int], None] | None = None
) -> CheckReport:
    """Check a corpus, whoever uses it meanwhile.

    Parameters
    ----------
    path : Path
        The corpus.
    progress : callable, optional
        Called with tunes done and tunes in all.

    Raises
    ------
    CorpusError
        If the file cannot be opened as a corpus at all.
    """
    with faults_named(path), reading(path) as connection:
        connection.text_factory = lambda data: data.decode("utf-8", "replace")
        version = state_of(connection, path)
        if version == 0:
            raise CorpusError("this corpus is empty", where=str(path))
        if version < SCHEMA_VERSION:
            raise CorpusError(
                f"an earlier version of melodex wrote this corpus (schema {version})",
                where=str(path),
                hint="any command that reads it brings it up to date; then check it",
            )
        connection.execute("BEGIN")
        check = Check(connection, progress)
        check.run()
        return CheckReport(
            schema_version=version,
            tune_count=len(check.tune_ids),
            note_count=sum(check.note_counts.values()),
            place_count=check.place_count,
            chunk_count=check.chunk_count,
            byte_count=path.stat().st_size,
            faults=tuple(check.faults),
            journal_bytes=journal_bytes(path),
        )


@dataclass
class Check:
    """One check in progress: what has been seen and what was wrong with it."""

    connection: sqlite3.Connection
    progress: Callable[[int, int], None] | None
    faults: list[Fault] = field(default_factory=list)
    tune_ids: dict[int, str] = field(default_factory=dict)
    note_counts: dict[str, int] = field(default_factory=dict)
    packed: dict[str, TuneNotes] = field(default_factory=dict)
    place_count: int = 0
    chunk_count: int = 0
    pieces: list[frozenset[str]] = field(default_factory=list)
    tunes_of_places: dict[int, str] = field(default_factory=dict)
    words: dict[int, int] = field(default_factory=dict)

    def run(self) -> None:
        """Look at everything, outermost first."""
        self.check_structure()
        self.read_chunks()
        self.check_tunes()
        self.check_words()
        self.check_rows()
        self.check_pieces()
        self.check_sets()
        self.check_kept()

    def found(self, what: str, *tune_ids: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(what, tuple(sorted(set(tune_ids) - {""}))))

    def table(self, table: str, columns: str = "*") -> Iterator[sqlite3.Row]:
        """Every row of a table that can be read; the rest is a fault."""
        lost: list[str] = []
        yield from every_row(self.connection, table, columns, lost)
        for message in lost:
            self.found(message)

    def check_structure(self) -> None:
        """What SQLite says of pages, indexes, references and definitions."""
        for pragma in (f"integrity_check({MOST_LINES})", "foreign_key_check"):
            try:
                for row in self.connection.execute(f"PRAGMA {pragma}"):
                    if row[0] != "ok":
                        self.found(f"SQLite: {' '.join(map(str, row))}")
            except sqlite3.DatabaseError as error:
                self.found(f"SQLite: {error}")
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
            for statement in create_statements():
                fresh.execute(statement)
            index_words(fresh)
            there = definitions(self.connection)
            missing = definitions(fresh) - there
        # Who writes next puts today's facets in the place of earlier ones.
        renewed = set[str]()
        if self.has_earlier_facets():
            renewed.update(FACET_TABLES)
        missing = {each for each in missing if each[2] not in renewed}
        for name in foreign_triggers(self.connection):
            self.found(f"a trigger that melodex did not make: {name!r}")
        for _, name, _, statement in sorted(missing):
            self.found(f"a definition is missing or changed: {statement[:40] or name} ...")

    def has_earlier_facets(self) -> bool:
        """Whether analysis is kept as an earlier version worked it out."""
        sql = "SELECT value FROM setting WHERE name = 'facet_version'"
        try:
            said = [str(row[0]) for row in self.connection.execute(sql)]
        except sqlite3.DatabaseError:
            return False
        return any(text.isdecimal() and int(text) < FACET_VERSION for text in said)

    def read_chunks(self) -> None:
        """Unpack all notes for matching."""
        for row in self.table("chunk", CHUNK_COLUMNS):
            self.chunk_count += 1
            try:
                tunes = unpack(PackedChunk(*row[:9]))
            except (DamagedCorpusError, TypeError, ValueError) as error:
                self.found(str(error), *ids_in(row[0]))
                continue
            self.pieces_of(tunes)
            for notes in tunes:
                if notes.tune_id in self.packed:
                    self.found("notes for matching stand twice", notes.tune_id)
                self.packed[notes.tune_id] = notes

    def pieces_of(self, tunes: list[TuneNotes]) -> None:
        """Keep which notes for matching are lines of one piece."""
        lines: dict[str, list[str]] = {}
        for notes in tunes:
            lines.setdefault(notes.piece or notes.tune_id, []).append(notes.tune_id)
        self.pieces += [frozenset(ids) for ids in lines.values() if len(ids) > 1]

    def check_tunes(self) -> None:
        """Each melody against its id, and what is derived from it."""
        (total,) = self.connection.execute("SELECT count(*) FROM tune").fetchone()
        facets = FacetTables(self.connection)
        for done, row in enumerate(self.table("tune")):
            self.tune_ids[row["id"]] = tune_id = str(row["tune_id"])
            for what in tune_faults(row, facets):
                self.found(what, tune_id)
            self.check_notes(row, tune_id)
            if self.progress:
                self.progress(done + 1, total)
        for tune_id in self.packed.keys() - self.note_counts.keys():
            self.found("notes for matching belong to no tune", tune_id)

    def check_notes(self, row: sqlite3.Row, tune_id: str) -> None:
        """The notes for matching against the melody."""
        notes = self.packed.get(tune_id)
        self.note_counts[tune_id] = len(notes.pitch) if notes else 0
        melody = melody_of(row["melody"])
        if melody is not None:
            self.words[row["id"]] = row_crc32(words_of(melody).values())
        if notes is None and melody is not None and not len(melody):
            return
        if notes is None:
            self.found("notes for matching are missing or damaged", tune_id)
            return
        if melody and encode_notes(melody) != (notes.pitch, notes.length_class):
            self.found("notes for matching differ from the melody", tune_id)

    def check_words(self) -> None:
        """The words of each tune against its melody, and the index over them."""
        rows = []
        for row in self.table("tune_words", "tune, title, makers, lyrics"):
            rows.append(tuple(row)[:4])
            expected = self.words.pop(row["tune"], None)
            if expected != row_crc32(rows[-1][1:]):
                self.found(
                    "the words to find it by differ", self.tune_ids.get(row["tune"], "")
                )
        for number in self.words:
            self.found("the words to find it by are missing", self.tune_ids[number])
        if not index_holds(self.connection, rows):
            self.found("the index of words is damaged or incomplete")

    def check_rows(self) -> None:
        """Every row that carries its own checksum."""
        placed: set[int] = set()
        for table, names in CHECKED_COLUMNS.items():
            columns = ", ".join((*names, "row_crc32"))
            for row in self.table(table, columns):
                tune_id = self.tune_of(table, row, placed)
                if row_crc32(row[name] for name in names) != row["row_crc32"]:
                    self.found(f"row {row['id']} of {table} has changed", tune_id)
        for number, tune_id in self.tune_ids.items():
            if number not in placed:
                self.found("no place is known for this tune", tune_id)

    def check_pieces(self) -> None:
        """That lines of a piece stand together for matching, and no others."""
        lines: dict[str, set[str]] = {}
        for tune_id, piece in self.connection.execute(PIECE_OF_LINES):
            lines.setdefault(str(piece), set()).add(str(tune_id))
        expected = {frozenset(ids) for ids in lines.values() if len(ids) > 1}
        for ids in expected.symmetric_difference(self.pieces):
            if not ids.isdisjoint(self.packed):
                self.found("lines of a piece are kept apart, or with others", *ids)

    def tune_of(self, table: str, row: sqlite3.Row, placed: set[int]) -> str:
        """The tune that a row belongs to; empty if none."""
        if table == "place":
            self.place_count += 1
            placed.add(row["tune"])
            self.tunes_of_places[row["id"]] = self.tune_ids.get(row["tune"], "")
        if table == "read_warning":
            return self.tunes_of_places.get(row["place"], "")
        return self.tune_ids.get(row["tune"], "") if "tune" in row.keys() else ""  # noqa: SIM118

    def check_sets(self) -> None:
        """Places in teaching sets: a row that is wholly gone leaves a gap.

        A row that has changed is a fault already: it fills its place if it still has
        one, and does not say how far the places go.
        """
        held: dict[Any, set[Any]] = {}
        names = CHECKED_COLUMNS["lesson_example"]
        sound: list[sqlite3.Row] = []
        for row in every_row(
            self.connection, "lesson_example", ", ".join((*names, "row_crc32")), []
        ):
            held.setdefault(row["lesson"], set()).add(row["position"])
            if row_crc32(row[name] for name in names) == row["row_crc32"]:
                sound.append(row)
        sets = {
            row["id"]: row["name"]
            for row in every_row(self.connection, "lesson", "id, name", [])
        }
        for number in sorted(held.keys() - sets.keys(), key=str):
            self.found(
                f"a teaching set is missing; its {len(held[number])} passages remain"
            )
        self.check_count_of_sets(len(sets))
        for number, position in gaps(sound):
            if position not in held[number]:
                name = str(sets.get(number, ""))
                self.found(f"passage {position} of the teaching set {name!r} is missing")

    def check_count_of_sets(self, found: int) -> None:
        """A set that is gone with all its passages leaves only their number."""
        row = self.connection.execute(
            "SELECT value FROM setting WHERE name = ?", [COUNT_OF_SETS]
        ).fetchone()
        if row is not None and str(row[0]) != str(found):
            self.found(f"there are {found} teaching sets, and there were {row[0]}")

    def check_kept(self) -> None:
        """Each kept source against its digest."""
        users: dict[int, list[str]] = {}
        for row in self.table("place", "kept_source, tune"):
            users.setdefault(row[0], []).append(self.tune_ids.get(row[1], ""))
        for row in self.table("kept_source", "id, sha256, bytes"):
            if kept_bytes(row["bytes"], row["sha256"]) is None:
                self.found("a kept source has changed", *users.get(row["id"], []))
