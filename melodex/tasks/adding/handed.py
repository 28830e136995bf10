"""Adding files that were handed over with a name: nobody says where they lie.

Conventions: a browser gives a file's name, perhaps with the folders above it, and never
its place. Such a file counts as lying under :data:`HANDED_OVER` in the corpus, so that
handing over the same name again replaces or leaves it, as adding it again would. What
is reported is on disk; one bad file stops nothing.

Contents: HANDED_OVER, HandedFile, plain_name, add_handed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from melodex.corpus.writing.preparing import PreparedFile, prepared
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import Choice, FileReading, Refusal
from melodex.tasks.adding.add import Adding, AddResult, AddStep
from melodex.tasks.adding.parts import Job, parts_of_data

__all__ = ["HANDED_OVER", "HandedFile", "add_handed", "plain_name"]

HANDED_OVER = "handed over"
"""In place of the folder that is not known; no path of a real file begins so."""

LONGEST_NAME = 200


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
    with CorpusWriter.open(corpus_path, waiting=waiting) as writer:
        adding = Adding(writer, len(files), progress)
        try:
            for file in files:
                for part in rows_of(file, collection):
                    adding.take(part)
            adding.write()
        except KeyboardInterrupt:
            return adding.result(interrupted=True)
    return adding.result()


def rows_of(file: HandedFile, collection: str) -> Iterator[PreparedFile]:
    """A file as rows, in parts if large; one whose bytes are gone is refused."""
    name = plain_name(file.name)
    whole = Job(name, f"{HANDED_OVER}/{name}", collection, Choice())
    try:
        data = file.kept_at.read_bytes()
    except OSError as error:
        refusal = Refusal(name, f"cannot be read: {error.strerror}")
        reading = FileReading(name, refusals=(refusal,))
        yield prepared(reading, collection, whole.choice, whole.place)
    else:
        yield from parts_of_data(data, whole)
