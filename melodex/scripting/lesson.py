"""A teaching set as a script uses it: kept, annotated, put in order, printed, shared.

Conventions: positions count from 1. A lesson is looked up by name at every call, so that
it shows what the set holds now, whoever changed it.

Contents: Lesson, kept.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, cast

from melodex.errors import LessonError, PresentationError
from melodex.scripting.file import CorpusFile
from melodex.scripting.hints import advised
from melodex.scripting.partly import telling
from melodex.scripting.saving import form_of
from melodex.scripting.tune import SpanLike, Tune, TuneLike, as_passage
from melodex.tasks.lesson import keeping, sets
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.scripting.marking import MarkResult

__all__ = ["Keepable", "Lesson", "kept"]


class Keepable(Protocol):
    """What a search returned: its record, and the passage that was looked for."""

    @property
    def record(self) -> Any:
        """What the task returned."""

    @property
    def sought(self) -> Passage | None:
        """What was looked for, where it was cut from a tune."""


class Lesson:
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

    def __init__(self, corpus: CorpusFile, name: str) -> None:
        self.corpus = corpus
        self.name = name
        self.name = self.record.row.name

    @property
    def record(self) -> sets.Lesson:
        """The set as it is now: ``row``, ``examples`` and ``remarks``."""
        with self.corpus.reading() as reader:
            return sets.open_lesson(reader, self.name, offer_nearest=True)

    @property
    def passages(self) -> tuple[Tune, ...]:
        """Its passages in their order, as they were kept."""
        return tuple(
            Tune(Passage(e.excerpt, e.excerpt, 0, e.row.tune_id, False))
            for e in self.record.examples
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What has to be known of it before it is used."""
        return self.record.remarks

    def __len__(self) -> int:
        return len(self.record.examples)

    def __bool__(self) -> bool:
        """A set is one even while it is empty."""
        return True

    def __iter__(self) -> Iterator[Tune]:
        return iter(self.passages)

    def __repr__(self) -> str:
        count = len(self)
        return f"<Lesson {self.name!r}: {count} passage{'' if count == 1 else 's'}>"

    @telling
    def __str__(self) -> str:
        from melodex.presentation.lesson.text import lesson_text
        from melodex.presentation.text.style import Style

        return lesson_text(self.record, Style()).rstrip("\n")

    @telling
    def to_dict(self) -> dict[str, Any]:
        """The set as plain data, as the command writes it."""
        from melodex.presentation.lesson.data import lesson_json

        return cast(dict[str, Any], json.loads(lesson_json(self.record)))

    def rows(self) -> list[dict[str, Any]]:
        """One row for each passage, which ``pandas.DataFrame`` takes as they are."""
        from melodex.presentation.lesson.data import EXAMPLE_COLUMNS

        return [
            {name: example[name] for name in EXAMPLE_COLUMNS}
            for example in self.to_dict()["examples"]
        ]

    @telling
    def to_csv(self) -> str:
        """The passages as CSV (RFC 4180)."""
        from melodex.presentation.data.values import csv_text
        from melodex.presentation.lesson.data import EXAMPLE_COLUMNS

        return csv_text(self.rows(), EXAMPLE_COLUMNS)

    @telling
    def _repr_html_(self) -> str:
        """The first passages engraved, and a table of all, for a notebook."""
        from melodex.scripting.notebook import cell_html, passage_drawings

        return cell_html(
            repr(self).strip("<>"),
            drawings=passage_drawings(tune.passage for tune in self.passages),
            rows=self.rows(),
            columns=SHOWN_COLUMNS,
            words=self.remarks,
        )

    # Changing it

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
        if not isinstance(found, str | PathLike | Tune):
            return kept(self.corpus, self.name, found)
        with self.corpus.reading() as reader:
            passage = as_passage(found, reader, bars=bars, notes=notes)
        find = keeping.found_in(passage, sets.checked_text(why))
        keeping.keep(self.corpus.path, self.name, [find])
        return self

    def note(self, position: int, words: str) -> Lesson:
        """Write words of your own beside a passage; empty words take them away."""
        sets.annotate(self.corpus.path, self.name, position, words)
        return self

    def move(self, position: int, to: int) -> Lesson:
        """Move a passage to another position."""
        sets.move(self.corpus.path, self.name, position, to)
        return self

    def drop(self, *positions: int) -> Lesson:
        """Take passages out; their tunes stay in the corpus."""
        sets.drop(self.corpus.path, self.name, positions)
        return self

    def mend(self, *positions: int) -> Lesson:
        """Take what comes nearest in place of passages whose tune has changed."""
        keeping.take_nearest(self.corpus.path, self.name, positions)
        return self

    def arrange(self) -> list[str]:
        """Put the passages in order from easy to hard; return what there is to say of it.

        Returns
        -------
        list of str
            Title and reasons of each passage, in the new order, then remarks.
        """
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
        return Lesson(self.corpus, sets.copy_lesson(self.corpus.path, self.name, name).name)

    def delete(self) -> None:
        """Delete the set; the tunes stay in the corpus."""
        sets.remove_lesson(self.corpus.path, self.name)

    # Sung back

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
        from melodex.scripting.marking import MarkResult
        from melodex.tasks.recording.marking import mark_passage

        with self.corpus.reading() as reader, advised():
            found = mark_passage(
                reader, self.name, position, fspath(recording), in_key=in_key
            )
        return MarkResult(found)

    # Giving it out

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


PRINTED = {"html": ".html", "pdf": ".pdf", "json": ".json", "midi": ".mid"}
"""Forms of a handout and how their names end; a worksheet makes no sound."""

SHOWN_COLUMNS = (
    *("position", "title", "composer", "year"),
    *("first_bar", "last_bar", "reason", "note"),
)
"""What of its rows a notebook shows."""


def kept(corpus: CorpusFile, name: str, found: Keepable) -> Lesson:
    """Keep what was found in a teaching set, which is made if there is none."""
    with corpus.reading() as reader:
        finds = keeping.finds_of(reader, found.record, sought=found.sought)
    if not finds:
        raise LessonError("nothing was found, so nothing was kept", where=name)
    return Lesson(corpus, keeping.keep(corpus.path, name, finds, create=True).name)
