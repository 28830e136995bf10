"""What is in a corpus: listed, looked up, put in and taken out.

Contents: Contents.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from os import PathLike

from melodex.corpus.faults import is_there
from melodex.scripting.file import CorpusFile
from melodex.scripting.results import AddResult, TuneList
from melodex.scripting.tune import SpanLike, Tune, TuneLike, as_passage

__all__ = ["Contents"]


class Contents(CorpusFile):
    """The tunes of a corpus."""

    def __len__(self) -> int:
        """How many tunes it holds; none where the file is not made yet."""
        self.require_open()
        if not is_there(self.path):
            return 0
        with self.reading() as reader:
            return reader.tune_count

    def __bool__(self) -> bool:
        """A corpus is one even while it is empty."""
        return True

    def __iter__(self) -> Iterator[Tune]:
        """Go through all tunes, in the order of :meth:`tunes`."""
        for row in self.tunes():
            yield self.tune(row.tune_id)

    def __contains__(self, name: object) -> bool:
        """Whether just one tune goes by a title or an id."""
        from melodex.errors import UnknownTuneError

        try:
            with self.reading() as reader:
                return bool(reader.resolve(str(name)))
        except UnknownTuneError:
            return False

    def add(
        self,
        *paths: str | PathLike[str],
        collection: str = "",
        part: str = "",
        voice: str = "",
        chord_note: str = "top",
        lines: str = "all",
        workers: int = 1,
        shards: int = 0,
        progress: Callable[[int, int], None] | None = None,
    ) -> AddResult:
        """Read files and folders into the corpus, which is made where there is none.

        Parameters
        ----------
        *paths : str or PathLike
            ABC, MusicXML (plain or compressed) and MIDI files, or folders of them.
        collection : str
            Name of the collection; by default that of each file's folder.
        part, voice : str
            Which is the main line, by name or number from 1.
        chord_note : str
            ``top`` or ``bottom``: which note of a written chord is the melody.
        lines : str
            ``all`` reads every line of a score, ``top`` its main line alone.
        workers : int
            Processes that read at once.
        shards : int
            Make a folder of so many shards where there is no corpus; 0 for one file.
        progress : callable, optional
            Called with the number of files done and of all.

        Returns
        -------
        AddResult
            Its ``refusals`` name what could not be read, and why; all else is in.

        Raises
        ------
        CorpusError
            If the corpus cannot be opened or written.
        """
        from melodex.reading import Choice
        from melodex.tasks.adding.add import AddStep, add_paths

        def move(step: AddStep) -> None:
            if progress is not None:
                progress(step.files_done, step.files_total)

        self.require_open()
        result = add_paths(
            self.path,
            paths,
            collection=collection,
            choice=Choice.kept(part, voice, chord_note, lines),
            progress=move,
            workers=workers,
            shards=shards,
        )
        if result.interrupted:
            raise KeyboardInterrupt
        return AddResult(result)

    def tunes(
        self,
        *,
        title: str = "",
        collection: str = "",
        tag: str = "",
        source: str = "",
        limit: int | None = None,
    ) -> TuneList:
        """List the tunes.

        Parameters
        ----------
        title : str
            Only tunes whose title holds this, whatever the case and accents.
        collection, tag, source : str
            Only tunes of that collection, with that tag, from that file or folder.
        limit : int, optional
            At most so many.
        """
        from melodex.tasks.collection.holdings import list_tunes

        with self.reading() as reader:
            return TuneList(
                list_tunes(
                    reader,
                    collection=collection,
                    title=title,
                    tag=tag,
                    source=source,
                    limit=limit,
                )
            )

    def tune(self, name: TuneLike, *, bars: SpanLike | None = None) -> Tune:
        """Return one tune, or some bars of it.

        Parameters
        ----------
        name : str, PathLike or Tune
            Its title, a part of it that no other tune has, its id, or a file.
        bars : int, str or tuple of int, optional
            Printed numbers: ``5``, ``"5-8"`` or ``(5, 8)``.

        Raises
        ------
        UnknownTuneError
            If no tune goes by that name, or several do.
        PassageError
            If it has no such bars.
        """
        with self.reading() as reader:
            return Tune(as_passage(name, reader, bars=bars, fewest=1))

    def remove(self, *names: str) -> list[str]:
        """Take tunes out; return their ids.

        Parameters
        ----------
        *names : str
            Titles or ids, as for :meth:`tune`.

        Raises
        ------
        UnknownTuneError
            If a name fits no tune, or several; nothing is removed then.
        """
        from melodex.tasks.collection.holdings import remove_tunes

        self.require_open()
        return [row.tune_id for row in remove_tunes(self.path, names).removed]
