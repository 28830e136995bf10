"""What was typed and ticked on a page of questions, put into the choice as it is now.

Conventions: a page with a script sends the fields that were touched, and of each what
stood there before, as ``was:`` and its name. So the choice may have been changed on another
page meanwhile: what that wrote elsewhere stays, and where both wrote, both texts stand. A
page without a script sends all its fields; whether the choice is still the one that it was
made from is asked before.

Contents: touched, Touched, as_said, texts_of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from melodex.errors import LessonError
from melodex.tasks.lesson.plan import LONGEST_LINE, Plan, Planned
from melodex.tasks.lesson.sets import checked_text
from melodex.tasks.lesson.words import Said, joined_text, mark_of_text
from melodex.workbench.asking import Ask

__all__ = ["LONGEST_TYPED", "Touched", "as_said", "texts_of", "touched"]

WAS = "was:"
LONGEST_TYPED = LONGEST_LINE - 60
"""Letters of a line, which a plan indents and marks."""
Defaults = Mapping[str, Mapping[str, str]]
"""By question and letter, the tasks as they are made."""


def texts_of(wish: Planned) -> tuple[str, ...]:
    """Every text of a question that can be typed."""
    return (wish.heading, *wish.tasks.values(), *wish.words)


def line_of(text: str) -> str:
    """A text as one line of a plan."""
    return " ".join(text.split())[:LONGEST_TYPED]


def lines_of(text: str) -> tuple[str, ...]:
    """A text as lines of a plan."""
    return tuple(map(line_of, checked_text(text).splitlines()))


def normal(name: str, text: str) -> str:
    """A text as it is written down."""
    return "\n".join(lines_of(text)) if name.startswith("words") else line_of(text)


# A page with a script


def touched(ask: Ask) -> Touched:
    """What was typed and ticked, unless a later request of the same page was here first."""
    page, turn = ask.said("page"), ask.number("turn", 0, least=0, most=999_999)
    said = {}
    for known, was in ask.fields.items():
        name = known.removeprefix(WAS)
        if known.startswith(WAS) and name in ask.fields:
            text = normal(name, ask.fields[name])
            said[name] = Said(text, mark_of_text(normal(name, was)))
            if name.startswith("part:"):
                said[name] = Said(ask.said(name), was)
    return Touched(ask.bench.words.in_time(page, turn, said))


@dataclass(slots=True)
class Touched:
    """What was touched, and what came of it.

    Parameters
    ----------
    said : mapping of str to Said
        By field; of ticks the letters, and as what was seen the letters before.
    joined : dict of str to str
        By field, the texts that somebody else had changed as well.
    marks : dict of str to str
        By field, the mark of each text that was written as it was wanted.
    """

    said: Mapping[str, Said]
    joined: dict[str, str] = field(default_factory=dict)
    marks: dict[str, str] = field(default_factory=dict)

    def put_into(self, plan: Plan, defaults: Defaults) -> Plan:
        """The plan with all of it."""
        wanted = tuple(self.wish(each, defaults.get(each.name, {})) for each in plan.wanted)
        return replace(plan, wanted=wanted, words=self.lines("words", plan.words))

    def wish(self, wish: Planned, defaults: Mapping[str, str]) -> Planned:
        """One question with what was touched of it."""
        letters = set(wish.tasks)
        ticks = self.said.get(f"part:{wish.name}")
        if ticks:
            before, after = set(ticks.seen), set(ticks.text)
            letters = ((letters | (after - before)) - (before - after)) or letters
        tasks = {}
        for letter in sorted(letters & {*wish.tasks, *defaults}):
            now = wish.tasks.get(letter) or defaults[letter]
            tasks[letter] = self.text(f"task:{wish.name}:{letter}", now) or now
        return replace(
            wish,
            heading=self.text(f"heading:{wish.name}", wish.heading) or wish.heading,
            tasks=tasks,
            words=self.lines(f"words:{wish.name}", wish.words),
        )

    def lines(self, name: str, now: tuple[str, ...]) -> tuple[str, ...]:
        """Words above a question, or at the head of the sheet."""
        text = self.text(name, "\n".join(now), "\n")
        return tuple(line for line in text.splitlines() if line.strip())

    def text(self, name: str, now: str, between: str = "; ") -> str:
        """A text as it is to stand.

        Raises
        ------
        LessonError
            If two texts are too long for one line.
        """
        each = self.said.get(name)
        if each is None:
            return now
        if each.text == now or mark_of_text(now) in {each.seen, *each.own}:
            self.marks[name] = mark_of_text(each.text)
            return each.text
        both = joined_text(now, each.text, each.seen, between)
        if max(map(len, both.splitlines()), default=0) > LONGEST_TYPED:
            raise LessonError(
                "another page wrote here too, and both texts are too long for one line",
                hint=f"there stands now: {now}",
            )
        self.joined[name] = both
        return both


# A page without one


def as_said(ask: Ask, plan: Plan) -> Plan:
    """The plan with what stands in the fields of the page."""
    words = lines_of(ask.said("words")) if "words" in ask.fields else plan.words
    wanted = tuple(wish_said(ask, wish) for wish in plan.wanted)
    return replace(plan, wanted=wanted, words=words)


def wish_said(ask: Ask, wish: Planned) -> Planned:
    """One question as its fields say; one that has no fields stays as it is."""
    heading = line_of(ask.said(f"heading:{wish.name}"))
    if not heading:
        return wish
    ticked = ask.every(f"part:{wish.name}") or [*wish.tasks]
    tasks = {
        letter: line_of(ask.said(f"task:{wish.name}:{letter}")) for letter in sorted(ticked)
    }
    kept = {letter: task for letter, task in tasks.items() if task}
    words = tuple(line for line in lines_of(ask.said(f"words:{wish.name}")) if line.strip())
    return replace(wish, heading=heading, tasks=kept or wish.tasks, words=words)
