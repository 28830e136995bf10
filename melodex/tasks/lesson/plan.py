"""The questions of a worksheet as a text to edit, and the worksheet that it asks for.

Conventions: a plan is lines that a teacher edits with any editor and keeps beside the
set; the same plan gives the same sheet. Questions whose lines are gone, or begin with a
hyphen, are left out, and they stand in the order of the lines. What was reworded is
printed as it stands, in every key; an answer is never taken from a plan. Lines that begin
with > before the first question are printed at the head of the sheet.

Contents: Plan, Planned, as_plan, as_planned, chosen, plan_text, planned, read_plan.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from melodex.errors import LessonError
from melodex.tasks.lesson.asking.records import Part, Question, plain_words
from melodex.tasks.lesson.questions import Worksheet

__all__ = [
    "Plan",
    "Planned",
    "as_plan",
    "as_planned",
    "chosen",
    "plan_text",
    "planned",
    "read_plan",
]

HEAD = """\
# {name}
# Reorder the questions, delete the lines of what you do not want, and reword headings
# and tasks; a line that begins with > is printed above its question, or, before the
# first, at the head of the sheet; a hyphen before a question leaves it out.
"""
QUESTION = re.compile(r"(- *)?([0-9a-f]{6})\s+(.*)")
PART = re.compile(r"\(([a-h])\)\s*(.*)")
ASKING = re.compile(r"(kinds|level):\s*(.*)")
MOST_LINES, LONGEST_LINE = 4000, 500  # letters; two hundred questions fill a quarter
LETTERS = "abcdefgh"


@dataclass(frozen=True, slots=True)
class Planned:
    """What a plan says of one question.

    Parameters
    ----------
    name, heading : str
        Of the question.
    tasks : dict of str to str
        Its parts that are asked, by letter.
    words : tuple of str
        Lines above it.
    is_out : bool
        Whether it is left out.
    line : int
        Of the plan, from 1.
    """

    name: str
    heading: str
    tasks: dict[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    is_out: bool = False
    line: int = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """What a teacher wants of a worksheet: what is asked, how hard, and each question."""

    wanted: tuple[Planned, ...] = ()
    words: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    level: str = ""


def as_plan(sheet: Worksheet) -> Plan:
    """Return the plan that asks for just the sheet that is given, words left to it."""
    return Plan(tuple(as_planned(question) for question in sheet.questions))


def as_planned(question: Question) -> Planned:
    """A question as a plan has it before anything is changed."""
    parts = zip(LETTERS, question.parts, strict=False)
    tasks = {letter: plain_words(part.task) for letter, part in parts}
    return Planned(question.name, question.heading, tasks)


# As a text.


def plan_text(sheet: Worksheet, plan: Plan | None = None) -> str:
    """Write the questions of a worksheet as a plan.

    Parameters
    ----------
    sheet : Worksheet
        As made; what was left out of it is not in the plan either.
    plan : Plan, optional
        What is wanted of it; the sheet as it is, with the words at its passages, by
        default.
    """
    known = {question.name: question for question in sheet.questions}
    if plan is None:
        notes = {q.name: tuple(q.note.splitlines()) for q in sheet.questions}
        plan = as_plan(sheet)
        plan = replace(
            plan, wanted=tuple(replace(p, words=notes[p.name]) for p in plan.wanted)
        )
    lines = [HEAD.format(name=sheet.lesson.row.name)]
    lines += [f"kinds: {', '.join(plan.kinds)}"] if plan.kinds else []
    lines += [f"level: {plan.level}"] if plan.level else []
    lines += [f"> {line}" for line in plan.words]
    for each in plan.wanted:
        lines += lines_of(each, known.get(each.name))
    return "\n".join(lines)


def lines_of(wish: Planned, question: Question | None) -> Iterator[str]:
    """The lines of one question."""
    yield f"{'- ' * wish.is_out}{wish.name}  {wish.heading}"
    for shown in question.passages if question else ():
        yield f"    # {shown.title}"
    for line in wish.words:
        yield f"    > {line}"
    for letter, task in wish.tasks.items():
        yield f"    ({letter}) {task}"
    yield ""


def read_plan(text: str, source: str = "the plan") -> Plan:
    """Read a plan.

    Raises
    ------
    LessonError
        If it is too long, or a line is none of a plan.
    """
    lines = text.splitlines()
    if len(lines) > MOST_LINES or any(len(line) > LONGEST_LINE for line in lines):
        raise LessonError("this is too long for a plan", where=source)
    plan = Plan()
    for number, line in enumerate(lines, start=1):
        plain = "".join(sign for sign in line.strip() if sign.isprintable())
        if plain and not plain.startswith("#"):
            plan = with_line(plan, plain, number, source)
    return plan


def with_line(plan: Plan, plain: str, number: int, source: str) -> Plan:
    """A plan with one line more."""
    if found := QUESTION.fullmatch(plain):
        wish = Planned(found[2], found[3], is_out=bool(found[1]), line=number)
        return replace(plan, wanted=(*plan.wanted, wish))
    if not plan.wanted:
        return with_head(plan, plain, number, source)
    *before, last = plan.wanted
    if plain.startswith(">"):
        last = replace(last, words=(*last.words, plain[1:].strip()))
    elif part := PART.fullmatch(plain):
        last = replace(last, tasks={**last.tasks, part[1]: part[2]})
    else:
        raise refused("this is no line of a plan", number, source)
    return replace(plan, wanted=(*before, last))


def with_head(plan: Plan, plain: str, number: int, source: str) -> Plan:
    """A plan with one line more before its first question."""
    if plain.startswith(">"):
        return replace(plan, words=(*plan.words, plain[1:].strip()))
    if not (found := ASKING.fullmatch(plain)):
        raise refused("this line belongs to no question", number, source)
    if found[1] == "level":
        return replace(plan, level=found[2])
    kinds = (kind.strip() for kind in found[2].split(","))
    return replace(plan, kinds=tuple(kind for kind in kinds if kind))


def refused(message: str, line: int, source: str) -> LessonError:
    """An error that names the line."""
    return LessonError(
        message, where=f"{source}, line {line}", hint="write a new plan and edit that"
    )


# As a sheet.


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
    bare = replace(sheet, questions=tuple(replace(q, note="") for q in sheet.questions))
    return chosen(bare, read_plan(text, source), source)


def chosen(sheet: Worksheet, plan: Plan, source: str = "the plan") -> Worksheet:
    """Return a worksheet as a plan wants it; its words stand under those of a passage.

    Raises
    ------
    LessonError
        As :func:`planned`.
    """
    known = {question.name: question for question in sheet.questions}
    seen: set[str] = set()
    for each in plan.wanted:
        if each.name not in known or each.name in seen:
            twice = "twice" if each.name in seen else "not a question of this set now"
            raise refused(f"{each.name} is {twice}", each.line, source)
        seen.add(each.name)
    kept = [each for each in plan.wanted if not each.is_out]
    if not kept:
        raise LessonError("no question is left", where=source)
    questions = tuple(as_wanted(known[each.name], each, source) for each in kept)
    return replace(sheet, questions=questions, words=plan.words)


def as_wanted(question: Question, wish: Planned, source: str) -> Question:
    """A question with the parts and words that a plan wants."""
    kept: list[Part] = []
    known = dict(zip(LETTERS, question.parts, strict=False))
    if unknown := set(wish.tasks) - set(known):
        raise refused(f"the question has no part ({min(unknown)})", wish.line, source)
    for letter, task in wish.tasks.items():
        part = known[letter]
        same = task == plain_words(part.task)
        kept.append(part if same else replace(part, task=(task,)))
    if not kept:
        raise refused("no part of the question is left", wish.line, source)
    note = "\n".join(text for text in (question.note, *wish.words) if text)
    return replace(question, heading=wish.heading, parts=tuple(kept), note=note)
