"""Bytes to text: which encoding a plain-text tune file is in.

Conventions: a byte-order mark decides; else strict UTF-8 is tried; else the
charset that the file itself declares (``%%abc-charset`` or ``I:abc-charset``,
ABC 2.1 section 4.1 of the file format's instruction fields); else Latin-1, which
reads every byte. Where that leaves control signs of ISO 6429 (U+0080 to U+009F), which
no text holds, the text was typed under a code page: 437 of DOS, or 1252 of Windows.
Line ends come out as ``\\n``.

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

CONTROL = re.compile("[\x80-\x9f]")
DOS_LETTER = re.compile("\x81|(?<=[A-Za-z])[\x82\x84\x87\x88\x8b\x93\x94](?=[A-Za-z])")
"""What under code page 437 is a letter, and in code page 1252 a quotation mark, a dagger
or nothing, where only a letter can stand."""
WINDOWS_APOSTROPHE = re.compile("[\x91\x92]")
# The rest of code page 437 are signs for drawing, and Greek.
FROM_DOS = {code: bytes([code]).decode("cp437") for code in [*range(0x80, 0xA6), 0xE1]}
FROM_WINDOWS = {
    code: bytes([code]).decode("cp1252", errors="replace") for code in range(0x80, 0xA0)
}
"""What the bytes 80 to 9F are in code page 1252."""


def decode(data: bytes) -> str:
    """Turn the bytes of a text file into text, whatever they hold.

    Examples
    --------
    >>> decode(b"T:Caf\\xe9\\r\\n"), decode(b"\\xef\\xbb\\xbfX:1"), decode(b"T:K\\x94nig")
    ('T:Café\\n', 'X:1', 'T:König')
    """
    for mark, name in BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return plain_line_ends(data[len(mark) :].decode(name, errors="replace"))
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode(declared_charset(data), errors="replace")
    if not text.isascii() and CONTROL.search(text):
        text = without_controls(text)
    return plain_line_ends(text)


def without_controls(text: str) -> str:
    """Take control signs for the letters of the code page that they were typed under."""
    dos = len(DOS_LETTER.findall(text))
    windows = len(WINDOWS_APOSTROPHE.findall(text))
    return text.translate(FROM_DOS if dos > windows else FROM_WINDOWS)


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
