"""A question to a piece: where do its other lines answer this passage?

Conventions: as :mod:`melodex.tasks.describe.surroundings` the piece is read again, every
line of it. Bars go by their printed numbers. Distances are in bars of the metre that
holds where the figure begins, else in quarters.

Contents: Answer, Answers, answers_in_piece, find_answers.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.analysis.texture.echoes import FEWEST_NOTES, Echo, echoes
from melodex.analysis.texture.lines import TextureLine
from melodex.errors import EmptyMelodyError, PassageError
from melodex.melody import TICKS_PER_QUARTER, Melody, bars_text
from melodex.melody.texture import SoundingNote
from melodex.records import dataclass
from melodex.tasks.describe.surroundings import piece_of
from melodex.tasks.passage import Passage, find_passage, read_span
from melodex.tasks.tune_file import file_and_number

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Answer", "Answers", "answers_in_piece", "find_answers"]

MOST_NOTES = 400
"""Of a passage whose answers are looked for."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer, in words that a musician uses.

    Parameters
    ----------
    line : str
        Part and voice.
    first_bar, last_bar : int
        Printed bars of as many notes as the passage has.
    later : str
        Such as ``2 bars later`` or ``half a bar earlier``.
    interval : str
        Such as ``a fifth below`` or ``at the same pitch``.
    way : str
        ``upside down``, ``in doubled lengths`` ...; empty for the figure as it is.
    notes : int
        How many notes go on alike.
    """

    line: str
    first_bar: int
    last_bar: int
    later: str
    interval: str
    way: str
    notes: int

    @property
    def words(self) -> str:
        """The whole of it, such as ``Violin 2, bars 3-4: 2 bars later, a fifth below``."""
        said = [self.later, self.interval, *([self.way] if self.way else [])]
        place = bars_text(self.first_bar, self.last_bar)
        return f"{self.line}, {place}: {', '.join(said)}; {self.notes} notes alike"


@dataclass(frozen=True, slots=True)
class Answers:
    """A passage, the line that has it, and its answers in order of time."""

    passage: Passage
    line: str
    lines: int
    answers: tuple[Answer, ...]


def find_answers(
    corpus_path: Path, name: str, *, bars: str | None = None, notes: str | None = None
) -> Answers:
    """Find where the other lines of a piece answer a passage that is named.

    Parameters
    ----------
    corpus_path : Path
        The corpus file; opened only if the name is no file.
    name : str
        As for :func:`melodex.tasks.passage.find_tune`.
    bars, notes : str, optional
        Such as ``5-8``; otherwise all.
    """
    some = read_span(bars) if bars else None
    few = read_span(notes, "notes") if notes else None
    if file_and_number(name)[0] is not None:
        passage = find_passage(name, bars=some, notes=few, fewest=1)
        return answers_in_piece(passage, name, None)
    from melodex.corpus.reader import Corpus

    with Corpus.open(corpus_path) as corpus:
        passage = find_passage(name, corpus, bars=some, notes=few, fewest=1)
        return answers_in_piece(passage, name, corpus)


def answers_in_piece(passage: Passage, name: str, corpus: Corpus | None) -> Answers:
    """Find where the other lines of its piece answer a passage.

    Parameters
    ----------
    passage : Passage
    name : str
        By which it was found, where that is a file.
    corpus : Corpus or None
        That it was found in.

    Raises
    ------
    PassageError
        If the piece has one line, or the passage is too long.
    EmptyMelodyError
        If the passage has too few notes.
    """
    count = len(passage.melody)
    if count < FEWEST_NOTES:
        raise EmptyMelodyError(
            f"{count} notes are too few to be answered",
            where=passage.label,
            hint=f"take at least {FEWEST_NOTES}",
        )
    if count > MOST_NOTES:
        raise PassageError(
            f"{count} notes are too many for a figure",
            where=passage.label,
            hint="name some bars of it",
        )
    piece, own = piece_of(passage, name, corpus)
    if len(piece) < 2:
        raise PassageError(
            "this piece has one line, so no other answers", where=passage.whole.title
        )
    names = [tune.line.name or f"line {tune.line.position}" for tune in piece]
    lines = [
        line_of(name, tune.melody, at == own)
        for at, (name, tune) in enumerate(zip(names, piece, strict=True))
    ]
    first = passage.first_note
    found = echoes(lines, own, first, first + count - 1)
    answers = tuple(
        said(echo, names[echo.line], piece[echo.line].melody, passage) for echo in found
    )
    return Answers(passage, names[own], len(piece), answers)


def line_of(name: str, melody: Melody, is_tune: bool) -> TextureLine:
    """A melody as a line of a texture."""
    notes = zip(
        melody.onset_ticks, melody.duration_ticks, melody.midi, melody.fifths, strict=True
    )
    return TextureLine(name, is_tune, tuple(SoundingNote(*note) for note in notes))


def said(echo: Echo, name: str, melody: Melody, passage: Passage) -> Answer:
    """An answer in words."""
    last = echo.first + len(passage.melody) - 1
    metre = passage.whole.metre_at(passage.melody.onset_ticks[0])
    unit = metre.bar_ticks if metre else TICKS_PER_QUARTER
    word = "bar" if metre else "quarter"
    far = Fraction(abs(echo.after_ticks), unit)
    where = "later" if echo.after_ticks > 0 else "earlier"
    side = "below" if echo.below else "above"
    interval = f"{article(echo.interval)}{echo.interval} {side}"
    return Answer(
        name,
        melody.bar[echo.first],
        melody.bar[last],
        f"{amount(far, word)} {where}",
        "at the same pitch" if echo.interval == "unison" else interval,
        echo.way,
        echo.notes,
    )


def article(interval: str) -> str:
    """``a`` or ``an`` before the name of an interval; none before several octaves."""
    if interval.endswith("octaves"):
        return ""
    return "an " if interval.startswith("octave") else "a "


def amount(number: Fraction, word: str) -> str:
    """So many bars in words.

    Examples
    --------
    >>> [amount(Fraction(beats, 4), "bar") for beats in (2, 4, 10)]
    ['half a bar', '1 bar', '2½ bars']
    """
    if number == Fraction(1, 2):
        return f"half a {word}"
    whole, rest = divmod(number, 1)
    signs = {Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}
    signs |= {Fraction(1, 3): "⅓", Fraction(2, 3): "⅔"}
    if not rest:
        text = str(whole)
    elif rest in signs:
        text = f"{whole or ''}{signs[rest]}"
    else:
        text = f"{float(number):.2f}".rstrip("0")
    return f"{text} {word}{'' if number <= 1 else 's'}"
