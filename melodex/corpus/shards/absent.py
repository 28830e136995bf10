"""Shards that an answer goes on without, where that was asked for.

Conventions: a shard that is missing or damaged is refused by name. Only inside of
:func:`going_on_without` is it left out, after each of the others was looked through; and
what is told then says so on every output (:func:`partial_remark`).

Contents: AbsentShard, Absence, going_on_without, everywhere_without, absence_now,
partial_remark.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any

from melodex.errors import CorpusError
from melodex.records import dataclass

if TYPE_CHECKING:
    from melodex.corpus.shards.index import ShardIndex

__all__ = [
    "Absence",
    "AbsentShard",
    "absence_now",
    "everywhere_without",
    "going_on_without",
    "partial_remark",
]


@dataclass(frozen=True, slots=True)
class AbsentShard:
    """A shard that is left out: its number, its file, why, and what it held."""

    number: int
    file: str
    why: str
    tunes: int


@dataclass(slots=True)
class Absence:
    """What the corpus that was opened last is without; of how many shards and tunes."""

    shards: tuple[AbsentShard, ...] = ()
    shard_count: int = 0
    tune_count: int = 0

    def note(self, index: ShardIndex, found: dict[int, CorpusError]) -> None:
        """Keep which shards of a folder are left out."""
        self.shard_count = len(index.shards)
        self.tune_count = sum(shard.tunes for shard in index.shards)
        self.shards = tuple(
            AbsentShard(
                number,
                index.shards[number - 1].file,
                error.what,
                index.shards[number - 1].tunes,
            )
            for number, error in sorted(found.items())
        )

    @property
    def remark(self) -> str:
        """What is said on every output; empty where nothing is left out."""
        if not self.shards:
            return ""
        missed = sum(shard.tunes for shard in self.shards)
        each = "; ".join(f"{shard.file}: {shard.why}" for shard in self.shards)
        return (
            f"Partial answer: {len(self.shards)} of {self.shard_count} shards left out, "
            f"with {missed:,} of {self.tune_count:,} tunes ({each})."
        )

    def data(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "remark": self.remark,
            "shards_left_out": [shard.file for shard in self.shards],
            "tunes_left_out": sum(shard.tunes for shard in self.shards),
            "tunes_in_all": self.tune_count,
        }


ASKED: ContextVar[Absence | None] = ContextVar("asked", default=None)

EVERYWHERE: list[Absence] = []
"""Holds one where a whole process was asked to go on without shards."""


@contextmanager
def everywhere_without() -> Iterator[None]:
    """Let this process, in all its threads, go on without shards."""
    absence = Absence()
    EVERYWHERE.append(absence)
    try:
        yield
    finally:
        EVERYWHERE.remove(absence)


@contextmanager
def going_on_without(absence: Absence | None = None) -> Iterator[Absence]:
    """Let what is opened inside go on without shards, and say without which."""
    held = absence or Absence()
    token = ASKED.set(held)
    try:
        yield held
    finally:
        ASKED.reset(token)


def absence_now() -> Absence | None:
    """What may be left out here, and is; None where nothing may."""
    return ASKED.get() or (EVERYWHERE[0] if EVERYWHERE else None)


def partial_remark() -> str:
    """What is to be said on whatever is told here; empty where nothing is left out."""
    absence = absence_now()
    return absence.remark if absence else ""
