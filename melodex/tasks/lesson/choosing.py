"""The questions that a teacher chose for a set, kept with it in the corpus.

Conventions: what is kept is a plan (see ``plan``). When the set has changed since, what
still fits of it holds: questions that are not asked any more are dropped, new ones come
last, and both are said. A plan that asks for nothing at all is no plan.

Contents: Chosen, choice_of, keep_choice, put_choice, with_kinds, moved, put_out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex.corpus.lessons import find_lesson, write_plan
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.tasks.lesson.plan import (
    Plan,
    Planned,
    as_plan,
    chosen,
    plan_text,
    read_plan,
)
from melodex.tasks.lesson.questions import KINDS, LEVELS, Worksheet, worksheet
from melodex.tasks.lesson.sets import Lesson, open_lesson, writing
from melodex.tasks.lesson.undoing import Undoing, row_now

if TYPE_CHECKING:
    from collections.abc import Sequence


__all__ = [
    "Chosen",
    "choice_of",
    "keep_choice",
    "moved",
    "put_choice",
    "put_out",
    "with_kinds",
]

SOURCE = "the questions that were chosen"


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is asked of a set.

    Parameters
    ----------
    every : Worksheet
        All questions that can be asked, of the kinds and the level that are wanted.
    plan : Plan
        Which of them are wanted, in which order and words.
    is_kept : bool
        Whether somebody chose; without that all are wanted as they are.
    remarks : tuple of str
        What has changed since.
    """

    every: Worksheet
    plan: Plan
    is_kept: bool
    remarks: tuple[str, ...] = ()

    @property
    def sheet(self) -> Worksheet:
        """The worksheet as it was chosen.

        Raises
        ------
        LessonError
            If every question was left out.
        """
        made = chosen(self.every, self.plan, SOURCE)
        return replace(made, remarks=(*made.remarks, *self.remarks))


def choice_of(corpus: Corpus, lesson: Lesson) -> Chosen:
    """Return what is asked of a set: what was chosen for it, or all that suits it.

    Raises
    ------
    LessonError
        If nothing can be asked about it.
    """
    kept = read_plan(lesson.plan, SOURCE)
    kinds = tuple(kind for kind in kept.kinds if kind in KINDS)
    level = kept.level if kept.level in LEVELS else ""
    every = worksheet(corpus, lesson, kinds, level=level or "third")
    plan = replace(kept, kinds=kinds, level=level)
    if not lesson.plan:
        return Chosen(every, as_plan(every), is_kept=False)
    fits, remarks = fitting(every, plan)
    return Chosen(every, fits, is_kept=True, remarks=remarks)


def fitting(every: Worksheet, plan: Plan) -> tuple[Plan, tuple[str, ...]]:
    """What fits of a plan, with what is new behind it, and what has to be said."""
    fresh = {each.name: each for each in as_plan(every).wanted}
    fit = [fitted(each, fresh[each.name]) for each in plan.wanted if each.name in fresh]
    gone = len(plan.wanted) - len(fit)
    new = [each for name, each in fresh.items() if name not in {p.name for p in fit}]
    if not plan.wanted:
        return replace(plan, wanted=tuple(new)), ()
    told = []
    if gone:
        told.append(
            f"{gone} question{'s' if gone != 1 else ''} of your choice cannot be asked "
            "any more: the set has changed."
        )
    if new:
        told.append(
            f"{len(new)} question{'s are' if len(new) != 1 else ' is'} new since you "
            "chose, and stand last."
        )
    return replace(plan, wanted=(*fit, *new)), tuple(told)


def fitted(wish: Planned, fresh: Planned) -> Planned:
    """A wish without parts that its question has not; all parts where none is left."""
    tasks = {letter: task for letter, task in wish.tasks.items() if letter in fresh.tasks}
    return replace(wish, tasks=tasks or fresh.tasks)


def keep_choice(corpus_path: Path, name: str, plan: Plan | None) -> str:
    """Keep what is chosen for a set, None to choose anew; return it as it is kept.

    Raises
    ------
    LessonError
        If there is no such set, or the plan is too long.
    """
    text = ""
    with Corpus.open(corpus_path) as corpus:
        row = find_lesson(corpus, name)
        if plan is not None:
            text = plan_text(Worksheet(Lesson(row, ()), (), ()), plan)
            read_plan(text, SOURCE)
    with writing(corpus_path) as writer:
        write_plan(writer, row.id, text)
    return text


def put_choice(corpus_path: Path, set_id: int, before: str, after: str) -> Undoing:
    """Take one change of a choice back, and leave what was chosen since.

    Parameters
    ----------
    before, after : str
        The choice as it was kept before the change, and just after it.

    Raises
    ------
    LessonError
        If the set is gone, or nothing of the change stands there.
    """
    with Corpus.open(corpus_path) as corpus:
        lesson = open_lesson(corpus, row_now(corpus, set_id).name)
        texts = (lesson.plan, before, after)
        now, was, made = (
            choice_of(corpus, replace(lesson, plan=text)).plan for text in texts
        )
    if lesson.plan == after:
        wanted = was if before else None
    else:
        wanted = without(now, was, made)
        if wanted == now:
            raise LessonError(
                "that does not stand there any more as it was chosen",
                hint="what was chosen since can be undone first",
            )
    kept = keep_choice(corpus_path, lesson.row.name, wanted)
    return partial(put_choice, corpus_path, set_id, lesson.plan, kept)


def without(now: Plan, before: Plan, after: Plan) -> Plan:
    """A plan without one change; what was changed since stays."""
    known, was, made = (
        {each.name: each for each in plan.wanted} for plan in (now, before, after)
    )
    for name in known.keys() & was.keys() & made.keys():
        known[name] = wish_without(known[name], was[name], made[name])
    wanted = [each for each in known.values() if each.name in was or each.name not in made]
    wanted += [each for name, each in was.items() if name not in {**made, **known}]
    if [name for name in was if name in made] != [name for name in made if name in was]:
        places = {name: place for place, name in enumerate(was)}
        wanted.sort(key=lambda each: places.get(each.name, len(places)))
    changed = unchanged_since(now, before, after, ("words", "kinds", "level"))
    return replace(now, wanted=tuple(wanted), **changed)


def wish_without(now: Planned, before: Planned, after: Planned) -> Planned:
    """A question without one change."""
    tasks = dict(now.tasks)
    for letter in before.tasks.keys() | after.tasks.keys():
        was, made = before.tasks.get(letter), after.tasks.get(letter)
        if was != made == tasks.get(letter):
            tasks.pop(letter, None)
            tasks |= {} if was is None else {letter: was}
    changed = unchanged_since(now, before, after, ("heading", "words", "is_out"))
    return replace(now, tasks=dict(sorted(tasks.items())) or now.tasks, **changed)


def unchanged_since(
    now: object, before: object, after: object, names: Sequence[str]
) -> dict[str, Any]:
    """What a change made of some attributes and nobody has changed since, as it was."""
    return {
        name: getattr(before, name)
        for name in names
        if getattr(before, name) != getattr(after, name) == getattr(now, name)
    }


# Changing a plan.


def with_kinds(
    corpus: Corpus, lesson: Lesson, plan: Plan, kinds: tuple[str, ...], level: str
) -> Plan:
    """A plan that asks for other kinds, or for what is easier; new questions come last.

    Raises
    ------
    LessonError
        If nothing of that can be asked.
    """
    wanted = replace(plan, kinds=kinds, level=level)
    every = worksheet(corpus, lesson, kinds, level=level or "third")
    return fitting(every, wanted)[0]


def place_of(plan: Plan, name: str) -> int:
    """Where a question stands in a plan, from 0."""
    names = [each.name for each in plan.wanted]
    if name not in names:
        raise LessonError("that question is not asked any more")
    return names.index(name)


def moved(plan: Plan, name: str, by: int) -> Plan:
    """A plan with one question earlier or later among those that are asked."""
    wanted = list(plan.wanted)
    place = place_of(plan, name)
    asked = [at for at, each in enumerate(wanted) if not each.is_out]
    if place not in asked:
        return plan
    to = asked[max(0, min(len(asked) - 1, asked.index(place) + by))]
    wanted.insert(to, wanted.pop(place))
    return replace(plan, wanted=tuple(wanted))


def put_out(plan: Plan, names: Sequence[str], *, is_out: bool) -> Plan:
    """A plan that leaves some questions out, or asks them again."""
    for name in names:
        place_of(plan, name)
    wanted = (
        replace(each, is_out=is_out) if each.name in names else each for each in plan.wanted
    )
    return replace(plan, wanted=tuple(wanted))
