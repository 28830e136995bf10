"""What can be said of two passages beside one another: in fields, and in words.

Conventions: each fact is read from the printed notes: metre, key, first and last degree,
and how wide the melody is. Intervals wider than an octave are named as octaves and more.

Contents: in_words_part, beside_part.
"""

from __future__ import annotations

from collections.abc import Iterator

from melodex.melody import pitch_class_name
from melodex.tasks.lesson.asking.parts import degree_texts
from melodex.tasks.lesson.asking.records import Field, Part, Shown, Word, Words

__all__ = ["beside_part", "in_words_part"]


def beside_part(a: Shown, b: Shown) -> Part:
    """Write the first and last degree of two passages, and which is wider."""
    fields = []
    for shown in (a, b):
        degrees = degree_texts(shown)
        ends = (("begins on degree", degrees[0]), ("ends on degree", degrees[-1]))
        for words, degree in ends:
            fields.append(Field(((degree,),), (f"{shown.letter} {words}",)))
    task: Words = ("On which degree of its key does each passage begin, and end?",)
    tonics = [pitch_class_name(shown.labels.keys[0].tonic_fifths) for shown in (a, b)]
    why: Words = (f"In A {tonics[0]} is 1, in B {tonics[1]}.",)
    if tonics[0] == tonics[1]:
        why = (f"In both {tonics[0]} is 1.",)
    return Part("compare", task, tuple(fields), why)


def in_words_part(a: Shown, b: Shown) -> Part:
    """Say in words what two passages share and in what they differ."""
    told: list[Word] = []
    for fact in facts(a, b):
        told += [" ", fact] if told else [fact]
    words: Words = ("Say in words one thing that A and B share, and one that differs.",)
    whole = tuple(told)
    return Part("in words", words, (Field((whole,)),), whole, is_open=True, level=3)


def facts(a: Shown, b: Shown) -> Iterator[str]:
    """What two passages share and in what they differ, a sentence each."""
    yield same_or_not("metre", *(metre_of(shown) for shown in (a, b)))
    yield same_or_not("mode", *(shown.labels.keys[0].mode for shown in (a, b)))
    rows = degree_texts(a), degree_texts(b)
    yield same_or_not("first degree", rows[0][0], rows[1][0])
    yield same_or_not("last degree", rows[0][-1], rows[1][-1])
    counts = len(a.excerpt), len(b.excerpt)
    yield same_or_not("number of notes", *map(str, counts))
    widths = [max(each.excerpt.midi) - min(each.excerpt.midi) for each in (a, b)]
    if widths[0] != widths[1]:
        wider = "A" if widths[0] > widths[1] else "B"
        far = abs(widths[0] - widths[1])
        yield f"{wider} is wider, by {far} semitone{'s' if far > 1 else ''}."


def metre_of(shown: Shown) -> str:
    """The time signature as it is written."""
    metre = shown.excerpt.metre
    return f"{metre.numerator}/{metre.denominator}" if metre else "none"


def same_or_not(what: str, a: str, b: str) -> str:
    """One fact: shared, or what it is in each."""
    return f"Shared: {what} {a}." if a == b else f"Different: {what} {a} in A, {b} in B."
