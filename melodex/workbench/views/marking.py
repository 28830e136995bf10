"""A passage of a set sung back to the page, and marked.

Conventions: the sound comes with the request, is read, and is not kept.

Contents: mark.
"""

from __future__ import annotations

from typing import Any

from starlette.responses import JSONResponse, Response

from melodex.errors import ReadingError
from melodex.melody import note_name
from melodex.presentation.lesson.marking import MARKS
from melodex.presentation.text.style import Style
from melodex.reading.recording.reader import read_recording
from melodex.reading.recording.waveform import MOST_FILE_BYTES
from melodex.tasks.recording.marking import MarkedSinging, mark_passage
from melodex.workbench.asking import Ask, rendered_page, rendered_part

__all__ = ["mark"]


def mark(ask: Ask) -> Response:
    """Mark the sound that was sent against a passage of a set."""
    sent = ask.uploads("sound")
    if not sent:
        raise ReadingError("no recording was sent", hint="record, or choose a file")
    data = sent[0].file.read(MOST_FILE_BYTES + 1)
    corpus = ask.corpus()
    found = mark_passage(
        corpus,
        ask.bench.words.name_now(corpus, ask.said("name")),
        ask.number("position", 0, least=0, most=999),
        read_recording(data, sent[0].filename or "the recording"),
        in_key=bool(ask.said("in-key")),
    )
    shown: dict[str, Any] = {"found": found, "notes": rows_of(found)}
    if ask.wants_data:
        html = str(rendered_part("marked.html", **shown))
        return JSONResponse({"html": html, "said": found.summary[0]})
    title = f"Sung back: {found.title}"
    return rendered_page(ask, "marked-page.html", title, name=ask.said("name"), **shown)


def rows_of(found: MarkedSinging) -> list[dict[str, str]]:
    """Each note in words, as the page shows it."""
    spelled = Style().spelled
    rows = []
    for note in found.notes:
        wanted = ""
        if note.wanted is not None:
            midi, fifths = found.wanted.midi[note.wanted], found.wanted.fifths[note.wanted]
            wanted = spelled(note_name(midi, fifths))
        sung = found.name_of(note)
        rows.append(
            {
                "verdict": note.verdict,
                "mark": MARKS[note.verdict][0],
                "bar": "" if note.wanted is None else str(found.wanted.bar[note.wanted]),
                "wanted": wanted,
                "sung": spelled(sung) if sung else "",
                "length": note.length_words,
            }
        )
    return rows
