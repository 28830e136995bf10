"""What one file may cost: so much of the processor, so much memory.

Conventions: limits are far above what the largest honest file takes, and counted in the
time of the processor, so that a machine that is busy refuses nothing. A file that passes
one is refused by name, with the reason, and the next one is read. Time is watched where
the main thread reads; memory where a process of its own does.

Contents: MOST_SECONDS, MOST_MEMORY, within_time, limit_memory.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from melodex.errors import HostileInputError

__all__ = ["MOST_MEMORY", "MOST_SECONDS", "limit_memory", "within_time"]

MOST_SECONDS = 120.0
"""Of the processor, for a file or a part of a large one; 24,000 notes with a chord on each
take 4, and time grows with their number."""

AGAIN_SECONDS = 1.0
"""A reader that takes the fault for that of one tune is reminded so often."""

MOST_MEMORY = 2 << 30
"""Bytes of addresses that a process that only reads may reach."""


@contextmanager
def within_time(seconds: float | None = None) -> Iterator[None]:
    """Stop what is done here when it has taken so much of the processor's time.

    Where signals cannot do it, in another thread or on a system without timers of
    the processor's time, nothing is stopped.

    Parameters
    ----------
    seconds : float, optional
        :data:`MOST_SECONDS` if not given.

    Raises
    ------
    HostileInputError
        When the time is up.
    """
    seconds = MOST_SECONDS if seconds is None else seconds
    is_main = threading.current_thread() is threading.main_thread()
    if not is_main or not hasattr(signal, "ITIMER_VIRTUAL"):
        yield
        return

    def stop(number: int, frame: FrameType | None) -> None:
        raise HostileInputError(
            f"reading it takes more than {seconds:g} seconds",
            hint="part it into several files",
        )

    before = signal.signal(signal.SIGVTALRM, stop)
    try:
        signal.setitimer(signal.ITIMER_VIRTUAL, seconds, AGAIN_SECONDS)
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


def limit_memory() -> None:
    """Let this process, which only reads, reach no more than :data:`MOST_MEMORY`.

    Beyond it Python raises MemoryError. Not every system knows such a limit.
    """
    try:
        import resource
    except ImportError:
        return
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    wanted = MOST_MEMORY if most == resource.RLIM_INFINITY else min(MOST_MEMORY, most)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, most))
