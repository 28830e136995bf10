"""What a question is: passages as they are shown, parts, and what each part accepts.

Conventions: a question stands on one picture of its passages and has one part or
several, (a), (b), (c). Names of notes, keys and chords are kept apart from the words
around them, because a sheet may be printed in another key; ``of`` says with which passage
they move, and -1 that they stay.

Contents: KeyName, NoteName, Symbol, Words, Field, Part, Shown, Question.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import TypeAlias

from melodex.melody import Key, Melody, bars_text
from melodex.tasks.lesson.labels import Labels

__all__ = [
    "STAYS",
    "Field",
    "KeyName",
    "NoteName",
    "Part",
    "Question",
    "Shown",
    "Symbol",
    "Words",
    "plain_words",
]

STAYS = -1
"""In place of the passage of a word: it stays when the sheet is drawn in another key."""


@dataclass(frozen=True, slots=True)
class KeyName:
    """The name of a key, such as ``Bb major``."""

    key: Key
    of: int = 0


@dataclass(frozen=True, slots=True)
class NoteName:
    """The name of a note without its octave, on the line of fifths."""

    fifths: int
    of: int = 0


@dataclass(frozen=True, slots=True)
class Symbol:
    """A chord symbol as it is written."""

    text: str
    of: int = 0


Word: TypeAlias = str | KeyName | NoteName | Symbol
Words: TypeAlias = tuple[Word, ...]


def plain_words(words: Words) -> str:
    """Words as they are said in the key of the source."""
    from melodex.melody import pitch_class_name

    told = []
    for word in words:
        if isinstance(word, KeyName):
            told.append(str(word.key))
        elif isinstance(word, NoteName):
            told.append(pitch_class_name(word.fifths))
        else:
            told.append(word.text if isinstance(word, Symbol) else word)
    return "".join(told)


@dataclass(frozen=True, slots=True)
class Field:
    """A place to write in.

    Parameters
    ----------
    accepted : tuple of Words
        What is right; the first is what the answer key says.
    label : Words
        What stands before it.
    at : str
        ``line``, or ``note`` or ``chord`` where it stands at one of the first passage.
    index : int
        Which note or chord symbol that is, from 0.
    """

    accepted: tuple[Words, ...]
    label: Words = ()
    at: str = "line"
    index: int = 0


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is asked.

    Parameters
    ----------
    kind : str
        One of ``questions.KINDS``.
    task : Words
        What to do.
    fields : tuple of Field
        Where the answer goes, with what is accepted.
    why : Words
        One sentence that says why the answer is right.
    is_topical : bool
        Whether it asks about what the set is about.
    is_open : bool
        Whether the answer is in the pupil's own words, so that only a teacher can say.
    choices : tuple of str
        To choose from, where the answer is one of few.
    level : int
        1 for what beginners are asked, 2 and 3 for more.
    """

    kind: str
    task: Words
    fields: tuple[Field, ...]
    why: Words
    is_topical: bool = False
    is_open: bool = False
    choices: tuple[str, ...] = ()
    level: int = 1

    @property
    def points(self) -> int:
        """One for each place to write in."""
        return max(1, len(self.fields))


@dataclass(frozen=True, slots=True)
class Shown:
    """A passage as a question shows it.

    Parameters
    ----------
    excerpt : Melody
        Its notes; bars are those of the whole tune.
    labels : Labels
        What is said of them.
    tune_id : str
        Of the tune.
    letter : str
        How it is called beside others; empty where it is alone.
    asked_notes, given_notes : frozenset of int
        Notes under which a degree is to be written, and those where it stands.
    asked_chords, given_chords : frozenset of int
        The same for numerals over chord symbols.
    marked_notes, marked_chords : frozenset of int
        What stands in a box because it is asked about.
    answer_notes : frozenset of int
        Notes that stand in a box in the answer alone.
    heard : str
        Empty where all is printed; ``rhythm`` or ``pitches`` where only that is, and
        ``nothing``, for dictation.
    is_named : bool
        Whether the title is printed, which would give some answers away.
    has_key_names : bool
        Whether the keys are named above the stave.
    unwritten : frozenset of int
        Notes at the end that a pupil is to write: neither printed nor sounded before.
    """

    excerpt: Melody
    labels: Labels
    tune_id: str
    letter: str = ""
    asked_notes: frozenset[int] = frozenset()
    given_notes: frozenset[int] = frozenset()
    asked_chords: frozenset[int] = frozenset()
    given_chords: frozenset[int] = frozenset()
    marked_notes: frozenset[int] = frozenset()
    marked_chords: frozenset[int] = frozenset()
    heard: str = ""
    is_named: bool = True
    has_key_names: bool = True
    unwritten: frozenset[int] = frozenset()
    answer_notes: frozenset[int] = frozenset()

    @property
    def title(self) -> str:
        """Title and bars."""
        return f"{self.excerpt.title}, {self.bars}"

    @property
    def bars(self) -> str:
        """Its bars in words."""
        return bars_text(self.excerpt.bar[0], self.excerpt.bar[-1])

    @property
    def is_in_one_key(self) -> bool:
        """Whether one key holds all through."""
        return len(self.labels.keys) == 1

    def with_marks(self, **changes: frozenset[int]) -> Shown:
        """The same passage with more that is asked, given or marked."""
        return replace(
            self, **{name: getattr(self, name) | more for name, more in changes.items()}
        )


@dataclass(frozen=True, slots=True)
class Question:
    """A numbered question: its passages and what is asked of them.

    Parameters
    ----------
    heading : str
        A few words.
    passages : tuple of Shown
        None for a question that needs no music.
    parts : tuple of Part
        In order.
    position : int
        Of the passage of the set that it is about first.
    also : tuple of str
        Where the same music stands too.
    note : str
        The teacher's own words at the passage.
    """

    heading: str
    passages: tuple[Shown, ...]
    parts: tuple[Part, ...]
    position: int
    also: tuple[str, ...] = ()
    note: str = ""

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of its parts, each once."""
        return tuple(dict.fromkeys(part.kind for part in self.parts))

    @property
    def points(self) -> int:
        """Of all parts together."""
        return sum(part.points for part in self.parts)

    @property
    def name(self) -> str:
        """Six letters and digits that stay while the question does, wherever it stands."""
        told = [each.title for each in self.passages]
        told += [f"{part.kind} {plain_words(part.task)}" for part in self.parts]
        return hashlib.sha256("|".join(told).encode()).hexdigest()[:6]
