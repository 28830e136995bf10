"""Rows of a corpus as lists show them.

Contents: TuneRow, PlaceRow, WarningRow.
"""

from __future__ import annotations

from melodex.records import dataclass

__all__ = ["TUNE_ROW_COLUMNS", "PlaceRow", "TuneRow", "WarningRow", "tags_of"]


@dataclass(frozen=True, slots=True)
class TuneRow:
    """One tune as lists show it; collection, source and number of its first place."""

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


TUNE_ROW_COLUMNS = ", ".join(TuneRow.__slots__)


def tags_of(joined: str | None) -> tuple[str, ...]:
    """The tags that the view joined, in alphabetical order."""
    return tuple(sorted(joined.split(", "))) if joined else ()
