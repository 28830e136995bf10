"""Standard output that says in our words when it cannot be written.

Conventions: a full disk behind standard output is no fault of ours and no traceback:
it is named, once; what Python would still write while it ends is then let go. A pipe
whose reader has gone stays a ``BrokenPipeError``.

Contents: name_faults.
"""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

from melodex.errors import PresentationError

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

__all__ = ["name_faults"]


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
