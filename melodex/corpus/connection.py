"""A connection that only reads, also to a file that cannot be written.

Contents: connect, WAIT_SECONDS.
"""

from __future__ import annotations

import os
import sqlite3
import urllib.parse
from pathlib import Path

from melodex.corpus.faults import is_there, refuse_folder
from melodex.errors import CorpusError

__all__ = ["WAIT_SECONDS", "connect", "opened", "second_way"]


WAIT_SECONDS = 10.0
"""How long a reader waits for a writer's last step; it takes milliseconds."""


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
    if not is_there(path):
        raise CorpusError(
            "there is no corpus here",
            where=str(path),
            hint="'melodex add FOLDER' makes one; --corpus names another file",
        )
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
