"""What no result may be written over: a corpus, and what stands beside it.

Conventions: files are told by what they are, not by what they are called, so that a
link, another way of writing the path or other capitals make no difference. What is
not there yet is told by its folder and its name without case.

Contents: refuse_corpus, refuse_left_behind.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from melodex.corpus.schema import APPLICATION_ID
from melodex.errors import REMEDIES, CorpusError
from melodex.files import COMPANIONS, final_place

__all__ = ["SIGNATURE", "refuse_corpus", "refuse_left_behind"]

SIGNATURE = b"SQLite format 3\0"
"""Offset 0 of every SQLite file (https://www.sqlite.org/fileformat2.html, 1.3)."""

BESIDE = (
    r"(-wal|-shm|-journal|\.(schema-\d+|damaged|repaired)(\.\d+)?(-wal|-shm|-journal)?)"
)
"""Companions, and what migrating and repairing keep beside a corpus."""


def refuse_corpus(target: Path, corpus: Path | None, *, any_corpus: bool = True) -> None:
    """Refuse a corpus, or what belongs to one, as the place of a result.

    Parameters
    ----------
    target : Path
        Where something is to be written.
    corpus : Path or None
        The corpus in use.
    any_corpus : bool
        Whether every other corpus is refused too.

    Raises
    ------
    CorpusError
        If the target is one of these, under whatever name.
    """
    place = final_place(target)
    if corpus is not None:
        if same(place, corpus) or place == final_place(corpus):
            raise CorpusError("this is the corpus itself", where=str(target), hint=ADVICE)
        if stands_beside(place, corpus) or (corpus.is_dir() and same(place.parent, corpus)):
            raise CorpusError("this belongs to the corpus", where=str(target), hint=ADVICE)
    if any_corpus and is_corpus(place):
        raise CorpusError("this is a corpus", where=str(target), hint=ADVICE)


ADVICE = "name another file"


def refuse_left_behind(target: Path) -> None:
    """Refuse a place for a corpus beside which another's journal stands.

    SQLite would play that journal into whatever has the name.

    Raises
    ------
    CorpusError
        If there is such a journal.
    """
    place = final_place(target)
    for suffix in ("-wal", "-journal"):
        with suppress(OSError):
            if Path(f"{place}{suffix}").stat().st_size:
                raise CorpusError(
                    f"a journal stands beside it ({place.name}{suffix})",
                    where=str(target),
                    hint=REMEDIES["fold in"],
                )


def same(one: Path, other: Path) -> bool:
    """Whether two names lead to one file."""
    try:
        return one.samefile(other)
    except OSError:
        return False


def stands_beside(place: Path, corpus: Path) -> bool:
    """Whether a file is a companion of a corpus or a backup that melodex keeps there."""
    for name in {corpus.absolute(), final_place(corpus)}:
        if same(place.parent, name.parent):
            own, other = name.name.casefold(), place.name.casefold()
            if other.startswith(own) and re.fullmatch(BESIDE, other[len(own) :]):
                return True
    return any(same(place, companion) for companion in companions_of(corpus))


def companions_of(corpus: Path) -> Iterator[Path]:
    """Files that SQLite may keep beside a corpus."""
    for name in {corpus.absolute(), final_place(corpus)}:
        for suffix in COMPANIONS:
            yield Path(f"{name}{suffix}")


def is_corpus(place: Path) -> bool:
    """Whether a file is a corpus of melodex, by its first 72 bytes."""
    if not place.is_file():
        return False
    try:
        with place.open("rb") as file:
            head = file.read(72)
    except OSError:
        return False
    return head.startswith(SIGNATURE) and head[68:72] == APPLICATION_ID.to_bytes(4, "big")
