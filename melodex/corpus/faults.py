"""Faults of SQLite, told in the words of whoever owns the corpus.

Conventions: result codes are those of https://www.sqlite.org/rescode.html; the
lowest byte of an extended code is its primary code.

Contents: faults_named, named_fault, refuse_folder, is_there, is_busy.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from melodex.errors import (
    REMEDIES,
    BusyCorpusError,
    CorpusError,
    DamagedCorpusError,
    Remedy,
)

__all__ = ["faults_named", "is_busy", "is_there", "named_fault", "refuse_folder"]

FAULTS: dict[int, tuple[type[CorpusError], str, str | Remedy]] = {
    sqlite3.SQLITE_BUSY: (
        BusyCorpusError,
        "another process holds the corpus",
        "wait until it has finished, then try again; nothing was changed",
    ),
    sqlite3.SQLITE_LOCKED: (
        BusyCorpusError,
        "another part of this process holds the corpus",
        "try again; nothing was changed",
    ),
    sqlite3.SQLITE_NOTADB: (
        CorpusError,
        "this is not a melodex corpus: it is no SQLite file",
        REMEDIES["other corpus"],
    ),
    sqlite3.SQLITE_CORRUPT: (
        DamagedCorpusError,
        "the corpus is damaged",
        REMEDIES["what is damaged"],
    ),
    sqlite3.SQLITE_FULL: (
        CorpusError,
        "the disk is full",
        "make room and try again; what was in the corpus before is still there",
    ),
    sqlite3.SQLITE_READONLY: (
        CorpusError,
        "the corpus can be read but not written",
        "change the permissions of the file and its folder, or name another file",
    ),
    sqlite3.SQLITE_PERM: (
        CorpusError,
        "the corpus may not be opened",
        "change the permissions of the file and its folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        CorpusError,
        "the corpus cannot be opened",
        "check that the folder is there and that you may read and write in it",
    ),
    sqlite3.SQLITE_IOERR: (
        CorpusError,
        "the disk reports a fault",
        "check the disk; what was in the corpus before is still there",
    ),
    sqlite3.SQLITE_TOOBIG: (
        CorpusError,
        "a tune is larger than SQLite can hold",
        "split the file that it comes from",
    ),
}


SIGNS_OF_DAMAGE = ("Could not decode to UTF-8", "no such table", "no such column")
"""Nobody of us writes such a text, and the application id promised our tables."""

TWICE = "already exists"
"""Nobody of us makes a table twice: a file that says an earlier version holds it."""


def named_fault(error: sqlite3.Error, path: Path) -> CorpusError | None:
    """Return our error for one of SQLite's, or None where the fault is in our code.

    Examples
    --------
    >>> named_fault(sqlite3.OperationalError('near "SELEKT": error'), Path("a")) is None
    True
    """
    code = getattr(error, "sqlite_errorcode", None)
    said = str(error)
    if said.startswith(SIGNS_OF_DAMAGE) or said.endswith(TWICE):
        code = sqlite3.SQLITE_CORRUPT
    if code is None or code & 0xFF not in FAULTS:
        return None
    kind, what, hint = FAULTS[code & 0xFF]
    return kind(what, where=str(path), hint=hint)


def refuse_folder(path: Path) -> None:
    """Refuse a folder in the place of a corpus.

    Raises
    ------
    CorpusError
        If the path is a folder.
    """
    with faults_named(path):
        is_folder = path.is_dir()
        holds_shards = is_folder and (path / "shards.json").exists()
    if holds_shards:
        raise CorpusError(
            "a corpus in shards is not changed in this way",
            where=str(path),
            hint=REMEDIES["join, change, split"],
        )
    if is_folder:
        raise CorpusError(
            "this is a folder, and a corpus is a file",
            where=str(path),
            hint=REMEDIES["file in folder"],
        )


def is_there(path: Path) -> bool:
    """Whether there is a file of that name.

    Raises
    ------
    CorpusError
        If that cannot be seen: a folder above it is closed to us, or the name is none.
    """
    with faults_named(path):
        return path.exists()


def is_busy(error: sqlite3.Error) -> bool:
    """Whether an error says that somebody else holds the file."""
    code = getattr(error, "sqlite_errorcode", None)
    return code is not None and code & 0xFF in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}


@contextmanager
def faults_named(path: Path) -> Iterator[None]:
    """Raise our own errors for SQLite's, with the corpus named."""
    try:
        yield
    except sqlite3.Error as error:
        named = named_fault(error, path)
        if named is None:
            raise
        raise named from error
    except UnicodeDecodeError as error:
        kind, what, hint = FAULTS[sqlite3.SQLITE_CORRUPT]
        raise kind(what, where=str(path), hint=hint) from error
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            raise
        kind, what, hint = FAULTS[sqlite3.SQLITE_CANTOPEN]
        raise kind(f"{what}: {error.strerror}", where=str(path), hint=hint) from error
