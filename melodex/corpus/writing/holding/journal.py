"""Holding the file: opening it for writing, waiting for a turn, the journal beside it.

Conventions: at rest a corpus is one plain file, in SQLite's rollback mode, fit to
be copied and to be read from media that cannot be written. A writer turns it to
write-ahead mode (https://www.sqlite.org/wal.html), in which readers and a writer
pass each other, and the last to leave, reader or writer, turns it back. Where somebody
reads at that moment it stays as it is: both modes are safe with any mixture, and a
writer in rollback mode only waits for readers at its commit.

Contents: WAIT_SECONDS, make_folder, open_for_writing, set_journal, begin.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from melodex.corpus.care.beside import refuse_unfit
from melodex.corpus.faults import is_busy, refuse_folder
from melodex.errors import REMEDIES, BusyCorpusError, CorpusError

__all__ = ["WAIT_SECONDS", "begin", "make_folder", "open_for_writing", "set_journal"]

WAIT_SECONDS = 30.0
"""How long a writer waits for another; one transaction of ours takes below one."""

STEP_MILLISECONDS = 200
"""How long SQLite tries by itself before we look at the clock."""

FIRST_WORD_SECONDS = 2.0
"""After so long a wait, whoever asked to be told is told."""


def make_folder(path: Path) -> None:
    """Make the folder that a corpus is to stand in."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CorpusError(
            f"the folder for the corpus cannot be made: {error.strerror}",
            where=str(path.parent),
            hint=REMEDIES["other corpus"],
        ) from error


def open_for_writing(path: Path) -> sqlite3.Connection:
    """Open a file so that transactions are ours to begin and to end.

    Raises
    ------
    sqlite3.Error
        If SQLite cannot open it.
    """
    refuse_folder(path)
    refuse_unfit(path)
    # SQLite may take a name that begins with "file:" for an address, a whole path never.
    # Who folds the journal in has the file for itself while the disk takes it.
    connection = sqlite3.connect(
        path.absolute(), timeout=WAIT_SECONDS, isolation_level=None
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        # Zeroing what is deleted would double the writing of chunks.
        connection.execute("PRAGMA secure_delete = OFF")
        # 32 MB: pages of one transaction stay in memory (15 % of the time of adding).
        connection.execute("PRAGMA cache_size = -32768")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def set_journal(connection: sqlite3.Connection, mode: str) -> None:
    """Ask for a journal mode; while somebody else reads or writes it stays as it is.

    Either mode is safe with any mixture of readers and writers; write-ahead mode
    lets them pass each other, plain mode leaves one file.
    """
    connection.execute("PRAGMA busy_timeout = 0")
    # Whatever stands in the way of writing will say so when something is written.
    with suppress(sqlite3.OperationalError):
        connection.execute(f"PRAGMA journal_mode = {mode}")
    connection.execute(f"PRAGMA busy_timeout = {round(WAIT_SECONDS * 1000)}")


def begin(
    connection: sqlite3.Connection,
    path: Path,
    wait_seconds: float = WAIT_SECONDS,
    waiting: Callable[[float], None] | None = None,
) -> None:
    """Begin a transaction that writes, or wait for whoever is writing.

    Parameters
    ----------
    connection : sqlite3.Connection
        From :func:`open_for_writing`.
    path : Path
        Its file, for the message.
    wait_seconds : float
        How long to wait.
    waiting : callable, optional
        Called once, with the seconds waited, when the wait grows long.

    Raises
    ------
    BusyCorpusError
        If our turn does not come in time.
    """
    start = time.monotonic()
    told = False
    connection.execute(f"PRAGMA busy_timeout = {STEP_MILLISECONDS}")
    while True:
        try:
            connection.execute("BEGIN IMMEDIATE")
            # In plain mode the commit waits for readers, and must not give up early.
            connection.execute(f"PRAGMA busy_timeout = {round(wait_seconds * 1000)}")
            return
        except sqlite3.OperationalError as error:
            waited = time.monotonic() - start
            if not is_busy(error):
                raise
            if waiting and not told and waited > FIRST_WORD_SECONDS:
                told = True
                waiting(waited)
            if waited > wait_seconds:
                raise BusyCorpusError(
                    f"another process has held the corpus for {waited:.0f} seconds",
                    where=str(path),
                    hint="wait until it has finished, then try again",
                ) from error
