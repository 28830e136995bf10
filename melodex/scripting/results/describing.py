"""What calls about one piece return.

Contents: DescribeResult, AroundResult, AnswersResult.
"""

from __future__ import annotations

import textwrap
from typing import Any, cast

from melodex.scripting.notebook import Drawing
from melodex.scripting.results.result import BARS, ListResult, Result, count
from melodex.scripting.tune import Tune
from melodex.tasks.describe.describe import Description
from melodex.tasks.describe.echoes import Answer, Answers
from melodex.tasks.describe.finds import Find
from melodex.tasks.describe.surroundings import Surroundings

__all__ = ["AnswersResult", "AroundResult", "DescribeResult"]


class DescribeResult(ListResult[Description, Find]):
    """What is in a piece; of :func:`melodex.describe`. As a list: its finds."""

    __slots__ = ()
    shown_columns = ("kind", *BARS, "sentence", "tunes")

    @property
    def headline(self) -> str:
        """Title, key and how many things are worth telling."""
        melody = self.record.passage.melody
        finds = count(len(self), "find", "finds")
        return f"{melody.title}: {self.record.analysis.key.key}, {finds}"

    @property
    def items(self) -> tuple[Find, ...]:
        """The finds, the rarest first."""
        return self.record.finds

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The bars of each find."""
        whole = Tune(self.record.passage)
        return tuple(whole.bars(find.first_bar, find.last_bar) for find in self.items)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each find."""
        return cast(list[dict[str, Any]], self.to_dict()["finds"])

    def to_csv(self) -> str:
        """The finds as CSV (RFC 4180)."""
        from melodex.presentation.data.describe import FIND_COLUMNS
        from melodex.presentation.data.values import csv_text

        return csv_text(self.rows(), FIND_COLUMNS)

    def _repr_svg_(self) -> str:
        """The engraved melody with the degrees of its key centres and the numerals."""
        from melodex.presentation.report.describe import melody_svg

        return melody_svg(self.record)

    def drawings(self) -> list[Drawing]:
        """The melody alone."""
        return [("", self._repr_svg_)]


class AroundResult(Result[Surroundings]):
    """A passage with the other lines of its piece; of :meth:`melodex.Corpus.around`.

    ``save`` writes a picture (``.svg``), sound (``.mid``), notation (``.musicxml``) or a
    page (``.html``, ``.pdf``).
    """

    __slots__ = ()

    @property
    def headline(self) -> str:
        """Which passage, and where."""
        return self.record.label

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The passage in the middle."""
        return (Tune(self.record.passage),)

    def rows(self) -> list[dict[str, Any]]:
        """A row a line, from the top: its name, its notes there, whether it is the own."""
        return [
            {"line": line.name, "notes": len(line.melody), "own": at == self.record.own}
            for at, line in enumerate(self.record.lines)
        ]

    def text(self, width: int = 80) -> str:
        """Which line has the passage, which sound with it and which rest."""
        names = ", ".join(line.name for line in self.record.lines)
        said = [self.record.label, self.record.sentence, f"From the top: {names}."]
        return "\n".join(textwrap.fill(text, width) for text in said)

    def _repr_svg_(self) -> str:
        """The small score, for a notebook."""
        from melodex.presentation.pages import rendered

        return str(rendered(self.record, "svg"))


class AnswersResult(ListResult[Answers, Answer]):
    """Where other lines answer a passage; of :meth:`melodex.Corpus.answers`."""

    __slots__ = ()

    shown_columns = ("line", "first_bar", "last_bar", "later", "interval", "way")

    @property
    def headline(self) -> str:
        """How often it is answered."""
        count = len(self.record.answers)
        times = "once" if count == 1 else f"{count} times"
        return f"{self.record.passage.label}: answered {times}"

    @property
    def items(self) -> tuple[Answer, ...]:
        """The answers in order of time."""
        return self.record.answers

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The passage that is answered."""
        return (Tune(self.record.passage),)

    def rows(self) -> list[dict[str, Any]]:
        """A row an answer: line, bars, how much later, at which interval, in which way."""
        return cast(list[dict[str, Any]], self.to_dict()["answers"])
