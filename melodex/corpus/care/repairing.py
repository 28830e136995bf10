"""Repairing a corpus: a new file is made of everything that can still be read.

Conventions: the damaged file is kept beside the new one, under a name of its own.
A melody that no longer agrees with its id is read again from the kept source;
everything that is derived from melodies is made anew by adding them as usual. A
tune that neither way brings back is named as lost, and so is every other row that is
not as it was written: a passage of a teaching set, a tag, a place.

Contents: repair_corpus, exchange, locked, write, free_name; what is written is in
``remains``.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from melodex.corpus.care.beside import refuse_unfit
from melodex.corpus.care.longer_ids import LongerIds, lengthen_names
from melodex.corpus.care.remains import Remains, RepairReport, Row, choice_of
from melodex.corpus.connection import fold_in
from melodex.corpus.faults import faults_named, is_busy, is_there
from melodex.corpus.lessons import PLAN, WORDS_HELD, write_lesson
from melodex.corpus.schema import CHECKED_COLUMNS, LAST_CHANGE
from melodex.corpus.writing.holding.journal import WAIT_SECONDS
from melodex.corpus.writing.preparing import PreparedTune, prepared
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import BusyCorpusError, CorpusError
from melodex.files import COMPANIONS, final_place, flush_folder
from melodex.melody.tune_id import is_id_of
from melodex.reading.apart import Apart
from melodex.reading.result import FileReading

__all__ = ["exchange", "free_name", "locked", "repair_corpus", "write"]


def repair_corpus(
    path: Path, progress: Callable[[int, int], None] | None = None
) -> RepairReport:
    """Make a corpus anew from what can be read of a damaged one.

    Parameters
    ----------
    path : Path
        The corpus; nobody else may have it open for writing.
    progress : callable, optional
        Called with files done and files in all.

    Raises
    ------
    CorpusError
        If the file is no SQLite at all, or the new one cannot be written.
    BusyCorpusError
        If another process holds the corpus.
    """
    place = final_place(path)
    with faults_named(path), Apart() as apart, closing(locked(path)) as connection:
        fresh = free_name(place, "repaired")
        remains = Remains([connection], apart)
        remains.collect()
        try:
            write(remains, fresh, progress)
            damaged = free_name(place, "damaged")
            # Exchanged while the lock is held: a writer that waits finds another file
            # under the name and refuses to write into the old one.
            exchange(place, fresh, damaged)
        except OSError as error:
            raise CorpusError(
                f"the new file cannot be written: {error.strerror}", where=str(path)
            ) from error
        finally:
            with suppress(FileNotFoundError):
                fresh.unlink()
    return remains.report(damaged)


def exchange(place: Path, fresh: Path, damaged: Path) -> None:
    """Put a new file or folder in the place of an old one, which gets a name of its own.

    There is a file under the name at every moment, and never another's journal beside the
    new one, whenever the power goes. Of folders there is none between two renames.
    """
    try:
        os.link(place, damaged)
        is_linked = True
    except OSError:
        # Folders have no links, and none are on some file systems.
        is_linked = False
    if not place.is_dir():
        for side in COMPANIONS:
            with suppress(FileNotFoundError):
                Path(f"{place}{side}").rename(f"{damaged}{side}")
    if not is_linked:
        place.rename(damaged)
    try:
        fresh.replace(place)
    except OSError:
        if not is_linked:
            damaged.rename(place)
        raise
    flush_folder(place.parent)


def locked(path: Path) -> sqlite3.Connection:
    """The damaged file, with writers shut out as far as SQLite still can."""
    if not is_there(path):
        raise CorpusError("there is no corpus here", where=str(path))
    refuse_unfit(path)
    # A journal must not come to stand beside the new file, which would take it for its own.
    fold_in(path)
    connection = sqlite3.connect(
        path.absolute(), timeout=WAIT_SECONDS, isolation_level=None
    )
    connection.text_factory = lambda data: data.decode("utf-8", "replace")
    try:
        connection.execute("BEGIN IMMEDIATE")
    except sqlite3.DatabaseError as error:
        if is_busy(error):
            connection.close()
            raise BusyCorpusError(
                "another process holds the corpus", where=str(path)
            ) from error
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError:
        connection.close()
        raise
    return connection


def write(
    remains: Remains, fresh: Path, progress: Callable[[int, int], None] | None
) -> None:
    """Write everything that remains into a new corpus."""
    files = list(remains.files())
    with CorpusWriter.open(fresh) as writer:
        for done, (place, tunes) in enumerate(files):
            collection = remains.collections.get(place["collection"], "recovered")
            reading = FileReading(place["source"], tuple(tune for _, tune in tunes))
            file = prepared(reading, collection, choice_of(place), place["file"])
            file.tunes = [
                as_it_was(remains, each, tune)
                for (each, _), tune in zip(tunes, file.tunes, strict=True)
            ]
            for (each, _), tune in zip(tunes, file.tunes, strict=True):
                remains.note_id(each, tune.tune_id)
            for tune in file.tunes:
                tune.piece = remains.renamed.get(tune.piece, tune.piece)
            writer.add_prepared([file])
            if progress:
                progress(done + 1, len(files))
        for number, name in remains.tags:
            # A tag of a lost tune has nothing left to stand on.
            with suppress(CorpusError):
                writer.tag([remains.ids.get(number, "")], name)
        for remark in remains.remarks:
            with suppress(CorpusError), writer.transaction():
                row = writer.tune_row(remains.ids.get(remark["tune"], ""))
                writer.put_remark(row, remark)
        for lesson, examples in remains.lessons:
            plan = remains.plans.get(PLAN.format(lesson.id), "")
            write_lesson(writer, lesson, examples, plan=plan, keeps_number=True)
        put_history(writer, remains)


def as_it_was(remains: Remains, place: Row, tune: PreparedTune) -> PreparedTune:
    """A tune under the id that it had, and in its piece."""
    wanted = remains.ids.get(place.get("tune", 0), "")
    if not is_id_of(tune.tune_id, wanted):
        earlier = tune.as_earlier()
        tune = earlier if is_id_of(earlier.tune_id, wanted) else tune
    tune.piece = place.get("piece", tune.tune_id)
    return tune


def put_history(writer: CorpusWriter, remains: Remains) -> None:
    """Write which folders were added, and what changes took out, for undoing them."""
    with writer.transaction():
        for table, rows in (
            ("folder", remains.folders),
            ("change", remains.changes),
            ("taken_out", remains.taken_out),
        ):
            for row in rows:
                writer.insert(table, {name: row[name] for name in CHECKED_COLUMNS[table]})
        last = max((row["id"] for row in remains.changes), default=0)
        writer.put_setting(LAST_CHANGE, str(last))
        if held := remains.plans.get(WORDS_HELD):
            writer.put_setting(WORDS_HELD, held)
        # What is repaired may be of an earlier schema.
        connection = writer.first.connection
        lengthen_names(connection, LongerIds(connection, remains.renamed))


def free_name(path: Path, word: str) -> Path:
    """A name beside the corpus that nothing has."""
    number = 1
    while True:
        name = f"{path.name}.{word}" + (f".{number}" if number > 1 else "")
        if not (path.parent / name).exists():
            return path.parent / name
        number += 1
