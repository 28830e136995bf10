"""What a musician keeps: remarks, teaching sets, copies of the whole.

Contents: Keeping.
"""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import Any

from melodex.corpus.tunes.particulars import RemarkRow
from melodex.scripting.file import CorpusFile
from melodex.scripting.lesson import Lesson, kept
from melodex.scripting.results import Found

__all__ = ["Keeping"]


class Keeping(CorpusFile):
    """What is written on tunes, kept of them and kept safe."""

    def remark(
        self, tune: str, text: str, *, kind: str = "note", bars: str = ""
    ) -> tuple[RemarkRow, ...]:
        """Write a note, a source or a citation on a tune; return all that is on it.

        Parameters
        ----------
        tune : str
            Title or id.
        text : str
            What is to be kept.
        kind : str
            ``note``, ``source`` or ``citation``.
        bars : str
            The bars it is about, by printed number, such as ``5-8``; by default all.

        Raises
        ------
        CorpusError
            If there is nothing to keep, or too much.
        UnknownTuneError, PassageError
            If there is no such tune, or it has not these bars.
        """
        from melodex.tasks.collection.remarks import write_remark

        return write_remark(self.path, tune, text, kind=kind, bars=bars).remarks

    def remarks(self, tune: str) -> tuple[RemarkRow, ...]:
        """Return what is written on a tune."""
        from melodex.tasks.collection.remarks import remarks_on

        with self.reading() as reader:
            return remarks_on(reader, tune).remarks

    # Teaching sets

    def lesson(self, name: str) -> Lesson:
        """Return a teaching set.

        Raises
        ------
        LessonError
            If there is none of that name.
        """
        return Lesson(self, name)

    def lessons(self) -> list[Lesson]:
        """Return all teaching sets, in alphabetical order."""
        from melodex.tasks.lesson.sets import list_lessons

        with self.reading() as reader:
            names = [line.row.name for line in list_lessons(reader)]
        return [Lesson(self, name) for name in names]

    def new_lesson(
        self, name: str, *, topic: str = "", level: str = "", notes: str = ""
    ) -> Lesson:
        """Make an empty teaching set.

        Parameters
        ----------
        name : str
            What it is called.
        topic, level, notes : str
            What it is to teach, for whom, and words to print on the handout.

        Raises
        ------
        LessonError
            If there is one of that name.
        """
        from melodex.tasks.lesson.sets import new_lesson

        self.require_open()
        row = new_lesson(self.path, name, topic=topic, level=level, notes=notes)
        return Lesson(self, row.name)

    def keep(self, name: str, found: Found[Any, Any]) -> Lesson:
        """Keep what was found in a teaching set, which is made if there is none.

        Raises
        ------
        LessonError
            If the set would have too many passages, or nothing was found.
        """
        return kept(self, name, found)

    def unpack(self, file: str | PathLike[str], *, name: str = "") -> Lesson:
        """Put a packed teaching set into the corpus.

        Parameters
        ----------
        file : str or PathLike
            What :meth:`melodex.Lesson.pack` wrote.
        name : str
            Another name for it here.
        """
        from melodex.tasks.lesson.file import unpack_file

        self.require_open()
        return Lesson(self, unpack_file(self.path, Path(file), name=name)[0].name)

    # The file

    def backup(self, path: str | PathLike[str], *, replace: bool = False) -> Path:
        """Write a consistent copy of the corpus, which may be in use meanwhile.

        Raises
        ------
        CorpusError
            If there is a file of that name and it is not to be replaced.
        """
        from melodex.tasks.collection.upkeep import backup

        self.require_open()
        return backup(self.path, Path(path), replace=replace).path

    def check(self) -> tuple[str, ...]:
        """Test the corpus for damage; return what is wrong, nothing if it is whole."""
        from melodex.tasks.collection.upkeep import check

        self.require_open()
        return tuple(fault.what for fault in check(self.path).report.faults)
