"""Work dealt out to an existing Dask cluster: the home of dask.distributed.

Conventions: the cluster is somebody else's: nothing is started or ended on it but what was
sent. A worker that is lost in the middle of its work is no fault: the scheduler gives that
to another (https://distributed.dask.org/en/stable/resilience.html). What cannot go on is
told in one sentence: no scheduler at the address, none of its workers there, a worker with
another melodex, a scheduler that is gone.

Work is sent as tasks, which the scheduler gives to whoever is free. What is asked of a
place goes to the worker that holds it, by a call beside the tasks
(https://distributed.dask.org/en/stable/api.html, ``Client.run``), since a task costs some
ten milliseconds on its way; there it waits its turn among the tasks.

Contents: Cluster, PATIENCE_VARIABLE.
"""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import chain
from queue import Empty, SimpleQueue
from threading import Thread
from typing import TYPE_CHECKING, Any

from melodex import __version__
from melodex.errors import REMEDIES, SettingsError, WorkersError

if TYPE_CHECKING:
    from distributed import Client, Future, Worker

    from melodex.matching.evidence.kinship import Progress

__all__ = ["PATIENCE_VARIABLE", "Cluster"]

ANSWER_SECONDS = 10.0
"""How long a scheduler may take to answer, and its first worker to be there, where
:data:`PATIENCE_VARIABLE` does not say."""

BETWEEN_LOOKS_SECONDS = 0.1
"""How long to wait before a scheduler is asked again whether a worker has come."""

QUIET = (
    "distributed",
    "distributed.client",
    "distributed.core",
    "distributed.protocol.core",
    "tornado.application",
)
"""The loggers of Dask, and of the loop in which it waits for results: where the scheduler
is gone in the middle of that, each waiting call would be told of with all its lines."""

MOST_LOSSES = 3
"""How often the worker of a place may be lost over one question; then that is at fault."""

PATIENCE_VARIABLE = "MELODEX_PATIENCE"
"""The variable of the environment that says it in seconds, for a machine under load."""


class Cluster:
    """A Dask cluster that is there already.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://host:8786`` or ``host:8786``.

    Raises
    ------
    WorkersError
        If there is no scheduler, it has no workers, or one of them runs another melodex.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self.patience = patience()
        self.client = connected(address, self.patience)
        self.seats: dict[Any, str] = {}
        """The worker that holds each place."""
        try:
            self.workers = len(self.looked_at())
        except BaseException:
            self.close()
            raise

    def looked_at(self) -> list[str]:
        """The addresses of the workers, all with this melodex.

        One that ended a moment ago may still be known to the scheduler: it is asked with
        the others, does not answer, and is left out.
        """
        told: dict[str, Any] = {}
        lost = lost_signs()
        end = time.monotonic() + self.patience
        try:
            while not told and self.client.sync(self.has_workers):
                said = self.run(ready_there)
                told = {at: each for at, each in said.items() if not isinstance(each, lost)}
                if not told and time.monotonic() > end:
                    break
                if not told:
                    time.sleep(BETWEEN_LOOKS_SECONDS)
        except OSError as error:
            raise self.gone() from error
        if not told:
            raise WorkersError(
                "the scheduler has no workers",
                where=self.address,
                hint=REMEDIES["start workers"],
            )
        for worker, version in sorted(told.items()):
            if version == __version__:
                continue
            runs = f"melodex {version}" if isinstance(version, str) else "no melodex"
            raise WorkersError(
                f"the worker {worker} runs {runs}, and here is melodex {__version__}",
                where=self.address,
                hint=REMEDIES["same version"],
            )
        return sorted(told)

    def run(self, work: Callable[..., Any], *arguments: Any) -> dict[str, Any]:
        """What a function gives at each worker, beside all tasks; errors as they are.

        Raises
        ------
        TimeoutError, OSError
            If the scheduler does not answer meanwhile, or is gone.
        """

        async def asked() -> dict[str, Any]:
            waiting = asyncio.ensure_future(
                self.client.run(work, *arguments, on_error="return")
            )
            try:
                while not (await asyncio.wait({waiting}, timeout=self.patience))[0]:
                    await self.answered()
                return dict(await waiting)
            finally:
                waiting.cancel()

        return dict(self.client.sync(asked))

    async def answered(self) -> dict[str, Any]:
        """What the scheduler says of itself, as a sign of life; not waited for for ever."""
        scheduler = self.client.scheduler
        if scheduler is None:
            raise TimeoutError
        return dict(await asyncio.wait_for(scheduler.identity(), self.patience))

    async def has_workers(self) -> bool:
        """Whether a worker is there, or comes soon."""
        clock = asyncio.get_running_loop()
        end = clock.time() + self.patience
        while not any(
            worker["status"] == "running"
            for worker in (await self.answered())["workers"].values()
        ):
            if clock.time() > end:
                return False
            await asyncio.sleep(BETWEEN_LOOKS_SECONDS)
        return True

    def close(self) -> None:
        """Let go of the cluster, which goes on."""
        with suppress(Exception):
            self.client.close(timeout=2)

    def deal(
        self,
        work: Callable[[Any], Any],
        items: Sequence[Any],
        progress: Progress | None = None,
        done: Callable[[int, Any], None] | None = None,
    ) -> list[Any]:
        """As of a dealer."""
        from concurrent.futures import CancelledError

        from distributed.comm.core import CommClosedError

        futures = [self.client.submit(work, item, pure=False) for item in items]
        places = {future.key: place for place, future in enumerate(futures)}
        found: dict[int, Any] = {}
        try:
            for future, result in self.coming(futures, found):
                place = places[future.key]
                if future.status == "error":
                    raise self.named(future.exception())
                if future.status != "finished":
                    raise self.gone()
                found[place] = result
                # What is known here need not be held there.
                futures[place].release()
                if done:
                    done(place, found[place])
                if progress:
                    progress(len(found), len(items))
        except (CancelledError, CommClosedError, TimeoutError) as error:
            raise self.gone() from error
        except BaseException:
            with suppress(Exception):
                self.client.cancel(futures, force=True)
            raise
        if len(found) < len(items):
            raise self.gone()
        return [found[place] for place in range(len(items))]

    def coming(
        self, futures: Sequence[Future[Any]], found: Mapping[int, Any]
    ) -> Iterator[tuple[Future[Any], Any]]:
        """What was sent and its results as they come, for as long as some is not found."""
        from distributed import as_completed

        while left := [futures[at] for at in range(len(futures)) if at not in found]:
            try:
                # Results come with what says that they are there, not each when asked for.
                yield from as_completed(
                    left,
                    loop=self.client.loop,
                    with_results=True,
                    raise_errors=False,
                    timeout=self.patience,
                )
            except TimeoutError:
                # The work may take long; the scheduler may not.
                self.client.sync(self.answered)
            else:
                return

    def each(
        self,
        work: Callable[[Any, Any], Any],
        places: Sequence[Any],
        arguments: Sequence[Any],
    ) -> list[Any]:
        """As of a dealer."""
        found: dict[int, Any] = {}
        losses = 0
        while left := [at for at in range(len(places)) if at not in found]:
            jobs: dict[str, list[tuple[int, Any, Any]]] = {}
            for at in left:
                job = at, places[at], arguments[at]
                jobs.setdefault(self.seat_of(places[at], at), []).append(job)
            told = self.told(work, jobs)
            for worker in jobs.keys() - told.keys():
                # Lost: what it held goes to others.
                self.seats = {k: v for k, v in self.seats.items() if v != worker}
                losses += 1
            if losses > MOST_LOSSES * len(places):
                raise self.lost()
            for at, is_good, answer in chain.from_iterable(told.values()):
                if not is_good:
                    raise self.named(answer)
                found[at] = answer
        return [found[at] for at in range(len(places))]

    def told(
        self,
        work: Callable[[Any, Any], Any],
        jobs: Mapping[str, list[tuple[int, Any, Any]]],
    ) -> dict[str, list[tuple[int, bool, Any]]]:
        """What workers say of the places that they hold; who is lost says nothing."""
        lost = lost_signs()
        try:
            told = self.run(at_worker, work, jobs)
        except lost as error:
            raise self.gone() from error
        for said in told.values():
            if isinstance(said, Exception) and not isinstance(said, lost):
                raise said
        return {worker: said for worker, said in told.items() if isinstance(said, list)}

    def seat_of(self, place: Any, at: int) -> str:
        """The worker that holds a place, or is to hold it from now on."""
        if place not in self.seats:
            there = self.looked_at()
            self.seats[place] = there[at % len(there)]
        return self.seats[place]

    def lost(self) -> WorkersError:
        """That workers end again and again over the same work."""
        return WorkersError(
            "several workers ended over the same piece of work",
            where=self.address,
            hint=REMEDIES["memory of workers"],
        )

    def named(self, error: BaseException) -> BaseException:
        """What went wrong at a worker, in a sentence where it is not our own fault."""
        from distributed.scheduler import KilledWorker

        if isinstance(error, KilledWorker):
            return self.lost()
        if isinstance(error, OSError) and error.filename:
            return WorkersError(
                f"a worker cannot use it: {error.strerror}",
                where=str(error.filename),
                hint=REMEDIES["shared folder"],
            )
        return error

    def gone(self) -> WorkersError:
        """That the scheduler does not answer any more."""
        return WorkersError(
            "the scheduler is gone, or does not answer any more",
            where=self.address,
            hint=REMEDIES["go on later"],
        )


def patience() -> float:
    """How many seconds a scheduler may take to answer.

    Raises
    ------
    SettingsError
        If the environment says what is no number of seconds.
    """
    said = os.environ.get(PATIENCE_VARIABLE, "")
    try:
        seconds = float(said or ANSWER_SECONDS)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds < float("inf"):
        raise SettingsError(
            f"{said!r} is no number of seconds", where=PATIENCE_VARIABLE, hint="such as 60"
        )
    return seconds


def connected(address: str, seconds: float) -> Client:
    """A client of a scheduler that answers within so many seconds.

    Raises
    ------
    WorkersError
        If dask.distributed is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise WorkersError(
            "dask.distributed is not installed", hint=REMEDIES["install cluster"]
        ) from error
    # What it has to say is said here, in a sentence.
    for name in QUIET:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    made: SimpleQueue[Client | BaseException] = SimpleQueue()

    class Ours(Client):
        """A client that is closed by who made it: one that was never connected, which
        Dask's own would close at the end of the program, waits for nobody and complains."""

        def __del__(self) -> None:
            pass

    kind: Callable[..., Client] = Ours

    def make() -> None:
        try:
            made.put(kind(address, timeout=seconds, set_as_default=False))
        except BaseException as error:
            made.put(error)

    # Dask waits for ever where a door is open and nobody speaks behind it.
    Thread(target=make, daemon=True).start()
    try:
        found = made.get(timeout=seconds + 1)
    except Empty:
        found = TimeoutError()
    if isinstance(found, Client):
        return found
    # One that begins to answer too late shows as an assertion of Dask's that fails.
    if isinstance(found, OSError | TimeoutError | ValueError | TypeError | AssertionError):
        raise WorkersError(
            f"no scheduler answers here within {seconds:g} seconds",
            where=address,
            hint=REMEDIES["name scheduler"],
        ) from found
    if isinstance(found, Exception):
        # Dask takes what a web server says for a length, and its words for a message.
        raise WorkersError(
            "what answers here is no scheduler of Dask",
            where=address,
            hint=REMEDIES["name scheduler"],
        ) from found
    raise found


async def at_worker(
    work: Callable[[Any, Any], Any],
    jobs: Mapping[str, list[tuple[int, Any, Any]]],
    dask_worker: Worker,
) -> list[tuple[int, bool, Any]]:
    """What is asked of the places that this worker holds: number, whether, and what."""
    mine = jobs.get(dask_worker.address, [])
    if not mine:
        return []
    # In turn with its tasks, and beside what it has to hear meanwhile.
    return await asyncio.get_running_loop().run_in_executor(
        dask_worker.executors["default"], answers_to, work, mine
    )


def answers_to(
    work: Callable[[Any, Any], Any], jobs: Sequence[tuple[int, Any, Any]]
) -> list[tuple[int, bool, Any]]:
    """What a function gives for some places, or how it failed."""
    answers: list[tuple[int, bool, Any]] = []
    for at, place, argument in jobs:
        try:
            answers.append((at, True, work(place, argument)))
        except Exception as error:
            return [(at, False, error)]
    return answers


def lost_signs() -> tuple[type[Exception], ...]:
    """What is raised, or told of a worker, where nobody is at the other end any more."""
    from distributed.comm.core import CommClosedError

    return CommClosedError, TimeoutError, OSError


def ready_there() -> str:
    """Let a worker work in one thread for each of its own; its version of melodex."""
    from melodex import __version__ as version
    from melodex.matching.engine.choice import one_thread

    one_thread()
    return version
