"""A folder of shards looked at: quickly, by the index; or every byte; and copied.

Contents: ShardState, states_of, check_folder, copy_folder.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from melodex.corpus.care.checking import CheckReport, Fault, check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.salvage import titles
from melodex.corpus.connection import Part, leave, let_go
from melodex.corpus.faults import faults_named
from melodex.corpus.reader import opened_part
from melodex.corpus.schema import SCHEMA_VERSION
from melodex.corpus.shards.index import (
    INDEX_NAME,
    PENDING_NAME,
    Shard,
    ShardIndex,
    write_index,
)
from melodex.corpus.shards.opening import in_one_state, opened_shard, opened_shards, settled
from melodex.errors import REMEDIES, CorpusError

__all__ = ["ShardState", "check_folder", "copy_folder", "states_of"]


@dataclass(frozen=True, slots=True)
class ShardState:
    """A shard as the index tells of it, and what is wrong with it; empty for nothing."""

    number: int
    shard: Shard
    fault: str


def states_of(folder: Path) -> tuple[ShardIndex, tuple[ShardState, ...]]:
    """Look whether each shard of a folder is the one that the index means.

    Sizes are those that the files have now.

    Raises
    ------
    CorpusError
        If the folder has no index, or a change that was stopped cannot be carried out.
    """
    index = settled(folder)
    found = [
        ShardState(number, sized(shard, folder), fault_of(folder, index, number))
        for number, shard in enumerate(index.shards, start=1)
    ]
    return index, tuple(found)


def sized(shard: Shard, folder: Path) -> Shard:
    """A shard with the size of its file, as far as that can be seen."""
    with suppress(OSError):
        return replace(shard, bytes=(folder / shard.file).lstat().st_size)
    return shard


def fault_of(folder: Path, index: ShardIndex, number: int) -> str:
    """What is wrong with a shard at first sight."""
    try:
        part = opened_shard(folder, index, number, opened_part)
    except CorpusError as error:
        return error.what
    leave(part.connection, part.path)
    return ""


def check_folder(folder: Path) -> tuple[CheckReport, dict[str, str]]:
    """Check every byte of every shard; also the titles of the tunes that are touched."""
    _, states = states_of(folder)
    total = CheckReport(SCHEMA_VERSION, 0, 0, 0, 0, 0)
    named: dict[str, str] = {}
    for state in states:
        path = folder / state.shard.file
        if path.is_symlink() or not path.is_file():
            # What is no file of this folder is not looked into.
            fault = Fault(f"{path.name}: {state.fault}")
            total = replace(total, faults=(*total.faults, fault))
            continue
        faults = [Fault(f"{path.name}: {state.fault}")] if state.fault else []
        try:
            report = check_corpus(path)
        except CorpusError as error:
            if not state.fault:
                faults.append(Fault(f"{path.name}: {error.what}"))
            total = replace(total, faults=(*total.faults, *faults))
            continue
        if report.touched:
            named |= titles(path, report.touched)
        faults += [
            Fault(f"{path.name}: {fault.what}", fault.tune_ids) for fault in report.faults
        ]
        total = replace(
            total,
            faults=(*total.faults, *faults),
            **{
                name: getattr(total, name) + getattr(report, name)
                for name in (
                    "tune_count",
                    "note_count",
                    "place_count",
                    "chunk_count",
                    "byte_count",
                    "journal_bytes",
                )
            },
        )
    return total, named


def copy_folder(
    folder: Path,
    target: Path,
    *,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Copy a folder of shards, each consistently; return the bytes that were written.

    Raises
    ------
    CorpusError
        If a shard is missing or another one, there is something at the target, or it
        cannot be written.
    """
    parts = opened_shards(folder, opened_part)
    try:
        # All are copied as they are at one moment, whoever changes them meanwhile.
        index = in_one_state(folder, parts, lambda: see(parts))
        make_room(folder, target, replace)
        size = 0
        for done, part in enumerate(parts):
            if progress:
                progress(done, len(parts))
            size += copy_corpus(
                part.path,
                target / part.path.name,
                replace=replace,
                source=part.connection,
            )
    finally:
        for part in parts:
            leave(part.connection, part.path)
    write_index(target, index)
    if progress:
        progress(len(parts), len(parts))
    return size


def see(parts: Sequence[Part]) -> None:
    """Have each shard see the state that it is in now."""
    for part in parts:
        with faults_named(part.path):
            let_go(part.connection)
            part.connection.execute("BEGIN")
            part.connection.execute("SELECT count(*) FROM sqlite_master").fetchone()


def make_room(folder: Path, target: Path, replace: bool) -> None:
    """Make the folder of a copy, where nothing is that may not be replaced."""
    with faults_named(target):
        if target.exists() and target.samefile(folder):
            raise CorpusError(
                "this is the corpus itself",
                where=str(target),
                hint=REMEDIES["other folder for shards"],
            )
        if target.exists() and not (replace and (target / INDEX_NAME).exists()):
            raise CorpusError(
                "there is something already",
                where=str(target),
                hint=REMEDIES["other folder for shards"],
            )
        target.mkdir(parents=True, exist_ok=True)
        # A copy that is stopped half-way is no corpus.
        for name in (INDEX_NAME, PENDING_NAME):
            (target / name).unlink(missing_ok=True)
