"""Values that data forms share: JSON and CSV text, numbers rounded, melodies, passages.

Contents: json_text, csv_text, rounded, melody_data, note_rows,
answers_data, passage_data.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from melodex.corpus.shards.absent import absence_now, partial_remark
from melodex.melody import Melody, degree_name, note_name
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.tasks.describe.echoes import Answers

__all__ = [
    "FIGURES",
    "NOTE_ROW_COLUMNS",
    "answers_data",
    "csv_text",
    "harmless",
    "json_text",
    "melody_data",
    "note_rows",
    "passage_data",
    "rounded",
]


FIGURES = 6
"""Significant figures of a number in JSON and CSV: enough to sort by, no noise."""


def json_text(data: Any) -> str:
    """Write data as JSON, readable and always the same.

    An answer that goes on without shards says so in its key ``partial``.
    """
    absence = absence_now()
    if absence and absence.shards:
        whole = data if isinstance(data, dict) else {"answer": data}
        data = {"partial": absence.data(), **whole}
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def csv_text(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """Write rows as CSV (RFC 4180) with a line of names; None is empty.

    A text that a spreadsheet would run as a formula is set off by an apostrophe. An answer
    that goes on without shards says so in a column ``partial`` of every row.
    """
    remark = partial_remark()
    if remark:
        columns = [*columns, "partial"]
        rows = [{**row, "partial": remark} for row in rows or [{}]]
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([harmless(row.get(column)) for column in columns])
    return sheet.getvalue()


def harmless(value: Any) -> Any:
    """A value that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return f"'{value}"
    return "" if value is None else value


def rounded(value: float | None) -> float | None:
    """A number to six figures."""
    return None if value is None else float(f"{value:.{FIGURES}g}")


def melody_data(melody: Melody) -> list[dict[str, Any]]:
    """Notes of a melody, one object each."""
    names = [note_name(m, f) for m, f in zip(melody.midi, melody.fifths, strict=True)]
    onsets, durations = melody.onset_quarters, melody.duration_quarters
    return [
        {
            "note": name,
            "midi": melody.midi[place],
            "degree": None if degree is None else degree_name(degree),
            "bar": melody.bar[place],
            "onset_quarters": rounded(onsets[place]),
            "duration_quarters": rounded(durations[place]),
        }
        for place, (name, degree) in enumerate(zip(names, melody.degrees(), strict=True))
    ]


NOTE_ROW_COLUMNS = (
    "note",
    "midi",
    "degree",
    "bar",
    "onset_quarters",
    "duration_quarters",
    "beat_strength",
    "phrase",
    "chord",
)


def note_rows(melody: Melody) -> list[dict[str, Any]]:
    """Notes of a melody with their metre, phrase and the chord over them, a row each."""
    chords = [melody.chord_at(onset) for onset in melody.onset_ticks]
    return [
        row
        | {
            "beat_strength": melody.beat_strength[place],
            "phrase": melody.phrase[place],
            "chord": chord.text if chord else None,
        }
        for place, (row, chord) in enumerate(zip(melody_data(melody), chords, strict=True))
    ]


def answers_data(found: Answers) -> dict[str, Any]:
    """Where the other lines of a piece answer a passage."""
    return {
        "passage": passage_data(found.passage),
        "line": found.line,
        "lines": found.lines,
        "answers": [
            {
                "line": answer.line,
                "first_bar": answer.first_bar,
                "last_bar": answer.last_bar,
                "later": answer.later,
                "interval": answer.interval,
                "way": answer.way,
                "notes_alike": answer.notes,
            }
            for answer in found.answers
        ],
    }


def passage_data(passage: Passage) -> dict[str, Any]:
    """Where a passage comes from."""
    whose = passage.whole.credits
    first, last = passage.bars
    return {
        "tune_id": passage.tune_id,
        "title": passage.whole.title,
        "composer": whose.composer,
        "year": whose.year,
        "collection": whose.collection,
        "source": whose.source,
        "number": whose.number,
        "rights": whose.rights,
        "first_bar": first,
        "last_bar": last,
    }
