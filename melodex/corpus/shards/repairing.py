"""A folder of shards made anew of what can be read of a damaged one.

Conventions: rows of all shards have numbers of their own, so that what is left of all of
them is read as of one file, written into one, and split into as many shards again. The
damaged folder is kept beside the new one, under a name of its own. A shard that is no file
of SQLite any more is left out, and named; one that is missing, or is another, is refused:
it can be put back.

Contents: repair_folder.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path

from melodex.corpus.care.guarding import SIGNATURE
from melodex.corpus.care.remains import Remains, RepairReport
from melodex.corpus.care.repairing import exchange, free_name, locked, write
from melodex.corpus.connection import Part
from melodex.corpus.faults import faults_named
from melodex.corpus.shards.index import (
    ShardIndex,
    change_in,
    fault_of_place,
    file_of,
    of_another_time,
)
from melodex.corpus.shards.opening import settled
from melodex.corpus.shards.splitting import split_corpus
from melodex.errors import REMEDIES, CorpusError, DamagedCorpusError
from melodex.files import final_place, part_folder
from melodex.reading.apart import Apart

__all__ = ["repair_folder"]


def repair_folder(
    folder: Path, progress: Callable[[int, int], None] | None = None
) -> RepairReport:
    """Make a folder of shards anew from what can be read of a damaged one.

    Parameters
    ----------
    folder : Path
        Of the shards; nobody else may have it open for writing.
    progress : callable, optional
        Called with files done and files in all.

    Raises
    ------
    CorpusError
        If there is no index, a shard is missing or another one, a change that was stopped
        cannot be carried out, nothing at all can be read, or the new folder cannot be
        written.
    BusyCorpusError
        If another process holds a shard.
    """
    index = settled(folder)
    place = final_place(folder)
    with ExitStack() as stack:
        apart = stack.enter_context(Apart())
        unread: list[str] = []
        parts = []
        for number in range(1, len(index.shards) + 1):
            try:
                parts.append(held(folder, index, number, stack))
            except DamagedCorpusError as error:
                unread.append(f"all of {index.shards[number - 1].file}: {error.what}")
                if len(unread) == len(index.shards):
                    raise
        remains = Remains(parts, apart, left_out=unread)
        remains.collect()
        # Beside the old folder, so that the new one can be given its name.
        with faults_named(place.parent):
            made = stack.enter_context(part_folder(place))
        whole, fresh = made / "whole.melodex", made / "shards"
        with faults_named(place):
            write(remains, whole, progress)
            split_corpus(whole, fresh, len(index.shards))
            damaged = free_name(place, "damaged")
            # Exchanged while the locks are held: a writer that waits finds other files
            # under their names and refuses to write into the old ones.
            exchange(place, fresh, damaged)
    return remains.report(damaged)


def held(
    folder: Path, index: ShardIndex, number: int, stack: ExitStack
) -> sqlite3.Connection:
    """A shard with writers shut out, if it is the one that the index means.

    Raises
    ------
    DamagedCorpusError
        If it is no file of SQLite any more.
    CorpusError
        If it is missing or another one.
    """
    path = file_of(folder, index, number)
    with faults_named(path):
        with path.open("rb") as file:
            if file.read(len(SIGNATURE)) != SIGNATURE:
                raise DamagedCorpusError("it is no SQLite file any more", where=str(path))
        connection = locked(path)
        stack.callback(connection.close)
        fault = ""
        # What it says of itself may be what is damaged.
        with suppress(sqlite3.DatabaseError):
            fault = fault_of_place(Part(connection, path), index, number)
            if not fault and change_in(connection) != index.shards[number - 1].change:
                fault = of_another_time(index, number)
    if fault:
        raise CorpusError(fault, where=str(path), hint=REMEDIES["bring shard back"])
    return connection
