"""Work dealt out to an existing Dask cluster: the home of dask.distributed.

Conventions: the cluster is somebody else's: nothing is started or ended on it but what was
sent. A worker that is lost in the middle of its work is no fault: the scheduler gives that
to another (https://distributed.dask.org/en/stable/resilience.html). What cannot go on is
told in one sentence: no scheduler at the address, none of its workers there, a worker with
another melodex, a scheduler that is gone.

Contents: Cluster.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from melodex import __version__
from melodex.errors import REMEDIES, WorkersError

if TYPE_CHECKING:
    from distributed import Client

    from melodex.matching.evidence.kinship import Progress

__all__ = ["Cluster"]

ANSWER_SECONDS = 10
"""How long a scheduler may take to answer, and its first worker to be there."""


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
        self.client = connected(address)
        try:
            self.workers = self.looked_at()
        except BaseException:
            self.close()
            raise

    def looked_at(self) -> int:
        """How many workers there are, all with this melodex."""
        try:
            self.client.wait_for_workers(1, timeout=ANSWER_SECONDS)
            told: dict[str, Any] = self.client.run(version_there, on_error="return")
        except TimeoutError as error:
            raise WorkersError(
                "the scheduler has no workers",
                where=self.address,
                hint=REMEDIES["start workers"],
            ) from error
        except OSError as error:
            raise self.gone() from error
        for worker, version in sorted(told.items()):
            if version == __version__:
                continue
            runs = f"melodex {version}" if isinstance(version, str) else "no melodex"
            raise WorkersError(
                f"the worker {worker} runs {runs}, and here is melodex {__version__}",
                where=self.address,
                hint=REMEDIES["same version"],
            )
        return len(told)

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

        from distributed import as_completed
        from distributed.comm.core import CommClosedError

        futures = [self.client.submit(work, item, pure=False) for item in items]
        places = {future.key: place for place, future in enumerate(futures)}
        found: dict[int, Any] = {}
        try:
            # Results come with what says that they are there, not each when asked for.
            there = as_completed(
                futures, loop=self.client.loop, with_results=True, raise_errors=False
            )
            for future, result in there:
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

    def named(self, error: BaseException) -> BaseException:
        """What went wrong at a worker, in a sentence where it is not our own fault."""
        from distributed.scheduler import KilledWorker

        if isinstance(error, KilledWorker):
            return WorkersError(
                "several workers ended over the same piece of work",
                where=self.address,
                hint=REMEDIES["memory of workers"],
            )
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


def connected(address: str) -> Client:
    """A client of a scheduler.

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
    for name in ("distributed", "distributed.client", "distributed.core"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        return Client(address, timeout=ANSWER_SECONDS, set_as_default=False)
    except (OSError, TimeoutError, ValueError, TypeError) as error:
        raise WorkersError(
            f"no scheduler answers here within {ANSWER_SECONDS} seconds",
            where=address,
            hint=REMEDIES["name scheduler"],
        ) from error


def version_there() -> str:
    """The version of melodex where this is run."""
    from melodex import __version__ as version

    return version
