"""What :meth:`melodex.Lesson.mark` returns: a marked passage as text, data and rows.

Contents: MarkResult.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, cast

from melodex.presentation.lesson.marking import marking_json, marking_rows, marking_text
from melodex.presentation.text.style import Style
from melodex.scripting.notebook import cell_html
from melodex.tasks.recording.marking import MarkedNote, MarkedSinging

__all__ = ["MarkResult"]


class MarkResult:
    """A passage that was sung back, marked note against note.

    Parameters
    ----------
    record : MarkedSinging
        All of it, as the task returned it.
    """

    __slots__ = ("record",)

    def __init__(self, record: MarkedSinging) -> None:
        self.record = record

    @property
    def summary(self) -> tuple[str, ...]:
        """What there is to say, the main thing first."""
        return self.record.summary

    def __len__(self) -> int:
        return len(self.record.notes)

    def __iter__(self) -> Iterator[MarkedNote]:
        return iter(self.record.notes)

    def __getitem__(self, place: int) -> MarkedNote:
        return self.record.notes[place]

    def __repr__(self) -> str:
        return f"<MarkResult: {self.record.title}: {self.record.summary[0]}>"

    def __str__(self) -> str:
        return marking_text(self.record, Style()).rstrip("\n")

    def rows(self) -> list[dict[str, Any]]:
        """One row for each note, which ``pandas.DataFrame`` takes as they are."""
        return marking_rows(self.record)

    def to_dict(self) -> dict[str, Any]:
        """The same as plain data, as the command writes it."""
        return cast(dict[str, Any], json.loads(marking_json(self.record)))

    def _repr_html_(self) -> str:
        """Words and a table, for a notebook."""
        return cell_html(
            repr(self).strip("<>"),
            summary=self.record.summary,
            rows=self.rows(),
            columns=("bar", "wanted", "sung", "verdict", "length"),
            words=self.record.recording.remarks,
        )
