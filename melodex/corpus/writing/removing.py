"""Places taken out of a corpus, with the tunes that then have none.

Conventions: each is a change of its own, which can be undone. Whole tunes are taken out by
:meth:`melodex.corpus.writing.store.CorpusWriter.remove`.

Contents: HeldPlace, remove_places, remove_these_places.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import replace

from melodex.corpus.rows import place_path
from melodex.corpus.writing.rows.lines import flush_notes
from melodex.corpus.writing.rows.places import RemoveReport, drop_places, forget_folders
from melodex.corpus.writing.store import CorpusWriter

__all__ = ["HeldPlace", "remove_places", "remove_these_places"]

HeldPlace = tuple[int, str, str]
"""A place as it was found: its row number, the file, and the id of its tune."""


def remove_places(
    writer: CorpusWriter,
    *,
    source: str = "",
    collection: str = "",
    only: Collection[str] | None = None,
) -> RemoveReport:
    """Take out the places in a file, a folder or a collection.

    A tune goes when its last place goes; others are kept. ``only`` names the tunes
    that may be touched, whatever has been added since they were looked up.
    """
    if source:
        path = place_path(source)
        clause = "file = ? OR (file >= ? AND file < ?)"
        values = [path, path.rstrip("/") + "/", path.rstrip("/") + "0"]
    else:
        clause = "collection = (SELECT id FROM collection WHERE name = ?)"
        values = [collection]
    with writer.changing("remove"):
        report = drop_places(writer, clause, values, only)
        if source:
            forget_folders(writer, place_path(source))
        flush_notes(writer)
    writer.give_room_back()
    return replace(report, change=writer.taken.last)


def remove_these_places(
    writer: CorpusWriter, gone: Collection[HeldPlace], moved: Collection[HeldPlace] = ()
) -> RemoveReport:
    """Take out places, and the tunes that then have none.

    A place that is another by now, since somebody was at work after it was looked up,
    stays; so does one that is called moved while its tune stands nowhere else.
    """
    asked = [[*place, 0] for place in gone] + [[*place, 1] for place in moved]
    with writer.changing("remove"):
        rows = writer.rows(
            "WITH asked AS (SELECT json_extract(value, '$[0]') AS id, "
            "json_extract(value, '$[1]') AS file, "
            "json_extract(value, '$[2]') AS tune_id, "
            "json_extract(value, '$[3]') AS moved FROM json_each(?)) "
            "SELECT place.id FROM asked JOIN place ON place.id = asked.id "
            "AND place.file = asked.file "
            "JOIN tune ON tune.id = place.tune AND tune.tune_id = asked.tune_id "
            "WHERE NOT asked.moved OR EXISTS (SELECT 1 FROM place AS other "
            "WHERE other.tune = tune.id AND other.id > 0 "
            "AND other.id NOT IN (SELECT id FROM asked))",
            [json.dumps(asked)],
        )
        report = drop_places(
            writer,
            "place.id IN (SELECT value FROM json_each(?))",
            [json.dumps([row[0] for row in rows])],
        )
        flush_notes(writer)
    writer.give_room_back()
    return replace(report, change=writer.taken.last)
