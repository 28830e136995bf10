"""Lines of a piece brought together: in one file of a corpus, and in one chunk of it.

Conventions: inside a transaction that somebody else begins and ends. Tunes that are lines
of one piece, in whatever place, stand in one file, so that nothing that is asked of a piece
needs two; notes for matching stand with those of the piece of the first place.

Contents: flush_notes.
"""

from __future__ import annotations

import json

from melodex.corpus.care.soundness import melody_of
from melodex.corpus.chunks import TuneNotes, encode_notes
from melodex.corpus.facets import FACET_TABLES
from melodex.corpus.shards.routing import lowest_of_pairs
from melodex.corpus.tunes.tune_rows import FIRST_PLACE
from melodex.corpus.writing.holding.parts import OpenPart
from melodex.corpus.writing.rows.row_writer import RowWriter, is_used

__all__ = ["flush_notes"]


def flush_notes(writer: RowWriter) -> None:
    """Write the notes for matching, lines of a piece together."""
    if writer.lined:
        bring_together(writer)
        for part in writer.parts:
            group_lines(writer, part)
        writer.lined.clear()
    for part in writer.parts:
        part.chunks.flush()


def bring_together(writer: RowWriter) -> None:
    """See that tunes that are lines of one piece stand in one file."""
    if len(writer.parts) == 1:
        return
    for lead, rows in pieces_of(writer, sorted(writer.lined)).items():
        if len({id(writer.part_of(row)) for row in rows}) > 1:
            part = writer.part_for(lead)
            for row, tune_id in rows.items():
                move_tune(writer, row, tune_id, part)
            # What has come to another file is to stand with its piece there.
            writer.lined |= rows.keys()


def pieces_of(writer: RowWriter, tunes: list[int]) -> dict[str, dict[int, str]]:
    """Tunes that are lines of one piece with some, in whatever place: row and id."""
    ids: dict[int, str] = {}
    pairs: list[tuple[str, str]] = []
    reached = set(tunes)
    while reached:
        pieces = writer.rows(
            "SELECT tune.id, tune.tune_id, place.piece FROM tune "
            "JOIN place ON place.tune = tune.id "
            "WHERE tune.id IN (SELECT value FROM json_each(?))",
            [json.dumps(sorted(reached))],
        )
        ids |= {row: tune_id for row, tune_id, _ in pieces}
        pairs += [(tune_id, piece or tune_id) for _, tune_id, piece in pieces]
        named = json.dumps(sorted({piece for _, piece in pairs} | set(ids.values())))
        found = writer.rows(
            "SELECT tune FROM place WHERE piece IN (SELECT value FROM json_each(?)) "
            "UNION SELECT id FROM tune "
            "WHERE tune_id IN (SELECT value FROM json_each(?))",
            [named, named],
        )
        reached = {row for (row,) in found} - ids.keys()
    leads = lowest_of_pairs(pairs)
    together: dict[str, dict[int, str]] = {}
    for row, tune_id in ids.items():
        together.setdefault(leads[tune_id], {})[row] = tune_id
    return together


def move_tune(writer: RowWriter, row: int, tune_id: str, part: OpenPart) -> None:
    """Move a tune with all that belongs to it to another file."""
    source = writer.part_of(row)
    if source is part:
        return
    places = source.rows(
        "SELECT id, collection, kept_source FROM place WHERE tune = ?", [row]
    )
    writer.copied("tune", "id", row, source, part)
    for place, collection, kept in places:
        writer.bring("collection", collection, part)
        if kept is not None:
            writer.bring("kept_source", kept, part)
        writer.copied("place", "id", place, source, part)
        writer.copied("read_warning", "place", place, source, part)
    for table in ("tag", "remark", "tune_words", *FACET_TABLES):
        writer.copied(table, "tune", row, source, part)
    ((text,),) = source.rows("SELECT melody FROM tune WHERE id = ?", [row])
    source.execute("DELETE FROM tune WHERE id = ?", [row])
    for kept in {kept for _, _, kept in places if kept is not None}:
        if not is_used(source, kept):
            source.execute("DELETE FROM kept_source WHERE id = ?", [kept])
    writer.stands[row] = part
    source.chunks.drop(tune_id)
    # A damaged melody moves as it is; it is not searched until it is repaired.
    melody = melody_of(text)
    if melody is not None and len(melody):
        part.chunks.add(TuneNotes(tune_id, *encode_notes(melody)))


def group_lines(writer: RowWriter, part: OpenPart) -> None:
    """Put every tune that is a line of a piece with the other lines of it."""
    rows = part.rows(
        "WITH lined AS (SELECT value AS id FROM json_each(?)), touched AS "
        f"(SELECT first.piece AS piece FROM lined JOIN tune ON tune.id = lined.id "
        f"JOIN place AS first ON first.id = {FIRST_PLACE}) "
        "SELECT DISTINCT tune.tune_id, first.piece FROM place "
        "JOIN tune ON tune.id = place.tune "
        f"JOIN place AS first ON first.id = {FIRST_PLACE} "
        "WHERE place.piece IN (SELECT piece FROM touched) "
        "AND first.piece = place.piece",
        [json.dumps(sorted(writer.lined))],
    )
    pieces: dict[str, list[str]] = {}
    for tune_id, piece in rows:
        pieces.setdefault(piece, []).append(tune_id)
    for piece, tune_ids in pieces.items():
        shared = f"lines of {piece}" if len(tune_ids) > 1 else ""
        for tune_id in tune_ids:
            part.chunks.group(tune_id, shared)
