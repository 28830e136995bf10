"""Audits kept in a folder, so that many that were stopped are gone on with.

Conventions: an audit goes by all that it depends on: the tune, the corpus, the settings and
the version. It is written as JSON: a record as its name with its values in order, one that
stands in it several times once, and lists as tuples. Only the records that are named here
are made again, whatever a file says; one that is not as it was written is none, and the
audit is made anew.

Contents: KeptAudits, written, read.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from melodex import __version__
from melodex.corpus.tunes.particulars import RemarkRow
from melodex.files import write_whole
from melodex.matching.evidence.commonness import Commonness
from melodex.melody import Credits, Melody, marks
from melodex.melody.metre import Metre
from melodex.melody.score_line import ScoreLine
from melodex.melody.shape import UNREADABLE
from melodex.settings import AlignmentCosts
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.findings import BarCover, Finding
from melodex.tasks.compare.likeness import Likeness, Pair
from melodex.tasks.passage import Passage

__all__ = ["KeptAudits", "read", "written"]

RECORDS: Mapping[str, Callable[..., Any]] = {
    record.__name__: record
    for record in (
        *(Audit, BarCover, Finding, Passage, Likeness, Pair, Commonness, AlignmentCosts),
        *(RemarkRow, Melody, Credits, Metre, ScoreLine),
        *(marks.Bar, marks.ChordSymbol, marks.Dynamic, marks.Grace, marks.Key),
        *(marks.KeyChange, marks.Lyric, marks.MetreChange, marks.SectionMark),
        *(marks.Tuplet, marks.WorkedLine),
    )
}
"""All that an audit is made of, by name."""

AGAIN = "again"
"""The name before the number of a record that stands earlier in the same text."""


class KeptAudits:
    """A folder of audits.

    Parameters
    ----------
    folder : Path
        Made where it is not there.
    corpus_digest : str
        Of the corpus that is compared with; see
        :func:`melodex.tasks.audit.audit.digest_of`.
    settings : tuple
        What else every audit depends on, as :func:`repr` tells it.
    """

    def __init__(self, folder: Path, corpus_digest: str, settings: tuple[Any, ...]) -> None:
        self.folder = folder
        self.asked = repr((__version__, corpus_digest, settings))

    def place_of(self, own: Passage) -> Path:
        """Where the audit of a tune is kept."""
        told = json.dumps(plain(own, None)).encode("utf-8")
        digest = hashlib.sha256(self.asked.encode("utf-8") + told)
        return self.folder / f"audit-{digest.hexdigest()[:32]}.json"

    def find(self, own: Passage) -> Audit | None:
        """The audit of a tune that is kept; None where there is none."""
        try:
            found = read(self.place_of(own).read_bytes())
        except (OSError, ValueError):
            return None
        # As it was handed in, with what no text holds.
        return replace(found, own=own) if isinstance(found, Audit) else None

    def keep(self, found: Audit, own: Passage) -> None:
        """Keep the audit of a tune."""
        write_whole(written(found), self.place_of(own))


def written(value: Any) -> bytes:
    """A record as JSON, after the digest of it that tells whether all of it is there."""
    text = json.dumps(plain(value, {})).encode("utf-8")
    return hashlib.sha256(text).hexdigest().encode("ascii") + b"\n" + text


def plain(value: Any, known: dict[int, int] | None) -> Any:
    """What JSON can hold of a value; ``known`` has the number of each record so far.

    Without it, what stands in a record several times is written as often.
    """
    if isinstance(value, tuple):
        return [plain(each, known) for each in value]
    if not is_dataclass(value):
        return value
    if known is not None and id(value) in known:
        return {AGAIN: known[id(value)]}
    told = [plain(getattr(value, field.name), known) for field in fields(value)]
    if known is not None:
        known[id(value)] = len(known)
    return {type(value).__name__: told}


def read(content: bytes) -> Any:
    """What :func:`written` wrote.

    Raises
    ------
    ValueError
        If it is not as it was written.
    """
    digest, _, text = content.partition(b"\n")
    if hashlib.sha256(text).hexdigest().encode("ascii") != digest:
        raise ValueError("it is not as it was written")
    made: list[Any] = []
    try:
        return remade(json.loads(text), made)
    except UNREADABLE as error:
        raise ValueError("it is no record of this version") from error


def remade(value: Any, made: list[Any]) -> Any:
    """A value of what JSON holds; ``made`` has the records so far, in order."""
    if isinstance(value, list):
        return tuple(remade(each, made) for each in value)
    if not isinstance(value, dict):
        return value
    ((name, told),) = value.items()
    if name == AGAIN:
        return made[told]
    made.append(RECORDS[name](*(remade(each, made) for each in told)))
    return made[-1]
