"""What was sung back, marked: as text and as data.

Contents: MARKS, marking_text, marking_json, marking_rows.
"""

from __future__ import annotations

from typing import Any

from melodex.melody import note_name
from melodex.presentation.data.values import json_text
from melodex.presentation.text.staves import bar_row, columns, note_row
from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.recording.marking import (
    LEFT_OUT,
    OTHER_PITCH,
    PUT_IN,
    RIGHT,
    MarkedNote,
    MarkedSinging,
)

__all__ = ["MARKS", "marking_json", "marking_rows", "marking_text"]

MARKS = {
    RIGHT: ("=", "="),
    OTHER_PITCH: ("≠", "x"),
    LEFT_OUT: ("−", "-"),
    PUT_IN: ("+", "+"),
}
"""The mark of each verdict, with signs and without."""

PAINTS = {OTHER_PITCH: "31", LEFT_OUT: "31", PUT_IN: "31", RIGHT: "32"}


def marking_text(found: MarkedSinging, style: Style) -> str:
    """Write a marked passage as text: what was wanted above what was sung.

    Parameters
    ----------
    found : MarkedSinging
        Of the task.
    style : Style
        What the terminal can show.
    """
    notes, places = found.notes, [note.wanted for note in found.notes]
    marks = [MARKS[note.verdict][0 if style.signs else 1] for note in notes]
    rows = {
        "bar": bar_row(found.wanted, places),
        "wanted": note_row(found.wanted, places, style),
        "": marks,
        "sung": [style.spelled(name) if (name := found.name_of(n)) else "" for n in notes],
        "length": [note.length_words for note in notes],
    }
    kept = {title: row for title, row in rows.items() if any(row)}
    used = {note.verdict for note in notes}
    lines = [
        style.strong(shown(found.title)),
        *paragraphs([shown(f"Sung in {found.recording.name}.")], style),
        "",
        *paragraphs(found.summary, style),
        "",
        *columns(
            list(kept),
            list(kept.values()),
            style,
            [PAINTS[note.verdict] for note in notes],
            frozenset({list(kept).index("")}),
        ),
        "",
        "   ".join(
            f"{MARKS[verdict][0 if style.signs else 1]} {verdict}"
            for verdict in MARKS
            if verdict in used
        ),
        *paragraphs(found.recording.remarks, style),
    ]
    return "\n".join(lines) + "\n"


def marking_rows(found: MarkedSinging) -> list[dict[str, Any]]:
    """A row for each note."""
    return [row_of(found, note) for note in found.notes]


def row_of(found: MarkedSinging, note: MarkedNote) -> dict[str, Any]:
    """One note."""
    heard = None if note.sung is None else found.line.notes[note.sung]
    wanted = found.wanted
    return {
        "verdict": note.verdict,
        "bar": None if note.wanted is None else wanted.bar[note.wanted],
        "wanted": None
        if note.wanted is None
        else note_name(wanted.midi[note.wanted], wanted.fifths[note.wanted]),
        "sung": found.name_of(note) or None,
        "off_semitones": note.off_semitones,
        "off_cents": note.off_cents,
        "length_ratio": note.stretch,
        "length": note.length_words or None,
        "onset_seconds": heard and heard.onset_seconds,
        "seconds": heard and heard.seconds,
    }


def marking_json(found: MarkedSinging) -> str:
    """Write a marked passage as JSON."""
    return json_text(
        {
            "passage": found.title,
            "recording": found.recording.name,
            "summary": list(found.summary),
            "transposition_semitones": found.move,
            "read": found.line.words,
            "right": found.count(RIGHT),
            "notes": marking_rows(found),
            "remarks": list(found.recording.remarks),
        }
    )
