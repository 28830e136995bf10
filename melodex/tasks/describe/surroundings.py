"""A passage among the other lines of its piece: who plays beside it, and what.

Conventions: the piece is read again from what the corpus keeps of it, or from its file,
every line of it, in a process of its own and within limits. Bars are whole: those that
the passage touches. All pitches sound. A piece of one line has no surroundings, and says
so.

Contents: CHOICES, ScoreLineAround, Surroundings, find_surroundings, surroundings_of.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.errors import HostileInputError, PassageError
from melodex.melody import Melody
from melodex.melody.cutting import sounding_within
from melodex.records import dataclass
from melodex.tasks.passage import Passage, find_passage, read_span
from melodex.tasks.tune_file import file_and_number

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.reading.result import Choice, ReadTune

__all__ = [
    "CHOICES",
    "ScoreLineAround",
    "Surroundings",
    "find_surroundings",
    "surroundings_of",
]

CHOICES = ("sounding", "all")
"""Which lines stand around a passage: those that sound in its bars, or every one."""

MOST_BARS = 200
"""Of a score that is drawn; a page holds some twenty."""

MOST_LINES = 120
"""Of a score that is drawn: a hundred parts, some of them with two voices."""


@dataclass(frozen=True, slots=True)
class ScoreLineAround:
    """One line of a small score.

    Parameters
    ----------
    name : str
        Part and voice.
    melody : Melody
        What sounds of it in the bars of the score; perhaps nothing.
    matched : tuple of int
        Indexes of the notes of the passage; empty but in its own line.
    clef : str
        First printed clef, sign and line; empty where none is known.
    sounds_semitones : int
        From what is to be shown to what sounds; 0 but at written pitch.
    """

    name: str
    melody: Melody
    matched: tuple[int, ...] = ()
    clef: str = ""
    sounds_semitones: int = 0


@dataclass(frozen=True, slots=True)
class Surroundings:
    """A passage with the lines around it, from the top of the score.

    Parameters
    ----------
    passage : Passage
        What stands in the middle.
    lines : tuple of ScoreLineAround
        Each with the same bars.
    own : int
        Index of the line that the passage is of.
    resting : tuple of str
        Lines that are left out because they rest.
    """

    passage: Passage
    lines: tuple[ScoreLineAround, ...]
    own: int
    resting: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """Title and bars, and among how many lines."""
        return f"{self.passage.label}, with the lines around it"

    @property
    def sentence(self) -> str:
        """Which line the passage is of, and which rest."""
        name = self.lines[self.own].name
        said = f"{name} has the passage; its notes stand in boxes."
        if self.resting:
            names = ", ".join(self.resting[:6])
            more = f" and {len(self.resting) - 6} more" if len(self.resting) > 6 else ""
            said += f" Resting here: {names}{more}."
        if any(line.sounds_semitones for line in self.lines):
            said += " Each line stands as its player reads it."
        return said


def find_surroundings(
    corpus_path: Path,
    name: str,
    *,
    bars: str | None = None,
    lines: str = "sounding",
    as_written: bool = False,
) -> Surroundings:
    """Find a passage with the lines around it.

    Parameters
    ----------
    corpus_path : Path
        The corpus file; opened only if the name is no file.
    name : str
        A tune of the corpus or a file, as for
        :func:`melodex.tasks.passage.find_tune`.
    bars : str, optional
        Such as ``5-8``; otherwise all.
    lines : str
        One of :data:`CHOICES`.
    as_written : bool
        Whether each line is to stand as its player reads it.

    Raises
    ------
    PassageError
        If the piece has one line, or too many bars are asked for.
    UnknownTuneError, ReadingError
        As :func:`melodex.tasks.passage.find_tune`.
    """
    span = read_span(bars) if bars else None
    if file_and_number(name)[0] is not None:
        passage = find_passage(name, bars=span, fewest=1)
        return surroundings_of(passage, name, None, lines=lines, as_written=as_written)
    from melodex.corpus.reader import Corpus

    with Corpus.open(corpus_path) as corpus:
        passage = find_passage(name, corpus, bars=span, fewest=1)
        return surroundings_of(passage, name, corpus, lines=lines, as_written=as_written)


def surroundings_of(
    passage: Passage,
    name: str,
    corpus: Corpus | None,
    *,
    lines: str = "sounding",
    as_written: bool = False,
) -> Surroundings:
    """Put the lines of its piece around a passage.

    Parameters
    ----------
    passage : Passage
    name : str
        By which it was found, where that is a file.
    corpus : Corpus or None
        That it was found in.
    lines : str
        One of :data:`CHOICES`.
    as_written : bool
        Whether each line is to stand as its player reads it.

    Raises
    ------
    PassageError
        As :func:`find_surroundings`.
    """
    if lines not in CHOICES:
        raise PassageError(f"{lines!r} is no choice of lines", hint=" or ".join(CHOICES))
    piece, own = piece_of(passage, name, corpus)
    if len(piece) < 2:
        raise PassageError(
            "this piece has one line, so nothing stands around it",
            where=passage.whole.title,
            hint="print it by itself",
        )
    passage = replace(passage, as_written=as_written)
    start, end = bars_around(passage)
    placed = [
        ScoreLineAround(
            tune.line.name or f"line {tune.line.position}",
            sounding_within(tune.melody, start, end),
            notes_matched(passage, tune.melody, start, end) if at == own else (),
            tune.line.clef,
            tune.line.transposition_semitones if as_written else 0,
        )
        for at, tune in enumerate(piece)
    ]
    kept = [
        at
        for at, line in enumerate(placed)
        if at == own or lines == "all" or len(line.melody)
    ]
    kept = sorted([own, *[at for at in kept if at != own][: MOST_LINES - 1]])
    resting = [line.name for at, line in enumerate(placed) if at not in kept]
    return Surroundings(
        passage, tuple(placed[at] for at in kept), kept.index(own), tuple(resting)
    )


def bars_around(passage: Passage) -> tuple[int, int]:
    """Where the first bar of a passage begins and its last one ends, in ticks.

    Raises
    ------
    PassageError
        If these are more bars than a score is drawn of.
    """
    part = passage.melody
    first = part.onset_ticks[0]
    last = max(o + d for o, d in zip(part.onset_ticks, part.duration_ticks, strict=True))
    touched = [
        bar
        for bar in passage.whole.bars
        if bar.onset_ticks < last and bar.onset_ticks + bar.duration_ticks > first
    ]
    if not touched:
        raise PassageError("this tune has no bars", where=passage.whole.title)
    if len(touched) > MOST_BARS:
        raise PassageError(
            f"{len(touched)} bars are too many for a score",
            where=passage.whole.title,
            hint=f"name {MOST_BARS} at most, such as bars 1-16",
        )
    return touched[0].onset_ticks, touched[-1].onset_ticks + touched[-1].duration_ticks


def notes_matched(passage: Passage, line: Melody, start: int, end: int) -> tuple[int, ...]:
    """Indexes of the notes of a passage among those of its line that sound in its bars."""
    wanted = set(passage.melody.onset_ticks)
    cut = sounding_within(line, start, end)
    return tuple(at for at, onset in enumerate(cut.onset_ticks) if onset in wanted)


# The piece, read again


def piece_of(
    passage: Passage, name: str, corpus: Corpus | None
) -> tuple[list[ReadTune], int]:
    """The lines of the piece of a passage in the order of the score, and which it is."""
    for tunes in readings(passage, name, corpus):
        for piece in pieces(tunes):
            for at, tune in enumerate(piece):
                if is_same_line(tune.melody, passage.whole):
                    return piece, at
    return [], 0


def is_same_line(line: Melody, whole: Melody) -> bool:
    """Whether two melodies have the same notes at the same times."""
    return (line.midi, line.onset_ticks) == (whole.midi, whole.onset_ticks)


def pieces(tunes: Sequence[ReadTune]) -> list[list[ReadTune]]:
    """Tunes by piece: each begins with its main line; then in the order of the score."""
    found: list[list[ReadTune]] = []
    for tune in tunes:
        if tune.line.is_main or not found:
            found.append([])
        found[-1].append(tune)
    return [sorted(piece, key=lambda tune: tune.line.position) for piece in found]


def readings(
    passage: Passage, name: str, corpus: Corpus | None
) -> Iterator[tuple[ReadTune, ...]]:
    """What each source of a passage gives when all its lines are read."""
    from melodex.corpus.tunes.particulars import sources_of
    from melodex.reading import read_bytes, read_path
    from melodex.reading.apart import Apart
    from melodex.reading.result import Choice

    with Apart() as apart:
        if not passage.in_corpus:
            path, _ = file_and_number(name)
            if path is not None:
                yield apart.do(read_path, str(path), Choice(lines="written")).tunes
            return
        kept = sources_of(corpus, passage.tune_id) if corpus else ()
        for data, form, source, choice in kept:
            wide: Choice = replace(choice, lines="written")
            try:
                yield apart.do(read_bytes, data, form, source, wide).tunes
            except HostileInputError:
                continue
