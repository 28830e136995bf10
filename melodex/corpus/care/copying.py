"""A consistent copy of a corpus while others read it and write to it.

Conventions: the copy appears under its name only when it is whole; it is one
plain file, without a journal beside it.

Contents: copy_corpus.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from melodex.corpus.connection import connect
from melodex.corpus.faults import faults_named, is_there
from melodex.errors import CorpusError

__all__ = ["copy_corpus"]

PAGES_PER_STEP = 4096
"""16 MB at SQLite's usual 4 kB a page: progress is seen, little is lost to steps."""


def copy_corpus(
    path: Path,
    target: Path,
    *,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Copy a corpus as it is now, whoever writes to it meanwhile.

    Parameters
    ----------
    path, target : Path
        The corpus, and the file to make.
    replace : bool
        Whether a file that is there already may be replaced.
    progress : callable, optional
        Called with pages done and pages in all.

    Returns
    -------
    int
        Size of the copy in bytes.

    Raises
    ------
    CorpusError
        If there is no corpus, the target is there already or cannot be written,
        or the copy does not pass SQLite's check.
    """
    if is_there(target) and (not replace or same_file(path, target)):
        raise already_there(path, target)
    part: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
        part = Path(name)
        os.close(handle)
        copy_pages(path, part, progress)
        prove(part, target)
        size = part.stat().st_size
        put_in_place(part, target, replace)
    except OSError as error:
        raise unwritable(target, error) from error
    finally:
        if part is not None:
            for left in (part, Path(f"{part}-journal"), Path(f"{part}-wal")):
                left.unlink(missing_ok=True)
    return size


def copy_pages(path: Path, part: Path, progress: Callable[[int, int], None] | None) -> None:
    """Copy page by page, out of one state of the corpus."""

    def step(status: int, remaining: int, total: int) -> None:
        if progress:
            progress(total - remaining, total)

    with faults_named(path), closing(connect(path)) as source:
        # Holding one state keeps the copy from starting over when somebody writes.
        source.execute("BEGIN")
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()
        with (
            faults_named(part),
            closing(sqlite3.connect(part.absolute(), isolation_level=None)) as copy,
        ):
            source.backup(copy, pages=PAGES_PER_STEP, progress=step, sleep=0)
            copy.execute("PRAGMA journal_mode = DELETE")


def prove(part: Path, target: Path) -> None:
    """Refuse a copy that SQLite finds fault with."""
    with faults_named(target), closing(sqlite3.connect(part.absolute())) as copy:
        verdict = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    if verdict != "ok":
        raise CorpusError(
            f"the copy does not pass SQLite's check: {verdict}",
            where=str(target),
            hint="run 'melodex check' on the corpus",
        )


def put_in_place(part: Path, target: Path, replace: bool) -> None:
    """Give a finished copy its name, safely on disk, over nothing unless told to."""
    with part.open("rb") as written:
        os.fsync(written.fileno())
    umask = os.umask(0)
    os.umask(umask)
    part.chmod(0o666 & ~umask)
    if replace:
        part.replace(target)
        return
    try:
        # Unlike a rename, a link fails where somebody else made the file meanwhile.
        os.link(part, target)
    except FileExistsError as error:
        raise already_there(part, target) from error
    except OSError:
        # Some file systems have no links.
        part.rename(target)


def same_file(path: Path, target: Path) -> bool:
    """Whether the target is the corpus itself."""
    return path.exists() and path.samefile(target)


def already_there(path: Path, target: Path) -> CorpusError:
    """The error for a target that would be overwritten."""
    if same_file(path, target):
        return CorpusError("this is the corpus itself", where=str(target))
    return CorpusError(
        "there is a file already",
        where=str(target),
        hint="name another file, or replace it with --force",
    )


def unwritable(target: Path, error: OSError) -> CorpusError:
    """The error for a target that cannot be made."""
    return CorpusError(
        f"the copy cannot be written: {error.strerror}",
        where=str(target),
        hint="check that the folder is there, that you may write in it, and the room on it",
    )
