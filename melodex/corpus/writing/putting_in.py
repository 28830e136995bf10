"""A file's tunes put in: what is new, what was there, what it displaces.

Conventions: inside a transaction that somebody else begins and ends; the report of the file
grows as its tunes go in. Lines that a piece has no more are taken out.

Contents: put_file.
"""

from __future__ import annotations

import json

from melodex.corpus.writing.preparing import PreparedFile, PreparedTune, clash
from melodex.corpus.writing.rows.places import drop_places, drop_set_aside, set_aside
from melodex.corpus.writing.rows.row_writer import RowWriter
from melodex.melody.tune_id import printed_text

__all__ = ["put_file"]


def put_file(writer: RowWriter, file: PreparedFile) -> None:
    """Write the tunes, places and warnings of one file, or of a part of it."""
    if not file.tunes and file.is_first:
        return
    known = known_tunes(writer, file)
    collection = writer.collection_row(file.collection)
    for tune in file.tunes:
        place = known_place(writer, file, tune)
        row = known.get(tune.tune_id)
        if row is None:
            row = known[tune.tune_id] = writer.put_tune(tune)
            note_new(writer, file, tune, place)
        else:
            note_known(writer, file, tune, row)
        if place is not None and place[1] != row:
            set_aside(writer, *place)
        writer.put_place(file, tune, place[0] if place else None, row, collection)
    drop_other_lines(writer, file)
    if file.is_last:
        drop_set_aside(writer, "file = ?", file.file)


def note_known(writer: RowWriter, file: PreparedFile, tune: PreparedTune, row: int) -> None:
    """Count a tune that was there; one that now leads a piece gets all facets."""
    if not tune.line.is_main:
        return
    file.unchanged.append(tune.tune_id)
    if "tune_facet" in tune.facets and not writer.rows(
        "SELECT 1 FROM tune_facet WHERE tune = ?", [row]
    ):
        renew_facets(writer, tune, row)


def renew_facets(writer: RowWriter, tune: PreparedTune, row: int) -> None:
    """Put the facets of a prepared tune in the place of those that it has."""
    for table in tune.facets:
        writer.do(f"DELETE FROM {table} WHERE tune = ?", [row])
        writer.insert_facets(table, row, tune.facets[table])
    writer.do(
        "UPDATE tune SET facet_crc32 = ? WHERE id = ?",
        [tune.tune["facet_crc32"], row],
    )


def drop_other_lines(writer: RowWriter, file: PreparedFile) -> None:
    """Take out the places of lines that pieces of a file have no more.

    A sheet or a MIDI file is one piece, whatever number its main line had.
    """
    held = {(t.number, t.occurrence, t.line.position) for t in file.tunes}
    pieces = {(number, occurrence) for number, occurrence, _ in held}
    formats = {tune.kept_format for tune in file.tunes} - {""}
    whole = bool(formats) and "abc" not in formats and len(pieces) == 1
    gone = [
        place
        for place, *key, line in writer.rows(
            "SELECT id, number, occurrence, line FROM place "
            "WHERE file = ? AND id > 0 AND (line_count > 1 OR ?)",
            [file.file, whole],
        )
        if (*key, line) not in held and (whole or tuple(key) in pieces)
    ]
    if gone:
        drop_places(
            writer, "place.id IN (SELECT value FROM json_each(?))", [json.dumps(gone)]
        )


def known_tunes(writer: RowWriter, file: PreparedFile) -> dict[str, int]:
    """Row numbers of those of a file's tunes that the corpus has already."""
    found: dict[str, int] = {}
    keep_earlier_ids(writer, file)
    for tune in list(file.tunes):
        text = tune.tune["melody"]
        rows = writer.rows(
            "SELECT id, iif(melody = ?, '', melody) FROM tune WHERE tune_id = ?",
            [text, tune.tune_id],
        )
        if rows and rows[0][1] and printed_text(rows[0][1]) != printed_text(text):
            file.tunes.remove(tune)
            file.refusals.append(clash(file, tune))
        elif rows:
            found[tune.tune_id] = rows[0][0]
            if rows[0][1]:
                take_chords(writer, file, tune, *rows[0])
    return found


def keep_earlier_ids(writer: RowWriter, file: PreparedFile) -> None:
    """Let tunes that stand here under an id that counts the part's name keep it."""
    renamed: dict[str, str] = {}
    for place, tune in enumerate(file.tunes):
        if not tune.line.part or has_tune(writer, tune.tune_id):
            continue
        earlier = tune.as_earlier()
        if has_tune(writer, earlier.tune_id):
            file.tunes[place] = earlier
            renamed[tune.tune_id] = earlier.tune_id
    if renamed:
        for tune in file.tunes:
            tune.piece = renamed.get(tune.piece, tune.piece)


def has_tune(writer: RowWriter, tune_id: str) -> bool:
    """Whether a tune is there."""
    return bool(writer.rows("SELECT 1 FROM tune WHERE tune_id = ?", [tune_id]))


def take_chords(
    writer: RowWriter, file: PreparedFile, tune: PreparedTune, row: int, text: str
) -> None:
    """Give a tune that is there the chords that were worked out from another file.

    Which of two files decides does not hang on their order: chords go before none,
    and of two rows of chords the later in the alphabet stays, unless this file is
    the only place of the tune.
    """
    elsewhere = writer.rows(
        "SELECT 1 FROM place WHERE tune = ? AND file <> ? LIMIT 1", [row, file.file]
    )
    new = tune.tune["melody"]
    rank, held = ((each != printed_text(each), each) for each in (new, text))
    if elsewhere and rank < held:
        return
    for table in tune.facets:
        writer.do(f"DELETE FROM {table} WHERE tune = ?", [row])
        writer.insert_facets(table, row, tune.facets[table])
    columns = ", ".join(f"{name} = :{name}" for name in tune.tune)
    writer.do(f"UPDATE tune SET {columns} WHERE id = :id", {**tune.tune, "id": row})


def known_place(
    writer: RowWriter, file: PreparedFile, tune: PreparedTune
) -> tuple[int, int] | None:
    """Row numbers of a place that is there already and of the tune that has it."""
    rows = writer.rows(
        "SELECT id, tune FROM place "
        "WHERE file = ? AND number = ? AND occurrence = ? AND line = ?",
        [file.file, tune.number, tune.occurrence, tune.line.position],
    )
    return (rows[0][0], rows[0][1]) if rows else None


def note_new(
    writer: RowWriter, file: PreparedFile, tune: PreparedTune, place: tuple[int, int] | None
) -> None:
    """Count a tune that was not there before as added or as a replacement."""
    old = writer.rows("SELECT tune_id FROM tune WHERE id = ?", [place[1]]) if place else []
    if not tune.line.is_main:
        file.further.append(tune.tune_id)
    elif old:
        file.replaced.append((old[0][0], tune.tune_id))
    else:
        file.added.append(tune.tune_id)
