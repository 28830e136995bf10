"""A passage: some bars or notes of a tune in the corpus, or of a file.

Conventions: bars go by their printed numbers, notes are counted from 1 where a
person names them and from 0 inside the program.

Contents: Passage, Span, read_span, find_tune, find_one, find_passage, find_piece,
passage_of, find_passages.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.errors import EmptyMelodyError, PassageError, PhraseError, UnknownTuneError
from melodex.melody import Melody, Phrase, bars_text
from melodex.records import dataclass
from melodex.settings import FEWEST_NOTES
from melodex.tasks.tune_file import (
    file_and_number,
    harmonised_of_file,
    is_recording,
    melody_of_file,
    texture_in_corpus,
)

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.corpus.tunes.particulars import RemarkRow
    from melodex.melody.texture import Texture

__all__ = [
    "Passage",
    "Span",
    "find_one",
    "find_passage",
    "find_passages",
    "find_piece",
    "find_tune",
    "passage_of",
    "read_span",
]


@dataclass(frozen=True, slots=True)
class Span:
    """First and last, both included: bars by printed number, or notes from 1."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Passage:
    """Part of a tune, or the whole of it.

    Parameters
    ----------
    melody : Melody
        The notes of the passage; times and bar numbers are those of the whole.
    whole : Melody
        The tune that it is part of.
    first_note : int
        Index in the whole of the first note of the passage.
    tune_id : str
        Id of the tune; of a file, the id that it would have in a corpus.
    in_corpus : bool
        Whether it was taken from the corpus and not from a file.
    remarks : tuple of RemarkRow
        What the musician wrote about the tune, where the passage was asked for by name.
    as_written : bool
        Whether it is to be shown as the player of a transposing instrument reads it.
    has_rhythm : bool
        False for a phrase that was typed without lengths.
    """

    melody: Melody
    whole: Melody
    first_note: int
    tune_id: str
    in_corpus: bool
    remarks: tuple[RemarkRow, ...] = ()
    as_written: bool = False
    has_rhythm: bool = True

    @property
    def sounds_semitones(self) -> int:
        """From what is shown to what sounds; 0 but at written pitch."""
        return self.whole.line.transposition_semitones if self.as_written else 0

    @property
    def bars(self) -> tuple[int, int]:
        """First and last bar as printed, of its notes; of a sheet without any, of all."""
        numbers = self.melody.bar or [bar.number for bar in self.melody.bars] or [0]
        return numbers[0], numbers[-1]

    @property
    def label(self) -> str:
        """Title and bars, such as ``Lantern Rock, bars 5-8``; of a line, which one."""
        return ", ".join(filter(None, (self.whole.title, self.in_piece)))

    @property
    def heading(self) -> str:
        """Title, and which line of its piece it is."""
        return ", ".join(filter(None, (self.whole.title, self.whole.line.words)))

    @property
    def in_piece(self) -> str:
        """Line and bars, such as ``Violin 2 (line 2 of 4), bars 5-8``.

        What was typed without lengths has no bars.
        """
        bars = bars_text(*self.bars) if self.has_rhythm else ""
        return ", ".join(filter(None, (self.whole.line.words, bars)))

    def __repr__(self) -> str:
        return f"<Passage {self.label!r}: {len(self.melody)} notes>"

    def phrase(self) -> Phrase:
        """The passage as something to look for."""
        return Phrase(
            self.melody,
            notation="passage",
            has_rhythm=self.has_rhythm,
            text=self.label,
            has_tonic=self.melody.key.mode != "none",
            tune_id=self.tune_id if self.in_corpus else "",
            first_note=self.first_note,
            is_whole=len(self.melody) == len(self.whole),
        )


def read_span(text: str, what: str = "bars") -> Span:
    """Read ``5`` or ``5-8``.

    Raises
    ------
    PassageError
        If the text is neither, or runs backwards.

    Examples
    --------
    >>> read_span("5-8"), read_span("3")
    (Span(first=5, last=8), Span(first=3, last=3))
    """
    found = re.fullmatch(r"\s*(\d{1,7})\s*(?:[-–]\s*(\d{1,7})\s*)?", text)
    if not found:
        raise PassageError(f"{text!r} names no {what}", hint="write 5 or 5-8")
    span = Span(int(found[1]), int(found[2] or found[1]))
    if span.last < span.first:
        raise PassageError(
            f"{what} {text} run backwards", hint=f"write {found[2]}-{found[1]}"
        )
    return span


def find_tune(
    name: str, corpus: Corpus | None, *, chords_alone: bool = False
) -> tuple[Melody, str, bool]:
    """Find a tune by file, id or title.

    Parameters
    ----------
    name : str
        A path (``FILE`` or ``FILE#NUMBER``), a tune id or its first digits, or a
        title.
    corpus : Corpus or None
        Where ids and titles are looked up.
    chords_alone : bool
        Whether a file may hold chord symbols without any note.

    Returns
    -------
    tuple
        The melody, its tune id, and whether it came from the corpus.

    Raises
    ------
    UnknownTuneError
        If the name fits no tune, or more than one.
    ReadingError
        If the file could not be read.
    """
    path, number = file_and_number(name)
    if path is not None:
        from melodex.analysis.keys import with_centres

        melody = melody_of_file(path, number, chords_alone)
        return with_centres(melody), melody.content_id(), False
    if corpus is None:
        raise UnknownTuneError(f"{name!r} is no file, and no corpus is open")
    tune_id = corpus.resolve(name)
    return corpus.melody(tune_id), tune_id, True


def texture_of(passage: Passage, corpus: Corpus | None) -> Texture | None:
    """All notes of the piece that a passage is from, read again; None of one line.

    Parameters
    ----------
    passage : Passage
    corpus : Corpus or None
        That it was found in, which keeps what it was read from.
    """
    if corpus is None or not passage.in_corpus:
        return None
    return texture_in_corpus(passage.tune_id, corpus)


def find_passage(
    name: str,
    corpus: Corpus | None = None,
    *,
    bars: Span | None = None,
    notes: Span | None = None,
    fewest: int = FEWEST_NOTES,
) -> Passage:
    """Find part of a tune.

    Parameters
    ----------
    name : str
        As for :func:`find_tune`.
    corpus : Corpus, optional
        Where ids and titles are looked up.
    bars, notes : Span, optional
        What part: bars by printed number, or notes counted from 1. Neither: all.
    fewest : int
        How many notes the passage must have.

    Raises
    ------
    PassageError
        If bars and notes are both given, or the tune does not have them.
    EmptyMelodyError
        If the passage has too few notes.
    """
    if bars and notes:
        raise PassageError("bars and notes were both named", hint="name one of them")
    found = passage_of(*find_tune(name, corpus), bars=bars, notes=notes, fewest=fewest)
    return with_remarks(found, corpus)


def with_remarks(passage: Passage, corpus: Corpus | None) -> Passage:
    """A passage with what was written about its tune: all of it, or any of its bars."""
    if corpus is None or not passage.in_corpus:
        return passage
    from melodex.corpus.tunes.particulars import remarks_of

    first, last = passage.bars
    remarks = tuple(
        row
        for row in remarks_of(corpus, passage.tune_id)
        if row.first_bar is None
        or (row.first_bar <= last and (row.last_bar or row.first_bar) >= first)
    )
    return replace(passage, remarks=remarks) if remarks else passage


def find_piece(name: str, corpus: Corpus | None = None) -> tuple[Passage, Texture | None]:
    """Find a whole tune, or a sheet of chord symbols without any note, and all its notes.

    Parameters
    ----------
    name, corpus
        As for :func:`find_tune`.
    """
    path, number = file_and_number(name)
    texture = None
    if path is not None and not is_recording(str(path)):
        from melodex.analysis.keys import with_centres
        from melodex.reading.apart import called_apart

        heard, texture = called_apart(str(path), harmonised_of_file, path, number, True)
        melody, tune_id, in_corpus = with_centres(heard), heard.content_id(), False
    else:
        melody, tune_id, in_corpus = find_tune(name, corpus, chords_alone=True)
    passage = with_remarks(passage_of(melody, tune_id, in_corpus, fewest=0), corpus)
    return passage, texture or texture_of(passage, corpus)


def typed_passage(text: str, notation: str = "") -> Passage:
    """A phrase that was typed, to be laid beside a tune.

    Raises
    ------
    PhraseError
        As :func:`melodex.reading.phrase.reader.read_phrase`, and for what has no notes.
    """
    from melodex.reading.phrase.reader import NOTATIONS, read_phrase

    phrase = read_phrase(text, notation=notation)
    if not phrase.has_notes:
        raise PhraseError(
            f"{NOTATIONS[phrase.notation]} alone cannot be laid beside a tune",
            hint="look for it, and lay two of the tunes that are found side by side",
        )
    melody = phrase.melody
    melody = replace(melody, credits=replace(melody.credits, title="The phrase"))
    found = passage_of(melody, melody.content_id(), False)
    return replace(found, has_rhythm=phrase.has_rhythm)


def passage_of(
    melody: Melody,
    tune_id: str,
    in_corpus: bool,
    *,
    bars: Span | None = None,
    notes: Span | None = None,
    fewest: int = FEWEST_NOTES,
) -> Passage:
    """Take part of a tune that is at hand already; as :func:`find_passage`.

    With ``fewest=0`` the whole of a sheet of chords without notes is one too.
    """
    if not len(melody) and not fewest and not (bars or notes):
        return Passage(melody, melody, 0, tune_id, in_corpus)
    if not len(melody):
        raise EmptyMelodyError(
            "it is a sheet of chords without notes",
            where=melody.title,
            hint="describe reads it, and gather finds its progressions",
        )
    first, last = 0, len(melody) - 1
    if bars:
        from melodex.melody.cutting import notes_of_bars

        first, last = notes_of_bars(melody, bars.first, bars.last)
    elif notes:
        first, last = notes.first - 1, notes.last - 1
    part = melody.excerpt(first, last)
    if len(part) < fewest:
        raise EmptyMelodyError(
            f"{len(part)} notes are too few to compare",
            where=melody.title,
            hint=f"take at least {fewest}",
        )
    return Passage(part, melody, first, tune_id, in_corpus)


def written_for_player(passage: Passage) -> Passage:
    """A passage as the player of a transposing instrument reads it.

    Raises
    ------
    PassageError
        If what is written sounds as it is written.
    """
    if not passage.whole.line.transposition_semitones:
        raise PassageError(
            "this line sounds as it is written, as far as its source says",
            where=passage.heading,
            hint="print it without asking for written pitch",
        )
    return replace(passage, as_written=True)


def find_one(
    corpus_path: Path,
    name: str,
    *,
    bars: str | None = None,
    notes: str | None = None,
    fewest: int = 1,
) -> Passage:
    """Find a tune or a part of it; the corpus is opened only if the name is no file.

    Parameters
    ----------
    corpus_path : Path
        The corpus file.
    name : str
        As for :func:`find_tune`.
    bars, notes : str, optional
        Such as ``5-8``; otherwise all.
    fewest : int
        Notes that it must have.

    Raises
    ------
    PassageError
        If the tune does not have such a part.
    UnknownTuneError, ReadingError
        As :func:`find_tune`.
    """
    find = partial(
        find_passage,
        name,
        bars=read_span(bars) if bars else None,
        notes=read_span(notes, "notes") if notes else None,
        fewest=fewest,
    )
    if file_and_number(name)[0] is not None:
        return find()
    from melodex.corpus.reader import Corpus

    with Corpus.open(corpus_path) as corpus:
        return find(corpus)


def find_passages(
    corpus_path: Path,
    names: tuple[str, str],
    *,
    bars: str | None = None,
    notes: str | None = None,
) -> tuple[Passage, Passage]:
    """Find two passages; the corpus is opened only if one of them is no file.

    Parameters
    ----------
    corpus_path : Path
        The corpus file.
    names : tuple of str
        Two tunes, as for :func:`find_tune`.
    bars, notes : str, optional
        Parts of the first and of the second, such as ``1-4,9-12``; a single range is
        that of the first, and the second is taken whole.

    Raises
    ------
    PassageError
        If more than two parts are named, or a tune does not have them.
    """
    parts = [parts_of(bars, "bars"), parts_of(notes, "notes")]
    if all(file_and_number(name)[0] is not None for name in names):
        return both(names, None, parts)
    from melodex.corpus.reader import Corpus

    with Corpus.open(corpus_path) as corpus:
        return both(names, corpus, parts)


def both(
    names: tuple[str, str], corpus: Corpus | None, parts: list[list[Span | None]]
) -> tuple[Passage, Passage]:
    """Two passages, each with its own part."""
    bars, notes = parts
    return (
        find_passage(names[0], corpus, bars=bars[0], notes=notes[0]),
        find_passage(names[1], corpus, bars=bars[1], notes=notes[1]),
    )


def parts_of(text: str | None, what: str) -> list[Span | None]:
    """Read ``1-4``, ``1-4,9-12`` or ``,9-12``: one part or none for each of two."""
    pieces = (text or "").split(",")
    if len(pieces) > 2:
        raise PassageError(f"{text!r} names more than two {what}", hint="write 1-4,9-12")
    pieces += [""] * (2 - len(pieces))
    return [read_span(piece, what) if piece.strip() else None for piece in pieces]
