"""Questions about two passages: what they share, and which of them shows the topic.

Conventions: notes are shared where both passages have the same degree at the same time
after their first bar line; that is counted anew, note by note, and asked only where
``compare`` pairs just those notes and no others.

Contents: shared_questions, shared_places, spot_question.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, islice
from typing import TYPE_CHECKING

from melodex.analysis.harmony.placed import spoken_degree
from melodex.errors import MelodexError
from melodex.melody import Melody
from melodex.tasks.compare import Comparison, compare
from melodex.tasks.lesson.asking.cutting import is_double
from melodex.tasks.lesson.asking.focus import NoteWish, hits_of, note_wish
from melodex.tasks.lesson.asking.parts import is_sure, key_at, why_note
from melodex.tasks.lesson.asking.proofs import degree_by_letters
from melodex.tasks.lesson.asking.records import Field, Part, Question, Shown, Words
from melodex.tasks.lesson.labels import labels_of
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["compared", "shared_places", "shared_questions", "spot_question"]

FEWEST_SHARED = 5
LEAST_SHARED, MOST_SHARED = 0.5, 0.95
"""Share of the shorter passage's notes that agree: fewer is no likeness, and where all do
there is nothing to find; our choice."""

SAME = "same degree"

MOST_TRIED = 500
"""Pairs of passages that are compared: all of a set of thirty."""


def passage_of(shown: Shown) -> Passage:
    """A passage of a set as other tasks take it."""
    return Passage(shown.excerpt, shown.excerpt, 0, shown.tune_id, True)


def compared(a: Passage, b: Passage) -> Comparison | None:
    """Two passages laid side by side; None where no note agrees or there are too few."""
    try:
        return compare(a, b)
    except MelodexError:
        return None


def offsets(melody: Melody) -> list[int]:
    """When each note begins, after the bar line that the first full bar begins with."""
    first = melody.bars[0].onset_ticks if melody.bars else melody.onset_ticks[0]
    return [onset - first for onset in melody.onset_ticks]


def shared_places(a: Shown, b: Shown) -> list[tuple[int, int]]:
    """Notes of two passages with the same degree at the same time, by letters."""
    there = {offset: note for note, offset in enumerate(offsets(b.excerpt))}
    found = []
    for note, offset in enumerate(offsets(a.excerpt)):
        other = there.get(offset)
        if other is not None and degree(a, note) == degree(b, other):
            found.append((note, other))
    return found


def degree(shown: Shown, note: int) -> str:
    """The degree of a note in the key that holds there, by letters."""
    key = key_at(shown, shown.excerpt.onset_ticks[note])
    return degree_by_letters(key.tonic_fifths, shown.excerpt.fifths[note])


def shared_question(one: Shown, other: Shown, position: int) -> Question | None:
    """What two passages share, if the count and the comparison agree."""
    if not (is_sure(one) and is_sure(other)):
        return None
    if one.excerpt.metre != other.excerpt.metre or is_double(one.excerpt, other.excerpt):
        return None
    made = compared(passage_of(one), passage_of(other))
    if made is None:
        return None
    counted = shared_places(one, other)
    paired = [
        (pair.query, pair.tune)
        for pair in made.likeness.pairs
        if pair.relation.startswith(SAME)
    ]
    share = len(counted) / min(len(one.excerpt), len(other.excerpt))
    if sorted(counted) != sorted(paired) or len(counted) < FEWEST_SHARED:
        return None
    if not LEAST_SHARED <= share <= MOST_SHARED:
        return None
    return asked_shared(one, other, made, len(counted), position)


def asked_shared(
    one: Shown, other: Shown, made: Comparison, count: int, position: int
) -> Question:
    """The question about two passages that share notes."""
    task: Words = (
        "Ring the notes of A that B has too: the same degree at the same place in the "
        "bar. How many are there?",
    )
    why: Words = (f"{count} notes have the same degree at the same time; ", SUMMARY)
    first = Part("shared notes", task, (Field(((str(count),),)),), why, level=2)
    words: Words = ("Say in words what B changes.",)
    told = " ".join(made.summary[:2])
    open_part = Part(
        "in words", words, (Field(((told,),)),), (told,), is_open=True, level=3
    )
    passages = (replace(one, letter="A"), replace(other, letter="B"))
    return Question("Two passages", passages, (first, open_part), position, comparison=made)


SUMMARY = "the rings of the answer show which."


def shared_questions(
    passages: Sequence[tuple[int, Shown]], most: int
) -> Iterator[tuple[Question, frozenset[int]]]:
    """Questions about pairs of passages, each passage once, with the positions used."""
    used: set[int] = set()
    made = 0
    for (first, one), (second, other) in islice(combinations(passages, 2), MOST_TRIED):
        if made >= most or used & {first, second} or one.tune_id == other.tune_id:
            continue
        question = shared_question(one, other, first)
        if question is not None:
            used |= {first, second}
            made += 1
            yield question, frozenset({first, second})


# Which of two shows it?


def spot_question(corpus: Corpus, shown: Shown, position: int) -> Question | None:
    """Say which of two passages of one tune has the note that the set is about."""
    topic = shown.labels.topic
    wish = note_wish(topic.asked) if topic and topic.kind == "note_on_chord" else None
    if wish is None:
        return None
    hits = hits_of(wish, shown)
    try:
        whole = corpus.melody(shown.tune_id)
    except MelodexError:
        return None
    if not hits:
        return None
    other = without_it(whole, shown, wish)
    if other is None:
        return None
    pair = sorted((shown, other), key=lambda each: drawn(position, each))
    passages = tuple(
        replace(each, letter=letter) for each, letter in zip(pair, "AB", strict=True)
    )
    right = "AB"[pair.index(shown)]
    task: Words = (
        f"In one of A and B the melody has the {spoken_degree(wish.degree)} on "
        f"{wish.chord}, in the other nowhere. Which has it?",
    )
    note, place, _ = hits[0]
    why = (f"In {right}, bar {shown.excerpt.bar[note]}: ",)
    moved = (
        *why,
        *of_passage(why_note(shown, note, place, wish.degree), "AB".index(right)),
    )
    part = Part(
        "spot",
        task,
        (Field(((right,),)),),
        (*moved, "."),
        True,
        choices=("A", "B"),
        level=2,
    )
    return Question("Which of the two?", passages, (part,), position)


def of_passage(words: Words, index: int) -> Words:
    """Words that move with another passage of a question."""
    return tuple(
        word if isinstance(word, str) else replace(word, of=index) for word in words
    )


def drawn(position: int, shown: Shown) -> str:
    """An order of two passages that their content gives."""
    return hashlib.sha256(f"{position} {shown.title}".encode()).hexdigest()


def without_it(whole: Melody, shown: Shown, wish: NoteWish) -> Shown | None:
    """As many bars of the same tune with chords, new to the sheet, that lack the note."""
    size = shown.excerpt.bar[-1] - shown.excerpt.bar[0]
    numbers = list(dict.fromkeys(whole.bar))
    for start in numbers:
        end = start + size
        apart = end < shown.excerpt.bar[0] or start > shown.excerpt.bar[-1]
        if not apart or end > numbers[-1]:
            continue
        first, last = whole.notes_of_bars(start, end)
        excerpt = whole.excerpt(first, last)
        if len(excerpt.chords) < 2 or len(excerpt) < 4:
            continue
        other = Shown(excerpt, labels_of(whole, first, last), shown.tune_id)
        if not hits_of(wish, other) and not is_double(excerpt, shown.excerpt):
            return other
    return None
