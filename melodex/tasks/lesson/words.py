"""The musician's own words in a set, written from pages that may be older than the set.

Conventions: a passage goes by a key that stays when the order changes: its tune, its
first and last note, and, where the set holds the same twice, which of them. Each text
comes with a mark of the one that its page showed. What somebody else has written
meanwhile is not written over: both are kept, theirs first.

Contents: Said, Written, mark_of_text, passage_keys, texts_in, write_words.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from melodex.corpus.lessons import (
    ExampleRow,
    LessonRow,
    change_lesson,
    example_rows,
    find_lesson,
)
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.lesson_changes import keys_of
from melodex.errors import LessonError
from melodex.tasks.lesson.sets import alter_lesson, checked_text, rewritten, writing

__all__ = ["Said", "Written", "mark_of_text", "passage_keys", "texts_in", "write_words"]

TEXTS = ("topic", "level", "notes")


@dataclass(frozen=True, slots=True)
class Said:
    """A text as somebody wants it, and the mark of what they saw before.

    ``own`` are marks of what they have written since, which may stand there already.
    """

    text: str
    seen: str
    own: frozenset[str] = frozenset()


@dataclass(slots=True)
class Written:
    """What became of the words.

    Parameters
    ----------
    name : str
        Of the set, which may be a new one.
    changed : tuple of str
        Keys whose text is another now.
    joined : tuple of str
        Those of them that somebody else had changed as well: both texts stand there.
    before, after : dict of str to str
        By key of what was changed, what stood there before, and what stands there now.
    set_id : int
        Row number of the set.
    lost : tuple of str
        Keys of passages that the set does not hold any more.
    marks : dict of str to str
        By key, the mark of each text as it was wanted here.
    refused : LessonError or None
        Why a text is too long or the new name cannot be had; all else was written.
    """

    name: str
    changed: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()
    before: dict[str, str] = field(default_factory=dict)
    after: dict[str, str] = field(default_factory=dict)
    set_id: int = 0
    lost: tuple[str, ...] = ()
    marks: dict[str, str] = field(default_factory=dict)
    refused: LessonError | None = None


def mark_of_text(text: str) -> str:
    """A mark of a text: the start of its SHA-256."""
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:12]


def passage_keys(rows: Sequence[ExampleRow]) -> list[str]:
    """The key of each passage of a set, in order."""
    return keys_of((row.tune_id, row.first_note, row.last_note) for row in rows)


def write_words(corpus_path: Path, name: str, words: Mapping[str, Said]) -> Written:
    """Write what has changed of a set's texts and of the notes on its passages.

    Parameters
    ----------
    corpus_path : Path
        Of the corpus.
    name : str
        Of the set.
    words : mapping of str to Said
        By ``name``, ``topic``, ``level``, ``notes``, or the key of a passage.

    Raises
    ------
    LessonError
        If there is no such set.
    """
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
        rows = example_rows(corpus, row.id)
    there = texts_in(row, rows)
    done = Written(row.name, set_id=row.id)
    wanted, joined, lost = {}, [], []
    for key, said in words.items():
        try:
            text = checked_text(said.text)
        except LessonError as error:
            done.refused = error
            continue
        done.marks[key] = mark_of_text(text)
        is_back = mark_of_text(there.get(key, "")) in said.own
        if done.marks[key] == said.seen and not is_back:
            continue
        if key not in there:
            lost.append(key)
            continue
        if text == there[key]:
            continue
        if mark_of_text(there[key]) not in {said.seen, *said.own} and key != "name":
            joined.append(key)
            text = joined_text(there[key], text, said.seen, parting(key))
        wanted[key] = text
    put_notes(corpus_path, row.name, wanted)
    put_texts(corpus_path, row, wanted)
    try:
        if "name" in wanted:
            done.name = alter_lesson(corpus_path, row.name, new_name=wanted["name"]).name
    except LessonError as error:
        # A name that cannot be had keeps no other word from being written.
        done.refused = error
        del wanted["name"]
    done.changed, done.joined, done.lost = tuple(wanted), tuple(joined), tuple(lost)
    done.before, done.after = {key: there[key] for key in wanted}, wanted
    return done


def parting(key: str) -> str:
    """What stands between two texts that are joined: a line of its own where there are."""
    return "; " if key in {"topic", "level"} else "\n\n"


def joined_text(theirs: str, mine: str, seen: str, between: str) -> str:
    """Two versions of a text in one.

    What the older page showed may stand in it already, from the last time that they were
    joined: the new version takes its place, so that nothing is said twice.
    """
    parts = theirs.split(between)
    for first in range(len(parts)):
        for last in range(first + 1, len(parts) + 1):
            if mark_of_text(between.join(parts[first:last])) == seen:
                kept = [*parts[:first], mine, *parts[last:]]
                return between.join(part for part in kept if part)
    for whole, part in ((theirs, mine), (mine, theirs)):
        if f" {' '.join(part.split())} " in f" {' '.join(whole.split())} ":
            return whole
    return between.join(part for part in (theirs, mine) if part)


def texts_in(row: LessonRow, rows: Sequence[ExampleRow]) -> dict[str, str]:
    """Every text of a set by its key."""
    texts = {"name": row.name, **{name: getattr(row, name) for name in TEXTS}}
    return texts | dict(zip(passage_keys(rows), (each.note for each in rows), strict=True))


def put_texts(corpus_path: Path, row: LessonRow, wanted: Mapping[str, str]) -> None:
    """Write the texts of the set itself.

    Each was within bounds as it was typed; two that were joined may be longer.
    """
    changed = {name: wanted[name] for name in TEXTS if name in wanted}
    if changed:
        with writing(corpus_path) as writer:
            change_lesson(writer, row.id, changed)


def put_notes(corpus_path: Path, name: str, wanted: Mapping[str, str]) -> None:
    """Write the notes on passages, all at once."""

    def noted(rows: list[ExampleRow]) -> list[ExampleRow]:
        keyed = zip(passage_keys(rows), rows, strict=True)
        return [replace(row, note=wanted.get(key, row.note)) for key, row in keyed]

    if wanted.keys() - {"name", *TEXTS}:
        rewritten(corpus_path, name, noted)
