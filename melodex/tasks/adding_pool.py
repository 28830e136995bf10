"""Files made into rows: here, or by several processes at once.

Conventions: files come out in the order in which they went in, however many processes
work on them, so that a corpus does not depend on their number. Processes are started
afresh (not forked: a fork would share the corpus file that is open), and only for so
much work that starting them pays. A process ends by itself when the one that started
it is gone, and leaves Ctrl-C to it. If one is killed from outside, for want of memory
say, the files that it had are read here.

Contents: made_into_rows, usual_workers, WORTH_STARTING_BYTES.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.preparing import PreparedFile, prepared
from melodex.corpus.rows import place_path
from melodex.errors import ReadingError
from melodex.reading import Choice, FileReading, Refusal, read_path

if TYPE_CHECKING:
    from concurrent.futures import Future
    from multiprocessing.connection import Connection

__all__ = ["WORTH_STARTING_BYTES", "made_into_rows", "usual_workers"]

WORTH_STARTING_BYTES = 100_000
"""Less, a few hundred tunes of ABC, is read sooner than processes start."""
MOST_WORKERS = 6
"""More than write a tune while one process reads one; see the benchmark of adding."""
AHEAD_FOR_EACH = 3
"""Files that wait for each process: enough to keep it busy, few enough to hold."""

Maker = Callable[[Path, str], PreparedFile]


def usual_workers() -> int:
    """How many processes read by default: one for each processor that we may use."""
    if hasattr(os, "sched_getaffinity"):
        return min(len(os.sched_getaffinity(0)), MOST_WORKERS)
    return min(os.cpu_count() or 1, MOST_WORKERS)


def made_into_rows(
    paths: Sequence[Path], collection: str, choice: Choice, *, workers: int = 1
) -> Generator[PreparedFile, None, None]:
    """Read files and make them into rows, in order.

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
    make = partial(rows_of, collection=collection, choice=choice)
    jobs = [(path, place_path(str(path))) for path in paths]
    if min(workers, len(paths)) < 2 or bytes_of(paths) < WORTH_STARTING_BYTES:
        yield from (make(*job) for job in jobs)
    else:
        yield from made_by_many(make, jobs, min(workers, len(paths)))


def bytes_of(paths: Iterable[Path]) -> int:
    """Sum of the sizes of files, those that cannot be seen left out."""
    total = 0
    for path in paths:
        try:
            total += path.stat().st_size
        except OSError:
            continue
    return total


def rows_of(path: Path, place: str, *, collection: str, choice: Choice) -> PreparedFile:
    """One file made into rows; one that cannot be opened is refused like any other."""
    try:
        reading = read_path(path, choice)
    except ReadingError as error:
        refusal = Refusal(str(path), error.what, hint=error.hint)
        reading = FileReading(str(path), refusals=(refusal,))
    return prepared(reading, collection, choice, place)


def made_by_many(
    make: Maker, jobs: Sequence[tuple[Path, str]], workers: int
) -> Iterator[PreparedFile]:
    """Files made into rows by several processes, in the order of the files."""
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    context = get_context("spawn")
    ours, theirs = context.Pipe()
    pool = ProcessPoolExecutor(
        workers, context, initializer=end_with_parent, initargs=(theirs,)
    )
    coming: deque[Future[PreparedFile]] = deque()
    done = 0
    try:
        for job in jobs:
            coming.append(pool.submit(make, *job))
            if len(coming) >= AHEAD_FOR_EACH * workers:
                yield coming.popleft().result()
                done += 1
        while coming:
            yield coming.popleft().result()
            done += 1
    except BrokenProcessPool:
        # Handing the rest to new processes might kill them too.
        yield from (make(*job) for job in jobs[done:])
    finally:
        # Whoever is still at work ends with this; nothing of theirs is wanted.
        ours.close()
        pool.shutdown(wait=True, cancel_futures=True)


def end_with_parent(pipe: Connection) -> None:
    """In a new process: leave Ctrl-C to the one that started us, and end with it."""
    import signal
    import threading

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=end_at_close, args=(pipe,), daemon=True).start()


def end_at_close(pipe: Connection) -> None:
    """Wait until the other end of a pipe is closed or gone, then end without ado."""
    pipe.poll(None)
    os._exit(1)
