"""A melody becomes a row of the corpus.

Conventions: columns hold text that SQLite and every tool can show: a character
that UTF-8 cannot carry, or NUL, becomes U+FFFD; the melody's own JSON keeps it.

Contents: storable, folded, kind_of, row_crc32, facets_crc32, tune_columns, printed_bars,
place_path, unpacked, words_of.
"""

from __future__ import annotations

import os
import re
import unicodedata
import zlib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from melodex.melody import Melody

__all__ = [
    "facets_crc32",
    "folded",
    "kind_of",
    "place_path",
    "printed_bars",
    "row_crc32",
    "storable",
    "tune_columns",
    "unpacked",
    "words_of",
]

UNSTORABLE = re.compile("[\0\ud800-\udfff]")

MOST_UNPACKED = 1 << 28
"""Bytes of what a corpus keeps compressed: sources are 64 MB at most, the melody of a tune
of 100,000 notes and a set of 200 passages half of that."""

LARGEST_YEAR = 9999
"""A larger number in a source is no year; SQLite holds 64 bits."""


def storable(text: str) -> str:
    """Return text as SQLite can hold it and any tool can show it.

    Examples
    --------
    >>> storable("caf\\udce9.abc")
    'caf�.abc'
    """
    return text if text.isascii() and "\0" not in text else UNSTORABLE.sub("�", text)


def folded(text: str) -> str:
    """Return text without case and accents, for finding.

    Examples
    --------
    >>> folded("Frühlingstanz No. 2")
    'fruhlingstanz no. 2'
    """
    if text.isascii():
        return text.lower()
    parts = unicodedata.normalize("NFKD", storable(text).casefold())
    return "".join(sign for sign in parts if not unicodedata.combining(sign))


SAME_KIND = {"valse": "waltz", "walzer": "waltz", "vals": "waltz", "blues": "blues"}
"""Other words for a kind, and what only looks like a plural; common practice, no source."""


def kind_of(text: str) -> str:
    """Return a kind of dance or song, however it is written: each word as one of its kind.

    Examples
    --------
    >>> kind_of("Slip Jigs"), kind_of("WALTZES"), kind_of("Valse"), kind_of("Blues")
    ('slip jig', 'waltz', 'waltz', 'blues')
    """
    return " ".join(map(singular, re.findall(r"[^\W_]+", folded(text))))


def singular(word: str) -> str:
    """One of what a word names, by the common endings of English."""
    if word in SAME_KIND:
        return SAME_KIND[word]
    if re.search(r"(?:z|ch|sh|ss|x)es$", word):
        return word[:-2]
    return word[:-1] if len(word) > 3 and re.search(r"[^su]s$", word) else word


def row_crc32(values: Iterable[object]) -> int:
    """Return the CRC-32 of the values of a row, told apart by type and length."""
    return zlib.crc32(repr(tuple(values)).encode())


def unpacked(packed: Any) -> bytes:
    """Return what a corpus keeps compressed, as far as memory should hold it.

    Raises
    ------
    ValueError
        If it is damaged, or larger than anything that is kept: a few kilobytes may say
        that they are gigabytes.

    Examples
    --------
    >>> unpacked(zlib.compress(b"X:1"))
    b'X:1'
    """
    unpacking = zlib.decompressobj()
    try:
        data = unpacking.decompress(packed, MOST_UNPACKED)
    except (zlib.error, TypeError) as error:
        raise ValueError(f"it cannot be unpacked: {error}") from error
    if not unpacking.eof:
        raise ValueError("it is cut short or has no end")
    return data


def facets_crc32(rows: Mapping[str, Iterable[Mapping[str, Any]]]) -> int:
    """Return one CRC-32 over all facet rows of a tune, in order of table and content.

    Truth values and whole numbers count the same however SQLite gives them back, and
    in whatever order; row numbers are left out.
    """
    crc = 0
    for table in sorted(rows):
        for text in sorted([facet_text(row) for row in rows[table]]):
            crc = zlib.crc32(f"{table}{text}".encode(), crc)
    return crc


def facet_text(row: Mapping[str, Any]) -> str:
    """A facet row as text, its columns in order of their names."""
    values = [(name, row[name]) for name in names_in_order(tuple(row))]
    return repr(
        tuple(
            [
                pair if type(pair[1]) in PLAIN else (pair[0], plain(pair[1]))
                for pair in values
            ]
        )
    )


@lru_cache(maxsize=64)
def names_in_order(columns: tuple[str, ...]) -> list[str]:
    """The columns that count, in order of their names."""
    return sorted(set(columns) - {"id", "tune"})


PLAIN = frozenset({str, int, type(None)})
"""What SQLite gives back as it is."""


def plain(value: Any) -> Any:
    """A value as it is the same before SQLite and after."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return int(value) if isinstance(value, bool) else value


def tune_columns(melody: Melody) -> dict[str, Any]:
    """Return the plain columns of a melody in the table ``tune``.

    All but ``id``, ``tune_id``, ``facet_crc32`` and ``melody``; they follow from
    the melody alone, so that a check can work them out again.
    """
    by = melody.credits
    year = by.year if by.year is not None and abs(by.year) <= LARGEST_YEAR else None
    return {
        "title": storable(by.title),
        "title_folded": folded(storable(by.title)),
        "composer": storable(by.composer),
        "lyricist": storable(by.lyricist),
        "year": year,
        "rights": storable(by.rights),
        "rhythm": storable(by.rhythm),
        "origin": storable(by.origin),
        "part": storable(by.part),
        "printed_key": "" if melody.printed_key.mode == "none" else str(melody.printed_key),
        "metre": str(melody.metre or ""),
        "note_count": len(melody),
        "bar_count": printed_bars(melody),
    }


def words_of(melody: Melody) -> dict[str, str]:
    """Return what a tune can be found by in words: title, makers and lyrics, folded.

    Syllables are joined where they end in a hyphen.
    """
    by = melody.credits
    lyrics = " ".join(word.text for word in melody.lyrics)
    return {
        "title": folded(storable(by.title)),
        "makers": folded(storable(f"{by.composer} {by.lyricist}".strip())),
        "lyrics": folded(storable(lyrics.replace("- ", ""))),
    }


def printed_bars(melody: Melody) -> int:
    """Count the printed bars of a melody; the pickup is not one."""
    numbers = {bar.number for bar in melody.bars} or set(melody.bar)
    return len(numbers - {0})


def place_path(source: str) -> str:
    """Return the whole path that tells two files of one name apart.

    Bytes that are no UTF-8 are written out, so that two odd names stay two.
    """
    path = os.path.abspath(source)  # noqa: PTH100 (links are left as they are)
    return path.encode("utf-8", "backslashreplace").decode()
