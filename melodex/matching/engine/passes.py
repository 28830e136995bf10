"""Passes over a corpus: chunks checked, shared out among threads, put together.

Conventions: chunks are drawn from their source in the thread that calls, since a
database connection stays in the thread that opened it; results come in the order
of the chunks, whichever thread finished first.

Contents: OnDamage, ignored, noted_in, Checked, one_pass, batched.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain, islice
from queue import SimpleQueue
from threading import Thread
from typing import Any

from melodex.corpus.chunks import PackedChunk, verify
from melodex.errors import DamagedCorpusError
from melodex.matching.engine.choice import engine
from melodex.records import dataclass

__all__ = ["Checked", "OnDamage", "batched", "ignored", "noted_in", "one_pass"]

OnDamage = Callable[[DamagedCorpusError], None]


def ignored(damage: DamagedCorpusError) -> None:
    """Say nothing of damage, where another search has said it or will."""


def noted_in(remarks: list[str]) -> OnDamage:
    """Return what notes damage that is met among some remarks."""

    def noted(damage: DamagedCorpusError) -> None:
        remarks.append(f"Left out: {damage}.")

    return noted


@dataclass(frozen=True, slots=True)
class Checked:
    """A chunk whose checksum and sizes hold, and the notes of each of its tunes."""

    chunk: PackedChunk
    counts: tuple[int, ...]


def one_pass(
    chunks: Iterable[PackedChunk],
    work: Callable[[list[Checked]], Sequence[Any]],
    on_damage: OnDamage | None = None,
) -> list[Any]:
    """Give every sound chunk to a function, in as many threads as the engine likes.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    work : callable
        Takes a list of Checked and returns one result for each.
    on_damage : callable, optional
        Called with the error of each damaged chunk; without it, it is raised.

    Returns
    -------
    list
        The results, damaged chunks left out.

    Raises
    ------
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.
    """

    def serve(part: Sequence[PackedChunk]) -> list[Any]:
        checked = [check(chunk) for chunk in part]
        sound = [entry for entry in checked if isinstance(entry, Checked)]
        results = iter(work(sound))
        return [next(results) if isinstance(e, Checked) else e for e in checked]

    worker = engine()
    groups = batched(chunks, worker.chunks_at_once)
    found = []
    for result in chain.from_iterable(in_threads(serve, groups, worker.thread_count)):
        if not isinstance(result, DamagedCorpusError):
            found.append(result)
        elif on_damage is None:
            raise result
        else:
            on_damage(result)
    return found


def check(chunk: PackedChunk) -> Checked | DamagedCorpusError:
    """A chunk with its counts, or what is wrong with it."""
    try:
        return Checked(chunk, verify(chunk))
    except DamagedCorpusError as error:
        return error


def batched(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    """Items in lists of a size."""
    rest = iter(items)
    while part := list(islice(rest, size)):
        yield part


def in_threads(
    work: Callable[[Any], Any], items: Iterable[Any], thread_count: int
) -> list[Any]:
    """Apply a function to items in threads, results in order of the items.

    A plain queue: the executors of the standard library would cost a short query
    more to import than to run.
    """
    if thread_count == 1:
        return [work(item) for item in items]
    tasks: SimpleQueue[tuple[int, Any] | None] = SimpleQueue()
    results: dict[int, Any] = {}
    faults: list[BaseException] = []

    def serve() -> None:
        while (task := tasks.get()) is not None:
            try:
                results[task[0]] = work(task[1])
            except BaseException as fault:
                faults.append(fault)

    threads: list[Thread] = []
    try:
        for place, item in enumerate(items):
            if len(threads) < thread_count:
                threads.append(Thread(target=serve, daemon=True))
                threads[-1].start()
            tasks.put((place, item))
    finally:
        for _ in threads:
            tasks.put(None)
        for thread in threads:
            thread.join()
    if faults:
        raise faults[0]
    return [results[place] for place in range(len(results))]
