"""A file or a typed phrase becomes a Melody.

Conventions: a file that cannot be read is a :class:`~melodex.reading.result.Refusal`
in what comes back and stops nothing else; only a file that is missing, or that may
not be opened, raises. What a file is, its first bytes say before its suffix does.
Files are untrusted: each reader bounds size, nesting and numbers.

Contents: SUFFIXES, SOUND_SUFFIXES, read_path, read_data, read_bytes, contents,
text_of_abc; the readers are ``abc``, ``humdrum``, ``musicxml`` and ``midi``, loaded when
a file needs them; ``phrase`` reads what is typed, ``recording`` what is sung, whistled or
played, ``borrowed`` what music21 reads for us.
"""

from __future__ import annotations

import os
import re
from os import PathLike, fspath
from pathlib import Path

from melodex.errors import ReadingError
from melodex.reading.result import Choice, FileReading, ReadTune, ReadWarning, Refusal

__all__ = [
    "SOUND_SUFFIXES",
    "SUFFIXES",
    "Choice",
    "FileReading",
    "ReadTune",
    "ReadWarning",
    "Refusal",
    "contents",
    "read_bytes",
    "read_data",
    "read_path",
    "text_of_abc",
]

SUFFIXES = {
    ".abc": "abc",
    ".kern": "kern",
    ".krn": "kern",
    ".mei": "mei",
    ".mid": "midi",
    ".midi": "midi",
    ".musedata": "musedata",
    ".musicxml": "musicxml",
    ".mxl": "mxl",
    ".volpiano": "volpiano",
    ".xml": "musicxml",
}
"""File endings that are read, in lower case, and the format that each one means."""

SOUND_SUFFIXES = (".wav", ".wave", ".flac", ".ogg", ".oga", ".mp3")
"""Endings of recordings: one line of each is read, for a task that takes a phrase; they
are never added to a corpus."""

BORROWED = {"mei", "musedata", "volpiano"}
"""Formats that are read by way of music21 (``borrowed``), where it is installed."""

MOST_BYTES = {
    "abc": 64 << 20,
    "kern": 16 << 20,
    "mei": 4 << 20,
    "midi": 8 << 20,
    "musicxml": 8 << 20,
    "mxl": 8 << 20,
    "musedata": 4 << 20,
    "volpiano": 1 << 20,
}
"""Largest file of each format: ten times and more what real collections hold."""

XML_START = rb"(?:\xef\xbb\xbf)?\s*<|\xff\xfe<\x00|\xfe\xff\x00<|<\x00|\x00<"
MEI_ROOT = rb"<(?:\w{1,20}:)?mei[\s/>]"
KERN_SPINE = rb"(?m)^(?:[^\n]*\t)?\*\*kern(?:\t|\r?$)"
ABC_FIELD = rb"(?m)^(?:\xef\xbb\xbf)?(?:X:\s*\d|K:)"


def read_path(path: str | PathLike[str], choice: Choice | None = None) -> FileReading:
    """Read every tune of a file.

    Parameters
    ----------
    path : str or PathLike
        A file in one of the notations of :data:`SUFFIXES`.
    choice : Choice, optional
        Which part, voice and note of a chord is the melody.

    Returns
    -------
    FileReading
        Tunes with their warnings, and refusals with their reasons.

    Raises
    ------
    ReadingError
        If there is no such file or it may not be read.
    """
    source = fspath(path)
    return read_data(contents(Path(path), source), source, choice)


def read_data(data: bytes, source: str, choice: Choice | None = None) -> FileReading:
    """Read what a file holds that came with a name: handed over, not opened here.

    Parameters
    ----------
    data : bytes
        What the file holds.
    source : str
        Its name; of it only the ending counts, and that after the first bytes.
    choice : Choice, optional
        Which part, voice and note of a chord is the melody.
    """
    kept_format = format_of(data, Path(source).suffix.lower())
    if not kept_format:
        return refused(source, "this is neither ABC nor MusicXML nor MIDI nor Humdrum")
    return read_bytes(data, kept_format, source, choice)


def text_of_abc(data: bytes, source: str) -> str:
    """The text of a file that is to be read in parts; empty if it is no ABC, or too large.

    Such a text is for :func:`melodex.reading.abc.reader.abc_parts`; what is empty here,
    :func:`read_data` reads or refuses.
    """
    is_abc = format_of(data, Path(source).suffix.lower()) == "abc"
    if not is_abc or len(data) > MOST_BYTES["abc"] or not data.strip():
        return ""
    from melodex.reading.decoding import decode

    return decode(data)


def read_bytes(
    data: bytes, kept_format: str, source: str, choice: Choice | None = None
) -> FileReading:
    """Read every tune of what a file holds.

    Parameters
    ----------
    data : bytes
        What the file holds.
    kept_format : str
        ``abc``, ``kern``, ``musicxml``, ``mxl`` or ``midi``.
    source : str
        What to call the file in messages and credits.
    choice : Choice, optional
        Which part, voice and note of a chord is the melody.

    Raises
    ------
    ReadingError
        If no format has that name.
    """
    choice = choice or Choice()
    if kept_format not in MOST_BYTES:
        raise ReadingError(f"no format is called {kept_format!r}", where=source)
    if not data.strip():
        return refused(source, "the file is empty")
    if len(data) > MOST_BYTES[kept_format]:
        from melodex.reading.budget import PART_IT

        most = MOST_BYTES[kept_format] >> 20
        return refused(source, f"the file is larger than {most} MB", PART_IT)
    if kept_format == "abc":
        from melodex.reading.abc.reader import read_abc
        from melodex.reading.decoding import decode

        return read_abc(decode(data), source, choice)
    if kept_format == "kern":
        from melodex.reading.humdrum.reader import read_kern

        return read_kern(data, source, choice)
    if kept_format == "midi":
        from melodex.reading.midi.reader import read_midi

        return read_midi(data, source, choice)
    if kept_format in BORROWED:
        from melodex.reading.borrowed import read_borrowed

        return read_borrowed(data, kept_format, source, choice)
    from melodex.reading.musicxml.reader import read_musicxml

    return read_musicxml(data, source, choice, packed=kept_format == "mxl")


def contents(path: Path, source: str, most: int = max(MOST_BYTES.values())) -> bytes:
    """What a regular file holds, one byte more than the largest limit at most."""
    try:
        if not path.exists():
            raise ReadingError("there is no such file", where=source)
        # A pipe or a device would never end, or never begin.
        if not path.is_file():
            closed = path.is_dir() and not os.access(path, os.R_OK | os.X_OK)
            what = "this folder may not be looked into" if closed else "this is not a file"
            raise ReadingError(what, where=source)
        with path.open("rb") as file:
            return file.read(most + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ReadingError(f"cannot be read: {reason}", where=source) from error


def format_of(data: bytes, suffix: str) -> str:
    """The format that the first bytes name, else the one that the suffix means."""
    if data.startswith(b"MThd"):
        return "midi"
    if data.startswith(b"PK"):
        return "mxl"
    named = SUFFIXES.get(suffix, "")
    if named in BORROWED and named != "mei":
        return named
    if re.match(XML_START, data) and named != "abc":
        return "mei" if re.search(MEI_ROOT, data[:4096]) else "musicxml"
    if named != "abc" and re.search(KERN_SPINE, data[:65536]):
        return "kern"
    if re.search(ABC_FIELD, data[:65536]) and b"\x00" not in data[:65536]:
        return "abc"
    return named


def refused(source: str, reason: str, hint: str = "") -> FileReading:
    """A reading that holds one refusal of the whole file."""
    return FileReading(source, refusals=(Refusal(source, reason, hint=hint),))
