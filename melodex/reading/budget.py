"""What one file may cost: so much of the processor, so much memory.

Conventions: limits are far above what the largest honest file takes, and counted in the
time of the processor, so that a machine that is busy refuses nothing. A file that passes
one is refused by name, with the reason, and the next one is read. Time is watched twice
in a process that reads: by a timer, which Python hears between two of its own steps, and
a little later by the system, which ends a process in the middle of anything.

Contents: MOST_MEMORY, MOST_SECONDS, end_after, held_bytes, limit_memory, out_of_memory,
out_of_time, within_time.
"""

from __future__ import annotations

import math
import resource
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from melodex.errors import HostileInputError

__all__ = [
    "MOST_MEMORY",
    "MOST_SECONDS",
    "end_after",
    "held_bytes",
    "limit_memory",
    "out_of_memory",
    "out_of_time",
    "within_time",
]

MOST_SECONDS = 120.0
"""Of the processor, for a file or a part of a large one; 24,000 notes with a chord on each
take 4, and time grows with their number."""

AGAIN_SECONDS = 1.0
"""A reader that takes the fault for that of one tune is reminded so often."""

GRACE_SECONDS = 2.0
"""Between the timer and the end of the process, for what Python does not interrupt."""

MOST_MEMORY = 2 << 30
"""Bytes of addresses that a process that only reads may take beyond those it began with.

A copy of a large process begins with all that the first one had reserved, stacks of threads
and libraries of numbers, of which it uses next to nothing.
"""

HELD = Path("/proc/self/statm")
"""Where Linux says what a process holds (proc(5)): addresses come first, in pages."""

PART_IT = "part it into several files"


READING, WORKING = "reading it", "working on it"
"""What takes too much: reading a file, or what a command does with it after that."""


def out_of_time(
    seconds: float | None = None, *, what: str = READING, where: str = ""
) -> HostileInputError:
    """The fault of a file that takes more than so many seconds."""
    seconds = MOST_SECONDS if seconds is None else seconds
    said = f"{what} takes more than {seconds:g} seconds"
    return HostileInputError(said, where=where, limit=seconds, hint=PART_IT)


def out_of_memory(*, what: str = READING, where: str = "") -> HostileInputError:
    """The fault of a file that takes more memory than a process may have."""
    said = f"{what} takes more memory than one file may"
    return HostileInputError(said, where=where, hint=PART_IT)


@contextmanager
def within_time(
    seconds: float | None = None, *, what: str = READING, where: str = ""
) -> Iterator[None]:
    """Stop what is done here when it has taken so much of the processor's time.

    In another thread than the main one nothing is stopped: signals come to that alone.

    Parameters
    ----------
    seconds : float, optional
        :data:`MOST_SECONDS` if not given.
    what, where : str
        What takes the time, and the name of the file, for what is said.

    Raises
    ------
    HostileInputError
        When the time is up.
    """
    seconds = MOST_SECONDS if seconds is None else seconds
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, frame: FrameType | None) -> None:
        raise out_of_time(seconds, what=what, where=where)

    before = signal.signal(signal.SIGVTALRM, stop)
    try:
        signal.setitimer(signal.ITIMER_VIRTUAL, seconds, AGAIN_SECONDS)
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


def end_after(seconds: float | None = None) -> None:
    """Have the system end this process when it has taken so much more of the processor.

    A process that is ended so leaves no image of its memory behind.

    Parameters
    ----------
    seconds : float, optional
        :data:`MOST_SECONDS` and :data:`GRACE_SECONDS` if not given.
    """
    seconds = MOST_SECONDS + GRACE_SECONDS if seconds is None else seconds
    used = resource.getrusage(resource.RUSAGE_SELF)
    lower(resource.RLIMIT_CPU, math.ceil(used.ru_utime + used.ru_stime + seconds))
    lower(resource.RLIMIT_CORE, 0)


def limit_memory() -> None:
    """Let this process, which only reads, take no more than :data:`MOST_MEMORY` anew.

    Beyond it Python raises MemoryError.
    """
    lower(resource.RLIMIT_AS, held_bytes() + MOST_MEMORY)


def held_bytes() -> int:
    """The addresses that this process holds; none where the system does not say."""
    try:
        # As bytes: a codec would be imported, which who begins here may not be able to.
        pages = HELD.read_bytes().split()[0]
    except OSError:
        return 0
    return int(pages) * resource.getpagesize()


def lower(what: int, wanted: int) -> None:
    """Set a limit of this process, as far as the system's own limit allows."""
    _, most = resource.getrlimit(what)
    is_free = most == resource.RLIM_INFINITY
    resource.setrlimit(what, (wanted if is_free else min(wanted, most), most))
