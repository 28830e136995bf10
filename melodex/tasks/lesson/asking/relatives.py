"""Which of three passages is a relative of the phrase?

Conventions: asked only where a class can hear it. The relative is beyond chance in this
corpus (expected less than once in a hundred searches); most of the phrase's notes have
their like in it, and at most half as many in a wrong choice; wrong choices are two other
tunes, none a setting of the relative, of the phrase or of one another. Notes are counted
in :func:`agreeing` without the alignment: the longest row of notes with the same degree
that follow one another in both.

Contents: relative_questions, agreeing, LEAST_SHARE, MOST_RIVAL.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from melodex.corpus.rows import folded
from melodex.errors import MelodexError
from melodex.melody.cutting import notes_of_bars
from melodex.melody.tune_id import leading
from melodex.tasks.compare.compare import compare
from melodex.tasks.lesson.asking.pairs import degree
from melodex.tasks.lesson.asking.parts import is_sure
from melodex.tasks.lesson.asking.records import Field, Part, Question, Shown, Words
from melodex.tasks.lesson.labels import labels_of
from melodex.tasks.passage import Passage
from melodex.tasks.resemble import Match, resemble

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["LEAST_SHARE", "MOST_RIVAL", "agreeing", "relative_questions"]

MOST_EXPECTED = 0.01
LEAST_SHARE = 0.7
MOST_RIVAL = 0.5
"""Agreeing notes of the relative over those of the phrase, and of a wrong choice over
those of the relative; our choice of a gap that a class can hear."""

FEWEST_NOTES, MOST_NOTES = 8, 40
SEARCHED = 40
MOST_TRIED = 8
"""Matches looked at for a relative, and passages that are searched with; our choice."""
CHOICES = "ABC"


def agreeing(a: Shown, b: Shown) -> int:
    """How many notes two passages have in common, in order: same degree, any rhythm.

    The longest common subsequence of their degrees, by dynamic programming.
    """
    one = [degree(a, note) for note in range(len(a.excerpt))]
    other = [degree(b, note) for note in range(len(b.excerpt))]
    row = [0] * (len(other) + 1)
    for name in one:
        before = row
        row = [0]
        for place, there in enumerate(other):
            best = before[place] + 1 if name == there else max(before[place + 1], row[-1])
            row.append(best)
    return row[-1]


def relative_questions(
    corpus: Corpus, passages: Sequence[tuple[int, Shown]], most: int
) -> Iterator[tuple[Question, int]]:
    """For the first passages that have one: a question, and the position it uses."""
    made = 0
    short = [
        each for each in passages if FEWEST_NOTES <= len(each[1].excerpt) <= MOST_NOTES
    ]
    for position, shown in short[:MOST_TRIED]:
        if made >= most:
            return
        question = relative_question(corpus, shown, position)
        if question is not None:
            made += 1
            yield question, position


def relative_question(corpus: Corpus, shown: Shown, position: int) -> Question | None:
    """The question about one passage; None where it would not hold."""
    if not is_sure(shown):
        return None
    try:
        phrase = passage_of(shown).phrase()
        found = resemble(corpus, phrase, limit=SEARCHED, exclude=(shown.tune_id,))
    except MelodexError:
        return None
    best = sorted(found.matches, key=lambda match: -match.likeness.points)
    if not best or (best[0].expected_by_chance or 1.0) > MOST_EXPECTED:
        return None
    right = choice_of(corpus, shown, best[0])
    count = agreeing(shown, right)
    if count < LEAST_SHARE * len(shown.excerpt) or not is_sure(right):
        return None
    if len(best) > 1 and agreeing(shown, choice_of(corpus, shown, best[1])) > (
        MOST_RIVAL * count
    ):
        return None
    wrong = rivals(corpus, shown, right, best[1:], count)
    return lettered(shown, right, wrong, position) if len(wrong) == 2 else None


def rivals(
    corpus: Corpus, shown: Shown, right: Shown, matches: Sequence[Match], count: int
) -> list[Shown]:
    """Two wrong choices, far enough from the phrase, the relative and each other."""
    chosen: list[Shown] = []
    titles = {folded(shown.excerpt.title), folded(right.excerpt.title)}
    for match in matches:
        each = choice_of(corpus, shown, match)
        if folded(each.excerpt.title) in titles or not is_sure(each):
            continue
        others = [shown, right, *chosen]
        if all(agreeing(other, each) <= MOST_RIVAL * count for other in others):
            chosen.append(each)
            titles.add(folded(each.excerpt.title))
        if len(chosen) == 2:
            break
    return chosen


def choice_of(corpus: Corpus, shown: Shown, match: Match) -> Shown:
    """The passage of a match, in as many bars as the phrase has."""
    whole = corpus.melody(match.passage.tune_id)
    start_note = match.passage.first_note
    wanted = shown.excerpt.bar[-1] - shown.excerpt.bar[0]
    start = whole.bar[start_note]
    end = whole.bar[min(start_note + len(match.passage.melody), len(whole)) - 1]
    end = min(max(end, start + wanted), whole.bar[-1])
    # A shorter passage than the others would be told by its length.
    start = max(min(start, end - wanted), whole.bar[0])
    first, last = notes_of_bars(whole, start, end)
    labels = labels_of(whole, first, last)
    return Shown(whole.excerpt(first, last), labels, match.passage.tune_id, is_named=False)


def lettered(shown: Shown, right: Shown, wrong: Sequence[Shown], position: int) -> Question:
    """The choices in an order that their content gives."""

    def drawn(choice: Shown) -> str:
        told = f"{shown.title} {leading(choice.tune_id)}"
        return hashlib.sha256(told.encode()).hexdigest()

    ordered = sorted((right, *wrong), key=drawn)
    letter = CHOICES[ordered.index(right)]
    counts = [
        f"{name} has {agreeing(shown, each)}"
        for name, each in zip(CHOICES, ordered, strict=True)
    ]
    whole = len(shown.excerpt)
    why: Words = (f"Of the {whole} notes of the phrase, in order, {', '.join(counts)}.",)
    task: Words = (
        "One of A, B and C is a relative of the phrase: the same tune varied, in another "
        "key or rhythm perhaps. Which one?",
    )
    part = Part(
        "relative", task, (Field(((letter,),)),), why, choices=tuple(CHOICES), level=2
    )
    words: Words = ("By what do you know it?",)
    told = f"{letter} is {right.title}. {' '.join(summary(shown, right))}"
    reason = Part("in words", words, (Field(((told,),)),), (told,), is_open=True, level=3)
    choices = tuple(
        replace(each, letter=name) for each, name in zip(ordered, CHOICES, strict=True)
    )
    passages = (replace(shown, letter="Phrase"), *choices)
    return Question("Which is the relative?", passages, (part, reason), position)


def passage_of(shown: Shown) -> Passage:
    """A passage of a set as other tasks take it."""
    return Passage(shown.excerpt, shown.excerpt, 0, shown.tune_id, True)


def summary(shown: Shown, right: Shown) -> tuple[str, ...]:
    """What compare says of the phrase and its relative."""
    try:
        return compare(passage_of(shown), passage_of(right)).summary[:1]
    except MelodexError:
        return ()
