"""What all results have in common: words, data, files, pictures in a notebook.

Contents: Result, ListResult, Found, TITLED, count.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, Generic, TypeVar, cast, overload

from melodex.scripting.file import CorpusFile
from melodex.scripting.hints import advised
from melodex.scripting.lesson import Lesson, kept
from melodex.scripting.notebook import Drawing, cell_html, passage_drawings
from melodex.scripting.partly import SAYING, last_absence, saying
from melodex.scripting.saving import form_of
from melodex.scripting.tune import Tune
from melodex.tasks.passage import Passage

__all__ = ["BARS", "TITLED", "Found", "ListResult", "Result", "count"]

Record = TypeVar("Record")
Item = TypeVar("Item")

BARS = ("first_bar", "last_bar")
TITLED = ("title", "composer", "year", *BARS)
"""Columns that many rows begin with."""


class Result(Generic[Record]):
    """What a task found.

    Parameters
    ----------
    record : object
        All of it, as the task returned it.
    """

    __slots__ = ("absence", "record")

    shown_columns: tuple[str, ...] = ()
    """What of its rows a notebook shows."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.absence = last_absence()

    def __init_subclass__(cls, **named: Any) -> None:
        super().__init_subclass__(**named)
        for name in SAYING:
            if name in cls.__dict__:
                setattr(cls, name, saying(cls.__dict__[name]))

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name in {"absence", "record"}:
            raise AttributeError(name)
        return getattr(self.record, name)

    @property
    def partial(self) -> str:
        """Without which shards it was found, in a sentence; empty where without none."""
        return self.absence.remark if self.absence else ""

    @property
    def headline(self) -> str:
        """What was found, in a line."""
        raise NotImplementedError

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The passages that were found, each as a tune, in their order."""
        return ()

    def rows(self) -> list[dict[str, Any]]:
        """What was found as rows, which ``pandas.DataFrame`` takes as they are."""
        return []

    def drawings(self) -> list[Drawing]:
        """What a notebook shows of it in pictures."""
        return passage_drawings(tune.passage for tune in self.passages)

    def __repr__(self) -> str:
        is_partial = ", partial" if self.partial else ""
        return f"<{type(self).__name__}: {self.headline}{is_partial}>"

    def __str__(self) -> str:
        return self.text().rstrip("\n")

    @saying
    def text(self, width: int = 80) -> str:
        """What the command prints, in lines of at most so many columns."""
        from melodex.presentation.text.forms import as_text
        from melodex.presentation.text.style import Style

        return as_text(self.record, Style(width))

    @saying
    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.forms import as_json

        return as_json(self.record)

    def to_dict(self) -> dict[str, Any]:
        """The same as plain data: dicts, lists, texts and numbers."""
        return cast(dict[str, Any], json.loads(self.to_json()))

    @saying
    def save(
        self, path: str | PathLike[str], *, paper: str = "a4", force: bool = False
    ) -> Path:
        """Write a file in the form that its ending says, whole or not at all.

        Parameters
        ----------
        path : str or PathLike
            ``.txt``, ``.json``, ``.html`` or ``.pdf``; a list also ``.csv``; a
            comparison also ``.svg``, ``.mid``, ``.musicxml`` or ``.abc``.
        paper : str
            ``a4`` or ``letter``, for ``.pdf``.
        force : bool
            Whether to replace a file that melodex did not write, or that has been
            changed since.

        Raises
        ------
        PresentationError
            If there is no such form of the result, or the file cannot be written.
        CorpusError
            If the file is a corpus.
        """
        from melodex.presentation.saving import save

        target = Path(path)
        form = form_of(target)
        if form == "text":
            content: str | bytes = self.text()
        elif form == "json":
            content = self.to_json()
        elif form == "csv" and isinstance(self, ListResult):
            content = self.to_csv()
        else:
            from melodex.presentation.pages import rendered

            content = rendered(self.record, form, paper=paper)
        with advised():
            save(content, target, force=force)
        return target

    @saying
    def _repr_html_(self) -> str:
        """Pictures and table, for a notebook."""
        return cell_html(
            self.headline,
            summary=getattr(self.record, "summary", ()),
            drawings=self.drawings(),
            rows=self.rows() if self.shown_columns else (),
            columns=self.shown_columns,
            words=(
                *getattr(self.record, "remarks", ()),
                *getattr(self.record, "cautions", ()),
            ),
        )


class ListResult(Result[Record], Sequence[Item], Generic[Record, Item]):
    """A result that is a list: it can be counted, indexed and gone through."""

    __slots__ = ()

    @property
    def items(self) -> tuple[Item, ...]:
        """What the list holds, in full."""
        raise NotImplementedError

    def to_csv(self) -> str:
        """The rows as CSV (RFC 4180)."""
        from melodex.presentation.data.forms import as_csv

        return as_csv(self.record)

    def __len__(self) -> int:
        return len(self.items)

    def __bool__(self) -> bool:
        return bool(self.items)

    def __iter__(self) -> Iterator[Item]:
        return iter(self.items)

    @overload
    def __getitem__(self, place: int) -> Item: ...

    @overload
    def __getitem__(self, place: slice) -> Sequence[Item]: ...

    def __getitem__(self, place: int | slice) -> Item | Sequence[Item]:
        return self.items[place]


class Found(ListResult[Record, Item]):
    """Passages found in a corpus, which can be kept in a teaching set."""

    __slots__ = ("corpus", "sought")

    def __init__(
        self, record: Record, corpus: CorpusFile, sought: Passage | None = None
    ) -> None:
        super().__init__(record)
        self.corpus = corpus
        self.sought = sought

    def keep(self, name: str) -> Lesson:
        """Keep what was found in a teaching set, which is made if there is none.

        Parameters
        ----------
        name : str
            Of the set. A passage that it has already is not kept twice.

        Raises
        ------
        LessonError
            If the set would have too many passages, or nothing was found.
        """
        return kept(self.corpus, name, self)


def count(number: int, one: str, many: str) -> str:
    """A number and what it counts."""
    return f"{number:,} {one if number == 1 else many}"
