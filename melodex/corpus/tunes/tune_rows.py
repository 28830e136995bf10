"""Rows of a corpus as lists show them.

Of the places of a tune the first is the one whose file comes first by name, and in it
the lowest number: not the one that was read first, for what is told of a tune is to be
the same in whatever order files were added.

A piece goes by the tune id of its main line. A tune that stands in several places is a
line of the piece of its first place. Where a piece has one line, tune and piece are the
same.

Contents: TuneRow, LineRow, IN_ORDER, FIRST_PLACE, PIECE_OF_LINES, as_tune_rows, piece_of,
whole_ids, lined_pieces, with_their_lines, lines_of, score_line_of.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, Protocol

from melodex.melody import Melody, name_of, note_name
from melodex.melody.score_line import ScoreLine
from melodex.records import dataclass

__all__ = [
    "FIRST_PLACE",
    "IN_ORDER",
    "LINE_COLUMNS",
    "PIECE_OF_LINES",
    "TUNE_ROW_COLUMNS",
    "LineRow",
    "TuneRow",
    "as_tune_rows",
    "lined_pieces",
    "lines_of",
    "piece_of",
    "score_line_of",
    "whole_ids",
    "with_their_lines",
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

    ``piece`` is the tune id of the main line of its piece, ``line`` its own place among
    the ``line_count`` lines, with the names of part and voice as the first place has them.
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
    piece: str = ""
    line: int = 1
    line_count: int = 1
    part_name: str = ""
    voice_name: str = ""
    key: str = ""

    @property
    def name(self) -> str:
        """What it goes by: its title, or the name of its file."""
        return name_of(self.title, self.source, self.number)

    @property
    def in_piece(self) -> str:
        """Which line it is, such as ``Violin 2 (line 2 of 4)``; empty for a single line."""
        said = ScoreLine(
            self.line, self.line_count, part=self.part_name, voice=self.voice_name
        )
        return said.words


NUMBERS = ("year", "note_count", "bar_count", "place_count", "line", "line_count")
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


def as_tune_rows(rows: Iterable[Any], keys: dict[str, str]) -> list[TuneRow]:
    """Rows of :data:`TUNE_ROW_COLUMNS`, each with the key that its tune was read in.

    One of which no key was read has the printed one.
    """
    tags = list(TuneRow.__slots__).index("tags")
    found = []
    for row in rows:
        columns: list[Any] = [*row[:tags], tags_of(row[tags]), *row[tags + 1 :]]
        columns.append(keys.get(row[0], row[4]))
        found.append(TuneRow(*columns))
    return found


PIECE_OF_LINES = f"""
SELECT tune.tune_id, first.piece
FROM (SELECT DISTINCT tune AS id FROM place WHERE line_count > 1) AS lined
JOIN tune ON tune.id = lined.id
JOIN place AS first ON first.id = {FIRST_PLACE}"""
"""Each tune that is a line of a piece of several somewhere, and its piece."""

LINE_COLUMNS = (
    "line",
    "line_count",
    "piece",
    "part_name",
    "voice_name",
    "instrument",
    "clef",
    "transposition_semitones",
    "sung_syllables",
    "doubled_by",
)
"""Columns of a place that say which line stands there."""


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line of a piece as a list shows it.

    Parameters
    ----------
    tune_id : str
        Of the line.
    line : ScoreLine
        Its place, part and voice.
    note_count : int
        Its notes.
    lowest, highest : str
        Its range, such as ``G3`` and ``D5``.
    """

    tune_id: str
    line: ScoreLine
    note_count: int
    lowest: str
    highest: str


class Asked(Protocol):
    """What is asked: an opened corpus, which itself calls this module."""

    @property
    def line_count(self) -> int:
        """Lines of all pieces."""

    @property
    def tune_count(self) -> int:
        """Pieces."""

    def query(self, sql: str, values: Iterable[Any] = ()) -> list[tuple[Any, ...]]:
        """Run a statement that reads."""

    def melodies(self, tune_ids: Iterable[str]) -> dict[str, Melody]:
        """The melodies of some tunes."""


def score_line_of(tune_id: str, values: Iterable[Any]) -> ScoreLine:
    """The line that the columns of a place (:data:`LINE_COLUMNS`) name."""
    row = dict(zip(LINE_COLUMNS, values, strict=True))
    doubled = str(row["doubled_by"] or "")
    return ScoreLine(
        position=int(row["line"] or 1),
        count=int(row["line_count"] or 1),
        is_main=row["piece"] in (tune_id, None, ""),
        part=str(row["part_name"] or ""),
        voice=str(row["voice_name"] or ""),
        instrument=str(row["instrument"] or ""),
        clef=str(row["clef"] or ""),
        transposition_semitones=int(row["transposition_semitones"] or 0),
        sung_syllables=int(row["sung_syllables"] or 0),
        doubled_by=tuple(doubled.split("; ")) if doubled else (),
    )


def piece_of(corpus: Asked, tune_ids: Iterable[str]) -> dict[str, str]:
    """The piece of each of some tunes, by the tune id of its main line."""
    rows = corpus.query(
        "SELECT tune.tune_id, place.piece FROM json_each(?) AS wanted "
        "JOIN tune ON tune.tune_id = wanted.value "
        f"JOIN place ON place.id = {FIRST_PLACE}",
        [json.dumps(list(tune_ids))],
    )
    return {tune_id: piece or tune_id for tune_id, piece in rows}


def whole_ids(corpus: Asked, beginnings: Iterable[str]) -> dict[str, str]:
    """The id of the one tune that begins with each of some texts, where there is one.

    Ids that were written down before schema 5 are such beginnings.
    """
    rows = corpus.query(
        # Above every id with that beginning stands the same text and a "g".
        "SELECT wanted.value, tune.tune_id FROM json_each(?) AS wanted JOIN tune "
        "ON tune.tune_id >= wanted.value AND tune.tune_id < wanted.value || 'g'",
        [json.dumps(sorted(set(beginnings)))],
    )
    found: dict[str, list[str]] = {}
    for beginning, tune_id in rows:
        found.setdefault(beginning, []).append(tune_id)
    return {beginning: ids[0] for beginning, ids in found.items() if len(ids) == 1}


def lined_pieces(corpus: Asked) -> dict[str, str]:
    """The piece of each tune that is a line of one of several lines."""
    if corpus.line_count == corpus.tune_count:
        return {}
    return dict(corpus.query(PIECE_OF_LINES))


def with_their_lines(corpus: Asked, tune_ids: Iterable[str]) -> frozenset[str]:
    """Some tunes and every other line of their pieces."""
    wanted = frozenset(tune_ids)
    if not wanted or corpus.line_count == corpus.tune_count:
        return wanted
    pieces = sorted(set(piece_of(corpus, wanted).values()))
    return wanted.union(*(ids for ids in lines_in(corpus, pieces).values()))


def lines_in(corpus: Asked, pieces: Iterable[str]) -> dict[str, list[str]]:
    """The lines of some pieces, in the order of the score."""
    rows = corpus.query(
        "SELECT DISTINCT first.piece, tune.tune_id, first.line "
        "FROM json_each(?) AS wanted "
        "JOIN place ON place.piece = wanted.value "
        "JOIN tune ON tune.id = place.tune "
        f"JOIN place AS first ON first.id = {FIRST_PLACE} "
        "WHERE first.piece = wanted.value ORDER BY first.line, tune.tune_id",
        [json.dumps(list(pieces))],
    )
    found: dict[str, list[str]] = {}
    for piece, tune_id, _ in rows:
        found.setdefault(piece, []).append(tune_id)
    return found


def lines_of(corpus: Asked, tune_id: str) -> list[LineRow]:
    """The lines of the piece that a tune is a line of, in the order of the score."""
    piece = piece_of(corpus, [tune_id]).get(tune_id, tune_id)
    ids = lines_in(corpus, [piece]).get(piece, [tune_id])
    melodies = corpus.melodies(ids)
    rows = []
    for each in ids:
        melody = melodies.get(each)
        if not melody:
            # Damaged, or a sheet of chords without notes.
            continue
        ends = [
            max(
                zip(melody.midi, melody.fifths, strict=True),
                key=lambda note: sign * note[0],
            )
            for sign in (-1, 1)
        ]
        names = [note_name(midi, fifths) for midi, fifths in ends]
        rows.append(LineRow(each, melody.line, len(melody), names[0], names[1]))
    return rows
