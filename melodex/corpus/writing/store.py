"""Writing to a corpus: files or parts of them, each whole or not; through sqlite-utils.

Conventions: whatever one file gave goes in with one transaction, whole or not at
all; several files may share a transaction, and of a large file each part has its own.
What a part displaces stands until the file's last part is in. Melodies are made into
rows before the transaction begins, so that no process waits for our arithmetic.
A report is handed out only after the commit. While a writer is at work the file
is in write-ahead mode, so that readers go on; the last to leave turns it back into
one plain file (:mod:`melodex.corpus.connection`).

Contents: CorpusWriter; AddReport comes from ``preparing``, RemoveReport from
``rows.places``. Places are taken out by ``removing``, remarks written by ``remarks``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from os import PathLike
from pathlib import Path
from types import TracebackType

from melodex.corpus.care.foreign import refuse_triggers
from melodex.corpus.care.migrations import upgrade
from melodex.corpus.faults import faults_named, is_there
from melodex.corpus.rows import place_path, storable
from melodex.corpus.schema import (
    SCHEMA_VERSION,
    new_settings,
    state_of,
)
from melodex.corpus.shards.index import SHARD_SETTING, is_shards
from melodex.corpus.shards.opening import opened_shards
from melodex.corpus.shards.routing import lowest_of_pairs
from melodex.corpus.writing.holding.journal import (
    WAIT_SECONDS,
    make_folder,
    open_for_writing,
    set_journal,
)
from melodex.corpus.writing.holding.parts import OpenPart
from melodex.corpus.writing.holding.turns import OneTurn, SharedTurn
from melodex.corpus.writing.preparing import (
    AddReport,
    PreparedFile,
    prepared,
)
from melodex.corpus.writing.putting_in import put_file
from melodex.corpus.writing.rows.lines import flush_notes
from melodex.corpus.writing.rows.places import RemoveReport
from melodex.corpus.writing.rows.row_writer import RowWriter
from melodex.corpus.writing.rows.tables import create_tables, rebuild_facets
from melodex.errors import REMEDIES, CorpusError, UnknownTuneError
from melodex.reading.result import Choice, FileReading

__all__ = ["AddReport", "CorpusWriter", "RemoveReport"]


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
        refuse_triggers(self.first.connection, self.path)
        if 0 < version < SCHEMA_VERSION:
            upgrade(self.path)
        set_journal(self.first.connection, "WAL")
        if version == 0:
            with self.transaction():
                # Another process may have made the tables since we looked.
                if state_of(self.first.connection, self.path) == 0:
                    create_tables(self)
        elif self.setting("facet_version") != new_settings()["facet_version"]:
            with self.transaction():
                rebuild_facets(self)

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
                    put_file(self, file)
                self.leads.clear()
                flush_notes(self)
        return [file.report() for file in files]

    def note_leads(self, file: PreparedFile) -> None:
        """Note the lowest id of each piece, by which its new lines go to one shard."""
        if len(self.parts) > 1:
            pairs = ((tune.tune_id, tune.piece or tune.tune_id) for tune in file.tunes)
            self.leads |= lowest_of_pairs(pairs)

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
            flush_notes(self)
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
