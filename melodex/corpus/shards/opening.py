"""Shards opened together, all in one state.

Conventions: a folder is changed while others read it. A shard that is not as the index
says may be one that is just being changed: what a stopped writer left is carried out
(:mod:`melodex.corpus.shards.pending`), one at work is waited for, and then it is looked
again. What is still not as the index says was replaced or changed by somebody else.

Contents: opened_shards, opened_shard, in_one_state.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from melodex.corpus.chunks import CHUNK_COLUMNS, PackedChunk
from melodex.corpus.connection import WAIT_SECONDS, leave, let_go
from melodex.corpus.faults import faults_named
from melodex.corpus.packing import unpack
from melodex.corpus.shards.absent import Absence
from melodex.corpus.shards.index import (
    PENDING_NAME,
    Opened,
    ShardIndex,
    change_in,
    file_of,
    read_index,
    refuse_other,
)
from melodex.corpus.shards.pending import settle
from melodex.errors import CorpusError, DamagedCorpusError

__all__ = ["in_one_state", "opened_shard", "opened_shards", "settled"]

Kind = TypeVar("Kind", bound=Opened)

STEP_SECONDS = 0.005
"""Between two looks at a folder that is being changed: a change takes some milliseconds."""


def settled(folder: Path) -> ShardIndex:
    """The index of a folder, when no change of it is left half-way.

    Raises
    ------
    CorpusError
        If the folder has no index, or what was stopped half-way cannot be carried out.
    """
    end = time.monotonic() + WAIT_SECONDS
    while True:
        index = read_index(folder)
        if not (folder / PENDING_NAME).exists():
            return index
        try:
            settle(folder, index)
        except CorpusError as error:
            # Who may only read waits for a writer that is at work.
            if time.monotonic() > end:
                if error.where == str(folder / PENDING_NAME):
                    # What was written down is at fault, and who may write finds the same.
                    raise
                raise CorpusError(
                    f"a change of the corpus was stopped half-way: {error.what}",
                    where=str(folder),
                    hint="open it once where it can be written",
                ) from error
            time.sleep(STEP_SECONDS)


def opened_shards(
    folder: Path, opened: Callable[[Path], Kind], absence: Absence | None = None
) -> list[Kind]:
    """Open every shard of a folder, in order.

    Parameters
    ----------
    folder : Path
        With an index.
    opened : callable
        Opens one file.
    absence : Absence, optional
        Where shards may be left out, what keeps which are.

    Raises
    ------
    CorpusError
        If the folder has no index, or a shard is missing, is another one, or was changed
        and may not be left out; or if none would be left.
    """
    end = time.monotonic() + WAIT_SECONDS
    while True:
        index = settled(folder)
        parts: list[Kind] = []
        faults: dict[int, CorpusError] = {}
        try:
            for number in range(1, len(index.shards) + 1):
                try:
                    parts.append(opened_shard(folder, index, number, opened))
                    if absence:
                        refuse_unsound(parts[-1])
                except CorpusError as error:
                    if len(parts) + len(faults) == number:
                        part = parts.pop()
                        leave(part.connection, part.path)
                    faults[number] = error
                    if not absence:
                        break
        except BaseException:
            close(parts)
            raise
        # In this order: a change writes the index and then takes its own file away.
        is_moving = (folder / PENDING_NAME).exists() or read_index(folder) != index
        if faults and is_moving and time.monotonic() < end:
            close(parts)
            continue
        if faults and (not absence or not parts):
            close(parts)
            raise next(iter(faults.values()))
        if absence:
            absence.note(index, faults)
        return parts


def close(parts: Sequence[Opened]) -> None:
    """Let go of shards."""
    for part in parts:
        leave(part.connection, part.path)


def opened_shard(
    folder: Path, index: ShardIndex, number: int, opened: Callable[[Path], Kind]
) -> Kind:
    """Open one shard of a folder, if it is the one that the index means.

    Raises
    ------
    CorpusError
        If it is missing, is another one, or was changed.
    """
    path = file_of(folder, index, number)
    part = opened(path)
    try:
        with faults_named(path):
            refuse_other(part, index, number)
    except BaseException:
        leave(part.connection, part.path)
        raise
    return part


def refuse_unsound(part: Opened) -> None:
    """Look a shard through, so that no fault of it is met in the midst of an answer.

    Raises
    ------
    DamagedCorpusError
        If SQLite or a checksum of its notes says that it is damaged.
    """
    with faults_named(part.path):
        (verdict,) = part.connection.execute("PRAGMA quick_check(1)").fetchone()
        if verdict != "ok":
            raise DamagedCorpusError("it is damaged", where=str(part.path))
        try:
            for row in part.connection.execute(f"SELECT {CHUNK_COLUMNS} FROM chunk"):
                unpack(PackedChunk(*row))
        except (TypeError, ValueError) as error:
            raise DamagedCorpusError("it is damaged", where=str(part.path)) from error


def in_one_state(
    folder: Path, parts: Sequence[Opened], see: Callable[[], None]
) -> ShardIndex:
    """Have shards see one state of the folder, and return its index.

    Parameters
    ----------
    folder : Path
        Of the shards.
    parts : sequence of Opened
        Some or all of them.
    see : callable
        Has each see the state that it is in now, and no other.

    Raises
    ------
    CorpusError
        If a shard is of another state than the index for longer than a change takes.
    """
    end = time.monotonic() + WAIT_SECONDS
    while True:
        see()
        index = read_index(folder)
        changes = {shard.file: shard.change for shard in index.shards}
        late = [
            part
            for part in parts
            if change_in(part.connection) != changes.get(part.path.name)
        ]
        if not late:
            return index
        if time.monotonic() > end:
            number = [shard.file for shard in index.shards].index(late[0].path.name) + 1
            with faults_named(late[0].path):
                refuse_other(late[0], index, number)
        # What is read here would hold up whoever has still to write, and so ourselves.
        for part in parts:
            with faults_named(part.path):
                let_go(part.connection)
        settled(folder)
        time.sleep(STEP_SECONDS)
