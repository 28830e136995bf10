"""What stands in the place of a corpus, and in the places of its journals.

Conventions: a corpus is a regular file, and so are its journals; whatever else has their
names (a pipe, a device, a folder) is refused before SQLite opens it, which would wait for
it without end or call the disk faulty.

A write-ahead log says nothing of the file that it belongs to, and SQLite plays it into
whatever has the name. Where somebody was killed at work and another copy was put in the
place of the corpus, the log that was left would undo what the copy holds. But a file that
has a log says so in its header, and a corpus at rest has none: so a log beside a file that
is in rollback mode is another's (https://www.sqlite.org/fileformat2.html, 1.3.3: the
header says 2 from before the log is made until after it is gone).

Contents: refuse_unfit, is_foreign.
"""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

from melodex.errors import CorpusError

__all__ = ["is_foreign", "refuse_unfit"]

JOURNALS = ("-wal", "-shm", "-journal")
"""As ``melodex.files`` has them, which loads what a query does without."""

MODES = 18
"""Offset of the two bytes that say how a file is written and read (ibid.)."""

ROLLBACK = b"\1\1"

LOOKS, LOOK_SECONDS = 3, 0.02
"""Who changes the mode between two looks makes no log of theirs foreign; it takes less
than a millisecond."""

HELD: dict[tuple[int, int], int] = {}
"""Open files by device and number. They stay open: to close a file would let go of all
locks that SQLite holds on it in this process (POSIX, ``fcntl``)."""


def refuse_unfit(path: Path) -> None:
    """Refuse what cannot be a corpus, or cannot be opened with what stands beside it.

    What is not there, a folder, and what cannot be looked at is left to others to refuse.

    Raises
    ------
    CorpusError
        If the file or a journal beside it is no regular file, or if the journal is that
        of another file.
    """
    place = os.path.realpath(path)
    for name in ("", *JOURNALS):
        try:
            mode = os.stat(f"{place}{name}").st_mode  # noqa: PTH116 (cold path)
        except (OSError, ValueError):
            continue
        if stat.S_ISREG(mode) or (not name and stat.S_ISDIR(mode)):
            continue
        if name:
            raise CorpusError(
                f"what stands beside it ({Path(place).name}{name}) is no regular file",
                where=str(path),
                hint="take it away, then try again; nothing was changed",
            )
        raise CorpusError(
            "this is no regular file, and a corpus is one",
            where=str(path),
            hint="name another file",
        )
    if is_foreign(place):
        raise CorpusError(
            f"the journal beside it ({Path(place).name}-wal) belongs to another "
            "state of the corpus: a copy was put in the place of one that was at work",
            where=str(path),
            hint="move that journal elsewhere, then try again; nothing was changed",
        )


def is_foreign(place: str) -> bool:
    """Whether the log beside a file cannot be its own; ``place`` is no link."""
    for look in range(LOOKS):
        if look:
            time.sleep(LOOK_SECONDS)
        try:
            if not os.stat(f"{place}-wal").st_size:  # noqa: PTH116
                return False
            if modes_of(place) != ROLLBACK:
                return False
        except OSError:
            return False
    return True


def modes_of(place: str) -> bytes:
    """The two bytes of a file's header that say how it is written and read."""
    found = os.stat(place)  # noqa: PTH116
    key = (found.st_dev, found.st_ino)
    if key not in HELD:
        HELD[key] = os.open(place, os.O_RDONLY | os.O_CLOEXEC)
    return os.pread(HELD[key], 2, MODES)
