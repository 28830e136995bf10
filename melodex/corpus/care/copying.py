"""A consistent copy of a corpus while others read it and write to it.

Conventions: the copy appears under its name only when it is whole; it is one
plain file, without a journal beside it. It keeps the permissions of a file that it
replaces; a copy that was killed leaves a part that the next one takes away.

Contents: copy_corpus.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing, nullcontext
from pathlib import Path

from melodex.corpus.care.guarding import refuse_corpus, refuse_left_behind
from melodex.corpus.connection import reading
from melodex.corpus.faults import faults_named, is_there
from melodex.errors import REMEDIES, CorpusError
from melodex.files import final_place, is_special, part_beside, put_in_place

__all__ = ["copy_corpus"]

PAGES_PER_STEP = 4096
"""16 MB at SQLite's usual 4 kB a page: progress is seen, little is lost to steps."""


def copy_corpus(
    path: Path,
    target: Path,
    *,
    replace: bool = False,
    kept_beside: bool = False,
    progress: Callable[[int, int], None] | None = None,
    source: sqlite3.Connection | None = None,
) -> int:
    """Copy a corpus as it is now, whoever writes to it meanwhile.

    Parameters
    ----------
    path, target : Path
        The corpus, and the file to make.
    replace : bool
        Whether a file that is there already may be replaced.
    kept_beside : bool
        Whether it is a backup that melodex itself keeps beside the corpus.
    progress : callable, optional
        Called with pages done and pages in all.
    source : sqlite3.Connection, optional
        To the corpus, in the state that is to be copied.

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
    place = final_place(target)
    if not kept_beside:
        refuse_corpus(target, path, any_corpus=False)
    refuse_target(target, replace)
    try:
        with part_beside(place) as part:
            copy_pages(path, part, progress, source)
            prove(part, target)
            size = part.stat().st_size
            put_in_place(part, place, replace)
    except FileExistsError as error:
        raise already_there(target) from error
    except OSError as error:
        raise unwritable(target, error) from error
    return size


def refuse_target(target: Path, replace: bool) -> None:
    """Refuse a place that no copy may have."""
    if is_there(target):
        if target.is_dir():
            raise CorpusError(
                "this is a folder", where=str(target), hint="name a file in it"
            )
        if is_special(target):
            raise CorpusError(
                "this is no regular file, and a copy is one",
                where=str(target),
                hint="name another file",
            )
        if not replace:
            raise already_there(target)
    refuse_left_behind(target)


def copy_pages(
    path: Path,
    part: Path,
    progress: Callable[[int, int], None] | None,
    held: sqlite3.Connection | None = None,
) -> None:
    """Copy page by page, out of one state of the corpus: that which one holds, if any."""

    def step(status: int, remaining: int, total: int) -> None:
        if progress:
            progress(total - remaining, total)

    with faults_named(path), nullcontext(held) if held else reading(path) as source:
        if not held:
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
            hint=REMEDIES["check"],
        )


def already_there(target: Path) -> CorpusError:
    """The error for a target that would be overwritten."""
    return CorpusError(
        "there is a file already",
        where=str(target),
        hint=REMEDIES["replace"],
    )


def unwritable(target: Path, error: OSError) -> CorpusError:
    """The error for a target that cannot be made."""
    return CorpusError(
        f"the copy cannot be written: {error.strerror}",
        where=str(target),
        hint="check that the folder is there, that you may write in it, and the room on it",
    )
