"""Rows of a corpus as lists show them.

Of the places of a tune the first is the one whose file comes first by name, and in it
the lowest number: not the one that was read first, for what is told of a tune is to be
the same in whatever order files were added.

Contents: TuneRow, PlaceRow, WarningRow, RemarkRow, IN_ORDER, FIRST_PLACE.
"""

from __future__ import annotations

from melodex.melody import name_of
from melodex.records import dataclass

__all__ = [
    "FIRST_PLACE",
    "IN_ORDER",
    "TUNE_ROW_COLUMNS",
    "PlaceRow",
    "RemarkRow",
    "TuneRow",
    "WarningRow",
    "tags_of",
]

IN_ORDER = (
    "place.id < 0, place.file, CAST(place.number AS INTEGER), place.number, "
    "place.occurrence"
)
"""Places in order; those that stand aside while a file is read anew come last."""

# A plus keeps SQLite from walking through all places in that order for each tune.
FIRST_PLACE = (
    f"(SELECT place.id FROM place WHERE place.tune = tune.id ORDER BY +{IN_ORDER} LIMIT 1)"
)
"""The row number of the first place of a tune, for a statement that names ``tune``."""


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

    @property
    def name(self) -> str:
        """What it goes by: its title, or the name of its file."""
        return name_of(self.title, self.source, self.number)


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A place where a tune was read."""

    source: str
    number: str
    occurrence: int
    collection: str


@dataclass(frozen=True, slots=True)
class RemarkRow:
    """What the musician wrote about a tune, or about some bars of it.

    ``number`` is that by which it is taken off; bars are None for the whole tune.
    """

    number: int
    kind: str
    first_bar: int | None
    last_bar: int | None
    text: str
    made_at: str


@dataclass(frozen=True, slots=True)
class WarningRow:
    """Something not understood when a tune was read, and where (from 1; 0 unknown)."""

    source: str
    number: str
    line: int
    column: int
    text: str


NUMBERS = ("year", "note_count", "bar_count", "place_count")
TUNE_ROW_COLUMNS = ", ".join(
    f"CAST({name} AS {'INTEGER' if name in NUMBERS else 'TEXT'})"
    for name in TuneRow.__slots__
    if name != "key"
)
"""Columns of the view ``tune_overview``; the key comes from the facets. A changed bit can
make a number of a text or bytes of it: what is no longer of its kind is taken as if."""


def tags_of(joined: str | None) -> tuple[str, ...]:
    """The tags that the view joined, in alphabetical order."""
    return tuple(sorted(joined.split(", "))) if joined else ()
