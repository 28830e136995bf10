"""The corpus file as every call of a script meets it: opened for one question each.

Contents: CorpusFile.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from os import PathLike
from pathlib import Path

from melodex.corpus.faults import is_there
from melodex.corpus.reader import Corpus as CorpusReader
from melodex.errors import CorpusError
from melodex.scripting.hands import Hands
from melodex.scripting.hints import advised
from melodex.scripting.partly import reading_partly
from melodex.scripting.tune import Tune
from melodex.tasks.passage import Passage

__all__ = ["CorpusFile"]


class CorpusFile:
    """A file that is opened for every question anew, until it is closed for good.

    Parameters
    ----------
    path : str or PathLike
        The file, or the folder of shards; it need not be there yet.
    partial : bool
        Whether to go on without shards that are missing or damaged.

    Raises
    ------
    CorpusError
        If there is a file of that name that is no corpus, or that may not be read.
    """

    def __init__(self, path: str | PathLike[str], *, partial: bool = False) -> None:
        self.path = Path(path)
        self.is_partial = partial
        self.is_closed = False
        self.hands = Hands(is_partial=partial)
        with advised(), reading_partly(partial):
            if is_there(self.path):
                CorpusReader.open(self.path).close()

    def close(self) -> None:
        """Refuse further calls, and let go of those who work.

        The file itself is let go of after each call.
        """
        self.is_closed = True
        self.hands.close()

    @contextmanager
    def reading(self) -> Iterator[CorpusReader]:
        """The corpus opened for one question."""
        self.require_open()
        with (
            advised(),
            reading_partly(self.is_partial),
            CorpusReader.open(self.path) as reader,
        ):
            yield reader

    def require_open(self) -> None:
        """Refuse to go on after :meth:`close`."""
        if self.is_closed:
            raise CorpusError(
                "this corpus has been closed",
                where=str(self.path),
                hint="open it again with melodex.open",
            )

    def tunes_by_id(self, tune_ids: Iterable[str]) -> dict[str, Tune]:
        """Return some tunes by their whole ids; ids that are not there are left out."""
        with self.reading() as reader:
            melodies = reader.melodies(tune_ids)
        return {
            tune_id: Tune(Passage(melody, melody, 0, tune_id, True))
            for tune_id, melody in melodies.items()
        }
