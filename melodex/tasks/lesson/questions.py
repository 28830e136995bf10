"""The questions of a worksheet: chosen, mixed and put in order.

Conventions: every answer is reached a second way before it is printed, and what is
uncertain or has an equal rival is left out (``tasks.lesson.asking``). A set that was
gathered by a wish is asked about that; at least half of the parts are. Each passage is
asked about once, in one question of a few parts, and the same music once. Questions stand
in the set's own order, and the same set gives the same sheet.

Contents: KINDS, LEVELS, Worksheet, worksheet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.errors import LessonError
from melodex.tasks.lesson.asking.aloud import heard_drafts, sing_part
from melodex.tasks.lesson.asking.cutting import fitted, without_doubles
from melodex.tasks.lesson.asking.keys import change_part
from melodex.tasks.lesson.asking.pairs import (
    compare_questions,
    shared_questions,
    spot_by_ear,
    spot_question,
)
from melodex.tasks.lesson.asking.parts import (
    Made,
    degrees_part,
    numerals_part,
    solfa_part,
)
from melodex.tasks.lesson.asking.plain import (
    beats_part,
    cadence_part,
    dictation_parts,
    metre_part,
    mode_part,
    move_part,
    transposed_part,
)
from melodex.tasks.lesson.asking.records import Part, Question, Shown, plain_words
from melodex.tasks.lesson.asking.relatives import relative_questions
from melodex.tasks.lesson.asking.returning import sequence_part
from melodex.tasks.lesson.asking.topical import (
    Draft,
    draft,
    of_their_own,
    topical_drafts,
)
from melodex.tasks.lesson.sets import Lesson

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["KINDS", "LEVELS", "Question", "Worksheet", "worksheet"]

KINDS = (
    "degrees",
    "solfa",
    "chords",
    "note on chord",
    "motion",
    "find",
    "spot",
    "spelling",
    "intervals",
    "write another",
    "keys",
    "key change",
    "mode",
    "metre",
    "cadence",
    "section",
    "ending",
    "returning",
    "sequence",
    "transpose",
    "dictation",
    "hear",
    "sing",
    "shared notes",
    "compare",
    "relative",
)
"""What can be asked."""

ONLY_IF_NAMED = {"dictation", "hear", "sing", "solfa", "transpose"}
"""What a sheet holds only if the teacher says so: a class without sound or solfa could not
answer it."""

FEW = 6
"""Questions below which a sheet about one thing ends in some without music; our choice."""

LEVELS = {"first": 1, "second": 2, "third": 3}
"""Names of levels, and the hardest part that each is asked."""

NEEDS_NO_MUSIC = "write another"
OTHER_TURNS = tuple(range(1, 10))
"""Keys and signatures that are tried for a task that was set already."""

MOST_PARTS = 3
MOST_PAIRS, MOST_RELATIVES = 2, 2
"""Parts of a question; and questions on two passages and on relatives that a sheet holds;
our choice."""


@dataclass(frozen=True, slots=True)
class Worksheet:
    """Questions about a set, in order.

    ``remarks`` say what could not be asked; ``words`` are a teacher's own, at the head.
    """

    lesson: Lesson
    questions: tuple[Question, ...]
    remarks: tuple[str, ...]
    words: tuple[str, ...] = ()

    @property
    def points(self) -> int:
        """Of all questions together."""
        return sum(question.points for question in self.questions)


def worksheet(
    corpus: Corpus,
    lesson: Lesson,
    kinds: Sequence[str] = (),
    *,
    level: str = "third",
    leave_out: Sequence[str] = (),
) -> Worksheet:
    """Make the questions of a worksheet.

    Parameters
    ----------
    corpus : Corpus
        Where wrong choices come from.
    lesson : Lesson
        The set, as opened.
    kinds : sequence of str
        Some of :data:`KINDS`; none for what suits the set.
    level : str
        One of :data:`LEVELS`: nothing harder is asked.
    leave_out : sequence of str
        Names of questions that are not wanted.

    Raises
    ------
    LessonError
        If a kind or level is unknown, no question has a name that is left out, or nothing
        can be asked.
    """
    refuse_unknown(kinds, level)
    asked = Choice(
        frozenset(kinds or set(KINDS) - ONLY_IF_NAMED), LEVELS[level], bool(kinds)
    )
    fits = [fitted(example) for example in lesson.examples]
    distinct = without_doubles(fits)
    remarks = list(doubles_words(lesson, len(distinct)))
    questions = list(in_order(corpus, lesson, distinct, asked))
    unasked = missing(lesson, distinct, questions)
    remarks += [*unasked, *not_asked(kinds, questions), *off_topic(lesson, questions)]
    names = {question.name for question in questions}
    if unknown := [name for name in leave_out if name not in names]:
        raise LessonError(
            f"no question of this sheet is called {unknown[0]!r}",
            where=lesson.row.name,
            hint=f"they are called {', '.join(sorted(names)) or 'nothing'}",
        )
    questions = [question for question in questions if question.name not in leave_out]
    if not questions:
        raise LessonError(
            "nothing can be asked about this set",
            where=lesson.row.name,
            hint=" ".join(remarks)
            or "name other kinds of questions, or fewer to leave out",
        )
    return Worksheet(lesson, tuple(questions), tuple(remarks))


@dataclass(frozen=True, slots=True)
class Choice:
    """What the teacher wants: kinds, the hardest level, and whether kinds were named."""

    kinds: frozenset[str]
    hardest: int
    is_named: bool

    def of(self, each: Draft) -> Draft:
        """A design without what is not wanted."""
        parts = [p for p in each.parts if p.kind in self.kinds and p.level <= self.hardest]
        return replace(each, parts=tuple(parts[:MOST_PARTS]))


def refuse_unknown(kinds: Sequence[str], level: str) -> None:
    """Refuse kinds and levels that there are not."""
    if unknown := [kind for kind in kinds if kind not in KINDS]:
        raise LessonError(
            f"{unknown[0]!r} is no kind of question", hint=f"there are: {', '.join(KINDS)}"
        )
    if level not in LEVELS:
        raise LessonError(f"{level!r} is no level", hint=", ".join(LEVELS))


Distinct = Sequence[tuple[int, Shown, tuple[str, ...]]]


def in_order(
    corpus: Corpus, lesson: Lesson, distinct: Distinct, asked: Choice
) -> Iterator[Question]:
    """All questions in the order of the set's passages."""
    passages = [(place + 1, shown) for place, shown, _ in distinct]
    also = {place + 1: others for place, _, others in distinct}
    pairs, used = about_several(corpus, passages, asked)
    turns: dict[str, int] = {}
    made: list[Question] = list(pairs)
    for position, shown in passages:
        if position in used:
            continue
        question = about_one(corpus, shown, position, asked, turns)
        if question is not None:
            made.append(replace(question, also=also[position]))
    if not asked.is_named:
        made = half_on_topic(made)
    made = without_repeats(made, dict(passages))
    notes = {example.position: example.row.note for example in lesson.examples}
    for question in sorted(made, key=lambda each: each.position):
        yield replace(question, note=notes.get(question.position, ""))
    if made and len(made) < FEW:
        yield from without_music(passages, made, asked)


def without_repeats(made: Sequence[Question], shown: dict[int, Shown]) -> list[Question]:
    """The questions with no task twice that needs no music: in its place, another key."""
    said: set[str] = set()
    kept = []
    for question in sorted(made, key=lambda each: each.position):
        parts = []
        for part in question.parts:
            fresh = other_task(part, shown.get(question.position), said)
            if fresh is not None:
                said.add(plain_words(fresh.task))
                parts.append(fresh)
        if parts:
            kept.append(replace(question, parts=tuple(parts)))
    return kept


def other_task(part: Part, shown: Shown | None, said: set[str]) -> Part | None:
    """A part, or another like it where its task has been set already."""
    if part.kind != NEEDS_NO_MUSIC or plain_words(part.task) not in said:
        return part
    likely = of_their_own(shown, OTHER_TURNS) if shown is not None else ()
    return next((each for each in likely if plain_words(each.task) not in said), None)


def without_music(
    passages: Sequence[tuple[int, Shown]], made: Sequence[Question], asked: Choice
) -> Iterator[Question]:
    """A last question about the topic in keys of its own, where passages are few."""
    said = {plain_words(part.task) for question in made for part in question.parts}
    for position, shown in passages:
        parts = tuple(
            part
            for part in of_their_own(shown)
            if plain_words(part.task) not in said
            and part.kind in asked.kinds
            and part.level <= asked.hardest
        )
        if parts:
            yield Question("In other keys", (), parts, position)
            return


def half_on_topic(made: Sequence[Question]) -> list[Question]:
    """Without the last questions that would make fewer than half be on the topic.

    A set that was gathered for nothing, or of which nothing on its topic is certain, is
    left as it is.
    """
    kept = list(made)
    topical = sum(part.is_topical for each in made for part in each.parts)
    for question in reversed(made):
        parts = sum(len(each.parts) for each in kept)
        if (
            topical
            and 2 * topical < parts
            and not any(p.is_topical for p in question.parts)
        ):
            kept.remove(question)
    return kept


def about_several(
    corpus: Corpus, passages: Sequence[tuple[int, Shown]], asked: Choice
) -> tuple[list[Question], set[int]]:
    """Questions about more than one passage, and the positions that they use up."""
    made: list[Question] = []
    used: set[int] = set()
    gathered = any(shown.labels.topic for _, shown in passages)
    # A set that was gathered for something is asked about that.
    if gathered and not asked.is_named:
        return made, used
    if "shared notes" in asked.kinds and asked.hardest > 1:
        for question, positions in shared_questions(passages, MOST_PAIRS):
            made.append(question)
            used |= positions
    if "compare" in asked.kinds and asked.hardest > 1:
        left = [each for each in passages if each[0] not in used]
        if asked.is_named or len(left) >= FEW:
            for question, positions in compare_questions(left, 1):
                made.append(question)
                used |= positions
    if "relative" in asked.kinds and asked.hardest > 1:
        left = [each for each in passages if each[0] not in used]
        for question, position in relative_questions(corpus, left, MOST_RELATIVES):
            made.append(question)
            used.add(position)
    return made, used


def about_one(
    corpus: Corpus, shown: Shown, position: int, asked: Choice, turns: dict[str, int]
) -> Question | None:
    """The question about one passage, of the design that was used least so far."""
    designs = [asked.of(each) for each in topical_drafts(shown)]
    designs = [each for each in designs if each.parts]
    if designs and turns.get("spot", 0) < spots_due(turns) and "spot" in asked.kinds:
        spotted = spot_question(corpus, shown, position) if asked.hardest > 1 else None
        if spotted is not None:
            return counted_turn(spotted, turns, "spot")
    if "hear" in asked.kinds and asked.hardest > 1:
        heard = spot_by_ear(corpus, shown, position)
        if heard is not None and turns.get("hear", 0) < MOST_PAIRS:
            return counted_turn(heard, turns, "hear")
    if not designs:
        designs = [asked.of(each) for each in plain_drafts(shown)]
        designs = [each for each in designs if each.parts]
    if not designs:
        return None
    chosen = min(designs, key=lambda each: turns.get(each.heading, 0))
    turns[chosen.heading] = turns.get(chosen.heading, 0) + 1
    turns["topical"] = turns.get("topical", 0) + any(p.is_topical for p in chosen.parts)
    return Question(chosen.heading, (chosen.shown,), chosen.parts, position)


def counted_turn(made: Question, turns: dict[str, int], kind: str) -> Question:
    """A question on the topic, with its turn counted."""
    for name in (kind, "topical"):
        turns[name] = turns.get(name, 0) + 1
    return made


def spots_due(turns: dict[str, int]) -> int:
    """How many passages may have been set against one that lacks the topic: one in four."""
    return turns.get("topical", 0) // 3


def plain_drafts(shown: Shown) -> Iterator[Draft]:
    """Designs for a passage that is about nothing in particular."""
    numerals = numerals_part(shown, range(len(shown.excerpt.chords)))
    degrees = degrees_part(shown)
    yield draft("The degrees", shown, degrees)
    yield draft("Solfa", shown, solfa_part(shown))
    yield draft("The chords", shown, numerals)
    changed = change_part(shown)
    if changed is not None:
        yield Draft("Where does the key change?", changed.shown, (changed.part,))
    yield unnamed("The mode", shown, mode_part(shown))
    yield unnamed("The metre", shown, metre_part(shown), beats_part(shown))
    yield draft("The close", shown, cadence_part(shown), move_part(shown))
    continued = sequence_part(shown)
    if continued is not None:
        yield Draft("Go on with the sequence", continued.shown, (continued.part,))
    yield draft("In another key", shown, transposed_part(shown))
    yield draft("To be sung", shown, sing_part(shown))
    for heading, heard in heard_drafts(shown):
        yield Draft(heading, heard.shown, (heard.part,))
    for heading, heard in dictation_parts(shown):
        yield Draft(heading, heard.shown, (heard.part,))


def unnamed(heading: str, shown: Shown, *made: Made | Part | None) -> Draft:
    """A design on which the keys are not named."""
    return draft(heading, replace(shown, has_key_names=False), *made)


# What has to be said.


def doubles_words(lesson: Lesson, distinct: int) -> Iterator[str]:
    """That the same music is asked about once."""
    left_out = len(lesson.examples) - distinct
    if left_out:
        yield (
            f"{left_out} passage{'s' if left_out != 1 else ''} of the set "
            f"{'are' if left_out != 1 else 'is'} the same music as another and asked "
            "about with it."
        )


def missing(
    lesson: Lesson, distinct: Distinct, questions: Sequence[Question]
) -> Iterator[str]:
    """Which passages nothing certain can be asked about."""
    asked = {question.position for question in questions}
    shown = {passage.title for question in questions for passage in question.passages}
    left = [
        str(place + 1)
        for place, each, _ in distinct
        if place + 1 not in asked and each.title not in shown
    ]
    if left:
        yield (
            f"Nothing is asked about passage{'s' if len(left) > 1 else ''} "
            f"{', '.join(left)}: no answer of these kinds would be certain."
        )


def not_asked(kinds: Sequence[str], questions: Sequence[Question]) -> Iterator[str]:
    """Which kinds were named and fit no passage."""
    made = {kind for question in questions for kind in question.kinds}
    left = [kind for kind in kinds if kind not in made]
    if left:
        yield f"Not asked, since no passage gives a certain answer: {', '.join(left)}."


def off_topic(lesson: Lesson, questions: Sequence[Question]) -> Iterator[str]:
    """What has to be said where few questions are about what the set was gathered for."""
    topics = {e.labels.topic.words for e in lesson.examples if e.labels.topic}
    parts = [part for question in questions for part in question.parts]
    topical = sum(part.is_topical for part in parts)
    if topics and 2 * topical < len(parts):
        told = "; ".join(sorted(topics))
        yield f"Of {len(parts)} questions {topical} are about what was gathered ({told})."
