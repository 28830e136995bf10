"""The questions of a set: chosen, left out, reworded and put in order on a page.

Conventions: the page is one form that carries what stands on it, whatever button is
pressed, so that nothing typed is lost (see ``choosing_words``). It carries a mark of the
choice that it was made from; a page without a script that is older than the choice changes
nothing and shows what was typed there.

Contents: questions, one_question, change.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace

from markupsafe import Markup
from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.tasks.lesson.asking.records import Question
from melodex.tasks.lesson.choosing import (
    Chosen,
    choice_of,
    keep_choice,
    moved,
    put_out,
    with_kinds,
)
from melodex.tasks.lesson.plan import LETTERS, Plan, as_planned
from melodex.tasks.lesson.questions import KINDS, LEVELS
from melodex.tasks.lesson.sets import Lesson
from melodex.workbench.asking import Ask, address, rendered_page
from melodex.workbench.bench import Stop
from melodex.workbench.deeds import WORDS, changing
from melodex.workbench.views.choosing_words import (
    LONGEST_TYPED,
    as_said,
    texts_of,
    touched,
)
from melodex.workbench.views.sets import set_of

__all__ = ["change", "one_question", "questions"]


PLAN = "questions"
"""By what the requests of a page about its questions are told apart."""


def questions(ask: Ask) -> Response:
    """All questions of a set, those that are asked first."""
    corpus = ask.corpus()
    lesson = set_of(ask, corpus)
    return page_of(ask, lesson, choice_of(corpus, lesson))


def page_of(
    ask: Ask, lesson: Lesson, choice: Chosen, *, clash: tuple[str, ...] | None = None
) -> Response:
    """The page, with what was typed on an older one if that is so."""
    known = {question.name: question for question in choice.every.questions}
    rows = [(wish, known[wish.name]) for wish in choice.plan.wanted]
    return rendered_page(
        ask,
        "questions.html",
        f"{lesson.row.name}: questions",
        status=200 if clash is None else 409,
        lesson=lesson,
        choice=choice,
        asked=[row for row in rows if not row[0].is_out],
        left=[row for row in rows if row[0].is_out],
        points=sum(q.points for w, q in rows if not w.is_out),
        parts_of=parts_of,
        mark=mark_of(lesson),
        kinds=KINDS,
        levels=[*LEVELS],
        longest=LONGEST_TYPED,
        clash=clash,
    )


def parts_of(question: Question) -> list[tuple[str, str, str]]:
    """Letter, task and answer of each part of a question, as they are printed."""
    from melodex.presentation.lesson.questions import passages_of, right_text
    from melodex.presentation.lesson.setting import SheetSetting
    from melodex.tasks.lesson.asking.records import plain_words

    here = passages_of(question, SheetSetting())
    return [
        (letter, plain_words(part.task), right_text(part, here))
        for letter, part in zip(LETTERS, question.parts, strict=False)
    ]


def mark_of(lesson: Lesson) -> str:
    """A mark of what was chosen for a set, and of what it holds."""
    held = repr((lesson.plan, [row.excerpt_sha256 for row in lesson.rows]))
    return hashlib.sha256(held.encode("utf-8", "replace")).hexdigest()[:16]


def one_question(ask: Ask) -> Response:
    """One question as it is printed, with its answer, for a script that opens it."""
    from melodex.presentation.engraving.fragments import evidence_html
    from melodex.presentation.lesson.questions import answer
    from melodex.presentation.lesson.questions import ask as asked
    from melodex.presentation.lesson.setting import SheetSetting
    from melodex.presentation.report.page import Answering, Section

    corpus = ask.corpus()
    lesson = set_of(ask, corpus)
    choice = choice_of(corpus, lesson)
    name = ask.said("question")
    wanted = put_out(choice.plan, [name], is_out=False)
    sheet = replace(choice, plan=wanted).sheet
    found = next(question for question in sheet.questions if question.name == name)
    parts = []
    for title, made in (
        ("As it is asked", asked(found, SheetSetting(), f"q{name}")),
        ("The answer", answer(found, SheetSetting(), f"a{name}")),
    ):
        blocks = tuple(each for each in made.blocks if not isinstance(each, Answering))
        parts.append(evidence_html(Section(title, blocks, note=made.note)))
    html = Markup("").join(Markup(part) for part in parts)
    if ask.wants_data:
        return JSONResponse({"html": str(html)})
    return rendered_page(ask, "passage.html", found.heading, passage=None, evidence=html)


# Changing.


def change(ask: Ask) -> Response:
    """Write what stands on the page, then do what its button says."""
    what, _, key = ask.said("do").partition(" ")
    act = CHANGES.get(what)
    if act is None or bool(key) != (what in WITH_KEY):
        raise LessonError(f"questions cannot be changed by {ask.said('do')!r}")
    bench, page = ask.bench, ask.said("page")
    with bench.changing:
        with bench.open_corpus(Stop()) as corpus:
            lesson = set_of(ask, corpus)
            choice = choice_of(corpus, lesson)
        is_older = mark_of(lesson) not in {
            ask.said("mark"),
            *bench.words.own_marks(page, PLAN),
        }
        # A page with a script says what it saw of all that it sends.
        if is_older and (not page or what in ANEW):
            return clashing(ask, lesson, choice)
        typed = touched(ask)
        made = {q.name: as_planned(q).tasks for q in choice.every.questions}
        plan = typed.put_into(choice.plan, made) if page else as_said(ask, choice.plan)
        said = act(plan, key)
        if said is not None and what == "kinds":
            with bench.open_corpus(Stop()) as corpus:
                said = asked_for(ask, corpus, lesson, said)
        if said is None or said != choice.plan or what in ANEW:
            lesson = keep(ask, lesson, said, what)
    name, mark = lesson.row.name, mark_of(lesson)
    bench.words.note_marks(page, {PLAN: mark, **typed.marks})
    if ask.wants_data:
        return JSONResponse({"mark": mark, "joined": typed.joined})
    deed = bench.deeds.latest()[:1]
    did = deed[0].id if deed and deed[0].words.endswith(f"of {name}.") else ""
    spot = f"#question-{key}" if key and what != "out" else ""
    return RedirectResponse(address("/set/questions", name=name, did=did) + spot, 303)


def asked_for(ask: Ask, corpus: Corpus, lesson: Lesson, plan: Plan) -> Plan:
    """The plan with the kinds and the level that are ticked, new questions last."""
    kinds = tuple(kind for kind in KINDS if kind in ask.every("kind"))
    level = ask.said("level") if ask.said("level") in LEVELS else ""
    return with_kinds(corpus, lesson, plan, kinds, level)


def keep(ask: Ask, lesson: Lesson, plan: Plan | None, what: str) -> Lesson:
    """Keep a choice with the set, and note how it is undone; return the set with it."""
    path = ask.bench.corpus_path
    with changing(path, ask.bench.deeds) as doing:
        after = keep_choice(path, lesson.row.name, plan)
        doing.words = f"{SAID[what]} of {lesson.row.name}."
        doing.kind = WORDS if what == "words" else ""
        doing.back = address("/set/questions", name=lesson.row.name)
        doing.choice = (lesson.row.id, lesson.plan, after)
    return replace(lesson, plan=after)


def clashing(ask: Ask, lesson: Lesson, choice: Chosen) -> Response:
    """The choice as it is now, with what was typed on a page that is older."""
    if ask.wants_data:
        said = "The questions were changed on another page; what you typed is kept here."
        fault = {"what": said, "where": "", "advice": "Load the page anew to see both."}
        return JSONResponse({"fault": fault}, 409)
    here = as_said(ask, choice.plan)
    now = {text for wish in choice.plan.wanted for text in texts_of(wish)}
    typed = [text for wish in here.wanted for text in texts_of(wish) if text not in now]
    return page_of(ask, lesson, choice, clash=tuple(typed))


Act = Callable[[Plan, str], Plan | None]


def anew(plan: Plan, key: str) -> None:
    """Everything as it was before anybody chose."""


CHANGES: dict[str, Act] = {
    "words": lambda plan, key: plan,
    "up": lambda plan, key: moved(plan, key, -1),
    "down": lambda plan, key: moved(plan, key, 1),
    "out": lambda plan, key: put_out(plan, [key], is_out=True),
    "in": lambda plan, key: put_out(plan, [key], is_out=False),
    "kinds": lambda plan, key: plan,
    "anew": anew,
}
SAID = {
    "words": "Reworded questions",
    "up": "Moved a question",
    "down": "Moved a question",
    "out": "Left out a question",
    "in": "Asked again a question",
    "kinds": "Chose kinds of questions",
    "anew": "Began anew with the questions",
}
WITH_KEY = {"up", "down", "out", "in"}
ANEW = {"anew"}
