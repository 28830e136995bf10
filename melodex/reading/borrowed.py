"""Open notations that are read by way of music21, where it is installed.

music21 reads the file and writes MusicXML of it; that is read as any other. What is kept
of the file is this MusicXML, so that a corpus is whole without music21. Where music21 is
not installed, fails or takes too long, the file is refused and the reason said.

Conventions: only formats that anybody may write by their published description. Files
are untrusted, and so is what a library does with them: they are read in a process of
their own, under limits of time and memory (``apart``), from bytes and never by name.

References
----------
Music Encoding Initiative (2023), MEI 5.0. Hewlett (1997), MuseData: multipurpose
representation, in Selfridge-Field (ed.), Beyond MIDI. Volpiano, the notation of chant
with letters and hyphens (University of Regensburg).

Contents: BORROWED, UNSAID, library, musicxml_of, read_borrowed.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import replace
from typing import Any, cast

from melodex.errors import HostileInputError, PresentationError, ReadingError
from melodex.reading.bounded import one_line
from melodex.reading.decoding import decode
from melodex.reading.result import Choice, FileReading, ReadTune, ReadWarning, Refusal

__all__ = ["BORROWED", "UNSAID", "library", "musicxml_of", "read_borrowed"]

BORROWED = {"mei": "MEI", "musedata": "MuseData", "volpiano": "Volpiano"}
"""Formats that music21 reads for us, and what each is called."""

CHANT = r"\s*[12]-[-0-9A-Za-z()\[\]{}\s]*"
"""What a text in Volpiano is made of."""

INSTALL = "pip install 'melodex[music21]'"

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
        raise PresentationError("music21 is not installed", hint=INSTALL) from error
    return music21


def musicxml_of(stream: Any) -> bytes:
    """A music21 stream as MusicXML.

    Raises
    ------
    ReadingError
        If music21 cannot write it.
    """
    try:
        exporter = library().musicxml.m21ToXml.GeneralObjectExporter(stream)
        return cast("bytes", exporter.parse())
    except Exception as error:  # music21 raises its own kinds, and Python's
        raise ReadingError(f"music21 cannot write this as MusicXML: {error}") from error


def read_borrowed(data: bytes, form: str, source: str, choice: Choice) -> FileReading:
    """Read a file by way of music21.

    Parameters
    ----------
    data : bytes
        What the file holds.
    form : str
        A key of :data:`BORROWED`.
    source : str
        What to call the file in messages and credits.
    choice : Choice
        As for MusicXML.
    """
    try:
        sheet = musicxml_of(parsed(decode(data), form))
    except PresentationError as error:
        reason = f"{BORROWED[form]} is read by way of music21, which is not installed"
        return FileReading(source, refusals=(Refusal(source, reason, hint=error.hint),))
    except (HostileInputError, MemoryError):
        raise
    except ReadingError as error:
        refusal = Refusal(source, error.what, hint=error.hint)
        return FileReading(source, refusals=(refusal,))
    from melodex.reading.musicxml.reader import read_musicxml

    reading = read_musicxml(sheet, source, choice)
    return FileReading(source, tuple(map(own, reading.tunes)), reading.refusals)


def parsed(text: str, form: str) -> Any:
    """The stream that music21 makes of a text.

    Raises
    ------
    ReadingError
        If it makes none.
    """
    if form == "mei" and ("<!ENTITY" in text or "<!DOCTYPE" in text):
        raise ReadingError(
            "its document type may declare entities, which are not read",
            hint="take away the line that begins with <!DOCTYPE",
        )
    if form == "volpiano" and not re.fullmatch(CHANT, text):
        raise ReadingError(
            "this is no Volpiano: it begins with a clef, 1 or 2, and holds letters, "
            "figures and hyphens"
        )
    music21 = library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return music21.converter.parseData(text, format=form)
        except (HostileInputError, MemoryError):
            raise
        except Exception as error:  # music21 raises its own kinds, and Python's
            said = one_line(f"{type(error).__name__}: {error}")[:200]
            raise ReadingError(
                f"music21 cannot read this as {BORROWED[form]} ({said})",
                hint="export it as MusicXML from the program that wrote it",
            ) from error


def own(tune: ReadTune) -> ReadTune:
    """A tune without what music21 says of itself, and with a word about how it was read."""
    by = tune.melody.credits
    named = {"title": by.title, "composer": by.composer}
    said = {name: "" if text == UNSAID[name] else text for name, text in named.items()}
    melody = tune.melody.with_credits(**said)
    warning = ReadWarning("read by way of music21; the corpus keeps it as MusicXML")
    return replace(tune, melody=melody, warnings=(warning, *tune.warnings))
