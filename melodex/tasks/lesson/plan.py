"""The questions of a worksheet as a text to edit, and the worksheet that it asks for.

Conventions: a plan is lines that a teacher edits with any editor and keeps beside the
set; the same plan gives the same sheet. Questions whose lines are gone are left out, and
they stand in the order of the lines. What was reworded is printed as it stands, in every
key; an answer is never taken from a plan.

Contents: plan_text, planned.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from melodex.errors import LessonError
from melodex.tasks.lesson.asking.records import Part, Question, plain_words
from melodex.tasks.lesson.questions import Worksheet

__all__ = ["plan_text", "planned"]

HEAD = """\
# {name}
# Reorder the questions, delete the lines of what you do not want, and reword headings
# and tasks; a line that begins with > is printed above its question.
"""
QUESTION = re.compile(r"([0-9a-f]{6})\s+(.*)")
PART = re.compile(r"\(([a-h])\)\s*(.*)")
MOST_LINES, LONGEST_LINE = 4000, 500


def plan_text(sheet: Worksheet) -> str:
    """Write the questions of a worksheet as a plan.

    Parameters
    ----------
    sheet : Worksheet
        As made; what was left out of it is not in the plan either.
    """
    lines = [HEAD.format(name=sheet.lesson.row.name)]
    for question in sheet.questions:
        lines.append(f"{question.name}  {question.heading}")
        lines += [f"    # {shown.title}" for shown in question.passages]
        lines += [f"    > {line}" for line in question.note.splitlines()]
        for letter, part in zip("abcdefgh", question.parts, strict=False):
            lines.append(f"    ({letter}) {plain_words(part.task)}")
        lines.append("")
    return "\n".join(lines)


@dataclass
class Planned:
    """What a plan says of one question."""

    line: int
    name: str
    heading: str
    tasks: dict[str, str]
    words: list[str]


def planned(sheet: Worksheet, text: str, source: str = "the plan") -> Worksheet:
    """Return a worksheet as a plan wants it.

    Parameters
    ----------
    sheet : Worksheet
        All questions that can be asked.
    text : str
        The plan.
    source : str
        How to call it in messages.

    Raises
    ------
    LessonError
        If a line is none of a plan, names no question of the sheet or one twice, or no
        question is left.
    """
    known = {question.name: question for question in sheet.questions}
    wanted = list(read_plan(text, source))
    seen: set[str] = set()
    for each in wanted:
        if each.name not in known or each.name in seen:
            twice = "twice" if each.name in seen else "not a question of this set now"
            raise refused(f"{each.name} is {twice}", each.line, source)
        seen.add(each.name)
    if not wanted:
        raise LessonError("no question is left", where=source)
    questions = tuple(as_wanted(known[each.name], each, source) for each in wanted)
    return replace(sheet, questions=questions)


def refused(message: str, line: int, source: str) -> LessonError:
    """An error that names the line."""
    return LessonError(
        message, where=f"{source}, line {line}", hint="write a new plan and edit that"
    )


def read_plan(text: str, source: str) -> Iterator[Planned]:
    """What a plan says, question by question."""
    current: Planned | None = None
    lines = text.splitlines()
    if len(lines) > MOST_LINES or any(len(line) > LONGEST_LINE for line in lines):
        raise LessonError("this is too long for a plan", where=source)
    for number, line in enumerate(lines, start=1):
        plain = "".join(sign for sign in line.strip() if sign.isprintable())
        if not plain or plain.startswith("#"):
            continue
        if found := QUESTION.fullmatch(plain):
            if current:
                yield current
            current = Planned(number, found[1], found[2], {}, [])
        elif current is None:
            raise refused("this line belongs to no question", number, source)
        elif plain.startswith(">"):
            current.words.append(plain[1:].strip())
        elif part := PART.fullmatch(plain):
            current.tasks[part[1]] = part[2]
        else:
            raise refused("this is no line of a plan", number, source)
    if current:
        yield current


def as_wanted(question: Question, wish: Planned, source: str) -> Question:
    """A question with the parts and words that a plan wants."""
    kept: list[Part] = []
    known = dict(zip("abcdefgh", question.parts, strict=False))
    if unknown := set(wish.tasks) - set(known):
        raise refused(f"the question has no part ({min(unknown)})", wish.line, source)
    for letter, task in wish.tasks.items():
        part = known[letter]
        same = task == plain_words(part.task)
        kept.append(part if same else replace(part, task=(task,)))
    if not kept:
        raise refused("no part of the question is left", wish.line, source)
    return replace(
        question, heading=wish.heading, parts=tuple(kept), note="\n".join(wish.words)
    )
