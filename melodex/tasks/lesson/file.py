"""A teaching set as one file, to be taken along: what is in it, and reading it back.

The file is a zip archive (PKWARE APPNOTE 6.3; entries stored or deflated) of

- ``set.json``: UTF-8 JSON, described below. It alone is read back.
- ``examples/01.musicxml`` and so on: each passage as MusicXML 4.0, in the order of the
  set, for notation programs.
- ``sound.mid``: all passages one after another, a marker at each.

``set.json`` is an object with

- ``format``: ``"melodex teaching set"``; ``format_version``: 1.
- ``caution``: what to think of before sharing it.
- ``name``, ``topic``, ``level``, ``notes``: texts of the set.
- ``examples``: a list of objects, each with

  - ``tune_id``, ``first_note``, ``last_note``: the tune by the digest of what it holds,
    and the notes of the passage, counted from 0.
  - ``excerpt_sha256``: digest of the notes; see ``lesson_labels.excerpt_digest``.
  - ``rights``: the copyright note of the source, and ``rights_known``.
  - ``reason``, ``feature_bars`` (first and last, or null), ``agreement`` (0 to 1, or
    null), ``note``.
  - ``excerpt``: the passage, column by column as ``Melody.to_dict`` gives it: pitches in
    semitones (``midi``) and on the line of fifths, times in ticks of 1/10080 quarter.
    Only file names, no folders, stand in it.
  - ``labels``: degrees in fifths from the tonic, numerals, keys and finds, and the
    ``topic`` that the passage was gathered for: ``kind``, ``asked``, ``spans`` of bars.
  - ``musicxml``: name of the passage's other form in the archive.

Conventions: what comes from elsewhere is hostile until it is checked. Sizes are bounded
before anything is unpacked; every value is checked for its type and range; digests have
to agree. Nothing is written but rows of the corpus.

Contents: FORMAT, FORMAT_VERSION, SET_ENTRY, set_data, read_set, unpack_set,
unpack_file, differences.
"""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from dataclasses import asdict, replace
from pathlib import Path, PurePath
from typing import Any, NoReturn

from melodex.corpus.faults import is_there
from melodex.corpus.lessons import ExampleRow, LessonRow, place_of_tune, write_lesson
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import whole_ids
from melodex.errors import HostileInputError, LessonError
from melodex.melody.tune_id import is_beginning, is_whole
from melodex.tasks.lesson.checks import checked_excerpt, checked_labels, known_shape
from melodex.tasks.lesson.labels import Labels, excerpt_digest, labels_text, read_labels
from melodex.tasks.lesson.sets import (
    MOST_EXAMPLES,
    Lesson,
    LessonExample,
    checked_name,
    checked_text,
    open_lesson,
    writing,
)
from melodex.tasks.lesson.state import AS_KEPT
from melodex.tasks.tune_file import missing

__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "SET_ENTRY",
    "differences",
    "read_set",
    "set_data",
    "unpack_file",
    "unpack_set",
]

FORMAT = "melodex teaching set"
FORMAT_VERSION = 1
"""Of the file of a set; raised when older programs could misread it."""
SET_ENTRY = "set.json"

MOST_BYTES = 16 << 20
"""Packed; a set of 200 passages of 600 notes takes a third of it."""

MOST_JSON_BYTES = 32 << 20
"""Bytes (32 MiB) of an unpacked set that are read."""
MOST_ENTRIES = 2 * MOST_EXAMPLES + 16  # a source and a sound each, and the lists
PLAIN_COMPRESSION = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}

SHARING_CAUTION = (
    "Check the rights of what you share: each passage carries what its source says of "
    "them; where that is nothing, its rights are not known."
)


def set_data(lesson: Lesson) -> dict[str, Any]:
    """Return a set as the data of ``set.json``.

    Parameters
    ----------
    lesson : Lesson
        As opened.
    """
    row = lesson.row
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "caution": SHARING_CAUTION,
        "name": row.name,
        "topic": row.topic,
        "level": row.level,
        "notes": row.notes,
        "examples": [example_data(example) for example in lesson.examples],
        **({"questions": lesson.plan} if lesson.plan else {}),
    }


def example_data(example: LessonExample) -> dict[str, Any]:
    """One passage of ``set.json``."""
    row = example.row
    # Where a file stands on the maker's machine is nobody's business.
    source = PurePath(example.excerpt.credits.source).name
    bars = row.feature_first_bar, row.feature_last_bar
    return {
        "tune_id": row.tune_id,
        "first_note": row.first_note,
        "last_note": row.last_note,
        "excerpt_sha256": excerpt_digest(example.excerpt),
        "rights": example.excerpt.credits.rights,
        "rights_known": bool(example.excerpt.credits.rights),
        "reason": row.reason,
        "feature_bars": None if None in bars else list(bars),
        "agreement": row.agreement,
        "note": row.note,
        "excerpt": example.excerpt.with_credits(source=source).to_dict(),
        "labels": json.loads(labels_text(example.labels)),
        "musicxml": f"examples/{example.position:02}.musicxml",
    }


def unpack_file(corpus_path: Path, file: Path, *, name: str = "") -> tuple[LessonRow, int]:
    """Put a set into a corpus from a file; see :func:`unpack_set`.

    Raises
    ------
    LessonError
        If there is no such file, it cannot be read, or as :func:`unpack_set`.
    """
    try:
        if not file.is_file():
            raise LessonError(missing(str(file)), where=str(file))
        with file.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise LessonError(f"cannot be read: {error.strerror}", where=str(file)) from error
    return unpack_set(corpus_path, data, str(file), name=name)


def unpack_set(
    corpus_path: Path, data: bytes, source: str, *, name: str = ""
) -> tuple[LessonRow, int]:
    """Put a set that was taken along into a corpus.

    Parameters
    ----------
    corpus_path : Path
        The corpus; made if there is none.
    data : bytes
        What the file holds.
    source : str
        What to call it in messages.
    name : str
        What to call the set here; empty for its own name.

    Returns
    -------
    tuple
        The set as it is stored, and how many passages it has.

    Raises
    ------
    LessonError
        If it is no such file, is damaged, or a set has that name.
    HostileInputError
        If a limit is passed.
    """
    lesson, rows = read_set(data, source)
    plan = questions_in(data, source)
    if name:
        lesson = LessonRow(0, checked_name(name), lesson.topic, lesson.level, lesson.notes)
    if is_there(corpus_path):
        with Corpus.open(corpus_path) as corpus:
            rows = [with_place(corpus, row) for row in with_whole_ids(corpus, rows)]
    with writing(corpus_path, create=True) as writer:
        number = write_lesson(writer, lesson, rows, plan=plan)
    return LessonRow(number, *list(asdict(lesson).values())[1:]), len(rows)


def with_whole_ids(corpus: Corpus, rows: list[ExampleRow]) -> list[ExampleRow]:
    """Passages by the ids that their tunes have in this corpus.

    A set that was packed before schema 5 has the beginnings of ids.
    """
    earlier = (row.tune_id for row in rows if is_beginning(row.tune_id))
    whole = whole_ids(corpus, earlier)
    return [replace(row, tune_id=whole.get(row.tune_id, row.tune_id)) for row in rows]


def with_place(corpus: Corpus, row: ExampleRow) -> ExampleRow:
    """A passage whose tune this corpus happens to hold, with its place there."""
    file, number, occurrence = place_of_tune(corpus, row.tune_id)
    return ExampleRow(
        **{**asdict(row), "file": file, "number": number, "occurrence": occurrence}
    )


def read_set(data: bytes, source: str) -> tuple[LessonRow, list[ExampleRow]]:
    """Read what :func:`set_data` gave, from the bytes of an archive.

    Raises
    ------
    LessonError
        If it is no such file or is damaged.
    HostileInputError
        If a limit is passed.
    """
    try:
        told = parsed(entry_of(data))
        known_shape(told, HEAD, "the set")
        if told["format"] != FORMAT:
            raise LessonError("it holds no teaching set")
        if told["format_version"] != FORMAT_VERSION:
            raise LessonError(
                f"its format is {told['format_version']!r}, this version reads "
                f"{FORMAT_VERSION}",
                hint="update melodex",
            )
        examples = told["examples"]
        if len(examples) > MOST_EXAMPLES:
            raise HostileInputError(
                f"more than {MOST_EXAMPLES} passages", limit=MOST_EXAMPLES
            )
        lesson = LessonRow(
            0, checked_name(told["name"]), *(checked_text(told[n]) for n in TEXTS)
        )
        return lesson, [row_of(each, place) for place, each in enumerate(examples, 1)]
    except (LessonError, HostileInputError) as error:
        error.where = source
        raise


def questions_in(data: bytes, source: str) -> str:
    """The questions that were chosen for a packed set; empty where none were.

    Raises
    ------
    LessonError
        If they are none of a plan.
    """
    from melodex.tasks.lesson.plan import read_plan

    text = parsed(entry_of(data)).get("questions", "")
    if not isinstance(text, str):
        raise LessonError("its questions are no text", where=source)
    read_plan(text, source)
    return text


TEXTS = ("topic", "level", "notes")
HEAD: dict[str, type | tuple[type, ...]] = {
    "format": str,
    "format_version": int,
    "name": str,
    "topic": str,
    "level": str,
    "notes": str,
    "examples": list,
}
EXAMPLE: dict[str, type | tuple[type, ...]] = {
    "tune_id": str,
    "first_note": int,
    "last_note": int,
    "excerpt_sha256": str,
    "reason": str,
    "feature_bars": (list, type(None)),
    "agreement": (int, float, type(None)),
    "note": str,
    "excerpt": dict,
    "labels": dict,
}


def entry_of(data: bytes) -> bytes:
    """The bytes of ``set.json``, unless it is, or says that it is, too large."""
    if len(data) > MOST_BYTES:
        raise HostileInputError(
            f"the file is larger than {MOST_BYTES >> 20} MB", limit=MOST_BYTES
        )
    # Counted before the directory is read: reading it takes time for each entry.
    if data.count(b"PK\x01\x02") > MOST_ENTRIES:
        raise HostileInputError(
            f"more than {MOST_ENTRIES} files are packed in it", limit=MOST_ENTRIES
        )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            info = package.getinfo(SET_ENTRY)
            plain = info.compress_type in PLAIN_COMPRESSION and not info.flag_bits & 1
            if not plain:
                raise LessonError("it is locked, or packed in a way that is not read here")
            if info.file_size > MOST_JSON_BYTES:
                raise too_large()
            with package.open(info) as file:
                # The size in the directory may be a lie.
                text = file.read(MOST_JSON_BYTES + 1)
    except KeyError as error:
        raise LessonError(f"it holds no {SET_ENTRY}, so it is no teaching set") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        raise LessonError(f"it is no whole zip file: {error}") from error
    except (NotImplementedError, RuntimeError, OverflowError) as error:
        raise LessonError(f"it cannot be unpacked: {error}") from error
    if len(text) > MOST_JSON_BYTES:
        raise too_large()
    return text


def too_large() -> HostileInputError:
    """The error for an archive that would fill the memory."""
    return HostileInputError(
        f"{SET_ENTRY} in it is larger than {MOST_JSON_BYTES >> 20} MB unpacked",
        limit=MOST_JSON_BYTES,
    )


def parsed(text: bytes) -> dict[str, Any]:
    """JSON without numbers that are none, not nested without end."""

    def no_number(name: str) -> NoReturn:
        raise ValueError(f"{name} is no number")

    try:
        found = json.loads(text.decode("utf-8"), parse_constant=no_number)
    except RecursionError as error:
        raise HostileInputError(f"{SET_ENTRY} in it nests too deep") from error
    except ValueError as error:
        raise LessonError(f"{SET_ENTRY} in it is no JSON: {error}") from error
    if not isinstance(found, dict):
        raise LessonError(f"{SET_ENTRY} in it is no object")
    return found


def row_of(told: Any, place: int) -> ExampleRow:
    """A passage of ``set.json`` as a row, every value checked."""
    what = f"passage {place}"
    known_shape(told, EXAMPLE, what)
    excerpt = checked_excerpt(told["excerpt"], what)
    labels = checked_labels(told["labels"], excerpt, what)
    digest = excerpt_digest(excerpt)
    first, last = told["first_note"], told["last_note"]
    tune_id, agreement = told["tune_id"], told["agreement"]
    feature = told["feature_bars"]
    if digest != told["excerpt_sha256"]:
        raise LessonError(f"the notes of {what} are not those that were packed")
    if last - first + 1 != len(excerpt) or not 0 <= first < 1_000_000:
        raise LessonError(f"the place of {what} in its tune makes no sense")
    if not (is_whole(tune_id) or is_beginning(tune_id)):
        raise LessonError(f"the tune id of {what} is none")
    if agreement is not None and not 0 <= agreement <= 1:
        raise LessonError(f"the agreement of {what} is not between 0 and 1")
    if feature is not None and not bars_make_sense(feature):
        raise LessonError(f"the bars that {what} was kept for make no sense")
    return ExampleRow(
        tune_id=tune_id,
        first_note=first,
        last_note=last,
        excerpt_sha256=digest,
        file="",
        number="",
        occurrence=1,
        reason=checked_text(told["reason"]),
        feature_first_bar=feature[0] if feature else None,
        feature_last_bar=feature[1] if feature else None,
        agreement=None if agreement is None else float(agreement),
        note=checked_text(told["note"]),
        excerpt=json.dumps(excerpt.to_dict(), sort_keys=True, separators=(",", ":")),
        labels=labels_text(labels),
    )


def bars_make_sense(bars: list[Any]) -> bool:
    """Whether a list names a first and a last bar."""
    whole = all(type(bar) is int and 0 <= bar < 1_000_000 for bar in bars)
    return len(bars) == 2 and whole and bars[0] <= bars[1]


def differences(corpus: Corpus, name: str) -> list[str]:
    """Say in what the passages of a set differ from what this corpus holds and reads.

    Parameters
    ----------
    corpus : Corpus
        Where the set was unpacked.
    name : str
        Of the set.

    Returns
    -------
    list of str
        A sentence for each passage whose tune is not here or has other notes, and for
        each that is read here in other keys or with other numerals than it came with.
    """
    told = []
    for example in open_lesson(corpus, name).examples:
        came = read_labels(json.loads(example.row.labels))
        where = f"{example.position}. {example.title}"
        if example.state.kind != AS_KEPT:
            told.append(f"{where}: {example.state.sentence}.")
        elif keys_of(came) != keys_of(example.labels):
            there, here = (keys_of(each) for each in (came, example.labels))
            told.append(f"{where}: it came in {there} and is read here in {here}.")
        elif came.numerals != example.labels.numerals:
            told.append(f"{where}: its chords are named otherwise here.")
    return told


def keys_of(labels: Labels) -> str:
    """The keys of a passage in words."""
    return ", then ".join(str(each.key) for each in labels.keys) or "no key"
