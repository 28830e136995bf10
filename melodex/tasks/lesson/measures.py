"""How hard a passage is for a class: five measures, each of them stated.

Conventions: every measure grows with difficulty, but clarity, which falls with it.
That these make a passage hard to read is common practice in graded sight reading, no
source; the figures are our own and no published scale.

- range: semitones from the lowest note to the highest.
- leaps: share of the steps that are wider than a major third.
- rhythm: different lengths of notes, and one more for each note that is held over a
  stronger beat than it starts on.
- accidentals: notes outside of the key signature.
- clarity: how plainly the passage shows what it is kept for, 0 to 1. For a passage
  that resembles something, the share of notes that agree; for others, the certainty
  of the key, divided by one more than the kinds of other finds in the same bars.

Contents: MEASURES, Measures, measures_of, difficulty_ranks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.melody import Melody, beat_strength
from melodex.melody.placed import held_at
from melodex.tasks.lesson.sets import LessonExample

__all__ = ["MEASURES", "Measures", "difficulty_ranks", "measures_of"]

MEASURES = ("range", "leaps", "rhythm", "accidentals", "clarity")

MAJOR_THIRD = 4
"""In semitones; a larger step is a leap."""


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of one passage.

    Parameters
    ----------
    range_semitones : int
    leaps, steps : int
        Steps wider than a major third, and steps in all.
    lengths, held_over : int
        Different lengths of notes; notes held over a stronger beat.
    accidentals : int
        Notes outside of the key signature.
    clarity : float
        From 0 to 1, more is easier.
    """

    range_semitones: int
    leaps: int
    steps: int
    lengths: int
    held_over: int
    accidentals: int
    clarity: float

    @property
    def hardness(self) -> dict[str, float]:
        """A number for each of :data:`MEASURES`, more is harder."""
        return {
            "range": float(self.range_semitones),
            "leaps": self.leaps / self.steps if self.steps else 0.0,
            "rhythm": float(self.lengths + self.held_over),
            "accidentals": float(self.accidentals),
            "clarity": 1.0 - self.clarity,
        }

    @property
    def words(self) -> str:
        """All measures in words."""
        held = f" and {self.held_over} held over a beat" if self.held_over else ""
        leaps = "is a leap" if self.leaps == self.steps == 1 else "are leaps"
        return (
            f"range {counted(self.range_semitones, 'semitone')}, {self.leaps} of "
            f"{counted(self.steps, 'step')} {leaps}, {counted(self.lengths, 'length')} "
            f"of notes{held}, {counted(self.accidentals, 'accidental')}, "
            f"clarity {self.clarity:.2f}"
        )


def counted(number: int, what: str) -> str:
    """A number of things."""
    return f"{number} {what}{'s' if number != 1 else ''}"


def measures_of(example: LessonExample) -> Measures:
    """Measure a passage of a set."""
    melody = example.excerpt
    steps = [abs(after - before) for before, after in pairwise(melody.midi)]
    return Measures(
        range_semitones=max(melody.midi) - min(melody.midi),
        leaps=sum(step > MAJOR_THIRD for step in steps),
        steps=len(steps),
        lengths=len(set(melody.duration_ticks)),
        held_over=sum(is_held_over(melody, note) for note in range(len(melody))),
        accidentals=sum(leaves_signature(melody, note) for note in range(len(melody))),
        clarity=clarity_of(example),
    )


def is_held_over(melody: Melody, note: int) -> bool:
    """Whether a note is held over a stronger beat than it starts on."""
    onset = melody.onset_ticks[note]
    end = onset + melody.duration_ticks[note]
    metre = melody.metre_at(onset)
    if metre is None:
        return False
    beats = (
        (place - bar.onset_ticks, place)
        for bar in melody.bars
        if bar.onset_ticks < end and bar.onset_ticks + bar.duration_ticks > onset
        for place in range(
            bar.onset_ticks, bar.onset_ticks + bar.duration_ticks, metre.beat_ticks
        )
    )
    own = melody.beat_strength[note]
    return any(
        onset < place < end and beat_strength(offset, metre) > own
        for offset, place in beats
    )


def leaves_signature(melody: Melody, note: int) -> bool:
    """Whether a note is none of the seven of the signature."""
    change = held_at(melody.keys, melody.onset_ticks[note])
    signature = change.signature_fifths if change else 0
    # From the fourth to the seventh degree of the major scale on the line of fifths.
    return not -1 <= melody.fifths[note] - signature <= 5


def clarity_of(example: LessonExample) -> float:
    """How plainly a passage shows what it is kept for."""
    row = example.row
    if row.agreement is not None:
        return min(1.0, max(0.0, row.agreement))
    whole = example.excerpt.bar[0], example.excerpt.bar[-1]
    first = whole[0] if row.feature_first_bar is None else row.feature_first_bar
    last = whole[1] if row.feature_last_bar is None else row.feature_last_bar
    others = {
        find.kind
        for find in example.labels.finds
        if find.first_bar <= last and find.last_bar >= first and find.kind not in row.reason
    }
    return round(example.labels.certainty / (1 + len(others)), 4)


def difficulty_ranks(measures: Sequence[Measures]) -> list[dict[str, float]]:
    """Rank passages by each measure, from 1 for the easiest; equals share a mean rank.

    Ranks are compared, since a semitone and an accidental have no common unit.

    Examples
    --------
    >>> easy = Measures(5, 0, 4, 2, 0, 0, 1.0)
    >>> hard = Measures(12, 3, 4, 2, 0, 2, 0.5)
    >>> [round(sum(r.values()) / 5, 2) for r in difficulty_ranks([hard, easy])]
    [1.9, 1.1]
    """
    ranks: list[dict[str, float]] = [{} for _ in measures]
    for name in MEASURES:
        values = [each.hardness[name] for each in measures]
        for place, value in enumerate(values):
            below = sum(other < value for other in values)
            equal = sum(other == value for other in values)
            ranks[place][name] = below + (equal + 1) / 2
    return ranks
