"""A connection that only reads, also to a file that cannot be written; one file at rest.

Conventions: at rest a corpus is one plain file. Whoever leaves last folds the journal
in, be it a reader or a writer: those who leave take turns (``flock`` on the folder), so
that of two who leave at once the second sees that it is alone. Where the last one was
killed, or could not write, the next who opens the corpus folds the journal in.

Contents: Part, connect, reading, leave, fold_in, journal_bytes, taking_turns, WAIT_SECONDS.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
import time
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from melodex.corpus.care.beside import is_foreign, refuse_unfit
from melodex.corpus.faults import is_there, refuse_folder
from melodex.errors import REMEDIES, CorpusError
from melodex.records import dataclass

__all__ = [
    "WAIT_SECONDS",
    "Part",
    "connect",
    "fold_in",
    "journal_bytes",
    "leave",
    "let_go",
    "opened",
    "reading",
    "second_way",
    "taking_turns",
]


WAIT_SECONDS = 10.0
"""How long a reader waits for a writer's last step; it takes milliseconds."""

TURN_SECONDS = 5.0
"""How long one who leaves waits for another who leaves."""

TURN_STEP_SECONDS = 0.005
"""Between two looks whether it is one's turn: far below what a person notices."""


@dataclass(frozen=True, slots=True)
class Part:
    """A file of a corpus that is open; most have one."""

    connection: sqlite3.Connection
    path: Path


def connect(path: Path) -> sqlite3.Connection:
    """Open a file for reading only, also on media that cannot be written.

    Raises
    ------
    CorpusError
        If there is no such file.
    sqlite3.Error
        If SQLite cannot open it.
    """
    refuse_folder(path)
    refuse_unfit(path)
    if not is_there(path):
        raise CorpusError(
            "there is no corpus here",
            where=str(path),
            hint=REMEDIES["make corpus"],
        )
    fold_in(path)
    try:
        return opened(path, "mode=ro")
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0)
        if code & 0xFF in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN}:
            second = second_way(path, code)
            if second:
                return opened(path, second)
        raise


def second_way(path: Path, code: int) -> str:
    """How to open a file that a writer has left in the middle of its work.

    A journal that a killed writer left must be played back, which needs writing;
    on media that cannot be written, a file without one is complete as it is.
    """
    left = [Path(f"{path}{suffix}") for suffix in ("-wal", "-journal")]
    if any(side.exists() and side.stat().st_size for side in left):
        return "mode=rw" if code == sqlite3.SQLITE_READONLY_ROLLBACK else ""
    return "mode=ro&immutable=1"


def opened(path: Path, manner: str) -> sqlite3.Connection:
    """A connection that has proved that it can read."""
    connection = sqlite3.connect(
        f"file:{urllib.parse.quote(os.fsencode(path.absolute()))}?{manner}",
        uri=True,
        timeout=WAIT_SECONDS,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.execute("PRAGMA query_only = ON")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that reads, left as a reader leaves."""
    connection = connect(path)
    try:
        yield connection
    finally:
        leave(connection, path)


def leave(connection: sqlite3.Connection, path: Path) -> None:
    """Close a connection that read, and leave one file if nobody else has it open."""
    connection.close()
    fold_in(path)


def let_go(connection: sqlite3.Connection) -> None:
    """Let go of the state that a connection sees, which may hold up who writes."""
    if connection.in_transaction:
        connection.execute("ROLLBACK")


def journal_bytes(path: Path) -> int:
    """How many bytes stand in journals beside a file; 0 where the file alone is whole.

    A rollback journal that begins with a zero was never made good: nothing of the file
    had been changed yet (https://www.sqlite.org/fileformat2.html, section 3).
    """
    found, place = 0, os.path.realpath(path)
    with suppress(OSError):
        found += os.stat(f"{place}-wal").st_size  # noqa: PTH116
    with suppress(OSError), open(f"{place}-journal", "rb") as journal:  # noqa: PTH123
        if journal.read(1) > b"\0":
            found += os.fstat(journal.fileno()).st_size
    return found


def fold_in(path: Path) -> bool:
    """Fold a journal that was left beside a file into it, if nobody is at work.

    Returns
    -------
    bool
        Whether the file alone is whole now.
    """
    place = os.path.realpath(path)
    if not os.path.exists(f"{place}-wal"):  # noqa: PTH110 (cold path)
        return True
    if is_foreign(place):
        return False
    with taking_turns(path), suppress(sqlite3.Error):
        connection = sqlite3.connect(
            f"file:{urllib.parse.quote(os.fsencode(path.absolute()))}?mode=rw",
            uri=True,
            timeout=0,
            isolation_level=None,
        )
        try:
            # This needs the file for itself alone, and fails at once where it is not.
            connection.execute("PRAGMA journal_mode = DELETE").fetchone()
        finally:
            connection.close()
    return not journal_bytes(path)


@contextmanager
def taking_turns(path: Path) -> Iterator[None]:
    """Hold the turn of leaving a corpus, as far as the file system has locks.

    SQLite's own locks would be lost if the corpus itself were opened and closed here
    (POSIX, ``fcntl``: closing any descriptor of a file drops the process's locks on it);
    so the folder is locked.
    """
    folder = None
    with suppress(OSError):
        folder = os.open(os.path.dirname(os.path.realpath(path)), os.O_RDONLY)  # noqa: PTH120
        end = time.monotonic() + TURN_SECONDS
        while time.monotonic() < end:
            try:
                fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                time.sleep(TURN_STEP_SECONDS)
    try:
        yield
    finally:
        if folder is not None:
            os.close(folder)
