"""A teaching set as a script uses it: kept, annotated, put in order, printed, shared.

Conventions: positions count from 1. A lesson is looked up by name at every call, so that
it shows what the set holds now, whoever changed it. What it holds and what is given out
of it stand in :mod:`melodex.scripting.calls`; here it is changed.

Contents: Lesson, kept.
"""

from __future__ import annotations

from os import PathLike
from typing import Any, Protocol

from melodex.errors import LessonError
from melodex.scripting.calls.sheets import Sheets
from melodex.scripting.file import CorpusFile
from melodex.scripting.tune import SpanLike, Tune, TuneLike, as_passage
from melodex.tasks.passage import Passage

__all__ = ["Keepable", "Lesson", "kept"]


class Keepable(Protocol):
    """What a search returned: its record, and the passage that was looked for."""

    @property
    def record(self) -> Any:
        """What the task returned."""

    @property
    def sought(self) -> Passage | None:
        """What was looked for, where it was cut from a tune."""


class Lesson(Sheets):
    """A teaching set of a corpus.

    Come by one with :meth:`melodex.Corpus.lesson`, :meth:`melodex.Corpus.new_lesson` or
    ``keep`` of what was found.

    Parameters
    ----------
    corpus : CorpusFile
        That holds it.
    name : str
        What it is called.

    Raises
    ------
    LessonError
        If there is no such set.
    """

    def keep(
        self,
        found: Keepable | TuneLike,
        *,
        bars: SpanLike | None = None,
        notes: SpanLike | None = None,
        why: str = "",
    ) -> Lesson:
        """Keep what a search found, or a passage by hand, behind what is there.

        Parameters
        ----------
        found : result, str, PathLike or Tune
            What :meth:`~melodex.Corpus.resemble`, ``gather`` or ``audit`` returned, or
            a tune of the corpus.
        bars, notes : int, str or tuple of int, optional
            What part of a tune.
        why : str
            What a tune is an example of.

        Raises
        ------
        LessonError
            If the set would have too many passages.
        """
        from melodex.tasks.lesson import keeping, sets

        if not isinstance(found, str | PathLike | Tune):
            return kept(self.corpus, self.name, found)
        with self.corpus.reading() as reader:
            passage = as_passage(found, reader, bars=bars, notes=notes)
        find = keeping.found_in(passage, sets.checked_text(why))
        keeping.keep(self.corpus.path, self.name, [find])
        return self

    def note(self, position: int, words: str) -> Lesson:
        """Write words of your own beside a passage; empty words take them away."""
        from melodex.tasks.lesson import sets

        sets.annotate(self.corpus.path, self.name, position, words)
        return self

    def move(self, position: int, to: int) -> Lesson:
        """Move a passage to another position."""
        from melodex.tasks.lesson import sets

        sets.move(self.corpus.path, self.name, position, to)
        return self

    def drop(self, *positions: int) -> Lesson:
        """Take passages out; their tunes stay in the corpus."""
        from melodex.tasks.lesson import sets

        sets.drop(self.corpus.path, self.name, positions)
        return self

    def mend(self, *positions: int) -> Lesson:
        """Take what comes nearest in place of passages whose tune has changed."""
        from melodex.tasks.lesson import keeping

        keeping.take_nearest(self.corpus.path, self.name, positions)
        return self

    def arrange(self) -> list[str]:
        """Put the passages in order from easy to hard; return what there is to say of it.

        Returns
        -------
        list of str
            Title and reasons of each passage, in the new order, then remarks.
        """
        from melodex.tasks.lesson import sets
        from melodex.tasks.lesson.order import apply_arrangement, arrange

        with self.corpus.reading() as reader:
            found = arrange(sets.open_lesson(reader, self.name))
        apply_arrangement(self.corpus.path, found)
        said = [
            f"{place.position}. {place.example.title}: {'; '.join(place.reasons)}"
            if place.reasons
            else f"{place.position}. {place.example.title}"
            for place in found.placed
        ]
        return [*said, *found.remarks]

    def change(
        self,
        *,
        name: str | None = None,
        topic: str | None = None,
        level: str | None = None,
        notes: str | None = None,
    ) -> Lesson:
        """Change what the set is called and for; None leaves a text as it is."""
        from melodex.tasks.lesson import sets

        row = sets.alter_lesson(
            self.corpus.path,
            self.name,
            new_name=name,
            topic=topic,
            level=level,
            notes=notes,
        )
        self.name = row.name
        return self

    def copy(self, name: str) -> Lesson:
        """Make another set with the same passages, and return that."""
        from melodex.tasks.lesson import sets

        return Lesson(self.corpus, sets.copy_lesson(self.corpus.path, self.name, name).name)

    def delete(self) -> None:
        """Delete the set; the tunes stay in the corpus."""
        from melodex.tasks.lesson import sets

        sets.remove_lesson(self.corpus.path, self.name)


def kept(corpus: CorpusFile, name: str, found: Keepable) -> Lesson:
    """Keep what was found in a teaching set, which is made if there is none."""
    from melodex.tasks.lesson import keeping

    with corpus.reading() as reader:
        finds = keeping.finds_of(reader, found.record, sought=found.sought)
    if not finds:
        raise LessonError("nothing was found, so nothing was kept", where=name)
    return Lesson(corpus, keeping.keep(corpus.path, name, finds, create=True).name)
