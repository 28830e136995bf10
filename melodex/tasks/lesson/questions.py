"""Questions for a worksheet, and their answers.

Conventions: an answer is what ``describe`` says of the tune or ``compare`` of two
passages; nothing is answered that they leave open. What cannot be asked is said with
its reason. Wrong choices come from the corpus: passages that a search for the phrase
finds too, but that share clearly less with it. The order of choices is drawn from
their content, so that the same set gives the same sheet.

Contents: KINDS, DegreesQuestion, ChordsQuestion, SharedQuestion, KeyChangeQuestion,
Choice, RelativeQuestion, Question, Worksheet, worksheet.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, TypeAlias

from melodex.errors import DamagedCorpusError, LessonError, MelodexError
from melodex.matching.query import encode_query
from melodex.matching.search import Hit, search
from melodex.tasks.compare import INFLECTED, SAME_IN_TIME, Comparison, compare
from melodex.tasks.lesson.labels import KeyLabel, Labels, labels_of
from melodex.tasks.lesson.sets import Lesson, LessonExample
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "KINDS",
    "Choice",
    "ChordsQuestion",
    "DegreesQuestion",
    "KeyChangeQuestion",
    "Question",
    "RelativeQuestion",
    "SharedQuestion",
    "Worksheet",
    "worksheet",
]

KINDS = ("degrees", "chords", "key change", "shared notes", "relative")
"""What can be asked, in the order in which it stands on the sheet."""

MOST_OF_A_KIND = {"shared notes": 2, "relative": 2, "key change": 3}
"""How many of the questions that take much room, or time to make; our choice."""

FEWEST_NUMERALS = 2
FEWEST_SHARED = 5
LEAST_SHARED = 0.6
"""Share of the shorter passage's notes that agree, for a question about them."""

CHOICES = 3
SEARCHED = 10
MOST_TRIED = 8
MOST_PHRASE_NOTES = 40
"""Each search takes some hundredths of a second in 13,000 tunes, more for long phrases;
and what is longer is no phrase to be held in the ear. Our choice."""

RELATIVE_SHARE = 0.6
"""Share of the phrase's notes that agree in its relative, or are inflected, at least."""

NEAR_MISS = (0.2, 0.75)
"""Points of a wrong choice over those of the relative, at least and at most: near
enough to be worth a look, and never as good; our choice."""


@dataclass(frozen=True, slots=True)
class DegreesQuestion:
    """Write the degrees; those of the notes in ``given`` stand there already."""

    example: LessonExample
    given: frozenset[int]

    @property
    def answer(self) -> tuple[int | None, ...]:
        """The degree of each note, in fifths from the tonic."""
        return self.example.labels.degrees


@dataclass(frozen=True, slots=True)
class ChordsQuestion:
    """Name the chords by Roman numerals; ``asked`` are indexes of chord symbols."""

    example: LessonExample
    asked: tuple[int, ...]

    @property
    def answer(self) -> tuple[str, ...]:
        """The numerals that are asked for."""
        return tuple(self.example.labels.numerals[place] for place in self.asked)


@dataclass(frozen=True, slots=True)
class KeyChangeQuestion:
    """Say where the key changes, and from which key to which."""

    example: LessonExample

    @property
    def answer(self) -> tuple[KeyLabel, ...]:
        """The keys in order; each but the first starts in the bar that is asked for."""
        return self.example.labels.keys


@dataclass(frozen=True, slots=True)
class SharedQuestion:
    """Mark the notes that two passages share."""

    one: LessonExample
    other: LessonExample
    comparison: Comparison

    @property
    def answer(self) -> tuple[tuple[int, int], ...]:
        """Notes of one and of the other that have the same degree."""
        return tuple(
            (pair.query, pair.tune)
            for pair in self.comparison.likeness.pairs
            if pair.relation.startswith("same degree")
            and pair.query is not None
            and pair.tune is not None
        )


@dataclass(frozen=True, slots=True)
class Choice:
    """A passage to choose, with its labels; ``comparison`` is with the phrase."""

    letter: str
    passage: Passage
    labels: Labels
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class RelativeQuestion:
    """Say which of three passages is the relative of the phrase."""

    example: LessonExample
    choices: tuple[Choice, ...]
    answer: str


Question: TypeAlias = (
    DegreesQuestion | ChordsQuestion | KeyChangeQuestion | SharedQuestion | RelativeQuestion
)


@dataclass(frozen=True, slots=True)
class Worksheet:
    """Questions about a set, in order; ``remarks`` say what could not be asked."""

    lesson: Lesson
    questions: tuple[Question, ...]
    remarks: tuple[str, ...]


def worksheet(corpus: Corpus, lesson: Lesson, kinds: Sequence[str] = KINDS) -> Worksheet:
    """Make the questions of a worksheet.

    Parameters
    ----------
    corpus : Corpus
        Where wrong choices come from.
    lesson : Lesson
        The set, as opened.
    kinds : sequence of str
        Some of :data:`KINDS`.

    Raises
    ------
    LessonError
        If a kind is unknown, or nothing can be asked.
    """
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown:
        raise LessonError(
            f"{unknown[0]!r} is no kind of question", hint=f"there are: {', '.join(KINDS)}"
        )
    questions: list[Question] = []
    remarks: list[str] = []
    for kind in (kind for kind in KINDS if kind in kinds):
        made = list(made_of_kind(kind, corpus, lesson, kinds))
        questions += made
        if not made:
            remarks.append(NOT_ASKED[kind])
    if not questions:
        raise LessonError(
            "nothing can be asked about this set",
            where=lesson.row.name,
            hint=" ".join(remarks) or "name the kinds of questions",
        )
    return Worksheet(lesson, tuple(questions), tuple(remarks))


NOT_ASKED = {
    "degrees": "No degrees are asked for: no passage is left whose key is known.",
    "chords": "No chords are asked for: no passage is left with chord symbols in a key.",
    "key change": "No change of key is asked for: in no passage does the key change.",
    "shared notes": "No shared notes are asked for: no two passages share enough.",
    "relative": "No relative is asked for: the corpus holds none of any passage, or not "
    "enough that comes near.",
}


def made_of_kind(
    kind: str, corpus: Corpus, lesson: Lesson, kinds: Sequence[str]
) -> Iterator[Question]:
    """The questions of one kind."""
    if kind == "shared notes":
        yield from shared_questions(lesson.examples)
    elif kind == "relative":
        yield from relative_questions(corpus, lesson.examples)
    elif kind == "key change":
        changing = [e for e in lesson.examples if changes_key(e)]
        yield from map(KeyChangeQuestion, changing[: MOST_OF_A_KIND[kind]])
    elif kind == "degrees":
        for example in examples_for(kind, lesson.examples, kinds):
            first = next(i for i, d in enumerate(example.labels.degrees) if d is not None)
            yield DegreesQuestion(example, frozenset({first}))
    else:
        for example in examples_for(kind, lesson.examples, kinds):
            named = [i for i, text in enumerate(example.labels.numerals) if text]
            yield ChordsQuestion(example, tuple(named))


def examples_for(
    kind: str, examples: Sequence[LessonExample], kinds: Sequence[str]
) -> list[LessonExample]:
    """Passages for degrees or for chords: taken in turns where both can be asked."""
    fit: dict[str, list[LessonExample]] = {"degrees": [], "chords": []}
    turn = "chords" if "chords" in kinds else "degrees"
    for example in examples:
        able = {
            "degrees": "degrees" in kinds and has_degrees(example),
            "chords": "chords" in kinds and has_numerals(example),
        }
        other = "degrees" if turn == "chords" else "chords"
        chosen = turn if able[turn] else other if able[other] else ""
        if chosen:
            fit[chosen].append(example)
            if able["degrees"] and able["chords"]:
                turn = other
    return fit[kind]


def has_degrees(example: LessonExample) -> bool:
    """Whether there is a degree beside the one that is given."""
    return sum(degree is not None for degree in example.labels.degrees) > 1


def has_numerals(example: LessonExample) -> bool:
    """Whether there are chords enough to be named."""
    return sum(bool(text) for text in example.labels.numerals) >= FEWEST_NUMERALS


def changes_key(example: LessonExample) -> bool:
    """Whether the key changes, and no printed signature gives it away."""
    keys = example.labels.keys
    return len(keys) > 1 and not any(key.printed for key in keys[1:])


# Questions about two passages.


def shared_questions(examples: Sequence[LessonExample]) -> Iterator[SharedQuestion]:
    """Pairs of passages of different tunes that share most, each passage once."""
    found: list[tuple[float, int, int, Comparison]] = []
    for one, other in combinations(examples, 2):
        if one.row.tune_id == other.row.tune_id:
            continue
        made = compared(passage_of(one), passage_of(other))
        if made is None or made.likeness.agreeing < FEWEST_SHARED:
            continue
        share = made.likeness.agreeing / min(len(one.excerpt), len(other.excerpt))
        # Where nothing at all differs there is little to find: such pairs come last.
        alike = made.likeness.count(SAME_IN_TIME) == len(made.likeness.pairs)
        order = 2.0 if alike else 1 - share
        if share >= LEAST_SHARED:
            found.append((order, one.position, other.position, made))
    used: set[int] = set()
    made_so_far = 0
    for _, first, second, comparison in sorted(found, key=lambda each: each[:3]):
        if made_so_far < MOST_OF_A_KIND["shared notes"] and not used & {first, second}:
            used |= {first, second}
            made_so_far += 1
            yield SharedQuestion(examples[first - 1], examples[second - 1], comparison)


def compared(a: Passage, b: Passage) -> Comparison | None:
    """Two passages laid side by side; None where no note agrees or there are too few."""
    try:
        return compare(a, b)
    except MelodexError:
        return None


def passage_of(example: LessonExample) -> Passage:
    """A passage of a set as other tasks take it."""
    row = example.row
    return Passage(example.excerpt, example.excerpt, row.first_note, row.tune_id, True)


def relative_questions(
    corpus: Corpus, examples: Sequence[LessonExample]
) -> Iterator[RelativeQuestion]:
    """For the first passages that have a relative: it, and two that come near."""
    chunks = list(corpus.chunks())
    made = 0
    short = [each for each in examples if len(each.excerpt) <= MOST_PHRASE_NOTES]
    for example in short[:MOST_TRIED]:
        if made == MOST_OF_A_KIND["relative"]:
            return
        question = relative_question(corpus, chunks, example)
        if question is not None:
            made += 1
            yield question


def relative_question(
    corpus: Corpus, chunks: Sequence[object], example: LessonExample
) -> RelativeQuestion | None:
    """The question about one passage; None where it has no relative or no near misses."""
    phrase = passage_of(example)
    try:
        query = encode_query(phrase.phrase())
    except MelodexError:
        return None
    own = frozenset({example.row.tune_id})
    hits = search(chunks, query, limit=SEARCHED, exclude=own, on_damage=left_out)  # type: ignore[arg-type]
    if len(hits) < CHOICES:
        return None
    low, high = NEAR_MISS
    best = hits[0].points
    wrong = [hit for hit in hits[1:] if low * best <= hit.points <= high * best]
    # A tune that is nearly as good may be a relative too: then nothing is asked.
    if len(wrong) < CHOICES - 1 or hits[1].points > high * best:
        return None
    made = [choice_of(corpus, phrase, hit) for hit in (hits[0], *wrong[: CHOICES - 1])]
    if any(each is None for each in made):
        return None
    choices = [each for each in made if each is not None]
    found = choices[0].comparison.likeness
    near = found.agreeing + found.count(INFLECTED)
    if near < RELATIVE_SHARE * len(example.excerpt):
        return None
    return lettered(example, choices)


def left_out(damage: DamagedCorpusError) -> None:
    """A damaged part of the corpus gives no choices; a check tells of it."""


def choice_of(corpus: Corpus, phrase: Passage, hit: Hit) -> Choice | None:
    """The passage of a hit, as many bars as the phrase has, compared with it."""
    whole = corpus.melody(hit.tune_id)
    wanted = phrase.melody.bar[-1] - phrase.melody.bar[0]
    start, end = whole.bar[hit.tune_span[0]], whole.bar[hit.tune_span[1]]
    end = min(max(end, start + wanted), whole.bar[-1])
    # A shorter passage than the others would be told by its length.
    start = max(min(start, end - wanted), whole.bar[0])
    first, last = whole.notes_of_bars(start, end)
    passage = Passage(whole.excerpt(first, last), whole, first, hit.tune_id, True)
    made = compared(phrase, passage)
    return Choice("", passage, labels_of(whole, first, last), made) if made else None


def lettered(example: LessonExample, choices: Sequence[Choice]) -> RelativeQuestion:
    """The choices in an order that their content gives, the first being the answer."""

    def drawn(choice: Choice) -> str:
        text = f"{example.row.excerpt_sha256} {choice.passage.tune_id}"
        return hashlib.sha256(text.encode()).hexdigest()

    ordered = sorted(choices, key=drawn)
    named = tuple(
        Choice(letter, each.passage, each.labels, each.comparison)
        for letter, each in zip("ABC", ordered, strict=True)
    )
    return RelativeQuestion(example, named, "ABC"[ordered.index(choices[0])])
