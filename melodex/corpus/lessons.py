"""Teaching sets in a corpus: their rows, read and written.

Conventions: a passage is tied to what it holds: the tune id, the first and last note,
and a digest of the notes, with a copy of the passage itself. So a set outlives the
renaming, the change and the removal of a tune's file. Positions count from 1 without
a gap. Every change of a set is one transaction.

Contents: LessonRow, ExampleRow, lesson_rows, find_lesson, numbered_lesson, example_rows,
place_of_tune, plan_of, tune_at_place, write_lesson, write_plan, change_lesson,
write_examples, delete_lesson, kept_before, state_of_set, examples_in, set_number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from melodex.corpus.rows import folded
from melodex.corpus.tunes.tune_rows import IN_ORDER
from melodex.corpus.writing.lesson_changes import outline_of, what_changed
from melodex.errors import REMEDIES, LessonError

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.corpus.writing.store import CorpusWriter

__all__ = [
    "COUNT_OF_SETS",
    "ExampleRow",
    "LessonRow",
    "change_lesson",
    "count_sets",
    "delete_lesson",
    "example_rows",
    "examples_in",
    "find_lesson",
    "kept_before",
    "lesson_rows",
    "numbered_lesson",
    "place_of_tune",
    "plan_of",
    "put_examples",
    "put_plan",
    "set_number",
    "state_of_set",
    "tune_at_place",
    "write_examples",
    "write_lesson",
    "write_plan",
]


COUNT_OF_SETS = "set_count"
"""The setting that says how many sets there are, so that one wholly gone is missed."""

LAST_SET = "last_set"
"""The setting with the last row number of a set: each is given once, since changes that
can be undone go by it."""

WORDS_HELD = "words_held"
"""The setting with words that were typed for a passage or a set that is gone."""

PLAN = "questions_of_set_{}"
"""The setting that holds which questions were chosen for a set, by its row number."""


@dataclass(frozen=True, slots=True)
class LessonRow:
    """A set as it is stored; ``id`` is its row number, 0 before it is written."""

    id: int
    name: str
    topic: str = ""
    level: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class ExampleRow:
    """A passage as it is stored.

    Parameters
    ----------
    tune_id : str
        Of the tune as it was when the passage was kept.
    first_note, last_note : int
        Indexes in that tune, from 0.
    excerpt_sha256 : str
        Digest of the notes.
    file, number, occurrence : str, str, int
        The place where the tune stood; file empty if it stood in no corpus.
    reason : str
        What it was found for; empty if kept by hand.
    feature_first_bar, feature_last_bar : int or None
        The bars of that, where they are not the whole passage.
    agreement : float or None
        Share of its notes that agree with what was looked for.
    note : str
        The musician's own words.
    excerpt, labels : str
        JSON of the passage, and of what was said of it.
    """

    tune_id: str
    first_note: int
    last_note: int
    excerpt_sha256: str
    file: str
    number: str
    occurrence: int
    reason: str
    feature_first_bar: int | None
    feature_last_bar: int | None
    agreement: float | None
    note: str
    excerpt: str
    labels: str


LESSON_COLUMNS = ", ".join(LessonRow.__slots__)
EXAMPLE_COLUMNS = ", ".join(ExampleRow.__slots__)


# Reading.


def lesson_rows(corpus: Corpus) -> list[tuple[LessonRow, int]]:
    """Return every set and how many passages it has, in alphabetical order."""
    rows = corpus.query(
        f"SELECT (SELECT count(*) FROM lesson_example WHERE lesson = lesson.id), "
        f"{LESSON_COLUMNS} FROM lesson ORDER BY name"
    )
    return [(LessonRow(*row[1:]), int(row[0])) for row in rows]


def find_lesson(corpus: Corpus, name: str) -> LessonRow:
    """Return the set of a name; case and accents make no difference.

    Raises
    ------
    LessonError
        If there is none.
    """
    rows = [row for row, _ in lesson_rows(corpus)]
    for row in rows:
        if row.name == name:
            return row
    alike = [row for row in rows if folded(row.name) == folded(name)]
    if len(alike) == 1:
        return alike[0]
    listed = ", ".join(repr(row.name) for row in rows[:8])
    raise LessonError(
        f"there is no teaching set called {name!r}",
        hint=f"there are: {listed}" if rows else REMEDIES["make set"],
    )


def numbered_lesson(corpus: Corpus, number: int) -> LessonRow | None:
    """Return the set of a row number, whatever it is called now; None where it is gone."""
    rows = corpus.query(f"SELECT {LESSON_COLUMNS} FROM lesson WHERE id = ?", [number])
    return LessonRow(*rows[0]) if rows else None


def example_rows(corpus: Corpus, lesson: int) -> list[ExampleRow]:
    """Return the passages of a set, in their order."""
    rows = corpus.query(
        f"SELECT {EXAMPLE_COLUMNS} FROM lesson_example WHERE lesson = ? ORDER BY position",
        [lesson],
    )
    return [ExampleRow(*row) for row in rows]


def plan_of(corpus: Corpus, lesson: int) -> str:
    """Return which questions were chosen for a set, as a text; empty where none were."""
    return corpus.settings.get(PLAN.format(lesson), "")


def place_of_tune(corpus: Corpus, tune_id: str) -> tuple[str, str, int]:
    """Return file, number and occurrence of a tune's first place; empty if none."""
    rows = corpus.query(
        "SELECT file, number, occurrence FROM place JOIN tune ON tune.id = place.tune "
        f"WHERE tune.tune_id = ? ORDER BY {IN_ORDER} LIMIT 1",
        [tune_id],
    )
    return (rows[0][0], rows[0][1], rows[0][2]) if rows else ("", "", 1)


def tune_at_place(corpus: Corpus, file: str, number: str, occurrence: int) -> str:
    """Return the id of the tune that stands at a place now; empty if none does."""
    rows = corpus.query(
        "SELECT tune_id FROM tune JOIN place ON place.tune = tune.id "
        "WHERE file = ? AND number = ? AND occurrence = ?",
        [file, number, occurrence],
    )
    return str(rows[0][0]) if rows else ""


# Writing.


def write_lesson(
    writer: CorpusWriter,
    lesson: LessonRow,
    examples: Iterable[ExampleRow] = (),
    *,
    plan: str = "",
    keeps_number: bool = False,
) -> int:
    """Write a new set with its passages; return its row number.

    Parameters
    ----------
    lesson : LessonRow
        Its number is given by the corpus.
    examples : iterable of ExampleRow
        In their order.
    plan : str
        Which questions were chosen for it.
    keeps_number : bool
        Whether it has the number that it had, as in a repair.

    Raises
    ------
    LessonError
        If a set has that name.
    """
    with writer.transaction():
        if writer.rows("SELECT 1 FROM lesson WHERE name = ?", [lesson.name]):
            raise LessonError(
                f"there is a teaching set called {lesson.name!r} already",
                hint="choose another name",
            )
        row = set_number(writer, lesson.id if keeps_number else 0)
        writer.insert("lesson", {**asdict(lesson), "id": row})
        put_examples(writer, row, examples)
        put_plan(writer, row, plan)
        count_sets(writer, 1)
    return row


def write_plan(writer: CorpusWriter, lesson: int, plan: str) -> None:
    """Write which questions were chosen for a set; empty for none.

    Raises
    ------
    LessonError
        If the set is gone.
    """
    with writer.changing("set"), kept_before(writer, lesson):
        put_plan(writer, lesson, plan)


def put_plan(writer: CorpusWriter, lesson: int, plan: str) -> None:
    """Write a plan inside a transaction, or take it away."""
    name = PLAN.format(lesson)
    if plan:
        writer.put_setting(name, plan)
    elif writer.setting(name):
        writer.do("DELETE FROM setting WHERE name = ?", [name])


def count_sets(writer: CorpusWriter, more: int) -> None:
    """Keep how many sets there are, inside a transaction; damage is not counted away."""
    known = writer.setting(COUNT_OF_SETS)
    (there,) = writer.rows("SELECT count(*) FROM lesson")[0]
    writer.put_setting(COUNT_OF_SETS, str(int(known) + more if known else there))


def change_lesson(
    writer: CorpusWriter, lesson: int, changed: Mapping[str, str]
) -> LessonRow:
    """Change some texts of a set; return it as it is then.

    Its passages stay, and so does what another process has changed since it was read.

    Parameters
    ----------
    lesson : int
        Row number of the set.
    changed : mapping of str to str
        New texts by columns.

    Raises
    ------
    LessonError
        If it is gone, or another set has its new name.
    """
    with writer.changing("set"), kept_before(writer, lesson) as before:
        row = LessonRow(**{**before["lesson"], **changed})
        taken = "SELECT 1 FROM lesson WHERE name = ? AND id != ?"
        if writer.rows(taken, [row.name, lesson]):
            raise LessonError(
                f"there is a teaching set called {row.name!r} already",
                hint="choose another name",
            )
        # Deleting takes the passages along: the checksum needs a row written whole.
        writer.do("DELETE FROM lesson WHERE id = ?", [lesson])
        writer.insert("lesson", asdict(row))
        put_examples(writer, lesson, examples_in(before))
    return row


def write_examples(
    writer: CorpusWriter,
    lesson: int,
    examples: Sequence[ExampleRow],
    *,
    expected: Sequence[ExampleRow] | None = None,
) -> None:
    """Write the passages of a set in place of those that it has.

    Parameters
    ----------
    lesson : int
        Row number of the set.
    examples : sequence of ExampleRow
        In their order.
    expected : sequence of ExampleRow, optional
        What the set was taken to hold when the new order was decided.

    Raises
    ------
    LessonError
        If the set is gone, or was changed by somebody else meanwhile.
    """
    with writer.changing("set"), kept_before(writer, lesson) as before:
        if expected is not None and examples_in(before) != list(expected):
            raise LessonError("the set was changed meanwhile", hint="try again")
        writer.do("DELETE FROM lesson_example WHERE lesson = ?", [lesson])
        put_examples(writer, lesson, examples)


def delete_lesson(writer: CorpusWriter, lesson: int) -> None:
    """Take out a set with its passages; tunes stay."""
    with writer.changing("set"), kept_before(writer, lesson):
        writer.do("DELETE FROM lesson WHERE id = ?", [lesson])
        # Another set may get its number.
        put_plan(writer, lesson, "")
        count_sets(writer, -1)


def set_number(writer: CorpusWriter, wanted: int = 0) -> int:
    """A row number that no set has had, or the wanted one; noted as given."""
    (highest,) = writer.rows("SELECT coalesce(max(id), 0) FROM lesson")[0]
    last = max(highest, int(writer.setting(LAST_SET) or 0))
    number = wanted or last + 1
    writer.put_setting(LAST_SET, str(max(number, last)))
    return number


def state_of_set(writer: CorpusWriter, lesson: int) -> dict[str, Any] | None:
    """All that a set holds, as plain values; None where it is gone."""
    rows = writer.rows(f"SELECT {LESSON_COLUMNS} FROM lesson WHERE id = ?", [lesson])
    if not rows:
        return None
    return {
        "lesson": asdict(LessonRow(*rows[0])),
        "examples": [asdict(example) for example in stored_examples(writer, lesson)],
        "plan": writer.setting(PLAN.format(lesson)),
    }


def examples_in(state: Mapping[str, Any]) -> list[ExampleRow]:
    """The passages of a set that is here as plain values, in their order."""
    return [ExampleRow(**row) for row in state["examples"]]


@contextmanager
def kept_before(writer: CorpusWriter, lesson: int) -> Iterator[dict[str, Any]]:
    """Keep a set as it was before what is done inside, and an outline of what came of it.

    Raises
    ------
    LessonError
        If the set is gone.
    """
    before = state_of_set(writer, lesson)
    if before is None:
        raise LessonError("the set was deleted meanwhile", hint=REMEDIES["list changes"])
    yield before
    now = state_of_set(writer, lesson)
    after = now and outline_of(now)
    content = {**before, "after": after}
    writer.taken.take_set(before["lesson"]["name"], content, what_changed(before, after))


def stored_examples(writer: CorpusWriter, lesson: int) -> list[ExampleRow]:
    """The passages of a set as a writer sees them."""
    rows = writer.rows(
        f"SELECT {EXAMPLE_COLUMNS} FROM lesson_example WHERE lesson = ? ORDER BY position",
        [lesson],
    )
    return [ExampleRow(*row) for row in rows]


def put_examples(writer: CorpusWriter, lesson: int, examples: Iterable[ExampleRow]) -> None:
    """Write passages behind one another, inside a transaction."""
    for position, example in enumerate(examples, start=1):
        row = {"lesson": lesson, "position": position, **asdict(example)}
        writer.insert("lesson_example", row)
