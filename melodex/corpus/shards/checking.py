"""A folder of shards looked at: quickly, by the index; or every byte; and copied.

Contents: ShardState, states_of, home_of, check_folder, copy_folder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from melodex.corpus.care.checking import CheckReport, Fault, check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.salvage import titles
from melodex.corpus.connection import leave
from melodex.corpus.faults import faults_named
from melodex.corpus.reader import opened_part
from melodex.corpus.schema import SCHEMA_VERSION
from melodex.corpus.shards.index import (
    INDEX_NAME,
    Shard,
    ShardIndex,
    opened_shard,
    read_index,
    write_index,
)
from melodex.errors import REMEDIES, CorpusError

__all__ = ["ShardState", "check_folder", "copy_folder", "home_of", "states_of"]


@dataclass(frozen=True, slots=True)
class ShardState:
    """A shard as the index tells of it, and what is wrong with it; empty for nothing."""

    number: int
    shard: Shard
    fault: str


def states_of(folder: Path) -> tuple[ShardIndex, tuple[ShardState, ...]]:
    """Look whether each shard of a folder is the one that the index means.

    Raises
    ------
    CorpusError
        If the folder has no index.
    """
    index = read_index(folder)
    found = [
        ShardState(number, shard, fault_of(folder, index, number))
        for number, shard in enumerate(index.shards, start=1)
    ]
    return index, tuple(found)


def fault_of(folder: Path, index: ShardIndex, number: int) -> str:
    """What is wrong with a shard at first sight."""
    try:
        part = opened_shard(folder, index, number, opened_part)
    except CorpusError as error:
        return error.what
    leave(part.connection, part.path)
    return ""


def home_of(corpus_path: Path) -> Path:
    """The file that holds what belongs to no tune: the corpus itself, or its first shard.

    Raises
    ------
    CorpusError
        If it is a folder without an index, or its first shard is missing.
    """
    if not corpus_path.is_dir():
        return corpus_path
    index = read_index(corpus_path)
    part = opened_shard(corpus_path, index, 1, opened_part)
    leave(part.connection, part.path)
    return part.path


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
        If there is something at the target, or it cannot be written.
    """
    index = read_index(folder)
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
        (target / INDEX_NAME).unlink(missing_ok=True)
    size = 0
    for done, shard in enumerate(index.shards):
        if progress:
            progress(done, len(index.shards))
        size += copy_corpus(folder / shard.file, target / shard.file, replace=replace)
    write_index(target, index)
    if progress:
        progress(len(index.shards), len(index.shards))
    return size
