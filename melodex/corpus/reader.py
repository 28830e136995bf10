"""Reading a corpus: standard sqlite3, read only, and nothing heavy imported.

Conventions: a :class:`Corpus` sees one state of the file, however many others
write to it meanwhile, from its opening until :meth:`Corpus.refresh` or
:meth:`Corpus.close`; so keep one open for as long as one question takes.
Tunes are named by tune id; ties fall to it.

A corpus is a file, or a folder of shards that together hold what one file would
(:mod:`melodex.corpus.shards`): every statement is put to each of its parts, and what
they say is put together. One file is one part.

At rest a part is one file. While something writes to it, SQLite keeps two
more beside it (``-wal`` and ``-shm``), so that nobody who reads has to wait. Whoever
leaves last folds them in (:mod:`melodex.corpus.connection`).

What is told of one tune beside its notes is asked of
:mod:`melodex.corpus.tunes.particulars`.

Contents: Corpus, opened_part.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar, cast

from melodex.corpus.chunks import CHUNK_COLUMNS, PackedChunk
from melodex.corpus.connection import Part, connect, journal_bytes, leave, let_go
from melodex.corpus.faults import faults_named
from melodex.corpus.schema import SCHEMA_VERSION, TUNE_OVERVIEW, state_of
from melodex.corpus.tunes.melodies import keys_of, melodies_of
from melodex.corpus.tunes.tune_rows import TUNE_ROW_COLUMNS, TuneRow, as_tune_rows
from melodex.errors import REMEDIES, CorpusError, DamagedCorpusError, UnknownTuneError
from melodex.melody import Melody
from melodex.settings import CorpusSettings

if TYPE_CHECKING:
    from melodex.corpus.shards.merging import Merge

__all__ = ["Corpus"]

Work = TypeVar("Work")

NO_TEXT = "Could not decode to UTF-8"
"""What Python's ``sqlite3`` says of a text that is none."""


def decoded(data: bytes) -> str:
    """Text as far as it is text; the rest is U+FFFD."""
    return data.decode("utf-8", "replace")


def as_stored(value: Any) -> Any:
    """A value as a corpus holds it, which plain text does already."""
    if not isinstance(value, str) or (value.isascii() and "\0" not in value):
        return value
    # Patterns of Unicode are no part of a cold question in plain letters.
    from melodex.corpus.rows import storable

    return storable(value)


def opened_part(path: Path) -> Part:
    """One file of a corpus, opened; one of an older schema is brought up to date first."""
    with faults_named(path):
        connection = connect(path)
        try:
            version = state_of(connection, path)
        except BaseException:
            leave(connection, path)
            raise
        if version == 0:
            leave(connection, path)
            raise CorpusError(
                "this corpus is empty",
                where=str(path),
                hint=REMEDIES["add tunes"],
            )
        if version < SCHEMA_VERSION:
            connection.close()
            from melodex.corpus.care.migrations import upgrade

            upgrade(path)
            connection = connect(path)
        return Part(connection, path)


class Corpus:
    """A corpus opened for reading. Use :meth:`open`, and ``with``."""

    def __init__(self, parts: Sequence[Part], path: Path) -> None:
        self.parts = parts
        self.path = path
        self.is_tolerant = False
        self.refresh()

    @classmethod
    def open(cls, path: str | PathLike[str]) -> Corpus:
        """Open a corpus; one of an older schema is brought up to date first.

        Parameters
        ----------
        path : str or PathLike
            The file, or the folder of shards.

        Raises
        ------
        CorpusError
            If there is no such file, it may not be read, is empty, or is none; or if a
            shard of a folder is missing or is not the one that the folder was made with,
            and may not be left out (:mod:`melodex.corpus.shards.absent`).
        NewerCorpusError
            If a later version of melodex wrote it.
        DamagedCorpusError
            If SQLite finds it damaged.
        BusyCorpusError
            If another process holds it for more than :data:`WAIT_SECONDS`.
        """
        path = Path(path)
        if os.path.isdir(path):  # noqa: PTH112 (cold path)
            from melodex.corpus.shards.absent import absence_now
            from melodex.corpus.shards.opening import opened_shards

            return cls(opened_shards(path, opened_part, absence_now()), path)
        return cls([opened_part(path)], path)

    def close(self) -> None:
        """Let go of the file, which is one plain file if nobody else has it open."""
        for part in self.parts:
            leave(part.connection, part.path)

    def __enter__(self) -> Corpus:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def refresh(self) -> None:
        """See the corpus as it is now, and from now on only so."""
        if not os.path.isdir(self.path):  # noqa: PTH112 (cold path)
            self.see()
            return
        from melodex.corpus.shards.opening import in_one_state

        in_one_state(self.path, self.parts, self.see)

    def see(self) -> None:
        """See each part as it is now, and from now on only so."""
        self.settings: dict[str, str] = {}
        self.kept_work: dict[str, Any] = {}
        totals = [0, 0, 0]
        for part in self.parts:
            with faults_named(part.path):
                let_go(part.connection)
                part.connection.execute("BEGIN")
                rows = part.connection.execute(
                    "SELECT name, value FROM setting ORDER BY name"
                )
                self.settings = {**dict(rows.fetchall()), **self.settings}
                held = part.connection.execute(
                    "SELECT sum(piece_count), sum(note_count), sum(tune_count) FROM chunk"
                ).fetchone()
            totals = [total + (more or 0) for total, more in zip(totals, held, strict=True)]
        self.tune_count: int = totals[0]
        self.note_count: int = totals[1]
        self.line_count: int = totals[2]

    @property
    def sheet_count(self) -> int:
        """Tunes of chords alone, at which no search for notes looks."""
        counts = self.query("SELECT count(*) FROM tune")
        return max(0, sum(int(count) for (count,) in counts) - self.line_count)

    @property
    def journal_bytes(self) -> int:
        """Bytes that stand in a journal beside the file; 0 where it is whole alone."""
        return sum(journal_bytes(part.path) for part in self.parts)

    def pause(self) -> None:
        """Called by a task between two of its parts; a corpus that can be stopped stops."""

    def worked_out(self, name: str, work: Callable[[], Work]) -> Work:
        """What is worked out of the whole corpus, once for the state that is seen.

        Parameters
        ----------
        name : str
            What it is, by which it is kept until :meth:`refresh`. So that memory stays
            bounded, names are few, and what is kept does not grow with the questions.
        work : callable
            Works it out. The answer is handed to all who ask and changed by none.
        """
        if name not in self.kept_work:
            self.kept_work[name] = work()
        return cast("Work", self.kept_work[name])

    def query(
        self, sql: str, values: Iterable[Any] = (), *, merge: Merge | None = None
    ) -> list[tuple[Any, ...]]:
        """Run a statement that reads, with SQLite's faults named.

        Parameters
        ----------
        sql : str
            The statement.
        values : iterable, optional
            For its question marks.
        merge : callable, optional
            Puts together what several parts say, as the statement does for one
            (:mod:`melodex.corpus.shards.merging`); by default part follows part. What
            is said of one tune stands in one part, and row numbers of tunes are those
            of no other part.

        Raises
        ------
        CorpusError
            If SQLite cannot do it for a reason outside of melodex.
        """
        # What no text of a corpus can hold is found nowhere.
        asked = tuple(map(as_stored, values))
        if len(self.parts) == 1:
            return self.asked_of(self.parts[0], sql, asked)
        rows = [row for part in self.parts for row in self.asked_of(part, sql, asked)]
        return merge(rows) if merge else rows

    def asked_of(
        self, part: Part, sql: str, asked: tuple[Any, ...]
    ) -> list[tuple[Any, ...]]:
        """What one part says."""
        with faults_named(part.path):
            try:
                return part.connection.execute(sql, asked).fetchall()
            except sqlite3.OperationalError as error:
                if self.is_tolerant or not str(error).startswith(NO_TEXT):
                    raise
                # One text that is none costs its own tune: the others are still read.
                self.is_tolerant = True
                for each in self.parts:
                    each.connection.text_factory = decoded
                return part.connection.execute(sql, asked).fetchall()

    def chunks(self) -> Iterator[PackedChunk]:
        """Yield the packed notes of all tunes.

        Raises
        ------
        SettingsError
            If the notes are encoded in another way than this version reads.
        DamagedCorpusError
            If a chunk cannot be read.
        """
        found = CorpusSettings.from_dict(self.settings)
        CorpusSettings().require_same(found, where=str(self.path))
        for part in self.parts:
            with faults_named(part.path):
                rows = part.connection.execute(
                    f"SELECT {CHUNK_COLUMNS} FROM chunk ORDER BY id"
                )
                for ids, lengths, packed, checksum, tunes, *others in rows:
                    # What is no number says none; its ids then tell that it is damaged.
                    tunes = tunes if isinstance(tunes, int) else 0
                    yield PackedChunk(ids, lengths, packed, checksum, tunes, *others)

    def melody(self, tune_id: str) -> Melody:
        """Return one melody, with the credits of its first place.

        Raises
        ------
        UnknownTuneError
            If the corpus holds no tune of that id.
        DamagedCorpusError
            If its melody cannot be read.
        """
        found = self.melodies([tune_id])
        if not found:
            raise UnknownTuneError(
                f"no tune has the id {tune_id}",
                where=str(self.path),
                hint=REMEDIES["list tunes"],
            )
        return found[tune_id]

    def melodies(
        self,
        tune_ids: Iterable[str],
        on_damage: Callable[[DamagedCorpusError], None] | None = None,
    ) -> dict[str, Melody]:
        """Return the melodies of some tunes; ids that are not there are left out.

        Each comes with the key centres that were read when it was added. An id from
        before schema 5 brings the one tune whose id begins with it.

        Parameters
        ----------
        tune_ids : iterable of str
            Whose melodies.
        on_damage : callable, optional
            Called with an error for each melody that cannot be read, which then is left
            out.

        Raises
        ------
        DamagedCorpusError
            If a melody cannot be read and there is no ``on_damage``.
        """
        return melodies_of(self, tune_ids, on_damage)

    def resolve(self, text: str) -> str:
        """Return the tune id that a person means.

        Parameters
        ----------
        text : str
            A tune id, its first digits, four at least, a title, or a part of
            a title; case and accents make no difference. The first of these that
            fits exactly one tune is meant; a title goes before a part of one.

        Raises
        ------
        UnknownTuneError
            If no tune, or more than one, goes by that name; candidates are named.
        """
        from melodex.corpus.tunes.titles import resolved

        return resolved(self, text)

    def tunes(
        self,
        *,
        collection: str = "",
        title: str = "",
        tag: str = "",
        source: str = "",
        words: str = "",
        limit: int | None = None,
    ) -> list[TuneRow]:
        """List tunes in order of collection, source, number and tune id.

        Parameters
        ----------
        collection, tag, source : str
            Only tunes with a place in that collection, with that tag, or read
            from that file or folder; empty for all.
        title : str
            Only tunes whose title holds this, whatever the case and accents.
        words : str
            Only tunes whose title, makers and lyrics hold every one of these words, or
            words that they are part of.
        limit : int, optional
            At most so many.
        """
        from melodex.corpus.tunes.titles import listed

        return listed(self, collection, title, tag, source, words, limit)

    def tune(self, tune_id: str) -> TuneRow:
        """Return one tune as lists show it.

        Raises
        ------
        UnknownTuneError
            If the corpus holds no tune of that id.
        """
        rows = self.tune_rows("WHERE tune_id = ?", [tune_id])
        if not rows:
            raise UnknownTuneError(f"no tune has the id {tune_id}", where=str(self.path))
        return rows[0]

    def tune_rows(
        self, clause: str, values: Iterable[Any] = (), *, merge: Merge | None = None
    ) -> list[TuneRow]:
        """Rows of what the view ``tune_overview`` shows today that a clause picks."""
        rows = self.query(
            f"SELECT {TUNE_ROW_COLUMNS} FROM ({TUNE_OVERVIEW}) {clause}",
            values,
            merge=merge,
        )
        return as_tune_rows(rows, keys_of(self, [row[0] for row in rows]))
