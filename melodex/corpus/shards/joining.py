"""A folder of shards joined into one corpus file.

Conventions: rows keep the numbers that they have in their shards, which are those of the
corpus that was split.

Contents: join_shards.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from melodex.corpus.care.guarding import refuse_corpus, refuse_left_behind
from melodex.corpus.chunks import CHUNK_COLUMNS, PackedChunk
from melodex.corpus.connection import leave
from melodex.corpus.reader import opened_part
from melodex.corpus.shards.absent import absence_now
from melodex.corpus.shards.index import (
    CHANGE_SETTING,
    EARLIER_DIGEST_SETTING,
    SHARD_SETTING,
)
from melodex.corpus.shards.making import NewFile, new_file
from melodex.corpus.shards.opening import opened_shards, settled
from melodex.errors import CorpusError
from melodex.files import final_place

__all__ = ["join_shards"]

IN_SEVERAL = ("setting", "collection", "kept_source")
"""Tables of which one row may stand in several shards."""


def join_shards(
    folder: Path,
    target: Path,
    *,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Join the shards of a folder into one file; return its size in bytes.

    Parameters
    ----------
    folder, target : Path
        The folder, and the file to make.
    replace : bool
        Whether a file that is there already may be replaced.
    progress : callable, optional
        Called with shards done and shards in all.

    Raises
    ------
    CorpusError
        If a shard is missing or is another one, or the file cannot be made.
    """
    refuse_left_behind(target)
    before = settled(folder)
    parts = opened_shards(folder, opened_part, absence_now())
    try:
        for part in parts:
            refuse_corpus(target, part.path, any_corpus=False)
        place = final_place(target)
        with new_file(place, replace=replace) as made:
            for done, part in enumerate(parts):
                if progress:
                    progress(done, len(parts))
                with made.source(part.path):
                    take_all(made)
            made.connection.execute("BEGIN")
            own = [SHARD_SETTING, CHANGE_SETTING, EARLIER_DIGEST_SETTING]
            made.connection.execute("DELETE FROM setting WHERE name IN (?, ?, ?)", own)
            made.connection.execute("COMMIT")
            if settled(folder).change != before.change:
                raise CorpusError(
                    "the corpus was changed meanwhile",
                    where=str(folder),
                    hint="try again; the file is made of one state of it",
                )
        if progress:
            progress(len(parts), len(parts))
        return place.stat().st_size
    finally:
        for part in parts:
            leave(part.connection, part.path)


def take_all(made: NewFile) -> None:
    """Take over every row of a shard."""
    for table in made.tables():
        if table != "chunk":
            made.take(table, once=table in IN_SEVERAL)
    rows = made.connection.execute(f"SELECT {CHUNK_COLUMNS} FROM source.chunk ORDER BY id")
    for row in rows.fetchall():
        made.put_chunk(PackedChunk(*row))
