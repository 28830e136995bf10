"""A teaching set as it is now: its passages, as a list, as data and in a notebook.

Conventions: positions count from 1. A set is looked up by name at every call, so that it
shows what it holds now, whoever changed it.

Contents: HeldSet.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, cast

from melodex.scripting.file import CorpusFile
from melodex.scripting.partly import telling
from melodex.scripting.tune import Tune
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.tasks.lesson import sets

__all__ = ["HeldSet"]

SHOWN_COLUMNS = (
    *("position", "title", "composer", "year"),
    *("first_bar", "last_bar", "reason", "note"),
)
"""What of its rows a notebook shows."""


class HeldSet:
    """A teaching set, looked at; of what it is made says :class:`melodex.Lesson`."""

    def __init__(self, corpus: CorpusFile, name: str) -> None:
        self.corpus = corpus
        self.name = name
        self.name = self.record.row.name

    @property
    def record(self) -> sets.Lesson:
        """The set as it is now: ``row``, ``examples`` and ``remarks``."""
        from melodex.tasks.lesson import sets

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
