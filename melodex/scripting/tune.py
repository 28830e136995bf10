"""A tune, or some bars of one, as a script or a notebook uses it.

Conventions: bars go by their printed numbers, notes count from 1. Nothing changes a
tune: what cuts or moves it returns another one.

Contents: Tune, TuneLike, as_passage, as_piece, name_of_piece, sound_file, span_of,
within_limits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from os import PathLike, fspath
from typing import TYPE_CHECKING, Any, TypeVar

from melodex.melody import Melody, bars_text
from melodex.tasks.passage import (
    Passage,
    Span,
    find_passage,
    find_piece,
    passage_of,
    read_span,
)
from melodex.tasks.tune_file import file_and_number, is_recording

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus as CorpusReader
    from melodex.melody.texture import Texture
    from melodex.scripting.bridge import Score

__all__ = [
    "Tune",
    "TuneLike",
    "as_passage",
    "as_piece",
    "name_of_piece",
    "sound_file",
    "span_of",
    "within_limits",
]

Result = TypeVar("Result")


class Tune:
    """A tune, or a part of one.

    Come by one with :func:`melodex.read`, :meth:`melodex.Corpus.tune`,
    :func:`melodex.from_music21` or the ``passages`` of a result.

    Parameters
    ----------
    passage : Passage
        The notes, and the tune that they stand in.
    texture : Texture, optional
        All notes of its piece, where it was read from a score.

    Examples
    --------
    >>> import melodex
    >>> tune = melodex.read("corpus_demo/reed_cutters.abc")[0]
    >>> tune
    <Tune 'The Sluice Gate', bars 1-16: 106 notes in G major>
    >>> tune.bars(1, 2).notes()[0]["note"]
    'G4'
    """

    __slots__ = ("passage", "texture")

    def __init__(self, passage: Passage, texture: Texture | None = None) -> None:
        self.passage = passage
        self.texture = texture

    @classmethod
    def of(cls, melody: Melody, texture: Texture | None = None) -> Tune:
        """Make a tune of a melody that is not in a corpus, and of all notes around it."""
        return cls(Passage(melody, melody, 0, melody.content_id(), False), texture)

    @property
    def melody(self) -> Melody:
        """The notes, with bars, keys, metres and chords."""
        return self.passage.melody

    @property
    def tune_id(self) -> str:
        """What the tune is called in a corpus."""
        return self.passage.tune_id

    @property
    def title(self) -> str:
        """Title; where there is none, the name of the file; else ``untitled``."""
        return self.passage.whole.title

    @property
    def composer(self) -> str:
        """Composer, as far as the source says; else empty."""
        return self.melody.credits.composer

    @property
    def year(self) -> int | None:
        """Year, as far as the source says."""
        return self.melody.credits.year

    @property
    def key(self) -> str:
        """The first printed key, such as ``E minor``; empty where none is printed."""
        return "" if self.melody.key.mode == "none" else str(self.melody.key)

    @property
    def line(self) -> str:
        """Which line of a score it is: ``Viola (line 3 of 4)``; empty for a single one."""
        return self.melody.line.words

    @property
    def first_bar(self) -> int:
        """Printed number of the bar of the first note."""
        return self.melody.bar[0]

    @property
    def last_bar(self) -> int:
        """Printed number of the bar of the last note."""
        return self.melody.bar[-1]

    def bars(self, first: int, last: int | None = None) -> Tune:
        """Cut out bars of the whole tune, both ends included.

        Parameters
        ----------
        first, last : int
            Printed numbers; without ``last``, one bar.

        Raises
        ------
        PassageError
            If the tune has no such bars.
        """
        return self.part(bars=Span(first, first if last is None else last))

    def part(self, *, bars: Span | None = None, notes: Span | None = None) -> Tune:
        """Cut bars, or notes counted from 1, out of the whole tune."""
        return Tune(part_of(self.passage, bars, notes, 1))

    def notes(self) -> list[dict[str, Any]]:
        """The notes as rows, which ``pandas.DataFrame`` takes as they are.

        Returns
        -------
        list of dict
            ``note`` (a name such as ``F#4``), ``midi``, ``degree`` (in the printed key;
            None without one), ``bar``, ``onset_quarters``, ``duration_quarters``,
            ``beat_strength`` (1 on a downbeat), ``phrase`` (from 0), ``chord``.
        """
        from melodex.presentation.data.values import note_rows

        return note_rows(self.melody)

    def to_dict(self) -> dict[str, Any]:
        """Where the tune comes from, and its notes, as plain data."""
        from melodex.presentation.data.values import passage_data

        return passage_data(self.passage) | {"notes": self.notes()}

    def to_csv(self) -> str:
        """The notes as CSV (RFC 4180), one a line."""
        from melodex.presentation.data.values import NOTE_ROW_COLUMNS, csv_text

        return csv_text(self.notes(), NOTE_ROW_COLUMNS)

    def to_abc(self) -> str:
        """The notes as ABC (standard 2.1)."""
        from melodex.presentation.notation.abc import abc_text

        return abc_text(self.melody, excerpt=self.is_part)

    def to_musicxml(self, *, written: bool = False) -> str:
        """The notes as MusicXML 4.0, for notation programs.

        Parameters
        ----------
        written : bool
            Whether a transposing instrument gets the pitches that its player reads, with
            the transposition stated, in place of those that sound.
        """
        from melodex.presentation.notation.musicxml.document import musicxml_text

        sounds = self.passage.whole.line.transposition_semitones if written else 0
        return musicxml_text(self.melody, excerpt=self.is_part, sounds_semitones=sounds)

    def to_midi(self) -> bytes:
        """The notes as a Standard MIDI file."""
        from melodex.presentation.notation.midi import midi_bytes

        return midi_bytes([self.melody], names=[self.title])

    def to_music21(self) -> Score:
        """The notes as a ``music21`` score, which needs that library.

        Raises
        ------
        PresentationError
            If music21 is not installed.
        """
        from melodex.scripting.bridge import score_of

        return score_of(self.to_musicxml())

    @property
    def is_part(self) -> bool:
        """Whether these are not all notes of the tune."""
        return len(self.melody) < len(self.passage.whole)

    def __len__(self) -> int:
        return len(self.melody)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Tune) and self.passage == other.passage

    def __hash__(self) -> int:
        return hash((self.passage.tune_id, self.passage.first_note, len(self)))

    def __repr__(self) -> str:
        key = f" in {self.key}" if self.key else ""
        bars = bars_text(self.first_bar, self.last_bar)
        line = f", {self.line}" if self.line else ""
        return f"<Tune {self.title!r}{line}, {bars}: {len(self)} notes{key}>"

    def __str__(self) -> str:
        return self.to_abc().rstrip("\n")

    def _repr_svg_(self) -> str:
        """The engraved notes with their degrees, for a notebook."""
        from melodex.scripting.notebook import passage_svg

        return passage_svg(self.passage)

    def _repr_html_(self) -> str:
        """Title, engraved notes and maker, for a notebook."""
        from melodex.scripting.notebook import passage_html

        return passage_html(self.passage)


TuneLike = str | PathLike[str] | Tune
"""A tune of the corpus by title or id, a file (``FILE`` or ``FILE#NUMBER``), or a Tune."""

SpanLike = str | int | tuple[int, int]
"""``5``, ``"5"``, ``"5-8"`` or ``(5, 8)``; both ends included."""


def span_of(given: SpanLike | None, what: str = "bars") -> Span | None:
    """What part is meant.

    Examples
    --------
    >>> span_of("5-8"), span_of((5, 8)), span_of(5)
    (Span(first=5, last=8), Span(first=5, last=8), Span(first=5, last=5))
    """
    if given is None:
        return None
    if isinstance(given, tuple):
        given = f"{given[0]}-{given[1]}"
    return read_span(str(given), what)


def as_passage(
    tune: TuneLike,
    reader: CorpusReader | None,
    *,
    bars: SpanLike | None = None,
    notes: SpanLike | None = None,
    fewest: int = 3,
) -> Passage:
    """The passage that is meant by a title, an id, a path or a tune.

    Raises
    ------
    PassageError, EmptyMelodyError, UnknownTuneError, ReadingError
        As :func:`melodex.tasks.passage.find_passage`.
    """
    spans = {"bars": span_of(bars), "notes": span_of(notes, "notes")}
    if isinstance(tune, Tune):
        if bars is None and notes is None:
            return tune.passage
        return part_of(tune.passage, spans["bars"], spans["notes"], fewest)
    return find_passage(fspath(tune), reader, fewest=fewest, **spans)


def as_piece(tune: TuneLike, reader: CorpusReader | None) -> tuple[Passage, Texture | None]:
    """The whole tune that is meant, and all notes of its piece where they are known."""
    if isinstance(tune, Tune):
        return tune.passage, tune.texture
    return find_piece(fspath(tune), reader)


def name_of_piece(tune: TuneLike) -> str:
    """By what name the piece of a tune is read again, where that is a file."""
    if not isinstance(tune, Tune):
        return fspath(tune)
    return tune.tune_id if tune.passage.in_corpus else tune.melody.credits.source


def within_limits(
    function: Callable[..., Result], tunes: Sequence[TuneLike], *arguments: Any
) -> Result:
    """Call a function; where a file is meant, in a process that can be ended.

    Parameters
    ----------
    function, *arguments
        Of a module, and what it takes.
    tunes : sequence of str, PathLike or Tune
        What was named.

    Raises
    ------
    HostileInputError
        If it costs more than a file may.
    """
    from melodex.reading.apart import called_apart

    for tune in tunes:
        path = None if isinstance(tune, Tune) else file_and_number(fspath(tune))[0]
        if path is not None:
            return called_apart(str(path), function, *arguments)
    return function(*arguments)


def sound_file(tune: TuneLike) -> str:
    """The name of a recording, empty where something else is meant."""
    if isinstance(tune, Tune):
        return ""
    name = fspath(tune)
    return name if is_recording(name) else ""


def part_of(
    passage: Passage, bars: Span | None, notes: Span | None, fewest: int
) -> Passage:
    """Some bars, or notes counted from 1, of the tune in which a passage stands."""
    whole, tune_id = passage.whole, passage.tune_id
    return passage_of(
        whole, tune_id, passage.in_corpus, bars=bars, notes=notes, fewest=fewest
    )
