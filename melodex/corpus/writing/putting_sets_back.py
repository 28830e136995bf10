"""Taking back what a change did to a teaching set, and leaving what was done since.

Contents: SetBack, put_back_set.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from melodex.corpus.lessons import (
    LessonRow,
    count_sets,
    examples_in,
    kept_before,
    put_examples,
    put_plan,
    set_number,
    state_of_set,
)
from melodex.corpus.writing.lesson_changes import outline_of, without_change
from melodex.errors import REMEDIES, LessonError

if TYPE_CHECKING:
    from melodex.corpus.writing.store import CorpusWriter

__all__ = ["SetBack", "put_back_set"]


@dataclass(frozen=True, slots=True)
class SetBack:
    """A set from which a change was taken back.

    Parameters
    ----------
    name : str
        That it has: another set may have taken its own meanwhile.
    stayed : tuple of str
        What could not be taken back, as it was changed since.
    is_whole : bool
        Whether all of it was put back as it was, with what was done since gone: of an
        earlier version's changes no more is known.
    was_gone : bool
        Whether there was no such set.
    """

    name: str
    stayed: tuple[str, ...] = ()
    is_whole: bool = False
    was_gone: bool = False


def put_back_set(writer: CorpusWriter, content: dict[str, Any]) -> SetBack:
    """Take back what a change did to a set, inside a transaction.

    What was done to the set since stays; what it is now is kept in turn.

    Parameters
    ----------
    content : dict
        The set before the change, and under ``after`` its outline just after it.

    Raises
    ------
    LessonError
        If the set is gone, or is back already, or nothing of the change stands in it.
    """
    number, name = content["lesson"]["id"], content["lesson"]["name"]
    now = state_of_set(writer, number)
    if content.get("after") and now is None:
        raise LessonError(
            f"the set {name!r} was deleted meanwhile",
            hint=REMEDIES["list changes"],
        )
    if now is None:
        return SetBack(put_whole(writer, content), was_gone=True)
    if "after" not in content:
        with kept_before(writer, number):
            name = put_whole(writer, content)
        is_same = outline_of(now) == outline_of(content)
        return SetBack(name, is_whole=not is_same)
    if content["after"] is None:
        raise LessonError(f"the set {now['lesson']['name']!r} is back already")
    wanted, stayed = without_change(now, content, content["after"])
    if outline_of(wanted) == outline_of(now):
        raise LessonError(
            f"what was done to the set {name!r} does not stand there any more",
            hint=REMEDIES["list changes"],
        )
    with kept_before(writer, number):
        name = put_whole(writer, wanted)
    return SetBack(name, stayed)


def put_whole(writer: CorpusWriter, content: Mapping[str, Any]) -> str:
    """Write a set under its number, in the place of what it is now; return its name."""
    lesson = LessonRow(**content["lesson"])
    if writer.do("DELETE FROM lesson WHERE id = ?", [lesson.id]):
        count_sets(writer, -1)
    name, number = lesson.name, 2
    while writer.rows("SELECT 1 FROM lesson WHERE name = ?", [name]):
        name, number = f"{lesson.name} ({number})", number + 1
    writer.insert("lesson", {**asdict(lesson), "name": name})
    set_number(writer, lesson.id)
    count_sets(writer, 1)
    put_examples(writer, lesson.id, examples_in(content))
    put_plan(writer, lesson.id, content.get("plan", ""))
    return name
