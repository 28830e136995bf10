"""Places taken out, and places that stand aside while their file is read anew.

Conventions: inside a transaction that somebody else begins and ends. A tune that another
displaces may come again further on in its file, and every tune has a place: until the
file's last part is in, its old place stands aside, under the negative of its row number
and occurrence, so that one who is stopped in between can go on.

Contents: RemoveReport, drop_places, forget_folders, set_aside, drop_set_aside.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.writing.rows.row_writer import RowWriter
from melodex.corpus.writing.taken_out import KeptChange

__all__ = ["RemoveReport", "drop_places", "drop_set_aside", "forget_folders", "set_aside"]


@dataclass(frozen=True, slots=True)
class RemoveReport:
    """Tunes taken out, and tunes that lost a place but stand in another."""

    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    change: KeptChange | None = None
    """By which it can be undone."""


def drop_places(
    writer: RowWriter,
    clause: str,
    values: Sequence[Any],
    only: Collection[str] | None = None,
) -> RemoveReport:
    """Delete some places, and the tunes that then have none."""
    places = writer.rows(
        f"SELECT place.id, tune.id, tune.tune_id, kept_source, line_count FROM place "
        f"JOIN tune ON tune.id = place.tune WHERE {clause}",
        values,
    )
    places.sort(key=lambda row: (row[2], row[0]))
    if only is not None:
        places = [row for row in places if row[2] in only]
    for place, tune, _, _, line_count in places:
        if line_count > 1:
            writer.lined.add(tune)
        writer.taken.take_place(place)
        writer.do("DELETE FROM place WHERE id = ?", [place])
    for kept in {row[3] for row in places}:
        writer.drop_kept(kept)
    removed: list[str] = []
    remaining: list[str] = []
    for row, tune_id in dict.fromkeys((row[1], row[2]) for row in places):
        if writer.rows("SELECT 1 FROM place WHERE tune = ? LIMIT 1", [row]):
            remaining.append(tune_id)
        else:
            removed.append(tune_id)
            writer.drop_tune(row)
    return RemoveReport(tuple(removed), tuple(remaining))


def forget_folders(writer: RowWriter, path: str) -> None:
    """Read a folder, and those in it, no more; inside a transaction."""
    under = path.rstrip("/")
    writer.do(
        "DELETE FROM folder WHERE path = ? OR (path >= ? AND path < ?)",
        [path, f"{under}/", f"{under}0"],
    )


def set_aside(writer: RowWriter, place: int, tune_row: int) -> None:
    """Keep the last place of a tune that is about to be displaced from it."""
    if writer.rows(
        "SELECT 1 FROM place WHERE tune = ? AND id <> ? LIMIT 1", [tune_row, place]
    ):
        return
    # What an earlier run set aside here has to make room.
    drop_set_aside(writer, "id = ?", -place)
    names = CHECKED_COLUMNS["place"]
    row = writer.rows(f"SELECT {', '.join(names)} FROM place WHERE id = ?", [place])[0]
    values = dict(zip(names, row, strict=True))
    values["id"], values["occurrence"] = -place, -values["occurrence"]
    writer.insert("place", values)


def drop_set_aside(writer: RowWriter, clause: str, value: Any) -> None:
    """Take out places that stand aside, and the tunes that have no other place.

    Their tags and remarks go to what displaced them.
    """
    aside = writer.rows(
        f"SELECT id, tune, kept_source, line_count FROM place WHERE id < 0 AND {clause}",
        [value],
    )
    for place, tune, kept, line_count in sorted(aside, key=lambda row: -row[0]):
        if line_count > 1:
            writer.lined.add(tune)
        writer.do("DELETE FROM place WHERE id = ?", [place])
        writer.drop_kept(kept)
        if writer.rows("SELECT 1 FROM place WHERE tune = ? LIMIT 1", [tune]):
            continue
        for (new,) in writer.rows("SELECT tune FROM place WHERE id = ?", [-place]):
            for (name,) in writer.rows("SELECT name FROM tag WHERE tune = ?", [tune]):
                writer.put_tag(new, name)
            for remark in writer.remarks_on(tune):
                writer.put_remark(new, remark)
        writer.drop_tune(tune)
