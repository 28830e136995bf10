"""An empty folder of shards, to be added to.

Conventions: the folder is made as a part that nobody knows yet, and gets its own name when
it is whole; what a killed maker left is taken away by the next.

Contents: make_empty.
"""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from melodex.corpus.faults import faults_named
from melodex.corpus.shards.index import (
    MOST_SHARDS,
    SHARD_SETTING,
    ShardIndex,
    is_shards,
    read_index,
    write_index,
)
from melodex.corpus.shards.splitting import name_of, told
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import REMEDIES, CorpusError, SettingsError
from melodex.files import final_place, flush_folder, part_folder

__all__ = ["make_empty"]


def make_empty(folder: Path, count: int) -> None:
    """Make a folder of empty shards, if there is none of so many.

    Parameters
    ----------
    folder : Path
        Where it is to be; there may be an empty folder.
    count : int
        How many, 1 to :data:`~melodex.corpus.shards.index.MOST_SHARDS`.

    Raises
    ------
    SettingsError
        If so many shards cannot be made, or there are another number.
    CorpusError
        If there is something else, or the folder cannot be made.
    """
    if not 1 <= count <= MOST_SHARDS:
        raise SettingsError(f"a corpus has 1 to {MOST_SHARDS} shards, not {count}")
    with faults_named(folder):
        if is_shards(folder):
            there = len(read_index(folder).shards)
            if there != count:
                raise SettingsError(
                    f"the corpus has {there} shards, not {count}",
                    hint="split it into another number, or leave the number away",
                )
            return
        if folder.is_symlink() or folder.is_file() or has_entries(folder):
            raise CorpusError(
                "there is something already that is no folder of shards",
                where=str(folder),
                hint=REMEDIES["other folder for shards"],
            )
        folder.parent.mkdir(parents=True, exist_ok=True)
        with part_folder(final_place(folder)) as part:
            made = part / "shards"
            made.mkdir()
            shard_set = secrets.token_hex(8)
            for number in range(1, count + 1):
                place = made / name_of(number, count)
                with CorpusWriter.open(place) as writer, writer.transaction():
                    writer.put_setting(SHARD_SETTING, f"{shard_set} {number} of {count}")
            shards = [told(made / name_of(number, count)) for number in range(1, count + 1)]
            write_index(made, ShardIndex(shard_set, tuple(shards)))
            put_in_place(made, folder)


def has_entries(folder: Path) -> bool:
    """Whether there is a folder with something in it."""
    return folder.exists() and bool(os.listdir(folder))  # noqa: PTH208 (a name is enough)


def put_in_place(made: Path, folder: Path) -> None:
    """Give a folder its name; one that somebody else made meanwhile stays."""
    try:
        # An empty folder gives way (POSIX, rename).
        made.rename(folder)
    except OSError:
        if not is_shards(folder):
            raise
    flush_folder(folder.parent)
