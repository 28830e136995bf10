"""Adding files that were handed over with a name: nobody says where they lie.

Conventions: a browser gives a file's name, perhaps with the folders above it, and never
its place. Such a file counts as lying under :data:`HANDED_OVER` in the corpus, so that
handing over the same name again replaces or leaves it, as adding it again would. What
is reported is on disk; one bad file stops nothing.

Contents: HANDED_OVER, HandedFile, plain_name, add_handed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import Choice
from melodex.tasks.adding.add import Adding, AddResult, AddStep
from melodex.tasks.adding.parts import Job, is_large, numbered
from melodex.tasks.adding.pool import made_apart

__all__ = ["HANDED_OVER", "HandedFile", "add_handed", "plain_name"]

HANDED_OVER = "handed over"
"""In place of the folder that is not known; no path of a real file begins so."""

LONGEST_NAME = 200
"""Characters of a file name that a browser hands over."""


@dataclass(frozen=True, slots=True)
class HandedFile:
    """A file by the name that came with it, and where its bytes lie for now."""

    name: str
    kept_at: Path


def plain_name(name: str) -> str:
    """Return a name that came with a file, without what could lead elsewhere.

    Examples
    --------
    >>> plain_name("../../etc/tunes\\\\jigs/a.abc")
    'etc/tunes/jigs/a.abc'
    """
    parts = PurePosixPath(name.replace("\\", "/")).parts
    kept = [
        "".join(sign for sign in part if sign.isprintable())
        for part in parts
        if part not in {"..", "/", "."}
    ]
    return "/".join(part for part in kept if part)[-LONGEST_NAME:] or "unnamed"


def add_handed(
    corpus_path: Path,
    files: Sequence[HandedFile],
    *,
    collection: str = "",
    progress: Callable[[AddStep], None] | None = None,
    waiting: Callable[[float], None] | None = None,
) -> AddResult:
    """Read files that were handed over into a corpus, made where there is none.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    files : sequence of HandedFile
        In the order in which they are to be read.
    collection : str
        Name of the collection; empty for the book that a file names, or its folder.
    progress : callable, optional
        Called after each commit; it may raise KeyboardInterrupt to stop the work.
    waiting : callable, optional
        Called with seconds when another process holds the corpus for long.

    Returns
    -------
    AddResult
        What became of every file, as of :func:`melodex.tasks.adding.add.add_paths`.

    Raises
    ------
    CorpusError
        If the corpus cannot be opened or written; what was reported stays in it.
    """
    jobs = [job_of(file, collection) for file in files]
    has_large = any(map(is_large, jobs))
    with CorpusWriter.open(corpus_path, waiting=waiting) as writer:
        adding = Adding(writer, len(files), progress)
        try:
            with closing(numbered(made_apart(jobs, has_large=has_large))) as parts:
                for part in parts:
                    adding.take(part)
            adding.write()
        except KeyboardInterrupt:
            return adding.result(interrupted=True)
    return adding.result()


def job_of(file: HandedFile, collection: str) -> Job:
    """What there is to do for a file; one whose bytes are gone is refused by who reads."""
    name = plain_name(file.name)
    place = f"{HANDED_OVER}/{name}"
    return Job(name, place, collection, Choice(lines="all"), kept_at=file.kept_at)
