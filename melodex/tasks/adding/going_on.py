"""Adding to shards that was stopped, gone on with: what was read is not read again.

Conventions: in the folder of shards, a file
(:data:`~melodex.corpus.shards.index.RUN_NAME`) says what was asked for, and then names each
file that is wholly in the corpus, by eight bytes of a digest of its place, size and time,
written when the commit is on disk. The same command goes on behind it, another begins anew,
and where all is done the file goes. A file that was changed meanwhile is read; whoever
changes the corpus otherwise ends the run. A tune that is there already is unchanged in any
case: this saves the reading.

Contents: Run.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
from array import array
from bisect import bisect_left
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from melodex.corpus.faults import faults_named
from melodex.corpus.rows import place_path
from melodex.corpus.shards.index import RUN_NAME

__all__ = ["Run"]

MARK_BYTES = 8
"""Of a digest: among a million files two agree with a chance of 3 in 100 million."""


class Run:
    """A run of adding, perhaps one that goes on with another; use ``with``.

    Parameters
    ----------
    folder : Path
        Of the shards.
    asked : str
        What was asked for, and by which version; the same text goes on.
    """

    def __init__(self, folder: Path, asked: str) -> None:
        self.place = folder / RUN_NAME
        self.head = hashlib.sha256(asked.encode("utf-8", "backslashreplace")).digest()
        self.known: array[int] = array("Q")
        self.coming: dict[str, int] = {}
        self.file: BinaryIO | None = None

    def __enter__(self) -> Run:
        with faults_named(self.place):
            handle = os.open(
                self.place, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o666
            )
        file = os.fdopen(handle, "r+b", buffering=0)
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            # Somebody else is adding, or there are no locks here: everything is read.
            file.close()
            return self
        self.file = file
        if file.read(len(self.head)) == self.head:
            kept = file.read()
            whole = len(kept) - len(kept) % MARK_BYTES
            self.known.frombytes(kept[:whole])
            self.known = array("Q", sorted(self.known))
            file.seek(len(self.head) + whole)
        else:
            file.seek(0)
            file.write(self.head)
        file.truncate()
        return self

    def __exit__(self, *_: object) -> None:
        if self.file:
            self.file.close()

    def has(self, path: Path) -> bool:
        """Whether a file, as it is now, is in the corpus from before."""
        place = place_path(str(path))
        try:
            found = path.stat()
        except (OSError, ValueError):
            return False
        told = f"{place}\0{found.st_size}\0{found.st_mtime_ns}".encode()
        mark = int.from_bytes(hashlib.sha256(told).digest()[:MARK_BYTES], "little")
        at = bisect_left(self.known, mark)
        if at < len(self.known) and self.known[at] == mark:
            return True
        self.coming[place] = mark
        return False

    def note(self, place: str) -> None:
        """Keep that a file is wholly in the corpus."""
        mark = self.coming.pop(place, None)
        if self.file and mark is not None:
            # What cannot be kept is read again.
            with suppress(OSError):
                self.file.write(array("Q", [mark]).tobytes())

    def finish(self) -> None:
        """Everything that was asked for is done."""
        if self.file:
            with suppress(OSError):
                self.place.unlink()
