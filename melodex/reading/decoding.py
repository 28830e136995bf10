"""Bytes to text: which encoding a plain-text tune file is in.

Conventions: a byte-order mark decides; else strict UTF-8 is tried; else the
charset that the file itself declares (``%%abc-charset`` or ``I:abc-charset``,
ABC 2.1 section 4.1 of the file format's instruction fields); else Latin-1, which
reads every byte. Line ends come out as ``\\n``.

Contents: decode.
"""

from __future__ import annotations

import codecs
import re

__all__ = ["decode"]

BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
DECLARED = re.compile(rb"^(?:%%|I:)[ \t]*abc-charset[ \t]+(iso-8859-\d{1,2})", re.M | re.I)


def decode(data: bytes) -> str:
    """Turn the bytes of a text file into text, whatever they hold.

    Examples
    --------
    >>> decode(b"T:Caf\\xe9\\r\\n"), decode(b"\\xef\\xbb\\xbfX:1")
    ('T:Café\\n', 'X:1')
    """
    for mark, name in BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return plain_line_ends(data[len(mark) :].decode(name, errors="replace"))
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode(declared_charset(data), errors="replace")
    return plain_line_ends(text)


def declared_charset(data: bytes) -> str:
    """The single-byte charset that a file names, or Latin-1."""
    found = DECLARED.search(data[:65536])
    name = found[1].decode("ascii").lower() if found else "latin-1"
    try:
        return codecs.lookup(name).name
    except LookupError:
        return "latin-1"


def plain_line_ends(text: str) -> str:
    """Make every line end a single line feed."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text
