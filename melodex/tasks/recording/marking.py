"""A passage of a set sung, whistled or played back, and marked note against note.

Conventions: notes are laid against each other from first to last, under the move that
leaves the fewest faults; of several ways to read the sound the best for the singer counts,
and of equal ones the likeliest. Nobody who sings alone takes the printed key, so that the
key is marked only where it is asked for. Lengths are ratios: a note counts up to the next,
against the tempo that most notes keep.

The weights of faults are our choice: a wrong note costs less than one left out and one
put in, so that a slip stays one fault.

Contents: RIGHT, OTHER_PITCH, LEFT_OUT, PUT_IN, MarkedNote, MarkedSinging, mark_passage,
marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from melodex.errors import LessonError
from melodex.melody import TICKS_PER_QUARTER, Melody, note_name, spell
from melodex.reading.recording.record import HeardLine, HeardNote, Recording
from melodex.tasks.compare.sentences import interval_text
from melodex.tasks.lesson.sets import Lesson, LessonExample, open_lesson
from melodex.tasks.tune_file import recording_of

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "LEFT_OUT",
    "OTHER_PITCH",
    "PUT_IN",
    "RIGHT",
    "MarkedNote",
    "MarkedSinging",
    "mark_passage",
    "marked",
]

RIGHT = "right"
OTHER_PITCH = "other pitch"
LEFT_OUT = "left out"
PUT_IN = "put in"

WRONG_COST, GAP_COST = 10, 7
HALF_STEP_COST = 8
WIDEST_MOVE = 48
MOST_NOTES = 64
"""Of a passage that is marked: a minute of music, as much as is heard."""

TELLING_CENTS = 30
IN_TIME = 1.4
"""A dotted note is 1.5 times a plain one, and nobody sings by the clock."""

Links = tuple[tuple[int | None, int | None], ...]


@dataclass(frozen=True, slots=True)
class MarkedNote:
    """A note of the passage, one that was sung, or both, and what they are to each other.

    Parameters
    ----------
    verdict : str
        One of the four words above.
    wanted, sung : int or None
        Places in the passage and in what was heard, from 0.
    off_semitones : int
        Of a note on another pitch: how far above what was wanted.
    off_cents : int
        How far the sung note lies from the semitone that it is taken for, in the tuning
        of the line.
    stretch : float or None
        Its length over the length that the tempo asks for; None where it cannot be told.
    """

    verdict: str
    wanted: int | None
    sung: int | None
    off_semitones: int = 0
    off_cents: int = 0
    stretch: float | None = None

    @property
    def length_words(self) -> str:
        """``long`` or ``short``, empty where it is in time or cannot be told."""
        if self.is_in_time or self.stretch is None:
            return ""
        return "long" if self.stretch > 1 else "short"

    @property
    def is_in_time(self) -> bool:
        """Whether it is not nearly half as long again, nor as much too short."""
        return self.stretch is None or 1 / IN_TIME < self.stretch < IN_TIME


@dataclass(frozen=True, slots=True)
class MarkedSinging:
    """What was sung, beside the passage.

    Parameters
    ----------
    title : str
        Of the passage.
    wanted : Melody
        Its notes.
    line : HeardLine
        What was heard, in the reading that fits.
    recording : Recording
        All of it.
    move : int
        Semitones from the passage to where it was sung.
    notes : tuple of MarkedNote
        In the order of time.
    summary : tuple of str
        What there is to say, in sentences, the main thing first.
    """

    title: str
    wanted: Melody
    line: HeardLine
    recording: Recording
    move: int
    notes: tuple[MarkedNote, ...]
    summary: tuple[str, ...]

    def count(self, verdict: str) -> int:
        """How many notes have a verdict."""
        return sum(note.verdict == verdict for note in self.notes)

    def name_of(self, note: MarkedNote) -> str:
        """What was sung for a note, by name in the key of the passage; empty for none."""
        if note.sung is None:
            return ""
        heard = self.line.notes[note.sung]
        midi = heard.midi - self.move
        if note.verdict == RIGHT and note.wanted is not None:
            return note_name(midi, self.wanted.fifths[note.wanted])
        return note_name(midi, spelled_near(midi, self.wanted))

    def __repr__(self) -> str:
        return f"<MarkedSinging {self.title!r}: {self.summary[0]}>"


def mark_passage(
    corpus: Corpus,
    name: str,
    position: int,
    recording: str | Recording,
    *,
    in_key: bool = False,
) -> MarkedSinging:
    """Mark a recording against a passage of a teaching set.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    name : str
        Of the set.
    position : int
        Of the passage, from 1.
    recording : str or Recording
        A sound file, or what was heard in one.
    in_key : bool
        Whether it has to be sung in the key of the passage, in any octave.

    Raises
    ------
    LessonError
        If there is no such set or passage, or it is too long to be sung back.
    ReadingError, EmptyMelodyError
        If the file cannot be read, or holds no line.
    """
    example = chosen(open_lesson(corpus, name), position)
    heard = recording_of(recording) if isinstance(recording, str) else recording
    return marked(example.excerpt, example.title, heard, in_key=in_key)


def chosen(lesson: Lesson, position: int) -> LessonExample:
    """A passage of a set by its place."""
    if not 1 <= position <= len(lesson.examples):
        raise LessonError(
            f"the set has no passage {position}",
            where=lesson.row.name,
            hint=f"it has {len(lesson.examples)}",
        )
    return lesson.examples[position - 1]


def marked(
    wanted: Melody, title: str, recording: Recording, *, in_key: bool = False
) -> MarkedSinging:
    """Mark what was heard against a melody; as :func:`mark_passage`."""
    if len(wanted) > MOST_NOTES:
        raise LessonError(
            f"{len(wanted)} notes are too many to be sung back",
            where=title,
            hint=f"keep a passage of at most {MOST_NOTES}",
        )
    tries = [
        (*best_move(wanted.midi, [note.midi for note in line.notes], in_key), line)
        for line in recording.lines
    ]
    _, move, links, line = min(tries, key=lambda one: one[0])
    stretches = stretches_of(wanted, line.notes, links)
    notes = tuple(
        marked_note(wanted, line.notes, link, move, stretch)
        for link, stretch in zip(links, stretches, strict=True)
    )
    said = summary_of(wanted, line, recording, notes, move)
    return MarkedSinging(title, wanted, line, recording, move, notes, said)


# Laid against each other.


def best_move(
    wanted: Sequence[int], sung: Sequence[int], in_key: bool
) -> tuple[int, int, Links]:
    """The fewest faults, the move that leaves them, and what stands against what."""
    step = 12 if in_key else 1
    moves = range(-WIDEST_MOVE, WIDEST_MOVE + 1, step)
    cost, _, move = min(
        (faults(wanted, sung, move)[-1][-1], abs(move), move) for move in moves
    )
    return cost, move, traced(wanted, sung, move)


def pair_cost(wanted: int, sung: int) -> int:
    """What a note sung for another costs."""
    off = abs(sung - wanted)
    return 0 if not off else HALF_STEP_COST if off == 1 else WRONG_COST


def faults(wanted: Sequence[int], sung: Sequence[int], move: int) -> list[list[int]]:
    """The least cost of every pair of beginnings: edit distance over notes."""
    rows = [[GAP_COST * place for place in range(len(sung) + 1)]]
    for note in wanted:
        above = rows[-1]
        row = [above[0] + GAP_COST]
        for place, heard in enumerate(sung):
            paired = above[place] + pair_cost(note + move, heard)
            row.append(min(paired, above[place + 1] + GAP_COST, row[place] + GAP_COST))
        rows.append(row)
    return rows


def traced(wanted: Sequence[int], sung: Sequence[int], move: int) -> Links:
    """One way of least cost; pairs before gaps, read from the end."""
    rows = faults(wanted, sung, move)
    i, j = len(wanted), len(sung)
    links: list[tuple[int | None, int | None]] = []
    while i or j:
        here = rows[i][j]
        if (
            i
            and j
            and here == rows[i - 1][j - 1] + pair_cost(wanted[i - 1] + move, sung[j - 1])
        ):
            i, j = i - 1, j - 1
            links.append((i, j))
        elif i and here == rows[i - 1][j] + GAP_COST:
            i -= 1
            links.append((i, None))
        else:
            j -= 1
            links.append((None, j))
    return tuple(reversed(links))


def stretches_of(
    wanted: Melody, sung: Sequence[HeardNote], links: Links
) -> list[float | None]:
    """Length sung over length wanted, 1 at the tempo of the middle note.

    Up to the next note of both: known where the next of both are partners too.
    """
    found: list[float | None] = []
    for (i, j), (k, n) in zip(links, (*links[1:], (None, None)), strict=True):
        if i is None or j is None or k is None or n is None:
            found.append(None)
            continue
        quarters = (wanted.onset_ticks[k] - wanted.onset_ticks[i]) / TICKS_PER_QUARTER
        seconds = sung[n].onset_seconds - sung[j].onset_seconds
        found.append(seconds / quarters if quarters > 0 else None)
    known = [value for value in found if value]
    tempo = median(known) if known else 1.0
    return [round(value / tempo, 2) if value else None for value in found]


def marked_note(
    wanted: Melody,
    sung: Sequence[HeardNote],
    link: tuple[int | None, int | None],
    move: int,
    stretch: float | None,
) -> MarkedNote:
    """The verdict on a note."""
    i, j = link
    if j is None:
        return MarkedNote(LEFT_OUT, i, None)
    cents = round(100 * sung[j].off_semitones)
    if i is None:
        return MarkedNote(PUT_IN, None, j, off_cents=cents)
    off = sung[j].midi - wanted.midi[i] - move
    return MarkedNote(OTHER_PITCH if off else RIGHT, i, j, off, cents, stretch)


def spelled_near(midi: int, wanted: Melody) -> int:
    """A semitone spelled as the passage spells it, else as its key does."""
    for other, fifths in zip(wanted.midi, wanted.fifths, strict=True):
        if (other - midi) % 12 == 0:
            return fifths
    return spell(midi, wanted.key.tonic_fifths)


# Said of it.


def summary_of(
    wanted: Melody,
    line: HeardLine,
    recording: Recording,
    notes: Sequence[MarkedNote],
    move: int,
) -> tuple[str, ...]:
    """What there is to say, the main thing first."""
    right = [note for note in notes if note.verdict == RIGHT]
    told = [f"{len(right)} of {len(wanted)} notes are right."]
    told += counted(notes)
    late = [note for note in notes if not note.is_in_time]
    timed = sum(note.stretch is not None for note in notes)
    if timed:
        told.append(f"{timed - len(late)} of {timed} lengths are in time.")
    told += tuning_words(right, recording)
    if move:
        told.append(
            f"It was sung {interval_text(move, (7 * move + 5) % 12 - 5)} from where it "
            "is written."
        )
    if line is not recording.lines[0]:
        told.append(f"It was read {line.words}, which fits best.")
    return tuple(told)


def counted(notes: Sequence[MarkedNote]) -> list[str]:
    """How many notes have another verdict."""
    counts = [
        (verdict, sum(note.verdict == verdict for note in notes))
        for verdict in (OTHER_PITCH, LEFT_OUT, PUT_IN)
    ]
    words = {OTHER_PITCH: "on another pitch", LEFT_OUT: "left out", PUT_IN: "put in"}
    said = [f"{count} {words[verdict]}" for verdict, count in counts if count]
    return [f"{', '.join(said)}."] if said else []


def tuning_words(right: Sequence[MarkedNote], recording: Recording) -> list[str]:
    """Which right notes are sharp or flat, and whether the line moved as a whole."""
    told = []
    for sign, word in ((1, "sharp"), (-1, "flat")):
        off = [note for note in right if sign * note.off_cents >= TELLING_CENTS]
        places = [str(note.wanted + 1) for note in off if note.wanted is not None]
        if places:
            several = "Notes" if len(places) > 1 else "Note"
            verb = "are" if len(places) > 1 else "is"
            told.append(f"{several} {', '.join(places)} {verb} {word} for the line.")
    drift = round(100 * recording.drift_semitones)
    if abs(drift) >= 20:
        told.append(f"The line {'rises' if drift > 0 else 'sinks'} by {abs(drift)} cents.")
    return told
