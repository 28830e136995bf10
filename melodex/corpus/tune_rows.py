"""Rows of a corpus as lists show them.

Contents: TuneRow, PlaceRow, WarningRow.
"""

from __future__ import annotations

from melodex.records import dataclass

__all__ = ["TUNE_ROW_COLUMNS", "PlaceRow", "TuneRow", "WarningRow", "tags_of"]


@dataclass(frozen=True, slots=True)
class TuneRow:
    """One tune as lists show it; collection, source and number of its first place.

    ``key`` is the key that it was read in, ``printed_key`` what its source prints.
    """

    tune_id: str
    title: str
    composer: str
    year: int | None
    printed_key: str
    metre: str
    note_count: int
    bar_count: int
    collection: str
    source: str
    number: str
    place_count: int
    tags: tuple[str, ...]
    rights: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A place where a tune was read."""

    source: str
    number: str
    occurrence: int
    collection: str


@dataclass(frozen=True, slots=True)
class WarningRow:
    """Something not understood when a tune was read, and where (from 1; 0 unknown)."""

    source: str
    number: str
    line: int
    column: int
    text: str


TUNE_ROW_COLUMNS = ", ".join(name for name in TuneRow.__slots__ if name != "key")
"""Columns of the view ``tune_overview``; the key comes from the facets."""


def tags_of(joined: str | None) -> tuple[str, ...]:
    """The tags that the view joined, in alphabetical order."""
    return tuple(sorted(joined.split(", "))) if joined else ()
