"""A recording becomes notes on the page.

Conventions: the sound comes with the request, is read, and is not kept. Of all readings
that is shown which fits the corpus best; the page turns its notes into a typed phrase,
which can be mended and is then found as any.

Contents: hear.
"""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from melodex.errors import ReadingError
from melodex.melody import TICKS_PER_QUARTER, Phrase
from melodex.reading.recording.reader import read_recording
from melodex.reading.recording.record import HeardLine, HeardNote, Recording
from melodex.reading.recording.waveform import MOST_FILE_BYTES
from melodex.tasks.recording.recording import best_of_readings
from melodex.workbench.asking import Ask

__all__ = ["hear"]

SURE = 0.6
"""A note heard with less is drawn as doubtful; our choice, on sound of the benchmark."""
MOST_TEMPO = 300
"""Beats a minute."""


def hear(ask: Ask) -> Response:
    """Read the sound that was sent."""
    sent = ask.uploads("sound")
    if not sent:
        raise ReadingError("no recording was sent", hint="record, or choose a file")
    data = sent[0].file.read(MOST_FILE_BYTES + 1)
    heard = read_recording(data, sent[0].filename or "the recording")
    line, phrase = fitting(ask, heard)
    tempo = ask.number("tempo", 0, least=0, most=MOST_TEMPO)
    if tempo:
        # A metronome says how long a beat is: no need to guess.
        phrase = line.phrase(heard.name, max(line.middle_seconds * tempo / 60, 1 / 32))
    lengths = phrase.melody.duration_ticks
    return JSONResponse(
        {
            "notes": [
                shown(note, ticks) for note, ticks in zip(line.notes, lengths, strict=True)
            ],
            "in_rhythm": phrase.has_rhythm,
            "tuning": heard.tuning,
            "remarks": list(heard.remarks),
        }
    )


def fitting(ask: Ask, heard: Recording) -> tuple[HeardLine, Phrase]:
    """The reading that fits the corpus best; the likeliest where there is none."""
    corpus = ask.corpus_if_any()
    hits = best_of_readings(list(corpus.chunks()), heard, limit=1) if corpus else []
    line, _, phrase = heard.ways()[hits[0][0] if hits else 0]
    return line, phrase


def shown(note: HeardNote, ticks: int) -> dict[str, object]:
    """One note for the page."""
    return {
        "midi": note.midi,
        "name": note.name,
        "onset": note.onset_seconds,
        "seconds": note.seconds,
        "beats": ticks / TICKS_PER_QUARTER,
        "sure": note.confidence >= SURE,
    }
