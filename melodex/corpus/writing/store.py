"""Writing to a corpus: files or parts of them, each whole or not; through sqlite-utils.

Conventions: whatever one file gave goes in with one transaction, whole or not at
all; several files may share a transaction, and of a large file each part has its own.
What a part displaces stands until the file's last part is in. Melodies are made into
rows before the transaction begins, so that no process waits for our arithmetic.
A report is handed out only after the commit. While a writer is at work the file
is in write-ahead mode, so that readers go on; the last to leave turns it back into
one plain file (:mod:`melodex.corpus.connection`).

Contents: CorpusWriter, RemoveReport, HeldPlace; AddReport comes from ``preparing``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Any

from melodex.corpus.care.migrations import upgrade
from melodex.corpus.faults import faults_named, is_there
from melodex.corpus.rows import place_path, storable
from melodex.corpus.schema import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    create_statements,
    facet_statements,
    new_settings,
    state_of,
)
from melodex.corpus.shards.index import SHARD_SETTING, is_shards
from melodex.corpus.shards.opening import opened_shards
from melodex.corpus.shards.routing import lowest_of_pairs
from melodex.corpus.writing.journal import (
    WAIT_SECONDS,
    make_folder,
    open_for_writing,
    set_journal,
)
from melodex.corpus.writing.parts import OpenPart
from melodex.corpus.writing.preparing import (
    AddReport,
    PreparedFile,
    PreparedTune,
    clash,
    prepared,
)
from melodex.corpus.writing.row_writer import RowWriter
from melodex.corpus.writing.taken_out import KeptChange
from melodex.corpus.writing.turns import OneTurn, SharedTurn
from melodex.corpus.writing.words import index_words
from melodex.errors import REMEDIES, CorpusError, UnknownTuneError
from melodex.melody import Melody
from melodex.melody.tune_id import printed_text
from melodex.reading.result import Choice, FileReading

__all__ = ["AddReport", "CorpusWriter", "HeldPlace", "RemoveReport"]

HeldPlace = tuple[int, str, str]
"""A place as it was found: its row number, the file, and the id of its tune."""


@dataclass(frozen=True, slots=True)
class RemoveReport:
    """Tunes taken out, and tunes that lost a place but stand in another."""

    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    change: KeptChange | None = None
    """By which it can be undone."""


class CorpusWriter(RowWriter):
    """A corpus opened for writing. Use :meth:`open`, and ``with``.

    Parameters
    ----------
    turn : OneTurn or SharedTurn
        How transactions are begun and ended.
    path : Path
        The file, or the folder of shards.
    """

    def __init__(self, turn: OneTurn | SharedTurn, path: Path) -> None:
        super().__init__(turn.parts)
        self.turn = turn
        self.path = path
        self.has_committed = False

    @classmethod
    def open(
        cls,
        path: str | PathLike[str],
        *,
        create: bool = True,
        wait_seconds: float = WAIT_SECONDS,
        waiting: Callable[[float], None] | None = None,
    ) -> CorpusWriter:
        """Open a corpus, make an empty one, or bring an older one up to date.

        Parameters
        ----------
        path : str or PathLike
            The file, or the folder of shards; folders above a file are made too.
        create : bool
            Whether to make the file if there is none.
        wait_seconds : float
            How long to wait for another process before giving up.
        waiting : callable, optional
            Called once with the seconds waited, when a wait grows long.

        Raises
        ------
        CorpusError
            If the file cannot be opened or written, or is something else; if a shard is
            missing or is another one, or is named for itself.
        NewerCorpusError
            If a later version of melodex wrote it.
        BusyCorpusError
            If another process holds it for too long.
        """
        path = Path(path)
        with faults_named(path):
            is_folder = path.is_dir()
        if is_folder:
            return cls.open_shards(path, wait_seconds, waiting)
        if create:
            make_folder(path)
        elif not is_there(path):
            raise CorpusError(
                "there is no corpus here",
                where=str(path),
                hint=REMEDIES["make corpus"],
            )
        writer = cls.open_file(path, wait_seconds, waiting)
        if writer.setting(SHARD_SETTING) and is_shards(path.parent):
            writer.close()
            raise CorpusError(
                "this file is a shard of a corpus, and is not changed by itself",
                where=str(path),
                hint=REMEDIES["change folder"],
            )
        return writer

    @classmethod
    def open_file(
        cls, path: Path, wait_seconds: float, waiting: Callable[[float], None] | None
    ) -> CorpusWriter:
        """Open one file, which is made where there is none."""
        with faults_named(path):
            connection = open_for_writing(path)
            try:
                part = OpenPart(connection, path)
                writer = cls(OneTurn(part, wait_seconds, waiting), path)
                writer.prepare_file()
            except BaseException:
                connection.close()
                raise
            return writer

    @classmethod
    def open_shards(
        cls, folder: Path, wait_seconds: float, waiting: Callable[[float], None] | None
    ) -> CorpusWriter:
        """Open every shard of a folder, to be changed together."""

        def opened(path: Path) -> OpenPart:
            return cls.open_file(path, wait_seconds, waiting).first

        parts = opened_shards(folder, opened)
        return cls(SharedTurn(folder, parts, wait_seconds, waiting), folder)

    def prepare_file(self) -> None:
        """Make the tables where there are none; see that facets are today's."""
        version = state_of(self.first.connection, self.path)
        if 0 < version < SCHEMA_VERSION:
            upgrade(self.path)
        set_journal(self.first.connection, "WAL")
        if version == 0:
            with self.transaction():
                # Another process may have made the tables since we looked.
                if state_of(self.first.connection, self.path) == 0:
                    self.create_tables()
            return
        if self.setting("facet_version") != new_settings()["facet_version"]:
            self.rebuild_facets()

    def create_tables(self) -> None:
        """Make an empty corpus, inside a transaction."""
        for statement in create_statements():
            self.first.execute(statement)
        index_words(self.first.connection)
        for name, value in new_settings().items():
            self.put_setting(name, value)
        self.first.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        self.first.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def close(self) -> None:
        """Let go of the file, and leave one plain file if nobody else has it open."""
        for part in self.parts:
            part.close()

    def __enter__(self) -> CorpusWriter:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Do several things whole or not at all, waiting for our turn first.

        Raises
        ------
        BusyCorpusError
            If another process does not let go in time.
        CorpusError
            If SQLite cannot do it: disk full, read only, damaged.
        """
        is_ending = False
        self.has_committed = False
        with faults_named(self.path):
            self.turn.begin()
            self.stands.clear()
            try:
                self.turn.refuse_replaced()
                yield
                self.taken.prune()
                is_ending = True
                self.turn.commit(self.put_setting)
                self.has_committed = True
                self.taken.settle()
                done = "what was just written is in the file that was there"
                self.turn.refuse_replaced(done)
            except BaseException as error:
                # A full disk may have ended the transaction already; Ctrl-C while the disk
                # is waited for is heard of when all is on it.
                is_open = self.turn.roll_back()
                if not is_open and is_ending and isinstance(error, KeyboardInterrupt):
                    self.has_committed = True
                self.forget()
                raise

    def add_reading(
        self, reading: FileReading, *, collection: str = "", choice: Choice | None = None
    ) -> AddReport:
        """Add what one file gave; see :meth:`add_readings`."""
        return self.add_readings([reading], collection=collection, choice=choice)[0]

    def add_readings(
        self,
        readings: Sequence[FileReading],
        *,
        collection: str = "",
        choice: Choice | None = None,
    ) -> list[AddReport]:
        """Add what some files gave, in one transaction.

        Parameters
        ----------
        readings : sequence of FileReading
            What :func:`melodex.reading.read_path` returned.
        collection : str
            Name of the collection; empty for the name of each file's folder.
        choice : Choice, optional
            How the files were read; kept, so that they can be read again.

        Returns
        -------
        list of AddReport
            One for each file, once all of it is safely on disk.

        Raises
        ------
        CorpusError
            If nothing could be written; the corpus is then as it was.
        """
        return self.add_prepared(
            [prepared(reading, collection, choice or Choice()) for reading in readings]
        )

    def add_prepared(self, files: Sequence[PreparedFile]) -> list[AddReport]:
        """Write files, or parts of files in turn, that are rows already, in one go."""
        if any(file.tunes or not file.is_first for file in files):
            self.taken.doing("replace")
            with self.transaction():
                for file in files:
                    self.note_leads(file)
                    self.put_file(file)
                self.leads.clear()
                self.flush_notes()
        return [file.report() for file in files]

    def note_leads(self, file: PreparedFile) -> None:
        """Note the lowest id of each piece, by which its new lines go to one shard."""
        if len(self.parts) > 1:
            pairs = ((tune.tune_id, tune.piece or tune.tune_id) for tune in file.tunes)
            self.leads |= lowest_of_pairs(pairs)

    def put_file(self, file: PreparedFile) -> None:
        """Write the tunes, places and warnings of one file, or of a part of it."""
        if not file.tunes and file.is_first:
            return
        known = self.known_tunes(file)
        collection = self.collection_row(file.collection)
        for tune in file.tunes:
            place = self.known_place(file, tune)
            row = known.get(tune.tune_id)
            if row is None:
                row = known[tune.tune_id] = self.put_tune(tune)
                self.note_new(file, tune, place)
            else:
                self.note_known(file, tune, row)
            if place is not None and place[1] != row:
                self.set_aside(*place)
            self.put_place(file, tune, place[0] if place else None, row, collection)
        self.drop_other_lines(file)
        if file.is_last:
            self.drop_set_aside("file = ?", file.file)

    def note_known(self, file: PreparedFile, tune: PreparedTune, row: int) -> None:
        """Count a tune that was there; one that now leads a piece gets all facets."""
        if not tune.line.is_main:
            return
        file.unchanged.append(tune.tune_id)
        if "tune_facet" in tune.facets and not self.rows(
            "SELECT 1 FROM tune_facet WHERE tune = ?", [row]
        ):
            self.renew_facets(tune, row)

    def renew_facets(self, tune: PreparedTune, row: int) -> None:
        """Put the facets of a prepared tune in the place of those that it has."""
        for table in tune.facets:
            self.do(f"DELETE FROM {table} WHERE tune = ?", [row])
            self.insert_facets(table, row, tune.facets[table])
        self.do(
            "UPDATE tune SET facet_crc32 = ? WHERE id = ?",
            [tune.tune["facet_crc32"], row],
        )

    def drop_other_lines(self, file: PreparedFile) -> None:
        """Take out the places of lines that pieces of a file have no more.

        A sheet or a MIDI file is one piece, whatever number its main line had.
        """
        held = {(t.number, t.occurrence, t.line.position) for t in file.tunes}
        pieces = {(number, occurrence) for number, occurrence, _ in held}
        formats = {tune.kept_format for tune in file.tunes} - {""}
        whole = bool(formats) and "abc" not in formats and len(pieces) == 1
        gone = [
            place
            for place, *key, line in self.rows(
                "SELECT id, number, occurrence, line FROM place "
                "WHERE file = ? AND id > 0 AND (line_count > 1 OR ?)",
                [file.file, whole],
            )
            if (*key, line) not in held and (whole or tuple(key) in pieces)
        ]
        if gone:
            self.drop_places(
                "place.id IN (SELECT value FROM json_each(?))", [json.dumps(gone)]
            )

    def known_tunes(self, file: PreparedFile) -> dict[str, int]:
        """Row numbers of those of a file's tunes that the corpus has already."""
        found: dict[str, int] = {}
        self.keep_earlier_ids(file)
        for tune in list(file.tunes):
            text = tune.tune["melody"]
            rows = self.rows(
                "SELECT id, iif(melody = ?, '', melody) FROM tune WHERE tune_id = ?",
                [text, tune.tune_id],
            )
            if rows and rows[0][1] and printed_text(rows[0][1]) != printed_text(text):
                file.tunes.remove(tune)
                file.refusals.append(clash(file, tune))
            elif rows:
                found[tune.tune_id] = rows[0][0]
                if rows[0][1]:
                    self.take_chords(file, tune, *rows[0])
        return found

    def keep_earlier_ids(self, file: PreparedFile) -> None:
        """Let tunes that stand here under an id that counts the part's name keep it."""
        renamed: dict[str, str] = {}
        for place, tune in enumerate(file.tunes):
            if not tune.line.part or self.has_tune(tune.tune_id):
                continue
            earlier = tune.as_earlier()
            if self.has_tune(earlier.tune_id):
                file.tunes[place] = earlier
                renamed[tune.tune_id] = earlier.tune_id
        if renamed:
            for tune in file.tunes:
                tune.piece = renamed.get(tune.piece, tune.piece)

    def has_tune(self, tune_id: str) -> bool:
        """Whether a tune is there."""
        return bool(self.rows("SELECT 1 FROM tune WHERE tune_id = ?", [tune_id]))

    def take_chords(
        self, file: PreparedFile, tune: PreparedTune, row: int, text: str
    ) -> None:
        """Give a tune that is there the chords that were worked out from another file.

        Which of two files decides does not hang on their order: chords go before none,
        and of two rows of chords the later in the alphabet stays, unless this file is
        the only place of the tune.
        """
        elsewhere = self.rows(
            "SELECT 1 FROM place WHERE tune = ? AND file <> ? LIMIT 1", [row, file.file]
        )
        new = tune.tune["melody"]
        rank, held = ((each != printed_text(each), each) for each in (new, text))
        if elsewhere and rank < held:
            return
        for table in tune.facets:
            self.do(f"DELETE FROM {table} WHERE tune = ?", [row])
            self.insert_facets(table, row, tune.facets[table])
        columns = ", ".join(f"{name} = :{name}" for name in tune.tune)
        self.do(f"UPDATE tune SET {columns} WHERE id = :id", {**tune.tune, "id": row})

    def known_place(self, file: PreparedFile, tune: PreparedTune) -> tuple[int, int] | None:
        """Row numbers of a place that is there already and of the tune that has it."""
        rows = self.rows(
            "SELECT id, tune FROM place "
            "WHERE file = ? AND number = ? AND occurrence = ? AND line = ?",
            [file.file, tune.number, tune.occurrence, tune.line.position],
        )
        return (rows[0][0], rows[0][1]) if rows else None

    def note_new(
        self, file: PreparedFile, tune: PreparedTune, place: tuple[int, int] | None
    ) -> None:
        """Count a tune that was not there before as added or as a replacement."""
        old = (
            self.rows("SELECT tune_id FROM tune WHERE id = ?", [place[1]]) if place else []
        )
        if not tune.line.is_main:
            file.further.append(tune.tune_id)
        elif old:
            file.replaced.append((old[0][0], tune.tune_id))
        else:
            file.added.append(tune.tune_id)

    def tag(self, tune_ids: Sequence[str], name: str, *, remove: bool = False) -> int:
        """Put a word on some tunes, or take it off; return how many changed.

        Raises
        ------
        UnknownTuneError
            If a tune is not there; nothing is changed then.
        """
        changed = 0
        with self.transaction():
            for tune_id in tune_ids:
                row = self.tune_row(tune_id)
                if remove:
                    changed += self.do(
                        "DELETE FROM tag WHERE tune = ? AND name = ?", [row, name]
                    )
                else:
                    changed += self.put_tag(row, name)
        return changed

    def write_remark(
        self, tune_id: str, kind: str, text: str, bars: tuple[int, int] | None = None
    ) -> int:
        """Write what the musician says of a tune; return its number.

        Raises
        ------
        UnknownTuneError
            If the tune is not there.
        """
        first, last = bars or (None, None)
        remark = {
            "kind": kind,
            "first_bar": first,
            "last_bar": last,
            "text": storable(text),
            "made_at": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S"),
        }
        with self.transaction():
            return self.put_remark(self.tune_row(tune_id), remark)

    def take_remark_off(self, number: int) -> str:
        """Take off a remark by its number; return its words, empty if there is none."""
        names = ("kind", "first_bar", "last_bar", "text", "made_at")
        rows = self.rows(
            f"SELECT tune_id, title, {', '.join(names)} FROM remark "
            "JOIN tune ON tune.id = remark.tune WHERE remark.id = ?",
            [number],
        )
        if not rows:
            return ""
        tune_id, title, *values = rows[0]
        remark = dict(zip(names, values, strict=True))
        with self.changing("remark"):
            self.taken.take_remark(tune_id, title, remark)
            self.do("DELETE FROM remark WHERE id = ?", [number])
        return str(remark["text"])

    def tune_row(self, tune_id: str) -> int:
        """Row number of a tune."""
        rows = self.rows("SELECT id FROM tune WHERE tune_id = ?", [tune_id])
        if not rows:
            raise UnknownTuneError(f"no tune has the id {tune_id}", where=str(self.path))
        return int(rows[0][0])

    def remove(self, tune_ids: Iterable[str]) -> RemoveReport:
        """Take tunes out, from every place, in one transaction.

        Raises
        ------
        UnknownTuneError
            If a tune is not there; nothing is removed then.
        """
        wanted = tuple(dict.fromkeys(tune_ids))
        with self.changing("remove"):
            for tune_id in wanted:
                self.drop_tune(self.tune_row(tune_id))
            self.flush_notes()
        self.give_room_back()
        return RemoveReport(removed=wanted, change=self.taken.last)

    @contextmanager
    def changing(self, kind: str) -> Iterator[None]:
        """A transaction that is a change of its own, which can be undone."""
        self.taken.doing(kind, anew=True)
        with self.transaction():
            yield

    def give_room_back(self) -> None:
        """Make files smaller where much of them is free and nobody else is at work."""
        for part in self.parts:
            part.give_room_back()

    def remove_places(
        self,
        *,
        source: str = "",
        collection: str = "",
        only: Collection[str] | None = None,
    ) -> RemoveReport:
        """Take out the places in a file, a folder or a collection.

        A tune goes when its last place goes; others are kept. ``only`` names the tunes
        that may be touched, whatever has been added since they were looked up.
        """
        if source:
            path = place_path(source)
            clause = "file = ? OR (file >= ? AND file < ?)"
            values = [path, path.rstrip("/") + "/", path.rstrip("/") + "0"]
        else:
            clause = "collection = (SELECT id FROM collection WHERE name = ?)"
            values = [collection]
        with self.changing("remove"):
            report = self.drop_places(clause, values, only)
            if source:
                self.forget_folders(place_path(source))
            self.flush_notes()
        self.give_room_back()
        return replace(report, change=self.taken.last)

    def remove_these_places(
        self, gone: Collection[HeldPlace], moved: Collection[HeldPlace] = ()
    ) -> RemoveReport:
        """Take out places, and the tunes that then have none.

        A place that is another by now, since somebody was at work after it was looked up,
        stays; so does one that is called moved while its tune stands nowhere else.
        """
        asked = [[*place, 0] for place in gone] + [[*place, 1] for place in moved]
        with self.changing("remove"):
            rows = self.rows(
                "WITH asked AS (SELECT json_extract(value, '$[0]') AS id, "
                "json_extract(value, '$[1]') AS file, "
                "json_extract(value, '$[2]') AS tune_id, "
                "json_extract(value, '$[3]') AS moved FROM json_each(?)) "
                "SELECT place.id FROM asked JOIN place ON place.id = asked.id "
                "AND place.file = asked.file "
                "JOIN tune ON tune.id = place.tune AND tune.tune_id = asked.tune_id "
                "WHERE NOT asked.moved OR EXISTS (SELECT 1 FROM place AS other "
                "WHERE other.tune = tune.id AND other.id > 0 "
                "AND other.id NOT IN (SELECT id FROM asked))",
                [json.dumps(asked)],
            )
            report = self.drop_places(
                "place.id IN (SELECT value FROM json_each(?))",
                [json.dumps([row[0] for row in rows])],
            )
            self.flush_notes()
        self.give_room_back()
        return replace(report, change=self.taken.last)

    def note_folder(self, path: str, collection: str, choice: Choice) -> None:
        """Keep that a folder was added, and how, so that it can be read again."""
        row = {
            "path": place_path(path),
            "collection": storable(collection),
            "part": storable(choice.part),
            "voice": storable(choice.voice),
            "chord_note": storable(choice.chord_note),
            "lines": storable(choice.lines),
        }
        with self.transaction():
            self.do("DELETE FROM folder WHERE path = ?", [row["path"]])
            self.insert("folder", row)

    def forget_folders(self, path: str) -> None:
        """Read a folder, and those in it, no more; inside a transaction."""
        under = path.rstrip("/")
        self.do(
            "DELETE FROM folder WHERE path = ? OR (path >= ? AND path < ?)",
            [path, f"{under}/", f"{under}0"],
        )

    def drop_places(
        self, clause: str, values: Sequence[Any], only: Collection[str] | None = None
    ) -> RemoveReport:
        """Delete some places, and the tunes that then have none."""
        places = self.rows(
            f"SELECT place.id, tune.id, tune.tune_id, kept_source, line_count FROM place "
            f"JOIN tune ON tune.id = place.tune WHERE {clause}",
            values,
        )
        places.sort(key=lambda row: (row[2], row[0]))
        if only is not None:
            places = [row for row in places if row[2] in only]
        for place, tune, _, _, line_count in places:
            if line_count > 1:
                self.lined.add(tune)
            self.taken.take_place(place)
            self.do("DELETE FROM place WHERE id = ?", [place])
        for kept in {row[3] for row in places}:
            self.drop_kept(kept)
        removed: list[str] = []
        remaining: list[str] = []
        for row, tune_id in dict.fromkeys((row[1], row[2]) for row in places):
            if self.rows("SELECT 1 FROM place WHERE tune = ? LIMIT 1", [row]):
                remaining.append(tune_id)
            else:
                removed.append(tune_id)
                self.drop_tune(row)
        return RemoveReport(tuple(removed), tuple(remaining))

    def rebuild_facets(self, progress: Callable[[int, int], None] | None = None) -> None:
        """Make the facets of every tune of one file anew, in one transaction."""
        with self.transaction():
            self.create_facet_tables()
            rows = self.rows("SELECT id FROM tune ORDER BY id")
            for done, (row,) in enumerate(rows):
                text = self.rows("SELECT melody FROM tune WHERE id = ?", [row])[0][0]
                self.put_facets(row, Melody.from_dict(json.loads(text)))
                if progress:
                    progress(done + 1, len(rows))

    def create_facet_tables(self) -> None:
        """Make today's facet tables in place of those that the file has."""
        for table in self.setting("facet_tables").split():
            self.first.execute(f"DROP TABLE IF EXISTS {table}")
        for statement in facet_statements():
            self.first.execute(statement)
        self.put_setting("facet_tables", new_settings()["facet_tables"])
        self.put_setting("facet_version", new_settings()["facet_version"])
