"""A corpus as a script uses it: add, resemble, compare, audit, describe, gather, lesson.

Conventions: every call opens the file, asks, and lets go of it, so that one corpus can
be used by a notebook, the command line and the page at the same time, and what others
add is seen by the next call. The calls stand in :mod:`melodex.scripting.calls`.

Contents: Corpus.
"""

from __future__ import annotations

from types import TracebackType

from melodex.corpus.faults import is_there
from melodex.scripting.calls.comparing import Comparing
from melodex.scripting.calls.contents import Contents
from melodex.scripting.calls.describing import Describing
from melodex.scripting.calls.keeping import Keeping
from melodex.scripting.calls.searching import Searching

__all__ = ["Corpus"]


class Corpus(Contents, Searching, Comparing, Describing, Keeping):
    """A corpus of tunes in one file; of :func:`melodex.open`.

    Parameters
    ----------
    path : str or PathLike
        The file, or the folder of shards; a file is made by the first :meth:`add` where
        there is none.
    partial : bool
        Whether to go on without shards that are missing or damaged, and say so.

    Raises
    ------
    CorpusError
        If there is a file of that name that is no corpus, or that may not be read.
    """

    def __enter__(self) -> Corpus:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        if self.is_closed:
            return f"<Corpus {str(self.path)!r}, closed>"
        tunes = f"{len(self):,} tunes" if is_there(self.path) else "not made yet"
        return f"<Corpus {str(self.path)!r}: {tunes}>"
