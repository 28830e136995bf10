"""Parts about figures: where one stands, and how one comes again.

Conventions: a figure returns note for note, in sequence (the same steps by letter from
another note), or turned over (each step by letter the other way), always in the same
rhythm. Bars are compared as whole bars, by letters and not by semitones, since a sequence
may be tonal (common practice, no source). A pupil goes on with a sequence only where
every note of both times lies in the scale of the key that is named: then the second time
follows from the first and from the note that it begins on, and there is no other answer.

Contents: figure_notes, find_figure, Return, notes_in, returns_in, return_part,
halves_part, sequence_part.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from melodex.errors import MelodexError
from melodex.matching.query import encode_query
from melodex.melody import (
    Melody,
    bars_text,
    fifths_from_name,
    octave_of,
    pitch_class_name,
)
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.lesson.asking.cutting import part_of
from melodex.tasks.lesson.asking.facts import MODE_STEPS, above, name_of
from melodex.tasks.lesson.asking.parts import Made, is_sure
from melodex.tasks.lesson.asking.proofs import LETTERS, NUMBERS, Pitch, named
from melodex.tasks.lesson.asking.records import (
    Field,
    KeyName,
    NoteName,
    Part,
    Shown,
    Word,
    Words,
)

__all__ = [
    "Return",
    "figure_notes",
    "find_figure",
    "halves_part",
    "notes_in",
    "return_part",
    "returns_in",
    "sequence_part",
]


def figure_notes(shown: Shown, asked: str) -> list[int]:
    """The notes of a passage that hold a figure, in any key; none where it is not there."""
    starts, length = figure_starts(shown, asked)
    return list(range(starts[0], starts[0] + length)) if starts else []


def figure_starts(shown: Shown, asked: str) -> tuple[list[int], int]:
    """Where a figure begins in a passage, and its length."""
    try:
        pitch = encode_query(read_phrase(asked)).pitch
    except MelodexError:
        return [], 0
    wanted = [b - a for a, b in pairwise(pitch)]
    steps = [b - a for a, b in pairwise(shown.excerpt.midi)]
    size = len(wanted)
    places = range(len(steps) - size + 1)
    return [at for at in places if steps[at : at + size] == wanted], size + 1


def find_figure(shown: Shown, notes: Sequence[int], degrees: Sequence[str]) -> Part | None:
    """Say in which bar a figure begins, where it stands once."""
    topic = shown.labels.topic
    starts, _ = figure_starts(shown, topic.asked if topic else "")
    melody = shown.excerpt
    if len(starts) != 1 or not degrees or len(set(melody.bar)) < 2:
        return None
    told = " ".join(degrees)
    task: Words = (f"The figure {told} stands here once. In which bar does it begin?",)
    bar = melody.bar[notes[0]]
    beat = notes[0] - melody.bar.index(bar) + 1
    why: Words = (f"It begins with note {beat} of bar {bar}.",)
    return Part("find", task, (Field(((str(bar),),)),), why, True, level=2)


# Returns.


class Return(NamedTuple):
    """Bars that come again: first and last of both, how, and by how many letters."""

    first: tuple[int, int]
    again: tuple[int, int]
    how: str
    letters: int


HOW = ("note for note", "in sequence", "turned over")


def letters_of(melody: Melody) -> list[int]:
    """Each note as a number of letters above C0."""
    return [
        LETTERS.index(pitch_class_name(fifths)[0]) + 7 * octave_of(midi, fifths)
        for midi, fifths in zip(melody.midi, melody.fifths, strict=True)
    ]


def notes_in(melody: Melody, first: int, last: int) -> list[int]:
    """The notes of some bars."""
    return [i for i, bar in enumerate(melody.bar) if first <= bar <= last]


def how_again(melody: Melody, one: Sequence[int], other: Sequence[int]) -> tuple[str, int]:
    """How some notes are others again, and by how many letters; empty if they are not."""
    if len(one) != len(other) or len(one) < 3:
        return "", 0
    rhythm = [
        [
            (melody.onset_ticks[i] - melody.onset_ticks[n[0]], melody.duration_ticks[i])
            for i in n
        ]
        for n in (one, other)
    ]
    if rhythm[0] != rhythm[1]:
        return "", 0
    letters = letters_of(melody)
    steps = [
        [letters[b] - letters[a] for a, b in pairwise(notes)] for notes in (one, other)
    ]
    moved = letters[other[0]] - letters[one[0]]
    if not any(steps[0]):
        return "", 0
    if [melody.midi[i] for i in one] == [melody.midi[i] for i in other]:
        return "note for note", 0
    if steps[0] == steps[1] and moved:
        return "in sequence", moved
    turned = [-step for step in steps[0]] == steps[1]
    return ("turned over", moved) if turned else ("", 0)


def returns_in(shown: Shown, bars: Sequence[int]) -> Iterator[Return]:
    """Bars that come again right after or later, the longest first."""
    melody = shown.excerpt
    numbers = [bar for bar in dict.fromkeys(melody.bar) if not bars or bar in bars]
    for size in (4, 3, 2, 1):
        for at, first in enumerate(numbers):
            one = (first, first + size - 1)
            for again in numbers[at + size :]:
                other = (again, again + size - 1)
                if one[1] >= other[0] or other[1] > numbers[-1]:
                    continue
                how, moved = how_again(
                    melody, notes_in(melody, *one), notes_in(melody, *other)
                )
                if how:
                    yield Return(one, other, how, moved)


def return_part(shown: Shown, bars: Sequence[int]) -> tuple[Part | None, ...]:
    """Say how some bars come again, and by which interval."""
    found = list(returns_in(shown, bars))
    if not found:
        return ()
    topic = shown.labels.topic
    wanted = {"sequence": "in sequence", "inversion": "turned over"}
    how = wanted.get(topic.asked if topic else "", "note for note")
    best = next((each for each in found if each.how == how), None)
    if best is None:
        return ()
    one, other = bars_text(*best.first), bars_text(*best.again)
    task: Words = (f"{one.capitalize()} and {other}: how do the notes come again?",)
    why: Words = (f"The rhythm is the same, and each step by letter {WHY[best.how]}.",)
    accepted = ((best.how,), (OTHER_WORDS[best.how],))
    asked = Part("returning", task, (Field(accepted),), why, True, choices=HOW)
    return (asked, by_how_far(best))


WHY = {
    "note for note": "and pitch too",
    "in sequence": "too, from another note",
    "turned over": "goes the other way",
}
OTHER_WORDS = {
    "note for note": "repetition",
    "in sequence": "sequence",
    "turned over": "inversion",
}


def halves_part(shown: Shown, *, is_topical: bool = False) -> Made | None:
    """Say of a passage that is heard how its second half is its first again."""
    for found in returns_in(shown, ()):
        if found.again[0] != found.first[1] + 1:
            continue
        cut = part_of(shown, found.first[0], found.again[1])
        halves = notes_in(cut.excerpt, *found.first), notes_in(cut.excerpt, *found.again)
        if len(halves[0]) + len(halves[1]) != len(cut.excerpt):
            continue
        task: Words = ("the second half is the first again. How?",)
        why: Words = (f"The rhythm is the same, and each step by letter {WHY[found.how]}.",)
        accepted = ((found.how,), (OTHER_WORDS[found.how],))
        part = Part(
            "returning", task, (Field(accepted),), why, is_topical, choices=HOW, level=2
        )
        return Made(cut, part)
    return None


def by_how_far(found: Return) -> Part | None:
    """Say by which interval, counted by letters, a sequence is moved."""
    steps = abs(found.letters)
    if found.how != "in sequence" or not 0 < steps < 7:
        return None
    way = "up" if found.letters > 0 else "down"
    name = NUMBERS[steps]
    task: Words = ("How far is the second time moved, and which way? (Count by letters.)",)
    accepted = ((f"a {name} {way}",), (f"{name} {way}",))
    why: Words = (f"Its first note stands a {name} {way} from that of the first time.",)
    return Part("returning", task, (Field(accepted),), why, True, level=2)


# Going on.


FEWEST_WRITTEN, MOST_CONTINUED = 2, 8
"""Notes that a pupil goes on with; our choice."""


def sequence_part(shown: Shown, *, is_topical: bool = False) -> Made | None:
    """Go on with a sequence of which the first time and one more note are printed."""
    if not is_sure(shown) or not shown.is_in_one_key or shown.excerpt.graces:
        return None
    for found in returns_in(shown, ()):
        if found.how != "in sequence" or found.again[0] != found.first[1] + 1:
            continue
        made = continued(shown, found, is_topical=is_topical)
        if made is not None:
            return made
    return None


def continued(shown: Shown, found: Return, *, is_topical: bool) -> Made | None:
    """The part about one sequence, if what is written follows from what is printed."""
    cut = part_of(shown, found.first[0], found.again[1])
    melody, key = cut.excerpt, cut.labels.keys[0].key
    one, other = notes_in(melody, *found.first), notes_in(melody, *found.again)
    rest = other[1:]
    if key.mode not in MODE_STEPS or len(one) + len(other) != len(melody):
        return None
    if not FEWEST_WRITTEN <= len(rest) <= MOST_CONTINUED or is_held_over(cut, other[0]):
        return None
    written = in_scale(cut, found)
    if written is None or written != [melody.fifths[note] for note in other]:
        return None
    names: list[Word] = []
    for note in rest:
        names += (
            [" ", NoteName(melody.fifths[note])]
            if names
            else [NoteName(melody.fifths[note])]
        )
    bars, after = bars_text(*found.first), bars_text(*found.again)
    goes, begins = ("are", "They begin") if "bars" in after else ("is", "It begins")
    task: Words = (
        f"{after.capitalize()} {goes} {bars} in sequence, with no note that is foreign to ",
        KeyName(key),
        f". {begins} on ",
        NoteName(melody.fifths[other[0]]),
        f": write the other {len(rest)} notes on the stave, or their names here.",
    )
    way = "up" if found.letters > 0 else "down"
    far = NUMBERS[abs(found.letters) % 7] if abs(found.letters) % 7 else "octave"
    why: Words = (f"Each note lies a {far} {way} from its place in {bars}.",)
    field = Field((tuple(names),))
    part = Part("sequence", task, (field,), why, is_topical, level=2)
    return Made(replace(cut, unwritten=frozenset(rest)), part)


def is_held_over(shown: Shown, note: int) -> bool:
    """Whether a note before one lasts beyond where that begins, or it begins no bar."""
    melody = shown.excerpt
    begins = {bar.onset_ticks for bar in melody.bars}
    ends = melody.onset_ticks[note - 1] + melody.duration_ticks[note - 1]
    return ends > melody.onset_ticks[note] or melody.onset_ticks[note] not in begins


def in_scale(shown: Shown, found: Return) -> list[int] | None:
    """The notes of the second time, from the first and its own first note, by the scale.

    None where a note of the first time is foreign to the key.
    """
    melody, key = shown.excerpt, shown.labels.keys[0].key
    one, other = notes_in(melody, *found.first), notes_in(melody, *found.again)
    tonic = named(key.tonic_fifths)
    scale = {
        note.letter: note
        for note in (above(tonic, step) for step in MODE_STEPS[key.mode].split())
    }
    if any(scale[named(melody.fifths[n]).letter] != named(melody.fifths[n]) for n in one):
        return None
    letters = [named(melody.fifths[note]).letter for note in one]
    at = named(melody.fifths[other[0]]).letter
    rows = [at]
    for before, after in pairwise(letters):
        at = (at + after - before) % len(LETTERS)
        rows.append(at)
    return [fifths_of(scale[letter]) for letter in rows]


def fifths_of(note: Pitch) -> int:
    """A note on the line of fifths."""
    return fifths_from_name(name_of(note))
