"""Files made into rows, by a process that can be ended or by several at once.

Conventions: files, and the parts of a large one, come out in the order in which they
went in, however many processes work on them, so that a corpus does not depend on their
number. More than one is started only for so much work that starting them pays. Nothing
is read in this process: a file that makes a process end, by its limits or otherwise, is
refused by name and costs the others nothing (:mod:`melodex.reading.apart`).

Contents: made_into_rows, made_apart, usual_workers, WORTH_STARTING_BYTES.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Generator, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue

from melodex.corpus.writing.preparing import PreparedFile
from melodex.errors import HostileInputError
from melodex.reading import Choice
from melodex.reading.apart import Apart
from melodex.tasks.adding.parts import (
    LARGE_BYTES,
    Job,
    job_of,
    numbered,
    parts_of,
)
from melodex.tasks.adding.walking import Files, Survey

__all__ = ["WORTH_STARTING_BYTES", "made_apart", "made_into_rows", "usual_workers"]

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
    paths: Iterable[Path],
    collection: str,
    choice: Choice,
    survey: Survey | None = None,
    *,
    workers: int = 1,
) -> Generator[PreparedFile, None, None]:
    """Read files and make them into rows, in order, large ABC files part by part.

    Parameters
    ----------
    paths : iterable of Path
        Files; gone through as they are read.
    collection : str
        Name of the collection; empty to take it from each file.
    choice : Choice
        How they are read.
    survey : Survey, optional
        How much there is of them; by default they are counted, and are a list then.
    workers : int
        So many processes at most beside this one.
    """
    if survey is None:
        paths = list(paths)
        survey = Files(paths).survey()
    # One file that is not large is one thing to do; of large ones nobody knows yet.
    workers = min(workers, survey.count + survey.byte_count // LARGE_BYTES)
    if survey.byte_count < WORTH_STARTING_BYTES:
        workers = 1
    jobs = (job_of(path, collection, choice) for path in paths)
    return numbered(made_apart(jobs, max(workers, 1), has_large=survey.has_large))


def made_apart(
    files: Iterable[Job], workers: int = 1, *, has_large: bool
) -> Generator[PreparedFile, None, None]:
    """Files made into rows by processes of their own, in the order of the files.

    Where one of them is large, another process looks through it first.
    """
    crew = [Apart() for _ in range(workers)]
    free: SimpleQueue[Apart] = SimpleQueue()
    for apart in crew:
        # Before there are threads, starting one is quick.
        apart.start()
        free.put(apart)
    surveyor = Apart()
    if has_large:
        surveyor.start()
    coming: deque[Future[PreparedFile]] = deque()
    with surveyor, ThreadPoolExecutor(workers) as pool:
        try:
            for job in (part for file in files for part in parts_of(file, surveyor)):
                coming.append(pool.submit(made_by_any, free, job))
                if len(coming) >= AHEAD_FOR_EACH * workers:
                    yield coming.popleft().result()
            while coming:
                yield coming.popleft().result()
        finally:
            for apart in crew:
                apart.stop()
            pool.shutdown(wait=True, cancel_futures=True)
            for apart in crew:
                apart.close()


def made_by_any(free: SimpleQueue[Apart], job: Job) -> PreparedFile:
    """Have a process that is free do a job; refuse what it cannot do in bounds."""
    if job.fault:
        return job.refused(job.fault)
    apart = free.get()
    try:
        return apart.do(Job.done, job)
    except HostileInputError as error:
        return job.refused(error)
    finally:
        free.put(apart)
