"""What is told of one tune beside its notes: places, sources, warnings and remarks.

Contents: places_of, sources_of, remarks_of, warnings_of; PlaceRow, RemarkRow, WarningRow.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from melodex.corpus.tunes.tune_rows import IN_ORDER
from melodex.records import dataclass

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.reading.result import Choice

__all__ = [
    "PlaceRow",
    "RemarkRow",
    "WarningRow",
    "places_of",
    "remarks_of",
    "sources_of",
    "warnings_of",
]


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


def places_of(corpus: Corpus, tune_id: str) -> list[PlaceRow]:
    """Return every place where a tune was read, the first one first."""
    rows = corpus.query(
        "SELECT source, number, occurrence, collection.name FROM place "
        "JOIN tune ON tune.id = place.tune "
        "JOIN collection ON collection.id = place.collection "
        f"WHERE tune.tune_id = ? ORDER BY {IN_ORDER}",
        [tune_id],
    )
    return [PlaceRow(*row) for row in rows]


def sources_of(corpus: Corpus, tune_id: str) -> Iterator[tuple[bytes, str, str, Choice]]:
    """What a tune was read from, place by place, as the readers take it.

    Yields
    ------
    data, kept_format, source, choice
        As for :func:`melodex.reading.read_bytes`; what is damaged is left out.
    """
    import hashlib

    from melodex.corpus.rows import unpacked
    from melodex.reading.result import Choice

    for packed, sha256, kept_format, source, *chosen in corpus.query(
        "SELECT bytes, sha256, kept_format, source, "
        "place.part, place.voice, place.chord_note, place.lines FROM place "
        "JOIN tune ON tune.id = place.tune "
        "JOIN kept_source ON kept_source.id = place.kept_source "
        f"WHERE tune.tune_id = ? ORDER BY {IN_ORDER}",
        [tune_id],
    ):
        try:
            data = unpacked(packed)
        except ValueError:
            continue
        if hashlib.sha256(data).hexdigest() == sha256:
            yield data, kept_format, source, Choice.kept(*chosen)


def remarks_of(corpus: Corpus, tune_id: str) -> list[RemarkRow]:
    """Return what the musician wrote about a tune, in the order it was written."""
    rows = corpus.query(
        "SELECT remark.id, kind, first_bar, last_bar, text, made_at FROM remark "
        "JOIN tune ON tune.id = remark.tune WHERE tune.tune_id = ? ORDER BY remark.id",
        [tune_id],
    )
    return [RemarkRow(*row) for row in rows]


def warnings_of(corpus: Corpus, tune_id: str) -> list[WarningRow]:
    """Return what was not understood when a tune was read."""
    rows = corpus.query(
        "SELECT source, number, read_warning.line, column_number, text "
        "FROM read_warning "
        "JOIN place ON place.id = read_warning.place "
        "JOIN tune ON tune.id = place.tune "
        f"WHERE tune.tune_id = ? ORDER BY {IN_ORDER}, read_warning.id",
        [tune_id],
    )
    return [WarningRow(*row) for row in rows]
