"""What was done to a corpus and can be undone, and undoing it.

Contents: Done, Undone, what_was_done, undo.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.errors import CorpusError

__all__ = ["Done", "Undone", "undo", "what_was_done"]

MOST_TITLES = 3
"""Titles that stand for a change in the list of changes."""


@dataclass(frozen=True, slots=True)
class Done:
    """Something that was done, and what it took out.

    Parameters
    ----------
    number : int
        By which it is undone.
    done_at : str
        When, in UTC, as 2026-11-28T17:05:00.
    kind : str
        ``remove``, ``replace``, ``set`` (a teaching set was changed), ``remark`` (one was
        taken off) or ``undo``.
    tune_count : int
        Tunes that it took out, or from one of their places.
    titles : tuple of str
        Of the first few of them, names of sets, or the tune of a remark.
    byte_count : int
        What is kept of it takes so much room.
    can_be_undone : bool
        False where it was too large to be kept.
    what : str
        Of a set, what was done to it: ``deleted``, ``taken out``, ``put in``, ``put
        instead``, ``moved``, ``renamed``, ``questions`` or ``words``; else empty.
    """

    number: int
    done_at: str
    kind: str
    tune_count: int
    titles: tuple[str, ...]
    byte_count: int
    can_be_undone: bool
    what: str = ""


@dataclass(frozen=True, slots=True)
class Undone:
    """What undoing brought back, what made room for it, and what could not go back.

    ``left`` names tunes by id: another tune has come to their place since. ``stayed`` says
    what of a set could not be taken back, as it was changed since; ``whole`` names sets
    that were put back whole, since a change of an earlier version tells no more, and
    ``gone`` those that were not there.
    """

    number: int
    tunes: tuple[TuneRow, ...]
    displaced: tuple[str, ...]
    left: tuple[str, ...]
    sets: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    stayed: tuple[str, ...] = ()
    whole: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()


def what_was_done(corpus: Corpus) -> tuple[Done, ...]:
    """List what can be undone, the last first."""
    changes = corpus.query(
        "SELECT id, done_at, kind, is_whole, "
        "(SELECT count(DISTINCT name) FROM taken_out "
        " WHERE change = change.id AND kind IN ('tune', 'place')), "
        "(SELECT coalesce(sum(byte_count), 0) FROM taken_out WHERE change = change.id), "
        "(SELECT title FROM taken_out WHERE change = change.id AND kind = 'set' LIMIT 1) "
        "FROM change ORDER BY id DESC"
    )
    return tuple(
        Done(
            number,
            done_at,
            kind,
            tunes,
            titles_of(corpus, number),
            size,
            bool(is_whole),
            what or "",
        )
        for number, done_at, kind, is_whole, tunes, size, what in changes
    )


def titles_of(corpus: Corpus, number: int) -> tuple[str, ...]:
    """Names of the first few tunes or sets of a change."""
    rows = corpus.query(
        "SELECT CASE kind WHEN 'set' THEN name ELSE title END FROM taken_out "
        "WHERE change = ? AND kind IN ('tune', 'set', 'remark') ORDER BY id LIMIT ?",
        [number, MOST_TITLES],
    )
    return tuple(row[0] or "untitled" for row in rows)


def undo(corpus_path: Path, number: int | None = None) -> Undone:
    """Undo something that was done; the last where no number is given.

    Words that are held for a passage or a set that is back now are written there.

    Raises
    ------
    CorpusError
        If there is nothing to undo, or it was too large to be kept.
    LessonError
        If a set is gone, or nothing of what was done to it stands there.
    """
    from melodex.corpus.writing.putting_back import put_back
    from melodex.corpus.writing.store import CorpusWriter
    from melodex.tasks.collection.held import put_back_held

    with CorpusWriter.open(corpus_path, create=False) as writer:
        if number is None:
            number = writer.first.rows("SELECT max(id) FROM change")[0][0]
        if number is None:
            raise CorpusError(
                "nothing was done that can be undone",
                where=str(corpus_path),
                hint="what is removed, replaced or changed in a set is kept for a while",
            )
        done = put_back(writer, number)
    if done.sets:
        put_back_held(corpus_path)
    with Corpus.open(corpus_path) as corpus:
        # What another process has taken out again by now is back no longer.
        found = corpus.tune_rows(
            "WHERE tune_id IN (SELECT value FROM json_each(?))", [json.dumps(done.tunes)]
        )
    place = {tune_id: at for at, tune_id in enumerate(done.tunes)}
    rows = tuple(sorted(found, key=lambda row: place[row.tune_id]))
    return Undone(
        done.number,
        rows,
        tuple(done.displaced),
        tuple(done.left),
        tuple(done.sets),
        tuple(done.remarks),
        tuple(done.stayed),
        tuple(done.whole),
        tuple(done.gone),
    )
