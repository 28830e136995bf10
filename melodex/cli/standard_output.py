"""Standard output that says in our words when it cannot be written.

Conventions: a full disk behind standard output is no fault of ours and no traceback:
it is named, once; what Python would still write while it ends is then let go. A pipe
whose reader has gone stays a ``BrokenPipeError``.

What is said is never written into the corpus, whatever a shell was told.

Contents: name_faults, refuse_corpus_behind.
"""

from __future__ import annotations

import io
import os
import stat
import sys
from typing import TYPE_CHECKING

from melodex.errors import PresentationError

if TYPE_CHECKING:
    from pathlib import Path

    from _typeshed import ReadableBuffer

__all__ = ["name_faults", "refuse_corpus_behind"]

STREAMS = {2: "standard error", 1: "standard output"}


class Named(io.FileIO):
    """A file whose faults are ours, and which after one takes everything for written."""

    has_failed = False

    def write(self, data: ReadableBuffer, /) -> int:
        """Write some bytes.

        Raises
        ------
        PresentationError
            If the system refuses, for the first time.
        """
        if self.has_failed:
            return memoryview(data).nbytes
        try:
            return super().write(data)
        except BrokenPipeError:
            self.has_failed = True
            raise
        except OSError as error:
            self.has_failed = True
            raise PresentationError(
                f"standard output cannot be written: {error.strerror}",
                hint="ask again where there is room",
            ) from error


def name_faults() -> None:
    """Put a standard output that names its faults in place of Python's own."""
    before = sys.stdout
    if not isinstance(before, io.TextIOWrapper):
        return
    before.flush()
    sys.stdout = io.TextIOWrapper(
        io.BufferedWriter(Named(before.fileno(), "wb", closefd=False)),
        encoding=before.encoding,
        errors=before.errors,
        line_buffering=before.line_buffering,
    )


def refuse_corpus_behind(corpus: Path) -> None:
    """Refuse to say anything where that would be written into the corpus.

    Raises
    ------
    PresentationError
        If standard output or standard error leads to the corpus.
    """
    try:
        found = os.stat(corpus)  # noqa: PTH116 (cold path)
    except (OSError, ValueError):
        return
    for stream, name in STREAMS.items():
        try:
            behind = os.fstat(stream)
        except OSError:
            continue
        if not stat.S_ISREG(behind.st_mode) or not os.path.samestat(found, behind):
            continue
        if stream == 2:
            sys.stderr = sys.stdout
        raise PresentationError(
            f"{name} leads to the corpus itself"
            + ("" if found.st_size else ", which was emptied to write there"),
            where=str(corpus),
            hint="send it to another file; melodex has written nothing"
            if found.st_size
            else "put a backup in its place; melodex has written nothing",
        )
