"""Work dealt out to processes of this machine, and results kept to be gone on with.

Conventions: what is dealt is a function at the head of a module and one argument; both
travel by pickle between processes that run the same melodex. Results come in the order of
the arguments, however many work on them and whichever is done first. A process that ends
in the middle of its work is replaced, and what it was at is done again. Ctrl-C ends all
that was sent.

Contents: Dealer, Here, Processes, Kept, unreadable, dealt_by.
"""

from __future__ import annotations

import json
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Protocol, TypeVar

from melodex.errors import REMEDIES, WorkersError
from melodex.files import write_whole
from melodex.matching.engine.choice import one_thread

__all__ = ["Dealer", "Here", "Kept", "Processes", "Progress", "dealt_by", "unreadable"]

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[int, int], None]

MOST_ENDS = 3
"""How often processes may end in the middle of one round of work; then it is the work."""


class Dealer(Protocol):
    """Who deals work out."""

    @property
    def workers(self) -> int:
        """How many work at once."""

    def deal(
        self,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        progress: Progress | None = None,
        done: Callable[[int, Any], None] | None = None,
    ) -> list[Any]:
        """Call a function with each of some things; results in the order of the things.

        ``progress`` is called with how many are done and of how many, ``done`` with the
        place of each and its result as soon as it is there.
        """

    def each(
        self,
        work: Callable[[Any, Any], Any],
        places: Sequence[Any],
        arguments: Sequence[Any],
    ) -> list[Any]:
        """Call a function with each of some places and its argument.

        A place goes to the same worker each time, which may keep open what is there, and
        to another where that worker is lost. Results are in the order of the places.
        """


class Here:
    """This process alone."""

    workers = 1

    def deal(
        self,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        progress: Progress | None = None,
        done: Callable[[int, Any], None] | None = None,
    ) -> list[Any]:
        """As of a dealer."""
        results = []
        for place, item in enumerate(items):
            results.append(work(item))
            if done:
                done(place, results[-1])
            if progress:
                progress(place + 1, len(items))
        return results

    def each(
        self,
        work: Callable[[Any, Any], Any],
        places: Sequence[Any],
        arguments: Sequence[Any],
    ) -> list[Any]:
        """As of a dealer."""
        return [work(*both) for both in zip(places, arguments, strict=True)]


class Processes:
    """Processes of this machine.

    Parameters
    ----------
    workers : int
        How many.
    """

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self.pool = begun(workers)
        # Each a pool of one process, so that a place finds the one that holds it.
        self.seats: list[ProcessPoolExecutor] = []

    def close(self) -> None:
        """End all processes, and what they are at."""
        for pool in (self.pool, *self.seats):
            ended(pool)
        self.seats.clear()

    def each(
        self,
        work: Callable[[Any, Any], Any],
        places: Sequence[Any],
        arguments: Sequence[Any],
    ) -> list[Any]:
        """As of a dealer."""
        while len(self.seats) < min(self.workers, len(places)):
            self.seats.append(begun(1))
        found: dict[int, Any] = {}
        ends = 0
        while left := [at for at in range(len(places)) if at not in found]:
            futures: dict[Future[Any], int] = {}
            try:
                for at in left:
                    seat = self.seats[at % len(self.seats)]
                    futures[seat.submit(work, places[at], arguments[at])] = at
                for future, at in futures.items():
                    found[at] = future.result()
            except BrokenProcessPool as error:
                ends += 1
                if ends > MOST_ENDS:
                    raise too_many_ends(ends) from error
                at = next(at for at in left if at not in found)
                ended(self.seats[at % len(self.seats)])
                self.seats[at % len(self.seats)] = begun(1)
            except BaseException:
                cancel(futures)
                raise
        return [found[at] for at in range(len(places))]

    def deal(
        self,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        progress: Progress | None = None,
        done: Callable[[int, Any], None] | None = None,
    ) -> list[Any]:
        """As of a dealer."""
        found: dict[int, Any] = {}
        ends = 0
        while len(found) < len(items):
            left = [place for place in range(len(items)) if place not in found]
            futures = {self.pool.submit(work, items[place]): place for place in left}
            try:
                for future in as_completed(futures):
                    place = futures[future]
                    found[place] = future.result()
                    if done:
                        done(place, found[place])
                    if progress:
                        progress(len(found), len(items))
            except BrokenProcessPool as error:
                ends += 1
                ended(self.pool)
                if ends > MOST_ENDS:
                    raise too_many_ends(ends) from error
                self.pool = begun(self.workers)
            except BaseException:
                cancel(futures)
                raise
        return [found[place] for place in range(len(items))]


def begun(workers: int) -> ProcessPoolExecutor:
    """Processes that have nothing to do yet; each begins with its first work."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["melodex.matching.dealing.dealer"])
    return ProcessPoolExecutor(workers, context, one_of_several)


def ended(pool: ProcessPoolExecutor) -> None:
    """End the processes of a pool, and what they are at."""
    running = list((getattr(pool, "_processes", None) or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for process in running:
        with suppress(Exception):
            process.terminate()


def too_many_ends(ends: int) -> WorkersError:
    """That processes end over the same work again and again."""
    return WorkersError(
        f"processes ended {ends} times in the middle of their work",
        hint=REMEDIES["fewer workers"],
    )


def cancel(futures: dict[Future[Any], int]) -> None:
    """Take back what nobody has begun."""
    for future in futures:
        future.cancel()


def one_of_several() -> None:
    """Be one of several: work in one thread, and leave Ctrl-C to who began them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    one_thread()


class Kept:
    """A dealer that keeps results, and does nothing twice that it finds kept.

    Parameters
    ----------
    dealer : Dealer
        Who deals the work out.
    folder : Path
        Where results are kept; made where it is not there.
    name : str
        Of the work: another name for other work, or for work on other things.
    """

    def __init__(self, dealer: Dealer, folder: Path, name: str) -> None:
        self.dealer = dealer
        self.folder = folder
        self.name = name

    @property
    def workers(self) -> int:
        """How many work at once."""
        return self.dealer.workers

    def deal(
        self,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        progress: Progress | None = None,
        done: Callable[[int, Any], None] | None = None,
    ) -> list[Any]:
        """As of a dealer; results are what JSON can hold."""
        stem = f"{self.name}-{work.__name__.replace('_', '-')}"
        found = {place: self.read(f"{stem}-{place}.json") for place in range(len(items))}
        held = {place: value for place, value in found.items() if value is not None}
        left = [place for place in found if place not in held]

        def keep(at: int, result: Any) -> None:
            place = left[at]
            text = json.dumps({"result": result})
            write_whole(text.encode("utf-8"), self.folder / f"{stem}-{place}.json")
            if done:
                done(place, result)

        def told(count: int, _total: int) -> None:
            if progress:
                progress(len(held) + count, len(items))

        made = self.dealer.deal(work, [items[place] for place in left], told, keep)
        results = {place: value["result"] for place, value in held.items()}
        results |= dict(zip(left, made, strict=True))
        return [results[place] for place in range(len(items))]

    def each(
        self,
        work: Callable[[Any, Any], Any],
        places: Sequence[Any],
        arguments: Sequence[Any],
    ) -> list[Any]:
        """As of a dealer; what is asked of places is kept by nobody."""
        return self.dealer.each(work, places, arguments)

    def read(self, name: str) -> dict[str, Any] | None:
        """A result that is kept; what cannot be read is none."""
        try:
            value = json.loads((self.folder / name).read_bytes())
        except (OSError, ValueError, RecursionError):
            return None
        return value if isinstance(value, dict) and "result" in value else None


def unreadable(place: Path) -> WorkersError:
    """That what is kept at a place is not what was written there."""
    return WorkersError(
        "what was kept of the work cannot be read",
        where=str(place),
        hint="delete the folder of the work, and start again",
    )


@contextmanager
def dealt_by(workers: int | None, scheduler: str) -> Iterator[Dealer]:
    """Whoever is to work: this process, so many of this machine, or a cluster.

    Raises
    ------
    WorkersError
        If both are asked for, or the cluster cannot be had.
    """
    if workers and scheduler:
        raise WorkersError(
            "processes of this machine and a cluster were both asked for",
            hint="name one of them",
        )
    if scheduler:
        from melodex.matching.dealing.cluster import Cluster

        cluster = Cluster(scheduler)
        try:
            yield cluster
        finally:
            cluster.close()
        return
    if not workers or workers == 1:
        yield Here()
        return
    processes = Processes(workers)
    try:
        yield processes
    finally:
        processes.close()
