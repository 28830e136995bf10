"""Facets: what is asked of tunes in plain columns, worked out once when they are added.

Conventions: each table of :data:`FACET_TABLES` has a column ``tune`` (row number
in the table ``tune``); :func:`facet_rows` leaves it out and the store adds it,
in the same transaction as the tune. A change here raises :data:`FACET_VERSION`:
the next time that the corpus is written to, its facets are made anew. Degrees
and tonics are on the line of fifths.

Contents: FACET_VERSION, FACET_TABLES, facet_rows.
"""

from __future__ import annotations

from typing import Any

from melodex.corpus.rows import printed_bars
from melodex.melody import Melody

__all__ = ["FACET_TABLES", "FACET_VERSION", "facet_rows"]

FACET_VERSION = 1

FACET_TABLES: dict[str, str] = {
    "tune_facet": """
CREATE TABLE tune_facet ( -- one row for each tune: metre, printed key, range, size
  tune INTEGER PRIMARY KEY REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  metre_kind TEXT NOT NULL, -- kind of the first metre; free where none is printed
  metre_changes INTEGER NOT NULL, -- printed changes of metre after the first
  bar_count INTEGER NOT NULL, -- printed bars, pickup not counted
  has_pickup INTEGER NOT NULL, -- 1 where the tune begins before its first bar
  lowest_midi INTEGER NOT NULL, -- lowest sounding pitch in semitones
  highest_midi INTEGER NOT NULL, -- highest sounding pitch in semitones
  printed_tonic_fifths INTEGER, -- first printed tonic on the line of fifths
  printed_mode TEXT NOT NULL, -- first printed mode, or none
  first_degree_fifths INTEGER, -- first note, counted from the printed tonic
  last_degree_fifths INTEGER -- last note, counted from the printed tonic
);
CREATE INDEX tune_facet_mode ON tune_facet(printed_mode, tune);
CREATE INDEX tune_facet_metre ON tune_facet(metre_kind, tune);
CREATE INDEX tune_facet_bars ON tune_facet(bar_count, tune)""",
}


def facet_rows(melody: Melody) -> dict[str, list[dict[str, Any]]]:
    """Work out the rows of one tune for every facet table.

    Parameters
    ----------
    melody : Melody
        A melody with at least one note.

    Returns
    -------
    dict of str to list of dict
        For each table its rows, without the column ``tune``.
    """
    return {"tune_facet": [tune_facet(melody)]}


def tune_facet(melody: Melody) -> dict[str, Any]:
    """The row of one tune in ``tune_facet``."""
    key = melody.key
    first = melody.key_at(melody.onset_ticks[0])
    last = melody.key_at(melody.onset_ticks[-1])
    return {
        "metre_kind": melody.metre.kind if melody.metre else "free",
        "metre_changes": max(len(melody.metres) - 1, 0),
        "bar_count": printed_bars(melody),
        "has_pickup": int(0 in melody.bar),
        "lowest_midi": min(melody.midi),
        "highest_midi": max(melody.midi),
        "printed_tonic_fifths": None if key.mode == "none" else key.tonic_fifths,
        "printed_mode": key.mode,
        "first_degree_fifths": None
        if first.mode == "none"
        else melody.fifths[0] - first.tonic_fifths,
        "last_degree_fifths": None
        if last.mode == "none"
        else melody.fifths[-1] - last.tonic_fifths,
    }
