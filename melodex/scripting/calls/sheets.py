"""A teaching set given out: as handout, as worksheet, packed, and sung back.

Contents: Sheets.
"""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.errors import PresentationError
from melodex.scripting.calls.held_set import HeldSet
from melodex.scripting.hints import advised
from melodex.scripting.partly import telling
from melodex.scripting.saving import form_of

if TYPE_CHECKING:
    from melodex.scripting.results.marking import MarkResult

__all__ = ["Sheets"]

PRINTED = {"html": ".html", "pdf": ".pdf", "json": ".json", "midi": ".mid"}
"""Forms of a handout and how their names end; a worksheet makes no sound."""


class Sheets(HeldSet):
    """A teaching set as a class gets it, and what a pupil gives back."""

    @telling
    def handout(
        self,
        path: str | PathLike[str],
        *,
        key: str = "own",
        instrument: str = "concert",
        clef: str = "own",
        paper: str = "a4",
        force: bool = False,
    ) -> Path:
        """Write a handout with all labels.

        Parameters
        ----------
        path : str or PathLike
            ``.html``, ``.pdf``, ``.json``, or ``.mid`` to hear all passages.
        key : str
            ``own``, or a tonic for all passages, such as ``Bb``.
        instrument : str
            ``concert``, ``b-flat`` or ``e-flat``.
        clef : str
            ``own``, ``treble``, ``bass``, ``alto`` or ``tenor``.
        paper : str
            ``a4`` or ``letter``.
        force : bool
            Whether to replace a file that melodex did not write, or that has been
            changed since.

        Raises
        ------
        PresentationError
            If the set is empty, or the file cannot be written.
        """
        content = self.printed(path, None, (key, instrument, clef), "with", paper)
        return self.put(content, path, force)

    @telling
    def worksheet(
        self,
        path: str | PathLike[str],
        *,
        ask: Sequence[str] = (),
        level: str = "third",
        answers: str = "with",
        key: str = "own",
        instrument: str = "concert",
        clef: str = "own",
        paper: str = "a4",
        size: str = "usual",
        force: bool = False,
    ) -> Path:
        """Write a worksheet, with its answer key on pages of its own.

        Parameters
        ----------
        path : str or PathLike
            ``.html``, ``.pdf`` or ``.json``.
        ask : sequence of str
            Kinds of question, such as ``degrees``, ``chords``, ``key change``,
            ``shared notes`` or ``relative``; none for what suits the set.
        level : str
            ``first``, ``second`` or ``third``: nothing harder is asked.
        answers : str
            ``with``, ``without`` or ``only``; ``checked`` for a page that checks them.
        size : str
            ``usual`` or ``large`` staves and blanks.
        key, instrument, clef, paper, force
            As for :meth:`handout`.

        Raises
        ------
        PresentationError
            If the set is empty, or the file cannot be written.
        """
        setting = (key, instrument, clef)
        content = self.printed(path, ask, setting, answers, paper, level=level, size=size)
        return self.put(content, path, force)

    @telling
    def printed(
        self,
        path: str | PathLike[str],
        ask: Sequence[str] | None,
        setting: tuple[str, str, str],
        answers: str,
        paper: str,
        *,
        level: str = "third",
        size: str = "usual",
    ) -> str | bytes:
        """A handout, or a worksheet if there is something to ask, as a file holds it."""
        from melodex.presentation.lesson.printing import printed
        from melodex.presentation.lesson.setting import SheetSetting
        from melodex.tasks.lesson import sets
        from melodex.tasks.lesson.questions import worksheet

        form = form_of(Path(path))
        if form not in PRINTED or (form == "midi" and ask is not None):
            raise PresentationError(
                f"there is no {form} form of it",
                where=str(path),
                hint=f"end the name in one of {', '.join(PRINTED.values())}",
            )
        with self.corpus.reading() as reader:
            lesson = sets.open_lesson(reader, self.name)
            asked = None if ask is None else worksheet(reader, lesson, ask, level=level)
        return printed(
            lesson,
            asked,
            form,
            setting=SheetSetting(*setting),
            answers=answers,
            paper=paper,
            size=size,
        )

    def pack(self, path: str | PathLike[str], *, force: bool = False) -> Path:
        """Pack the set into one file, to share; it holds the passages alone."""
        from melodex.presentation.lesson.pack import packed_set
        from melodex.tasks.lesson import sets

        with self.corpus.reading() as reader:
            content = packed_set(sets.open_lesson(reader, self.name))
        return self.put(content, path, force)

    def put(self, content: str | bytes, path: str | PathLike[str], force: bool) -> Path:
        """Write a file whole or not at all, and over no corpus."""
        from melodex.presentation.saving import save

        target = Path(path)
        with advised():
            save(content, target, self.corpus.path, force=force)
        return target

    def mark(
        self, position: int, recording: str | PathLike[str], *, in_key: bool = False
    ) -> MarkResult:
        """Mark a passage as it was sung, whistled or played, note against note.

        Parameters
        ----------
        position : int
            Of the passage, from 1.
        recording : str or PathLike
            A sound file of one line: WAV; FLAC, Ogg or MP3 with ``melodex[listen]``.
        in_key : bool
            Whether it has to be sung in the key of the passage, in any octave.

        Returns
        -------
        MarkResult
            A list of notes, each with its verdict.

        Raises
        ------
        LessonError
            If the set has no such passage, or it is too long to be sung back.
        ReadingError
            If the recording cannot be read, or holds no line.
        """
        from melodex.scripting.results.marking import MarkResult
        from melodex.tasks.recording.marking import mark_passage

        with self.corpus.reading() as reader, advised():
            found = mark_passage(
                reader, self.name, position, fspath(recording), in_key=in_key
            )
        return MarkResult(found)
