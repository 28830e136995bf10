"""The id of a tune: the start of the SHA-256 of its music, title and makers.

Conventions: an id has :data:`TUNE_ID_LENGTH` hexadecimal digits. Before schema 5 of the
corpus it had the first :data:`LEADING_DIGITS` of them, which is what screens show to this
day, and what everything goes by that is worked out of ids and has to stay as it was: which
tunes are drawn, the order of choices on a worksheet, the keys of passages.

Contents: TUNE_ID_LENGTH, LEADING_DIGITS, content_id_of, earlier_text, printed_text,
leading, is_whole, is_beginning, lengthened, is_id_of.
"""

from __future__ import annotations

import json

__all__ = [
    "DYNAMICS",
    "LEADING_DIGITS",
    "TUNE_ID_LENGTH",
    "WORKED_CHORDS",
    "WORKED_LINES",
    "content_id_of",
    "earlier_text",
    "is_beginning",
    "is_id_of",
    "is_whole",
    "leading",
    "lengthened",
    "printed_text",
]

TUNE_ID_LENGTH = 16
"""Hexadecimal digits: 64 bits. Among n tunes n * n / 2**65 pairs are expected to have one
id by chance (the birthday bound): 0.0000027 at ten million."""

LEADING_DIGITS = 12
"""Digits that an id had before schema 5."""

WORKED_CHORDS, WORKED_LINES = "worked_chords", "worked_lines"
DYNAMICS = "written_dynamics"
"""Sorted last of the names of a melody as plain data, so that they are easily cut off."""

HEX_DIGITS = frozenset("0123456789abcdef")


def content_id_of(content_text: str) -> str:
    """The tune id of a melody, given what :meth:`Melody.content_text` returns."""
    # Here, since only the writer of a corpus needs it, and it loads OpenSSL.
    import hashlib

    text = printed_text(content_text)
    return hashlib.sha256(text.encode()).hexdigest()[:TUNE_ID_LENGTH]


def printed_text(content_text: str) -> str:
    """What :meth:`Melody.content_text` returns, of the tune alone.

    Chords that were worked out and dynamics are left out.
    """
    # Quotes inside a text are escaped: only a name is found like this.
    for name in (WORKED_CHORDS, WORKED_LINES, DYNAMICS):
        place = content_text.rfind(f',"{name}":')
        if place >= 0:
            return content_text[:place] + "}"
    return content_text


def earlier_text(text: str, part: str) -> str:
    """A content text as it was written when the part's name counted."""
    return text.replace('"part":""', f'"part":{json.dumps(part)}', 1) if part else text


def leading(tune_id: str) -> str:
    """The digits of an id by which it stands on screens.

    Examples
    --------
    >>> leading("f8b24b5927b6a1c3")
    'f8b24b5927b6'
    """
    return tune_id[:LEADING_DIGITS]


def is_whole(text: str) -> bool:
    """Whether a text is an id.

    Examples
    --------
    >>> is_whole("f8b24b5927b6"), is_whole("f8b24b5927b6a1c3")
    (False, True)
    """
    return len(text) == TUNE_ID_LENGTH and set(text) <= HEX_DIGITS


def is_beginning(text: str) -> bool:
    """Whether a text is an id as it was before schema 5: the beginning of one.

    Examples
    --------
    >>> is_beginning("f8b24b5927b6"), is_beginning("f8b24b5927b6a1c3")
    (True, False)
    """
    return len(text) == LEADING_DIGITS and set(text) <= HEX_DIGITS


def lengthened(beginning: str) -> str:
    """An id from before schema 5 of which the other digits cannot be known.

    Examples
    --------
    >>> lengthened("f8b24b5927b6")
    'f8b24b5927b60000'
    """
    return beginning.ljust(TUNE_ID_LENGTH, "0")


def is_id_of(content_id: str, known: str) -> bool:
    """Whether a tune whose content gives one id may be the one that is known by another.

    Examples
    --------
    >>> is_id_of("f8b24b5927b6a1c3", "f8b24b5927b6")
    True
    >>> is_id_of("f8b24b5927b6a1c3", "f8b24b5927b60000")
    True
    """
    short = leading(content_id)
    return known in {content_id, short, lengthened(short)}
