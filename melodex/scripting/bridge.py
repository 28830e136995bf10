"""The bridge to music21 and back, by way of MusicXML, which both read and write.

What goes over: pitches as they are spelled, lengths, ties, tuplets, grace notes, bars
and their numbers, keys, metres, chord symbols, words, title, composer. music21 is
imported only here, and only when it is asked for.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021).

Contents: score_of, melody_of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from melodex.errors import PresentationError, ReadingError
from melodex.melody import Melody

if TYPE_CHECKING:
    from music21.stream import Score, Stream

__all__ = ["Score", "Stream", "melody_of", "score_of"]

UNSAID = {"title": "Music21 Fragment", "composer": "Music21"}
"""What music21 writes where a score has no title or composer of its own."""


def library() -> Any:
    """The music21 library.

    Raises
    ------
    PresentationError
        If it is not installed.
    """
    try:
        import music21
    except ImportError as error:
        raise PresentationError(
            "music21 is not installed", hint="pip install 'melodex[music21]'"
        ) from error
    return music21


def score_of(text: str) -> Score:
    """The music21 score of a MusicXML text."""
    return cast("Score", library().converter.parseData(text, format="musicxml"))


def melody_of(stream: Stream[Any], part: str, voice: str, title: str) -> Melody:
    """The melody of a music21 stream; see :func:`melodex.from_music21`."""
    from melodex.reading import Choice
    from melodex.reading.musicxml.reader import read_musicxml

    writer = library().musicxml.m21ToXml.GeneralObjectExporter
    try:
        data = writer(stream).parse()
    except Exception as error:  # music21 raises its own kinds, and Python's
        raise ReadingError(f"music21 cannot write this as MusicXML: {error}") from error
    reading = read_musicxml(data, "music21", Choice(part, voice))
    if not reading.tunes:
        raise ReadingError("; ".join(str(refusal) for refusal in reading.refusals))
    melody = reading.tunes[0].melody
    found = {"title": melody.credits.title, "composer": melody.credits.composer}
    said = {name: "" if text == UNSAID[name] else text for name, text in found.items()}
    said["title"] = said["title"] or title
    return melody.with_credits(source="", **said)
