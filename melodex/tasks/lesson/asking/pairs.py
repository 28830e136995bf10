"""Questions about two passages: what they share, and which of them shows the topic.

Conventions: notes are shared where both passages have the same degree at the same time
after the bar line before their first whole bar, counted note by note. The answer shows
them in boxes.

Contents: are_beside, compare_questions, shared_questions, shared_places,
spot_question, spot_by_ear.
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
from melodex.melody.cutting import notes_of_bars
from melodex.tasks.lesson.asking.beside import beside_part, in_words_part
from melodex.tasks.lesson.asking.cutting import is_double
from melodex.tasks.lesson.asking.focus import NoteWish, hits_of, note_wish
from melodex.tasks.lesson.asking.parts import is_sure, key_at, known_degrees, why_note
from melodex.tasks.lesson.asking.proofs import degree_by_letters
from melodex.tasks.lesson.asking.records import Field, KeyName, Part, Question, Shown, Words
from melodex.tasks.lesson.labels import labels_of

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "are_beside",
    "compare_questions",
    "shared_places",
    "shared_questions",
    "spot_by_ear",
    "spot_question",
]

FEWEST_SHARED = 4
LEAST_SHARED, MOST_SHARED = 0.3, 0.95
"""Share of the shorter passage's notes that agree: fewer is no likeness, and where all do
there is nothing to find; our choice."""

MOST_TRIED = 500
"""Pairs of passages that are compared: all of a set of thirty."""


def first_full_bar(melody: Melody) -> int:
    """When the first bar begins that is no pickup."""
    full = melody.metre.bar_ticks if melody.metre else 0
    bars = melody.bars
    if len(bars) > 1 and bars[0].duration_ticks < full:
        return bars[1].onset_ticks
    return bars[0].onset_ticks if bars else melody.onset_ticks[0]


def offsets(melody: Melody) -> list[int]:
    """When each note begins, after the first bar line that a full bar follows."""
    first = first_full_bar(melody)
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


def are_beside(one: Shown, other: Shown) -> bool:
    """Whether two passages can be laid beside one another in a question."""
    return (
        is_sure(one)
        and is_sure(other)
        and one.excerpt.metre == other.excerpt.metre
        and len(known_degrees(one)) == len(one.excerpt)
        and len(known_degrees(other)) == len(other.excerpt)
        and not is_double(one.excerpt, other.excerpt)
    )


def shared_question(one: Shown, other: Shown, position: int) -> Question | None:
    """What two passages share, note by note, if that is some and not all."""
    if not are_beside(one, other):
        return None
    counted = shared_places(one, other)
    share = len(counted) / min(len(one.excerpt), len(other.excerpt))
    if len(counted) < FEWEST_SHARED or not LEAST_SHARED <= share <= MOST_SHARED:
        return None
    task: Words = (
        "Count bars from the first whole one. Ring the notes of A that B has too: the same "
        "degree at the same time. How many are there?",
    )
    count = str(len(counted))
    why: Words = (f"{count} notes are the same; they stand in boxes in both.",)
    first = Part("shared notes", task, (Field(((count,),)),), why, level=2)
    marks = [frozenset(notes) for notes in zip(*counted, strict=True)]
    passages = (
        replace(one, letter="A", answer_notes=marks[0]),
        replace(other, letter="B", answer_notes=marks[1]),
    )
    parts = (first, in_words_part(*passages))
    return Question("Two passages", passages, parts, position)


def shared_questions(
    passages: Sequence[tuple[int, Shown]], most: int
) -> Iterator[tuple[Question, frozenset[int]]]:
    """Questions about pairs of passages, each passage once, with the positions used."""
    used: set[int] = set()
    made = 0
    for (first, one), (second, other) in islice(combinations(passages, 2), MOST_TRIED):
        if made >= most or used & {first, second}:
            continue
        question = shared_question(one, other, first)
        if question is not None:
            used |= {first, second}
            made += 1
            yield question, frozenset({first, second})


def compare_questions(
    passages: Sequence[tuple[int, Shown]], most: int
) -> Iterator[tuple[Question, frozenset[int]]]:
    """Questions that set two passages side by side in words, each passage once."""
    used: set[int] = set()
    made = 0
    for (first, one), (second, other) in islice(combinations(passages, 2), MOST_TRIED):
        if made >= most or used & {first, second} or not are_beside(one, other):
            continue
        if not (one.is_in_one_key and other.is_in_one_key):
            continue
        shown = (replace(one, letter="A"), replace(other, letter="B"))
        parts = (beside_part(*shown), in_words_part(*shown))
        used |= {first, second}
        made += 1
        yield Question("Side by side", shown, parts, first), frozenset({first, second})


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


def spot_by_ear(corpus: Corpus, shown: Shown, position: int) -> Question | None:
    """Say by ear which of two passages of one tune has the degree that the note is.

    None where the other passage has that degree too: only then can the ear tell.
    """
    made = spot_question(corpus, shown, position)
    if made is None or not all(p.is_in_one_key and is_sure(p) for p in made.passages):
        return None
    topic = shown.labels.topic
    wish = note_wish(topic.asked) if topic else None
    if wish is None:
        return None
    note, place, _ = hits_of(wish, shown)[0]
    name = degree(shown, note)
    having = [
        each.letter
        for each in made.passages
        if name in {degree(each, n) for n in range(len(each.excerpt))}
    ]
    keys = [each.labels.keys[0].key for each in made.passages]
    if len(having) != 1 or keys[0] != keys[1]:
        return None
    task: Words = (
        f"To be heard: in one of A and B the melody has degree {name} of ",
        KeyName(keys[0]),
        ", in the other nowhere. Which has it?",
    )
    index = "AB".index(having[0])
    why = of_passage(why_note(shown, note, place, wish.degree), index)
    part = replace(made.parts[0], kind="hear", task=task, why=(*why, "."))
    heard = tuple(
        replace(each, heard="nothing", is_named=False, has_key_names=False)
        for each in made.passages
    )
    return replace(made, heading="Which of the two, by ear?", passages=heard, parts=(part,))


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
        first, last = notes_of_bars(whole, start, end)
        excerpt = whole.excerpt(first, last)
        if len(excerpt.chords) < 2 or len(excerpt) < 4:
            continue
        other = Shown(excerpt, labels_of(whole, first, last), shown.tune_id)
        if not hits_of(wish, other) and not is_double(excerpt, shown.excerpt):
            return other
    return None
