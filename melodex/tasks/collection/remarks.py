"""What a musician writes about a tune: a note, its source, a citation.

Conventions: a remark is about a whole tune or about some bars of it, by printed number.
It stays with the tune through removing and undoing, and goes to the tune that takes its
place in the file.

Contents: KINDS, LONGEST, Remarked, write_remark, take_off, remarks_on.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.particulars import RemarkRow, remarks_of
from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.errors import CorpusError
from melodex.melody.cutting import notes_of_bars
from melodex.tasks.passage import read_span

__all__ = ["KINDS", "Remarked", "remarks_on", "take_off", "write_remark"]

KINDS = ("note", "source", "citation")
LONGEST = 4_000
"""Characters: a page of prose."""


@dataclass(frozen=True, slots=True)
class Remarked:
    """A tune and what is written about it."""

    tune: TuneRow
    remarks: tuple[RemarkRow, ...]


def write_remark(
    corpus_path: Path, name: str, text: str, *, kind: str = "note", bars: str = ""
) -> Remarked:
    """Write something about a tune, or about some bars of it.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    name : str
        The tune, by title or id.
    text : str
        What is to be kept.
    kind : str
        One of :data:`KINDS`.
    bars : str
        Bars by printed number, such as ``5-8``.

    Raises
    ------
    CorpusError
        If there is nothing to keep, too much, or the kind is none.
    UnknownTuneError, PassageError
        If no tune goes by that name, or it has not these bars.
    """
    from melodex.corpus.writing.remarks import add_remark
    from melodex.corpus.writing.store import CorpusWriter

    words = text.strip()
    if kind not in KINDS:
        raise CorpusError(
            f"{kind!r} is no kind of remark", hint=f"one of {', '.join(KINDS)}"
        )
    if not words:
        raise CorpusError("there is nothing to keep", hint="write a few words")
    if len(words) > LONGEST:
        raise CorpusError(
            f"{len(words):,} characters are too many", hint=f"up to {LONGEST:,} are kept"
        )
    span = read_span(bars) if bars else None
    with Corpus.open(corpus_path) as corpus:
        tune_id = corpus.resolve(name)
        if span:
            notes_of_bars(corpus.melody(tune_id), span.first, span.last)
    with CorpusWriter.open(corpus_path, create=False) as writer:
        add_remark(writer, tune_id, kind, words, (span.first, span.last) if span else None)
    with Corpus.open(corpus_path) as corpus:
        return remarks_on(corpus, tune_id)


def take_off(corpus_path: Path, number: int) -> str:
    """Take off a remark by its number, and return its words.

    Raises
    ------
    CorpusError
        If there is none of that number.
    """
    from melodex.corpus.writing.remarks import take_remark_off
    from melodex.corpus.writing.store import CorpusWriter

    with CorpusWriter.open(corpus_path, create=False) as writer:
        words = take_remark_off(writer, number)
    if not words:
        raise CorpusError(f"there is no remark {number}", hint="a tune shows its remarks")
    return words


def remarks_on(corpus: Corpus, name: str) -> Remarked:
    """Return what is written about a tune."""
    tune_id = corpus.resolve(name)
    return Remarked(corpus.tune(tune_id), tuple(remarks_of(corpus, tune_id)))
