"""The bridge to music21 and back, by way of MusicXML, which both read and write.

What goes over: pitches as they are spelled, lengths, ties, tuplets, grace notes, bars
and their numbers, keys, metres, chord symbols, words, title, composer. music21 is
imported only when it is asked for (``reading/borrowed``).

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021).

Contents: score_of, melody_of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from melodex.errors import ReadingError
from melodex.melody import Melody
from melodex.reading.borrowed import UNSAID, library, musicxml_of

if TYPE_CHECKING:
    from music21.stream import Score, Stream

__all__ = ["Score", "Stream", "melody_of", "score_of"]


def score_of(text: str) -> Score:
    """The music21 score of a MusicXML text."""
    return cast("Score", library().converter.parseData(text, format="musicxml"))


def melody_of(stream: Stream[Any], part: str, voice: str, title: str) -> Melody:
    """The melody of a music21 stream; see :func:`melodex.from_music21`."""
    from melodex.reading import Choice
    from melodex.reading.musicxml.reader import read_musicxml

    reading = read_musicxml(musicxml_of(stream), "music21", Choice(part, voice))
    if not reading.tunes:
        raise ReadingError("; ".join(str(refusal) for refusal in reading.refusals))
    melody = reading.tunes[0].melody
    found = {"title": melody.credits.title, "composer": melody.credits.composer}
    said = {name: "" if text == UNSAID[name] else text for name, text in found.items()}
    said["title"] = said["title"] or title
    return melody.with_credits(source="", **said)
