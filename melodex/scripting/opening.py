"""What a script starts with, and what needs no corpus.

Contents: open, read, compare, describe, from_music21.
"""

from __future__ import annotations

import warnings
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex.corpus.place import usual_place
from melodex.errors import ReadingError
from melodex.scripting.calls.comparing import compared
from melodex.scripting.corpus import Corpus
from melodex.scripting.partly import read_wholly
from melodex.scripting.results import CompareResult, DescribeResult
from melodex.scripting.tune import SpanLike, Tune, TuneLike, as_piece, within_limits

if TYPE_CHECKING:
    from melodex.melody import Melody
    from melodex.reading.result import Choice, FileReading
    from melodex.scripting.bridge import Stream

__all__ = ["compare", "describe", "from_music21", "open", "read"]


def open(  # noqa: A001
    path: str | PathLike[str] | None = None, *, partial: bool = False
) -> Corpus:
    """Open a corpus; the first :meth:`~melodex.Corpus.add` makes it where there is none.

    Parameters
    ----------
    path : str or PathLike, optional
        The corpus file, or the folder of shards; by default ``$MELODEX_CORPUS``, then a
        file in the user's data folder.
    partial : bool
        Whether to go on without shards that are missing or damaged: every answer then
        says what it is without.

    Returns
    -------
    Corpus
        To be used with ``with``, or closed when it is no longer needed.

    Raises
    ------
    CorpusError
        If there is a file of that name that is no corpus, or that may not be read.

    Examples
    --------
    >>> import melodex
    >>> corpus = melodex.open("tunes.melodex")
    >>> corpus.add("corpus_demo")  # doctest: +SKIP
    <AddResult: 61 added, 0 unchanged>
    """
    return Corpus(usual_place() if path is None else path, partial=partial)


def read(
    path: str | PathLike[str], *, part: str = "", voice: str = "", lines: str = "top"
) -> list[Tune]:
    """Read the tunes of a file: ABC, MusicXML (plain or compressed), MIDI or Humdrum.

    Parameters
    ----------
    path : str or PathLike
        The file.
    part, voice : str
        Which is the melody, by name or number from 1; by default the one that a listener
        follows.
    lines : str
        ``top`` reads the main line of a score alone, ``all`` every line: the main one
        first, then the others in the order of the score.

    Returns
    -------
    list of Tune
        What could be read. What could not is told of in a warning each.

    Raises
    ------
    ReadingError
        If nothing in it can be read.

    Examples
    --------
    >>> import melodex
    >>> len(melodex.read("corpus_demo/reed_cutters.abc"))
    12
    """
    from melodex.reading import Choice
    from melodex.reading.apart import called_apart

    reading, melodies = called_apart(
        str(Path(path)),
        harmonised_reading,
        Path(path),
        Choice(part, voice, lines=lines),
    )
    if not reading.tunes:
        reasons = "; ".join(str(refusal) for refusal in reading.refusals)
        where = "" if reasons else str(Path(path))
        raise ReadingError(reasons or "there is no tune in it", where=where)
    for refusal in reading.refusals:
        warnings.warn(f"left out: {refusal}", stacklevel=2)
    return [
        Tune.of(melody, tune.texture)
        for melody, tune in zip(melodies, reading.tunes, strict=True)
    ]


def harmonised_reading(path: Path, choice: Choice) -> tuple[FileReading, list[Melody]]:
    """What is in a file, and its melodies with the chords that its notes make."""
    from melodex.analysis.harmony.heard.sounding import harmonised
    from melodex.reading.apart import read_path_apart

    reading = read_path_apart(path, choice)
    return reading, [harmonised(tune) for tune in reading.tunes]


def compare(
    a: TuneLike,
    b: TuneLike,
    *,
    bars: SpanLike | tuple[SpanLike | None, SpanLike | None] | None = None,
    notes: SpanLike | tuple[SpanLike | None, SpanLike | None] | None = None,
    transpose: int | None = None,
) -> CompareResult:
    """Lay two passages of files or tunes side by side; needs no corpus.

    Parameters
    ----------
    a, b, bars, notes, transpose
        As for :meth:`melodex.Corpus.compare`.

    Examples
    --------
    >>> import melodex
    >>> own = "corpus_demo/own/own_song.abc"
    >>> found = melodex.compare(own, own, bars="1-4,5-8")
    >>> found.passages[1]
    <Tune 'Letter from the Far Lock', bars 5-8: 17 notes in Bb major>
    """
    read_wholly()
    return compared(a, b, None, bars, notes, transpose)


def describe(tune: TuneLike) -> DescribeResult:
    """Say what is in a piece: keys, form, metre, range, chords, devices, its lines.

    Parameters
    ----------
    tune : str, PathLike or Tune
        A file or a tune. :meth:`melodex.Corpus.describe` says also how rare each find
        is among the tunes of a corpus.

    Raises
    ------
    ReadingError
        If the file cannot be read.
    """
    from melodex.tasks.describe.describe import describe as said

    read_wholly()
    passage, texture = as_piece(tune, None)
    return DescribeResult(within_limits(said, [tune], passage, None, texture))


def from_music21(
    stream: Stream[Any], *, part: str = "", voice: str = "", title: str = ""
) -> Tune:
    """Make a tune of a music21 stream.

    Parameters
    ----------
    stream : music21.stream.Stream
        A score, a part, or any stream that music21 can write as MusicXML.
    part, voice : str
        Which is the melody, by name or number from 1; by default the first part with
        notes, and its top voice.
    title : str
        What to call it, where the score does not say.

    Returns
    -------
    Tune
        As if it had been read from a file.

    Raises
    ------
    PresentationError
        If music21 is not installed.
    ReadingError
        If music21 cannot write the stream, or there is no melody in it.
    """
    from melodex.scripting.bridge import melody_of

    return Tune.of(melody_of(stream, part, voice, title))
