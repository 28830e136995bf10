"""lesson: teaching sets, made, read, annotated and put in order.

Conventions: positions count from 1. A set shows what its passages are now: each is
compared with the corpus whenever the set is opened (see ``lesson_state``). What a
search found is made ready for a set in ``lesson_finds``.

Contents: Lesson, LessonExample, LessonLine, open_lesson, list_lessons, new_lesson,
alter_lesson, copy_lesson, remove_lesson, annotate, move, drop.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.lessons import (
    ExampleRow,
    LessonRow,
    change_lesson,
    delete_lesson,
    example_rows,
    find_lesson,
    lesson_rows,
    plan_of,
    write_examples,
    write_lesson,
)
from melodex.corpus.reader import Corpus
from melodex.errors import REMEDIES, LessonError
from melodex.melody import Melody, bars_text
from melodex.melody.score_line import ScoreLine
from melodex.melody.shape import UNREADABLE
from melodex.tasks.lesson.labels import Labels, labels_of, read_labels, with_line_named
from melodex.tasks.lesson.state import AS_KEPT, State, state_of

if TYPE_CHECKING:
    from melodex.corpus.writing.store import CorpusWriter

__all__ = [
    "MOST_EXAMPLES",
    "Lesson",
    "LessonExample",
    "LessonLine",
    "alter_lesson",
    "annotate",
    "checked_name",
    "checked_text",
    "copy_lesson",
    "drop",
    "list_lessons",
    "move",
    "new_lesson",
    "open_lesson",
    "remove_lesson",
]

MOST_EXAMPLES = 200
"""Passages in a set: more than a year of classes, few enough to compare them all."""

RowsChange = Callable[[list[ExampleRow]], list[ExampleRow]]
LONGEST_NAME = 80
"""Characters of a set's name; our choice."""
LONGEST_TEXT = 4000
"""Characters of notes on a set or passage: about a printed page."""


@dataclass(frozen=True, slots=True)
class LessonExample:
    """A passage of a set.

    Parameters
    ----------
    position : int
        From 1.
    row : ExampleRow
        As it is stored.
    excerpt : Melody
        Its notes; times and bars are those of the whole tune.
    labels : Labels
        Of the tune in the corpus, or as kept where that is gone.
    state : State
        Whether its tune is as it was when the passage was kept.
    """

    position: int
    row: ExampleRow
    excerpt: Melody
    labels: Labels
    state: State

    @property
    def title(self) -> str:
        """Title and bars, such as ``Lantern Rock, bars 5-8``; of a line, which one."""
        bars = bars_text(self.excerpt.bar[0], self.excerpt.bar[-1])
        part = self.excerpt.credits.part
        line = f"{part}, " if ScoreLine.is_told(part) else ""
        return f"{self.excerpt.title}, {line}{bars}"

    @property
    def rights(self) -> str:
        """The copyright note of the source, or that none is known."""
        return self.excerpt.credits.rights or "rights not known"

    def __repr__(self) -> str:
        return f"<LessonExample {self.position}: {self.title}>"


@dataclass(frozen=True, slots=True)
class Lesson:
    """A set and its passages.

    ``remarks`` say what has to be known of them; ``plan`` is the text of the questions
    that were chosen for it (see ``lesson.plan``), empty where nobody did.
    """

    row: LessonRow
    examples: tuple[LessonExample, ...]
    remarks: tuple[str, ...] = ()
    plan: str = ""

    @property
    def rows(self) -> list[ExampleRow]:
        """The passages as they are stored."""
        return [example.row for example in self.examples]

    def __repr__(self) -> str:
        return f"<Lesson {self.row.name!r}: {len(self.examples)} passages>"


@dataclass(frozen=True, slots=True)
class LessonLine:
    """A set in a list: its row and how many passages it has."""

    row: LessonRow
    example_count: int


def open_lesson(corpus: Corpus, name: str, *, offer_nearest: bool = False) -> Lesson:
    """Return a set with its passages as they stand now.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    name : str
        Of the set.
    offer_nearest : bool
        Whether to look for what comes nearest to passages whose tune is gone.

    Raises
    ------
    LessonError
        If there is no such set, or a passage in it cannot be read.
    """
    row = find_lesson(corpus, name)
    rows = example_rows(corpus, row.id)
    # Of a tune that cannot be read, the set still has its own copy of the passage.
    melodies = corpus.melodies(
        {example.tune_id for example in rows}, on_damage=lambda damage: None
    )
    examples = tuple(
        example_of(corpus, position, example, melodies.get(example.tune_id), offer_nearest)
        for position, example in enumerate(rows, start=1)
    )
    return Lesson(row, examples, tuple(remarks_on(examples)), plan_of(corpus, row.id))


def example_of(
    corpus: Corpus, position: int, row: ExampleRow, whole: Melody | None, offer: bool
) -> LessonExample:
    """A stored passage compared with the tune that it was taken from."""
    try:
        kept = Melody.from_dict(json.loads(row.excerpt))
        labels = read_labels(json.loads(row.labels))
    except UNREADABLE as error:
        raise LessonError(
            f"passage {position} of the set cannot be read",
            where=str(corpus.path),
            hint=REMEDIES["check"],
        ) from error
    state = state_of(corpus, row, kept, whole, offer_nearest=offer)
    if state.kind == AS_KEPT and whole is not None:
        kept = with_line_named(whole.excerpt(row.first_note, row.last_note))
        topic = labels.topic
        labels = replace(labels_of(whole, row.first_note, row.last_note), topic=topic)
    return LessonExample(position, row, kept, labels, state)


def remarks_on(examples: Sequence[LessonExample]) -> list[str]:
    """What has to be known of a set before it is used."""
    told = []
    if not examples:
        told.append("The set has no passages yet.")
    if len(examples) == 1:
        told.append("The set has one passage: there is nothing to compare it with.")
    unknown = [str(e.position) for e in examples if not e.excerpt.credits.rights]
    if unknown:
        told.append(
            f"Rights not known: {', '.join(unknown)}. Find out whose they are before you "
            "print or share them."
        )
    return told


def list_lessons(corpus: Corpus) -> tuple[LessonLine, ...]:
    """Return every set, in alphabetical order."""
    return tuple(LessonLine(row, count) for row, count in lesson_rows(corpus))


# Changing sets.


def new_lesson(
    corpus_path: Path, name: str, *, topic: str = "", level: str = "", notes: str = ""
) -> LessonRow:
    """Make an empty set.

    Raises
    ------
    LessonError
        If there is one of that name, or a text is too long.
    """
    row = LessonRow(
        0, checked_name(name), checked_text(topic), checked_text(level), checked_text(notes)
    )
    with writing(corpus_path) as writer:
        return replace(row, id=write_lesson(writer, row))


def alter_lesson(
    corpus_path: Path,
    name: str,
    *,
    new_name: str | None = None,
    topic: str | None = None,
    level: str | None = None,
    notes: str | None = None,
) -> LessonRow:
    """Change what a set is called and for; None leaves a text as it is.

    Raises
    ------
    LessonError
        If there is no such set, or another has the new name.
    """
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
    texts = {"topic": topic, "level": level, "notes": notes}
    changed = {at: checked_text(text) for at, text in texts.items() if text is not None}
    if new_name is not None:
        changed["name"] = checked_name(new_name)
    with writing(corpus_path) as writer:
        return change_lesson(writer, row.id, changed)


def copy_lesson(corpus_path: Path, name: str, new_name: str) -> LessonRow:
    """Make another set with the same passages and notes.

    Raises
    ------
    LessonError
        If there is no such set, or one of the new name.
    """
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
        examples = example_rows(corpus, row.id)
        plan = plan_of(corpus, row.id)
    copied = replace(row, name=checked_name(new_name))
    with writing(corpus_path) as writer:
        return replace(copied, id=write_lesson(writer, copied, examples, plan=plan))


def remove_lesson(corpus_path: Path, name: str) -> LessonRow:
    """Delete a set; the tunes stay in the corpus.

    Raises
    ------
    LessonError
        If there is no such set.
    """
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
    with writing(corpus_path) as writer:
        delete_lesson(writer, row.id)
    return row


# Changing passages.


def annotate(corpus_path: Path, name: str, position: int, note: str) -> Lesson:
    """Write the musician's own words beside a passage; empty takes them away."""

    def noted(rows: list[ExampleRow]) -> list[ExampleRow]:
        place = place_in(rows, position)
        rows[place] = replace(rows[place], note=checked_text(note))
        return rows

    return rewritten(corpus_path, name, noted)


def move(corpus_path: Path, name: str, position: int, to: int) -> Lesson:
    """Move a passage to another position; those between make room."""

    def moved(rows: list[ExampleRow]) -> list[ExampleRow]:
        example = rows.pop(place_in(rows, position))
        rows.insert(place_in([*rows, example], to), example)
        return rows

    return rewritten(corpus_path, name, moved)


def drop(corpus_path: Path, name: str, positions: Sequence[int]) -> Lesson:
    """Take passages out of a set."""

    def thinned(rows: list[ExampleRow]) -> list[ExampleRow]:
        gone = {place_in(rows, position) for position in positions}
        return [row for place, row in enumerate(rows) if place not in gone]

    return rewritten(corpus_path, name, thinned)


def rewritten(
    corpus_path: Path,
    name: str,
    change: RowsChange,
    *,
    expected: Sequence[ExampleRow] | None = None,
) -> Lesson:
    """The set after a change of its rows; ``expected`` is what the change rests on."""
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
        before = example_rows(corpus, row.id)
    after = change(list(before))
    with writing(corpus_path) as writer:
        rested_on = before if expected is None else expected
        write_examples(writer, row.id, after, expected=rested_on)
    with Corpus.open(corpus_path) as corpus:
        return open_lesson(corpus, row.name)


def writing(corpus_path: Path, *, create: bool = False) -> CorpusWriter:
    """The corpus opened for writing; what writes is loaded only now."""
    from melodex.corpus.writing.store import CorpusWriter

    return CorpusWriter.open(corpus_path, create=create)


def place_in(rows: Sequence[ExampleRow], position: int) -> int:
    """The index of a position."""
    if not 1 <= position <= len(rows):
        raise LessonError(
            f"the set has no passage {position}",
            hint=f"it has {len(rows)}" if rows else "it is empty",
        )
    return position - 1


def checked_name(name: str) -> str:
    """A name that a set may have."""
    plain = " ".join(name.split())
    if not plain or len(plain) > LONGEST_NAME or not plain.isprintable():
        raise LessonError(
            f"{name[:LONGEST_NAME]!r} cannot be the name of a set",
            hint=f"a name is a line of up to {LONGEST_NAME} letters",
        )
    return plain


def checked_text(text: str) -> str:
    """Words of the musician's own, lines kept, not without end."""
    plain = "".join(c for c in text.strip() if c.isprintable() or c == "\n")
    if len(plain) > LONGEST_TEXT:
        raise LessonError(f"a text has {len(plain)} letters, more than {LONGEST_TEXT}")
    return plain
