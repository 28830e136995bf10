"""A corpus in shards: made of a file, joined to one again, and looked at.

Contents: ShardList, Joined, split, join, list_shards.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from melodex.corpus.faults import faults_named
from melodex.corpus.reader import Corpus
from melodex.corpus.shards.checking import ShardState, states_of
from melodex.corpus.shards.joining import join_shards
from melodex.corpus.shards.splitting import split_corpus
from melodex.files import final_place, part_folder

__all__ = ["Joined", "ShardList", "join", "list_shards", "split"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ShardList:
    """The shards of a corpus, each with what is wrong with it."""

    path: Path
    shard_set: str
    states: tuple[ShardState, ...]

    @property
    def faults(self) -> int:
        """How many shards are not what they should be."""
        return sum(bool(state.fault) for state in self.states)


@dataclass(frozen=True, slots=True)
class Joined:
    """A corpus file that was made of shards."""

    path: Path
    byte_count: int
    tune_count: int


def split(
    corpus_path: Path, folder: Path, count: int, *, progress: Progress | None = None
) -> ShardList:
    """Split a corpus file into a folder of shards; what was stopped is gone on with.

    Parameters
    ----------
    corpus_path, folder : Path
        The corpus, a file or a folder of shards, and where the shards are to stand.
    count : int
        How many.
    progress : callable, optional
        Called with shards made and shards in all.

    Raises
    ------
    SettingsError
        If there cannot be so many.
    CorpusError
        If there is no corpus, or the folder holds shards already or cannot be written.
    """
    # One of an older schema is brought up to date first.
    Corpus.open(corpus_path).close()
    if not corpus_path.is_dir():
        split_corpus(corpus_path, folder, count, progress=progress)
        return list_shards(folder)
    with ExitStack() as stack:
        with faults_named(folder):
            folder.parent.mkdir(parents=True, exist_ok=True)
            made = stack.enter_context(part_folder(final_place(folder)))
        whole = made / "whole.melodex"
        join_shards(corpus_path, whole)
        split_corpus(whole, folder, count, progress=progress)
    return list_shards(folder)


def join(
    folder: Path, target: Path, *, replace: bool = False, progress: Progress | None = None
) -> Joined:
    """Join the shards of a folder into one corpus file.

    Parameters
    ----------
    folder, target : Path
        The folder, and the file to make.
    replace : bool
        Whether a file that is there already may be replaced.
    progress : callable, optional
        Called with shards joined and shards in all.

    Raises
    ------
    CorpusError
        If a shard is missing or is another one, or the file cannot be made.
    """
    size = join_shards(folder, target, replace=replace, progress=progress)
    with Corpus.open(target) as corpus:
        return Joined(target, size, corpus.tune_count + corpus.sheet_count)


def list_shards(folder: Path) -> ShardList:
    """Say which shards a folder has, and which of them are not what they should be.

    Raises
    ------
    CorpusError
        If the folder has no index that can be read.
    """
    index, states = states_of(folder)
    return ShardList(folder, index.shard_set, states)
