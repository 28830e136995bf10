"""Files made into rows: here, or by several processes at once.

Conventions: files, and the parts of a large one, come out in the order in which they
went in, however many processes work on them, so that a corpus does not depend on their
number. Processes are started afresh (not forked: a fork would share the corpus file
that is open), and only for so much work that starting them pays. A process ends by
itself when the one that started it is gone, and leaves Ctrl-C to it. When no more is
wanted it ends what it has begun and begins nothing else: gone in the middle of handing
over, it would be waited for without end. If one is killed from outside, for want of
memory say, what it had to read is read here.

Contents: made_into_rows, usual_workers, WORTH_STARTING_BYTES.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Generator, Iterable, Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.writing.preparing import PreparedFile
from melodex.reading import Choice
from melodex.tasks.adding.budget import limit_memory
from melodex.tasks.adding.parts import LARGE_BYTES, Job, jobs_of_file, numbered

if TYPE_CHECKING:
    from concurrent.futures import Future
    from multiprocessing.connection import Connection
    from multiprocessing.synchronize import Event

__all__ = ["WORTH_STARTING_BYTES", "made_into_rows", "usual_workers"]

WORTH_STARTING_BYTES = 100_000
"""Less, a few hundred tunes of ABC, is read sooner than processes start."""
MOST_WORKERS = 6
"""More than write a tune while one process reads one; see the benchmark of adding."""
AHEAD_FOR_EACH = 3
"""Files or parts that wait for each process: enough to keep it busy, few enough to hold."""


def usual_workers() -> int:
    """How many processes read by default: one for each processor that we may use."""
    if hasattr(os, "sched_getaffinity"):
        return min(len(os.sched_getaffinity(0)), MOST_WORKERS)
    return min(os.cpu_count() or 1, MOST_WORKERS)


def made_into_rows(
    paths: Sequence[Path], collection: str, choice: Choice, *, workers: int = 1
) -> Generator[PreparedFile, None, None]:
    """Read files and make them into rows, in order, large ABC files part by part.

    Parameters
    ----------
    paths : sequence of Path
        Files.
    collection : str
        Name of the collection; empty to take it from each file.
    choice : Choice
        How they are read.
    workers : int
        So many processes at most; 1 for none beside this one.
    """
    jobs = (job for path in paths for job in jobs_of_file(path, collection, choice))
    size = bytes_of(paths)
    # One file that is not large is one thing to do; of large ones nobody knows yet.
    workers = min(workers, len(paths) + size // LARGE_BYTES)
    if workers < 2 or size < WORTH_STARTING_BYTES:
        yield from numbered(job.done() for job in jobs)
    else:
        yield from numbered(made_by_many(jobs, workers))


def bytes_of(paths: Iterable[Path]) -> int:
    """Sum of the sizes of files, those that cannot be seen left out."""
    total = 0
    for path in paths:
        try:
            total += path.stat().st_size
        except OSError:
            continue
    return total


def made_by_many(jobs: Iterable[Job], workers: int) -> Generator[PreparedFile, None, None]:
    """Files made into rows by several processes, in the order of the files."""
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    context = get_context("spawn")
    ours, theirs = context.Pipe()
    enough = context.Event()
    pool = ProcessPoolExecutor(
        workers, context, initializer=end_with_parent, initargs=(theirs, enough)
    )
    jobs = iter(jobs)
    coming: deque[tuple[Job, Future[PreparedFile]]] = deque()
    taken: list[Job] = []
    try:
        for job in jobs:
            taken = [job]
            coming.append((job, pool.submit(unless_enough, job)))
            taken = []
            if len(coming) >= AHEAD_FOR_EACH * workers:
                yield coming[0][1].result()
                coming.popleft()
        while coming:
            yield coming[0][1].result()
            coming.popleft()
    except BrokenProcessPool:
        # Handing the rest to new processes might kill them too.
        waiting = [job for job, _ in coming]
        yield from (job.done() for job in chain(waiting, taken, jobs))
    finally:
        enough.set()
        pool.shutdown(wait=True, cancel_futures=True)
        ours.close()


class Wanted:
    """In a new process: what tells that no more is wanted."""

    enough: Event | None = None


def unless_enough(job: Job) -> PreparedFile:
    """Do a job, unless no more is wanted by now."""
    if Wanted.enough is not None and Wanted.enough.is_set():
        raise InterruptedError("no more is wanted")
    return job.done()


def end_with_parent(pipe: Connection, enough: Event) -> None:
    """In a new process: leave Ctrl-C to the one that started us, and end with it."""
    import signal
    import threading

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    limit_memory()
    Wanted.enough = enough
    threading.Thread(target=end_at_close, args=(pipe,), daemon=True).start()


def end_at_close(pipe: Connection) -> None:
    """Wait until the other end of a pipe is closed or gone, then end without ado."""
    pipe.poll(None)
    os._exit(1)
