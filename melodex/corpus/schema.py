"""The schema of a corpus: one SQLite file, described where it is defined.

Conventions: every table and column carries a comment inside its ``CREATE``
statement, so that SQLite keeps the description in the file itself (``.schema``
in any SQLite tool shows it) and the table in the manual is made from it. Rows
that nothing else can vouch for carry ``row_crc32``, so that a flipped byte is
found. ``melody`` is the source of truth; what is derived from it (the plain
columns of ``tune``, the facet tables, the chunks) can be rebuilt.

Contents: SCHEMA_VERSION, LAST_CHANGE, APPLICATION_ID, TABLES, INDEXES, VIEWS, SETTINGS,
create_statements, ColumnNote, TableNote, documentation, state_of.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from pathlib import Path

from melodex.corpus.care.foreign import FACET_NAMES, refuse_in_place_of_tables
from melodex.corpus.tunes.tune_rows import FIRST_PLACE
from melodex.errors import REMEDIES, CorpusError, DamagedCorpusError, NewerCorpusError
from melodex.records import dataclass
from melodex.settings import CorpusSettings

__all__ = [
    "APPLICATION_ID",
    "CHECKED_COLUMNS",
    "INDEXES",
    "LAST_CHANGE",
    "SCHEMA_VERSION",
    "TABLES",
    "TUNE_OVERVIEW",
    "VIEWS",
    "WORDS_INDEX",
    "ColumnNote",
    "TableNote",
    "create_statements",
    "documentation",
    "facet_statements",
    "new_settings",
    "state_of",
]

APPLICATION_ID = 0x6D6C6478
"""``mldx`` in ASCII, where SQLite's file format keeps the name of an application
(offset 68 of the header; https://www.sqlite.org/fileformat2.html, section 1.3)."""

SCHEMA_VERSION = 5
"""Kept in ``PRAGMA user_version``; see :mod:`melodex.corpus.care.migrations`."""

LAST_CHANGE = "last_change"
"""The setting with the highest number that a change was ever given, undone or not."""

TABLES: dict[str, str] = {
    "setting": """
CREATE TABLE setting ( -- what the corpus was built with
  id INTEGER PRIMARY KEY, -- row number
  name TEXT NOT NULL UNIQUE, -- such as encoding_version
  value TEXT NOT NULL, -- the value as text
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "collection": """
CREATE TABLE collection ( -- a named group of files: a book, a folder
  id INTEGER PRIMARY KEY, -- row number
  name TEXT NOT NULL UNIQUE, -- as given when added, or the name of the folder
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "tune": """
CREATE TABLE tune ( -- one melody, stored once however many files hold it
  id INTEGER PRIMARY KEY, -- row number, private to this file
  tune_id TEXT NOT NULL UNIQUE, -- first 16 hex digits of the SHA-256 of melody
  title TEXT NOT NULL, -- empty where unknown
  title_folded TEXT NOT NULL, -- title without case and accents, for finding
  composer TEXT NOT NULL, -- empty where unknown
  lyricist TEXT NOT NULL, -- empty where unknown
  year INTEGER, -- of composition or print, as the source says
  rights TEXT NOT NULL, -- copyright note of the source; travels with excerpts
  rhythm TEXT NOT NULL, -- kind of dance or song, as the source says
  origin TEXT NOT NULL, -- country or region, as the source says
  part TEXT NOT NULL, -- voice or instrument that was taken as the melody
  printed_key TEXT NOT NULL, -- first printed key, such as D dorian; empty if none
  metre TEXT NOT NULL, -- first printed time signature; empty if free
  note_count INTEGER NOT NULL, -- sounding notes, ties merged, grace notes apart
  bar_count INTEGER NOT NULL, -- printed bars, pickup not counted
  facet_crc32 INTEGER NOT NULL, -- CRC-32 of the rows of this tune in facet tables
  melody TEXT NOT NULL -- JSON: the notes column by column, and all that was printed
)""",
    "kept_source": """
CREATE TABLE kept_source ( -- the text or file that a melody can be read from again
  id INTEGER PRIMARY KEY, -- row number
  sha256 TEXT NOT NULL UNIQUE, -- SHA-256 of the bytes before compression
  kept_format TEXT NOT NULL, -- abc, musicxml, mxl or midi
  byte_count INTEGER NOT NULL, -- size before compression, in bytes
  row_crc32 INTEGER NOT NULL, -- CRC-32 of the other columns of this row but bytes
  bytes BLOB NOT NULL -- the bytes, compressed in the zlib format (RFC 1950)
)""",
    "place": """
CREATE TABLE place ( -- where a tune was read: a tune may stand in several places
  id INTEGER PRIMARY KEY, -- row number
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune read there
  file TEXT NOT NULL, -- whole path of the file, links and dots resolved as text
  source TEXT NOT NULL, -- the path as it was given
  number TEXT NOT NULL, -- X: number in an ABC file, or position of the main part
  occurrence INTEGER NOT NULL, -- 1, or 2, 3 ... where a file repeats a number
  collection INTEGER NOT NULL REFERENCES collection(id), -- the collection it is in
  kept_source INTEGER REFERENCES kept_source(id), -- what it was read from
  part TEXT NOT NULL, -- part asked for when it was read; empty: the first
  voice TEXT NOT NULL, -- voice asked for when it was read; empty: the first
  chord_note TEXT NOT NULL, -- top or bottom: the melody note of written chords
  lines TEXT NOT NULL, -- all or top: which lines of a piece were asked for
  piece TEXT NOT NULL, -- tune id of the main line of the piece that it is a line of
  line INTEGER NOT NULL, -- which line of its piece, from 1, in the order of the score
  line_count INTEGER NOT NULL, -- how many lines the piece has here
  part_name TEXT NOT NULL, -- what the source calls its part; empty where unnamed
  voice_name TEXT NOT NULL, -- the voice in that part; empty where the part has one line
  instrument TEXT NOT NULL, -- what plays it, as the source says
  clef TEXT NOT NULL, -- first printed clef, such as G2
  transposition_semitones INTEGER NOT NULL, -- from written to sounding pitch
  sung_syllables INTEGER NOT NULL, -- syllables under its notes
  doubled_by TEXT NOT NULL, -- lines with the same notes that are not kept again
  row_crc32 INTEGER NOT NULL, -- CRC-32 of the other columns of this row
  UNIQUE (file, number, occurrence, line)
)""",
    "read_warning": """
CREATE TABLE read_warning ( -- something in a file that was not understood
  id INTEGER PRIMARY KEY, -- row number
  place INTEGER NOT NULL REFERENCES place(id) ON DELETE CASCADE, -- where it stands
  line INTEGER NOT NULL, -- line in the file, from 1; 0 where unknown
  column_number INTEGER NOT NULL, -- column in the line, from 1; 0 where unknown
  text TEXT NOT NULL, -- what was not understood
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "tag": """
CREATE TABLE tag ( -- a word that the musician put on a tune
  id INTEGER PRIMARY KEY, -- row number
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  name TEXT NOT NULL, -- the word
  row_crc32 INTEGER NOT NULL, -- CRC-32 of the other columns of this row
  UNIQUE (tune, name)
)""",
    "remark": """
CREATE TABLE remark ( -- what the musician wrote about a tune: a note, a source, a citation
  id INTEGER PRIMARY KEY, -- row number, by which it is taken off
  tune INTEGER NOT NULL REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  kind TEXT NOT NULL, -- note, source or citation
  first_bar INTEGER, -- printed number of the first bar it is about; none: the whole tune
  last_bar INTEGER, -- of the last bar
  text TEXT NOT NULL, -- the musician's words
  text_folded TEXT NOT NULL, -- the same without case and accents, for finding
  made_at TEXT NOT NULL, -- when it was written, in UTC: 2026-11-28T17:05:00
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "lesson": """
CREATE TABLE lesson ( -- a teaching set: passages kept for a class
  id INTEGER PRIMARY KEY, -- row number
  name TEXT NOT NULL UNIQUE, -- what the musician calls it
  topic TEXT NOT NULL, -- what it is to teach; may be empty
  level TEXT NOT NULL, -- for whom; may be empty
  notes TEXT NOT NULL, -- the musician's own words; may be empty
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "lesson_example": """
CREATE TABLE lesson_example ( -- a passage in a teaching set, tied to what it holds
  id INTEGER PRIMARY KEY, -- row number
  lesson INTEGER NOT NULL REFERENCES lesson(id) ON DELETE CASCADE, -- the set
  position INTEGER NOT NULL, -- its place in the set, from 1
  tune_id TEXT NOT NULL, -- the tune as it was when kept; it may be gone since
  first_note INTEGER NOT NULL, -- index in that tune of its first note, from 0
  last_note INTEGER NOT NULL, -- index of its last note
  excerpt_sha256 TEXT NOT NULL, -- SHA-256 of its notes, whatever stands around them
  file TEXT NOT NULL, -- whole path of the file that held the tune; empty if none
  number TEXT NOT NULL, -- number of the tune in that file
  occurrence INTEGER NOT NULL, -- 1, or 2, 3 ... where that file repeats a number
  reason TEXT NOT NULL, -- what it was found for; empty if kept by hand
  feature_first_bar INTEGER, -- first bar of that; none if it is the whole passage
  feature_last_bar INTEGER, -- last bar of that
  agreement REAL, -- share of its notes that agree with what was looked for, 0 to 1
  note TEXT NOT NULL, -- the musician's own words; may be empty
  excerpt TEXT NOT NULL, -- JSON: its notes and all that was printed around them
  labels TEXT NOT NULL, -- JSON: degrees, numerals and keys as worked out when kept
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "folder": """
CREATE TABLE folder ( -- a folder that was added, to be read again
  id INTEGER PRIMARY KEY, -- row number
  path TEXT NOT NULL UNIQUE, -- its whole path
  collection TEXT NOT NULL, -- collection given for it; empty: as its files say
  part TEXT NOT NULL, -- part asked for; empty: the first
  voice TEXT NOT NULL, -- voice asked for; empty: the first
  chord_note TEXT NOT NULL, -- top or bottom: the melody note of written chords
  lines TEXT NOT NULL, -- all or top: which lines of a piece are read
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "change": """
CREATE TABLE change ( -- something that was done to the corpus and can be undone
  id INTEGER PRIMARY KEY, -- row number, by which it is undone
  done_at TEXT NOT NULL, -- when, in UTC: 2026-11-28T17:05:00
  kind TEXT NOT NULL, -- remove, replace, set or undo
  is_whole INTEGER NOT NULL, -- 0 where it took out too much to be kept
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "taken_out": """
CREATE TABLE taken_out ( -- what a change took out, kept for a while
  id INTEGER PRIMARY KEY, -- row number
  change INTEGER NOT NULL REFERENCES change(id) ON DELETE CASCADE, -- the change
  kind TEXT NOT NULL, -- tune, place, source, set or remark
  name TEXT NOT NULL, -- tune id, SHA-256 of a source, or name of a set
  title TEXT NOT NULL, -- of a tune; empty for the others
  byte_count INTEGER NOT NULL, -- size of content
  content BLOB NOT NULL, -- its rows as JSON, or a source, in the zlib format (RFC 1950)
  row_crc32 INTEGER NOT NULL -- CRC-32 of the other columns of this row
)""",
    "tune_words": """
CREATE TABLE tune_words ( -- words of a tune without case and accents, for finding
  tune INTEGER PRIMARY KEY REFERENCES tune(id) ON DELETE CASCADE, -- the tune
  title TEXT NOT NULL, -- its title
  makers TEXT NOT NULL, -- composer and lyricist
  lyrics TEXT NOT NULL -- words under its notes, syllables joined
)""",
    "chunk": """
CREATE TABLE chunk ( -- notes of up to 2048 tunes, packed for matching; a piece in one
  id INTEGER PRIMARY KEY, -- row number
  tune_count INTEGER NOT NULL, -- tunes in the chunk
  note_count INTEGER NOT NULL, -- notes in the chunk
  checksum INTEGER NOT NULL, -- CRC-32 (RFC 1952) of tune_ids, lengths, notes and pieces
  tune_ids BLOB NOT NULL, -- 8 bytes for each tune: its id, in order of falling length
  lengths BLOB NOT NULL, -- notes of each tune: 32 bits, lowest byte first
  notes BLOB NOT NULL, -- pitch and length class of each note, interleaved by block
  piece_count INTEGER NOT NULL, -- pieces in the chunk, however many lines each has
  pieces BLOB NOT NULL -- 16 bits for each tune: where the first of its piece stands
)""",
}

CHECKED_COLUMNS: dict[str, tuple[str, ...]] = {
    "setting": ("id", "name", "value"),
    "collection": ("id", "name"),
    "kept_source": ("id", "sha256", "kept_format", "byte_count"),
    "place": (
        "id",
        "tune",
        "file",
        "source",
        "number",
        "occurrence",
        "collection",
        "kept_source",
        "part",
        "voice",
        "chord_note",
        "lines",
        "piece",
        "line",
        "line_count",
        "part_name",
        "voice_name",
        "instrument",
        "clef",
        "transposition_semitones",
        "sung_syllables",
        "doubled_by",
    ),
    "read_warning": ("id", "place", "line", "column_number", "text"),
    "tag": ("id", "tune", "name"),
    "remark": (
        "id",
        "tune",
        "kind",
        "first_bar",
        "last_bar",
        "text",
        "text_folded",
        "made_at",
    ),
    "folder": ("id", "path", "collection", "part", "voice", "chord_note", "lines"),
    "change": ("id", "done_at", "kind", "is_whole"),
    "taken_out": ("id", "change", "kind", "name", "title", "byte_count", "content"),
    "lesson": ("id", "name", "topic", "level", "notes"),
    "lesson_example": (
        "id",
        "lesson",
        "position",
        "tune_id",
        "first_note",
        "last_note",
        "excerpt_sha256",
        "file",
        "number",
        "occurrence",
        "reason",
        "feature_first_bar",
        "feature_last_bar",
        "agreement",
        "note",
        "excerpt",
        "labels",
    ),
}
"""Columns that ``row_crc32`` of a table is computed over, in this order."""

INDEXES = (
    "CREATE INDEX place_tune ON place(tune)",
    "CREATE INDEX place_collection ON place(collection)",
    "CREATE INDEX place_piece ON place(piece)",
    "CREATE INDEX place_kept_source ON place(kept_source)",
    "CREATE INDEX read_warning_place ON read_warning(place)",
    "CREATE INDEX tag_name ON tag(name)",
    "CREATE INDEX remark_tune ON remark(tune)",
    "CREATE INDEX lesson_example_lesson ON lesson_example(lesson)",
    "CREATE INDEX tune_title ON tune(title_folded)",
    "CREATE INDEX taken_out_change ON taken_out(change)",
    "CREATE INDEX taken_out_name ON taken_out(kind, name)",
)

WORDS_INDEX = "tune_words_fts"
"""The full-text index over ``tune_words`` (https://www.sqlite.org/fts5.html), which
sqlite-utils makes with its triggers: see :mod:`melodex.corpus.writing.rows.words`."""

OVERVIEW = """
SELECT
  tune.tune_id AS tune_id, -- 16 hex digits
  tune.title AS title, -- empty where unknown
  tune.composer AS composer, -- empty where unknown
  tune.year AS year, -- as the source says
  tune.printed_key AS printed_key, -- such as D dorian
  tune.metre AS metre, -- such as 6/8
  tune.note_count AS note_count, -- sounding notes
  tune.bar_count AS bar_count, -- printed bars, pickup not counted
  collection.name AS collection, -- of its first place
  place.source AS source, -- path as given, of its first place
  place.number AS number, -- X: number or position of the part
  (SELECT count(*) FROM place AS every WHERE every.tune = tune.id) AS place_count, -- how many places hold it
  (SELECT group_concat(name, ', ') FROM tag WHERE tag.tune = tune.id) AS tags, -- words put on it
  tune.rights AS rights, -- copyright note of the source
  place.piece AS piece, -- tune id of the main line of its piece
  place.line AS line, -- which line of the piece, from 1
  place.line_count AS line_count, -- how many lines the piece has
  place.part_name AS part_name, -- what the source calls its part
  place.voice_name AS voice_name -- the voice in that part
FROM tune
JOIN place ON place.id = {first_place}
JOIN collection ON collection.id = place.collection"""  # noqa: E501 (a column a line)

TUNE_OVERVIEW = OVERVIEW.format(first_place=FIRST_PLACE)
"""What lists show of a tune."""

OVERVIEW_HEAD = (
    "\nCREATE VIEW tune_overview AS -- one row for each tune, in words and plain numbers"
)

VIEWS: dict[str, str] = {
    "tune_overview": OVERVIEW_HEAD + TUNE_OVERVIEW,
    "note": """
CREATE VIEW note AS -- one row for each sounding note of each tune
SELECT
  tune.tune_id AS tune_id, -- 16 hex digits
  tune.title AS title, -- empty where unknown
  midi.key + 1 AS note, -- position in the tune, from 1
  json_extract(tune.melody, '$.bar[' || midi.key || ']') AS bar, -- number of the bar it starts in
  json_extract(tune.melody, '$.onset_ticks[' || midi.key || ']') / 10080.0 AS onset_quarters, -- from the start of the first bar
  json_extract(tune.melody, '$.duration_ticks[' || midi.key || ']') / 10080.0 AS duration_quarters, -- length in quarter notes
  midi.value AS midi, -- sounding pitch in semitones, middle C is 60
  json_extract(tune.melody, '$.fifths[' || midi.key || ']') AS fifths, -- spelled pitch on the line of fifths, C is 0
  substr('FCGDAEB', (json_extract(tune.melody, '$.fifths[' || midi.key || ']') + 36) % 7 + 1, 1) AS letter, -- letter of the pitch
  (json_extract(tune.melody, '$.fifths[' || midi.key || ']') + 36) / 7 - 5 AS alteration, -- sharps (+) or flats (-)
  json_extract(tune.melody, '$.beat_strength[' || midi.key || ']') AS beat_strength, -- 1 on the downbeat
  json_extract(tune.melody, '$.phrase[' || midi.key || ']') AS phrase -- index of the phrase, from 0
FROM tune, json_each(tune.melody, '$.midi') AS midi""",  # noqa: E501
}


def new_settings() -> dict[str, str]:
    """Return the settings that a corpus made today is built with."""
    from melodex.corpus.facets import FACET_TABLES, FACET_VERSION

    return {
        **{name: str(value) for name, value in CorpusSettings().to_dict().items()},
        "facet_tables": " ".join(FACET_TABLES),
        "facet_version": str(FACET_VERSION),
    }


def create_statements() -> list[str]:
    """Return every statement that makes an empty corpus, in order."""
    return [
        *(ddl.strip() for ddl in TABLES.values()),
        *INDEXES,
        *facet_statements(),
        *(ddl.strip() for ddl in VIEWS.values()),
    ]


def facet_statements() -> list[str]:
    """Statements that make the facet tables and their indexes."""
    # Facets lean on the analysis, which a search must not load.
    from melodex.corpus.facets import FACET_TABLES

    parts = (part.strip() for ddl in FACET_TABLES.values() for part in ddl.split(";\n"))
    return [part for part in parts if part]


@dataclass(frozen=True, slots=True)
class ColumnNote:
    """A column, its declaration, and what it means."""

    name: str
    declaration: str
    meaning: str


@dataclass(frozen=True, slots=True)
class TableNote:
    """A table or view, what it is for, and its columns."""

    name: str
    kind: str
    meaning: str
    columns: tuple[ColumnNote, ...]


def documentation() -> list[TableNote]:
    """Describe every table and view, from the comments in their definitions.

    Examples
    --------
    >>> tables = {table.name: table for table in documentation()}
    >>> tables["tag"].meaning
    'a word that the musician put on a tune'
    >>> tables["tune"].columns[1].name, tables["tune"].columns[1].declaration
    ('tune_id', 'TEXT NOT NULL UNIQUE')
    """
    facets = [part for part in facet_statements() if part.startswith("CREATE TABLE")]
    return [described(ddl) for ddl in (*TABLES.values(), *facets, *VIEWS.values())]


HEAD = re.compile(r"CREATE (TABLE|VIEW) (\w+) (?:\(|AS) -- (.*)")
TABLE_COLUMN = re.compile(r"  (\w+) (.*?),? -- (.*)")
VIEW_COLUMN = re.compile(r"  .* AS (\w+),? -- (.*)")


def described(ddl: str) -> TableNote:
    """What one ``CREATE`` statement says in its comments."""
    lines = ddl.strip().splitlines()
    head = HEAD.fullmatch(lines[0])
    if head is None:
        raise ValueError(f"not described: {lines[0]}")
    kind, name, meaning = head[1].lower(), head[2], head[3]
    if kind == "view":
        found = (VIEW_COLUMN.fullmatch(line) for line in lines[1:])
        columns = tuple(ColumnNote(m[1], "", m[2]) for m in found if m)
    else:
        found = (TABLE_COLUMN.fullmatch(line) for line in lines[1:])
        columns = tuple(ColumnNote(m[1], m[2], m[3]) for m in found if m)
    return TableNote(name, kind, meaning, columns)


def state_of(connection: sqlite3.Connection, path: Path) -> int:
    """Return the schema version of an open corpus; 0 for a file with nothing in it.

    Raises
    ------
    NewerCorpusError
        If a later version of melodex wrote it.
    CorpusError
        If it is the SQLite file of another program.
    DamagedCorpusError
        If the version makes no sense, or something else stands in the place of a table.
    """
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    if application != APPLICATION_ID:
        tables: Iterable[str] = connection.execute("SELECT name FROM sqlite_master LIMIT 1")
        if application == 0 and version == 0 and not list(tables):
            return 0
        raise CorpusError(
            "this SQLite file is not a melodex corpus",
            where=str(path),
            hint=REMEDIES["other corpus"],
        )
    if version < 1:
        raise DamagedCorpusError(
            f"the corpus gives {version} as the version of its schema",
            where=str(path),
            hint=REMEDIES["repair"],
        )
    if version > SCHEMA_VERSION:
        raise NewerCorpusError(
            f"a later version of melodex wrote this corpus (schema {version}; "
            f"this version knows up to {SCHEMA_VERSION})",
            where=str(path),
            hint=REMEDIES["update"],
        )
    refuse_in_place_of_tables(connection, path, (*TABLES, *FACET_NAMES))
    return version
