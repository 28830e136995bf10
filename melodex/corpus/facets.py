"""Facets: what is asked of tunes in plain columns, worked out once when they are added.

Conventions: each table of :data:`FACET_TABLES` has a column ``tune`` (row number
in the table ``tune``); :func:`facet_rows` leaves it out and the store adds it,
in the same transaction as the tune. A change here raises :data:`FACET_VERSION`:
the next time that the corpus is written to, its facets are made anew. Degrees
and tonics are on the line of fifths.

A piece of several lines has the facets of its main line; its further lines have their key
centres alone. So each piece counts once.

Contents: FACET_VERSION, FACET_TABLES, facet_rows, line_rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from melodex.analysis.harmony.progression_search import chord_bytes
from melodex.analysis.harmony.progressions import tokens_of
from melodex.analysis.keys import KeySpan, read_keys
from melodex.analysis.piece import Analysis, analyse, sure_devices
from melodex.corpus.rows import folded, kind_of, tune_columns
from melodex.melody import Melody

__all__ = ["FACET_TABLES", "FACET_VERSION", "facet_rows", "line_rows"]

FACET_VERSION = 29
"""Goes up when what is stored of an analysis changes: a lower one is worked out anew."""

TUNE_FACET = """
CREATE TABLE tune_facet ( -- one row for each tune: metre, keys, range, size
  tune INTEGER PRIMARY KEY REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  title_folded TEXT NOT NULL, -- without case and accents, for finding
  composer_folded TEXT NOT NULL, -- so too
  rights_folded TEXT NOT NULL, -- so too
  year INTEGER, -- of composition or print, as the source says
  metre TEXT NOT NULL, -- first printed time signature; empty if free
  kind TEXT NOT NULL, -- kind of dance or song, each word without case and plural
  tempo REAL, -- first printed tempo in quarter notes a minute
  metre_class TEXT NOT NULL, -- simple, compound, irregular, mixed or free
  bar_count INTEGER NOT NULL, -- printed bars, pickup not counted
  first_bar INTEGER NOT NULL, -- in which the first note starts, as printed
  last_bar INTEGER NOT NULL, -- in which the last note starts, as printed
  has_pickup INTEGER NOT NULL, -- 1 where the tune begins before its first bar
  lowest_midi INTEGER, -- lowest sounding pitch in semitones; null without notes
  highest_midi INTEGER, -- highest sounding pitch in semitones; null without notes
  peak_bar INTEGER, -- bar of the highest note
  printed_tonic_fifths INTEGER, -- first printed tonic on the line of fifths
  printed_mode TEXT NOT NULL, -- first printed mode, or none
  tonic_fifths INTEGER, -- tonic that the notes and chords speak for
  mode TEXT NOT NULL, -- mode that they speak for, or none
  key_certainty REAL NOT NULL, -- 0 to 1
  key_centres INTEGER NOT NULL, -- different tonics through the tune
  sections INTEGER NOT NULL, -- how many sections
  odd_sections INTEGER NOT NULL, -- of which so many are no multiple of four bars
  chord_row BLOB -- one byte a chord, for sifting progressions; NULL without chords
);
CREATE INDEX tune_facet_mode ON tune_facet(mode, tune);
CREATE INDEX tune_facet_metre ON tune_facet(metre_class, tune);
CREATE INDEX tune_facet_centres ON tune_facet(key_centres, tune);
CREATE INDEX tune_facet_bars ON tune_facet(bar_count, tune);
CREATE INDEX tune_facet_year ON tune_facet(year, tune)"""

KEY_SPAN = """
CREATE TABLE key_span ( -- key centres through a tune
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  onset_ticks INTEGER NOT NULL, -- where it starts, in 1/10080 of a quarter
  first_bar INTEGER NOT NULL, -- as printed
  last_bar INTEGER NOT NULL, -- as printed
  tonic_fifths INTEGER NOT NULL, -- on the line of fifths
  mode TEXT NOT NULL, -- major, minor, dorian ...
  certainty REAL NOT NULL, -- 0 to 1
  how TEXT NOT NULL, -- how the key is reached
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX key_span_how ON key_span(how, tune)"""

MODAL_PASSAGE = """
CREATE TABLE modal_passage ( -- bars that another mode colours
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  first_bar INTEGER NOT NULL, -- as printed
  last_bar INTEGER NOT NULL, -- as printed
  mode TEXT NOT NULL, -- of the passage
  home_mode TEXT NOT NULL, -- of the key around it
  telling_degree TEXT NOT NULL, -- the note that gives it away
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX modal_passage_mode ON modal_passage(mode, tune)"""

SECTION = """
CREATE TABLE section ( -- sections of a tune
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  label TEXT NOT NULL, -- printed name, or a letter
  first_bar INTEGER NOT NULL, -- as printed
  last_bar INTEGER NOT NULL, -- as printed
  bars INTEGER NOT NULL, -- length of one pass
  odd INTEGER NOT NULL, -- 1 where that is no multiple of four
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX section_bars ON section(bars, tune)"""

CHORD = """
CREATE TABLE chord ( -- chord symbols in their local keys
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  bar INTEGER NOT NULL, -- as printed
  text TEXT NOT NULL, -- as printed
  root_fifths INTEGER, -- on the line of fifths; NULL where not understood
  family TEXT NOT NULL, -- major, minor, dominant ...
  numeral TEXT NOT NULL, -- in the local key; empty without one
  degree_fifths INTEGER, -- root above the local tonic
  role TEXT NOT NULL, -- such as borrowed or applied; empty if none
  local_mode TEXT NOT NULL, -- of the key it stands in, or none
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX chord_numeral ON chord(numeral, tune);
CREATE INDEX chord_degree ON chord(local_mode, degree_fifths, family, tune);
CREATE INDEX chord_role ON chord(role, tune)"""

NOTE_ON_CHORD = """
CREATE TABLE note_on_chord ( -- each melody note over each chord that it meets
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  note INTEGER NOT NULL, -- index in the melody, from 0
  chord INTEGER NOT NULL, -- place of the chord
  bar INTEGER NOT NULL, -- in which the note starts
  degree TEXT NOT NULL, -- above the root, such as 7 or #11
  kind TEXT NOT NULL, -- chord tone, tension or non-chord tone
  figure TEXT NOT NULL, -- such as suspension; empty if none can be told
  numeral TEXT NOT NULL, -- of the chord
  family TEXT NOT NULL, -- of the chord
  PRIMARY KEY (tune, note, chord)
) WITHOUT ROWID;
CREATE INDEX note_on_chord_degree ON note_on_chord(degree, numeral, tune)"""

DEVICE = """
CREATE TABLE device ( -- harmonic devices, and what other lines of the piece do
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  kind TEXT NOT NULL, -- such as borrowed chord or plagal cadence
  first_bar INTEGER NOT NULL, -- as printed
  last_bar INTEGER NOT NULL, -- as printed
  reason TEXT NOT NULL, -- one sentence
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX device_kind ON device(kind, tune)"""

FIGURE = """
CREATE TABLE returning_figure ( -- melodic figures that return inside a tune
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  place INTEGER NOT NULL, -- from 0
  kind TEXT NOT NULL, -- sequence, repetition or inversion
  first_bar INTEGER NOT NULL, -- of the first statement
  last_bar INTEGER NOT NULL, -- of the last statement
  words TEXT NOT NULL, -- what happens
  PRIMARY KEY (tune, place)
) WITHOUT ROWID;
CREATE INDEX returning_figure_kind ON returning_figure(kind, tune)"""

FACET_TABLES: dict[str, str] = {
    "tune_facet": TUNE_FACET,
    "key_span": KEY_SPAN,
    "modal_passage": MODAL_PASSAGE,
    "section": SECTION,
    "chord": CHORD,
    "note_on_chord": NOTE_ON_CHORD,
    "device": DEVICE,
    "returning_figure": FIGURE,
}


SIGNS_OF_METRE = {"C": "4/4", "C|": "2/2"}
"""Time signatures that are signs, as numbers."""


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
    found = analyse(melody, phrased=False)
    return {
        "tune_facet": [tune_facet(melody, found)],
        "key_span": span_rows(found.spans),
        "modal_passage": [
            {
                "place": place,
                "first_bar": passage.first_bar,
                "last_bar": passage.last_bar,
                "mode": passage.mode,
                "home_mode": passage.home_mode,
                "telling_degree": passage.telling_degree,
            }
            for place, passage in enumerate(found.modal)
        ],
        "section": [
            {
                "place": place,
                "label": section.label,
                "first_bar": section.first_bar,
                "last_bar": section.last_bar,
                "bars": section.bars,
                "odd": int(section.odd),
            }
            for place, section in enumerate(found.sections)
        ],
        **harmony_rows(melody, found),
        "returning_figure": [
            {
                "place": place,
                "kind": figure.kind,
                "first_bar": figure.bars[0][0],
                "last_bar": figure.bars[-1][1],
                "words": figure.words,
            }
            for place, figure in enumerate(found.figures)
        ],
    }


def line_rows(melody: Melody) -> dict[str, list[dict[str, Any]]]:
    """Work out the rows of a further line of a piece: its key centres alone.

    What is told of a piece is told of its main line, so that each piece counts once.
    """
    return {"key_span": span_rows(read_keys(melody).spans)}


def span_rows(spans: Sequence[KeySpan]) -> list[dict[str, Any]]:
    """Rows of key centres."""
    return [
        {
            "place": place,
            "onset_ticks": span.onset_ticks,
            "first_bar": span.first_bar,
            "last_bar": span.last_bar,
            "tonic_fifths": span.tonic_fifths,
            "mode": span.mode,
            "certainty": round(span.certainty, 3),
            "how": span.how,
        }
        for place, span in enumerate(spans)
    ]


def harmony_rows(melody: Melody, found: Analysis) -> dict[str, list[dict[str, Any]]]:
    """Rows of chords, of melody notes on them, and of devices."""
    return {
        "chord": [
            {
                "place": place,
                "bar": here.bar,
                "text": here.chord.text,
                "root_fifths": here.chord.root_fifths if here.chord.sounds else None,
                "family": here.chord.family,
                "numeral": here.numeral.text,
                "degree_fifths": here.numeral.degree,
                "role": here.numeral.role,
                "local_mode": here.key.mode,
            }
            for place, here in enumerate(found.harmony.chords)
        ],
        "note_on_chord": [
            {
                "note": row.note,
                "chord": row.chord,
                "bar": melody.bar[row.note],
                "degree": row.degree_name,
                "kind": row.kind,
                "figure": row.figure,
                "numeral": row.numeral,
                "family": row.family,
            }
            for row in found.harmony.notes
        ],
        "device": [
            {
                "place": place,
                "kind": kind,
                "first_bar": first_bar,
                "last_bar": last_bar,
                "reason": reason,
            }
            for place, (kind, first_bar, last_bar, reason) in enumerate(
                told_things(melody, found)
            )
        ],
    }


def told_things(melody: Melody, found: Analysis) -> Iterator[tuple[str, int, int, str]]:
    """Devices of the harmony, then what other lines of the piece do."""
    for device in sure_devices(melody, found):
        yield device.kind, device.first_bar, device.last_bar, device.reason
    for line in melody.worked_lines:
        yield line.kind, line.first_bar, line.last_bar, line.sentence


def tune_facet(melody: Melody, found: Analysis) -> dict[str, Any]:
    """The row of one tune in ``tune_facet``."""
    printed, key = melody.printed_key, found.key.key
    tokens = tokens_of(found.harmony.chords)
    columns = tune_columns(melody)
    # A sheet of chords has bars and no notes.
    numbers = melody.bar or [bar.number for bar in melody.bars] or [1]
    return {
        "title_folded": columns["title_folded"],
        "composer_folded": folded(columns["composer"]),
        "rights_folded": folded(columns["rights"]),
        "year": columns["year"],
        "metre": SIGNS_OF_METRE.get(columns["metre"], columns["metre"]),
        "kind": kind_of(columns["rhythm"]),
        "tempo": melody.tempo_quarters_per_minute,
        "metre_class": found.metre_class,
        "bar_count": columns["bar_count"],
        "first_bar": numbers[0],
        "last_bar": numbers[-1],
        "has_pickup": int(0 in numbers),
        "lowest_midi": min(melody.midi, default=None),
        "highest_midi": max(melody.midi, default=None),
        "peak_bar": found.compass.peak_bar if found.compass else None,
        "printed_tonic_fifths": None if printed.mode == "none" else printed.tonic_fifths,
        "printed_mode": printed.mode,
        "tonic_fifths": None if key.mode == "none" else key.tonic_fifths,
        "mode": key.mode,
        "key_certainty": round(found.key.certainty, 3),
        "key_centres": len({span.tonic_fifths for span in found.spans}),
        "sections": len(found.sections),
        "odd_sections": sum(section.odd for section in found.sections),
        "chord_row": chord_bytes(tokens) if tokens else None,
    }
