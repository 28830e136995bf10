"""Passages brought to what a line or two of paper holds, and doubles left out.

Conventions: a cut passage is made of whole bars and holds what it is kept for with a bar
before and after. Two passages are the same music where one holds the other's notes, in
any key, or where half of the bars of the shorter stand in the other; then only the first
is asked about, and the others are named beside it.

Contents: MOST_BARS, fitted, part_of, without_doubles, is_double.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from melodex.melody import Melody
from melodex.tasks.lesson.asking.records import Shown
from melodex.tasks.lesson.labels import Labels
from melodex.tasks.lesson.sets import LessonExample

__all__ = ["MOST_BARS", "fitted", "is_double", "part_of", "without_doubles"]

MOST_BARS = 4
"""Bars of a passage of which no part is meant more than another."""

MOST_NOTES = 28
"""Notes that a line or two of large staves hold with room under each; our choice."""

WHOLE_KINDS = {"section_bars", "odd_sections", "key_change", "mode_change"}
"""What can only be seen where the whole passage is."""


def fitted(example: LessonExample, *, most_bars: int = MOST_BARS) -> Shown:
    """Return a passage of a set as a question shows it, cut where it is long.

    Parameters
    ----------
    example : LessonExample
        With what it was kept for.
    most_bars : int
        Bars to keep where no part is meant more than another.
    """
    topic = example.labels.topic
    excerpt, labels = example.excerpt, example.labels
    if excerpt.chords_worked_out:
        # What was worked out is a reading: no class is held to it.
        excerpt = replace(excerpt, chords=(), chords_worked_out=False)
        labels = replace(labels, numerals=())
    first, last = excerpt.bar[0], excerpt.bar[-1]
    whole = Shown(excerpt, labels, example.row.tune_id)
    if topic is not None and topic.kind in WHOLE_KINDS:
        return whole
    inside = [s for s in (topic.spans if topic else ()) if first <= s[0] <= s[1] <= last]
    if inside and inside[0] != (first, last):
        start, end = inside[0][0] - 1, inside[0][1] + 1
    else:
        start, end = first, first + most_bars - 1
    end = max(end, start + most_bars - 1)
    start = max(first, min(start, last - most_bars + 1))
    return part_of(whole, start, min(end, last))


def part_of(shown: Shown, first_bar: int, last_bar: int) -> Shown:
    """The bars of a passage that lie in a span; the whole where none of them do."""
    inside = [i for i, bar in enumerate(shown.excerpt.bar) if first_bar <= bar <= last_bar]
    if not inside or len(inside) == len(shown.excerpt):
        return shown
    excerpt = shown.excerpt.excerpt(inside[0], inside[-1])
    labels = part_of_labels(shown, excerpt, inside[0], inside[-1])
    return replace(shown, excerpt=excerpt, labels=labels)


def part_of_labels(shown: Shown, excerpt: Melody, first: int, last: int) -> Labels:
    """The labels of some notes of a passage."""
    labels = shown.labels
    named = dict(zip(shown.excerpt.chords, labels.numerals, strict=True))
    start, end = excerpt.onset_ticks[0], excerpt.onset_ticks[-1]
    before = [key for key in labels.keys if key.onset_ticks <= start][-1:]
    after = [key for key in labels.keys if start < key.onset_ticks <= end]
    held = [
        replace(key, onset_ticks=start, bar=excerpt.bar[0], how="start") for key in before
    ]
    bars = excerpt.bar[0], excerpt.bar[-1]
    return replace(
        labels,
        degrees=labels.degrees[first : last + 1],
        numerals=tuple(named[chord] for chord in excerpt.chords),
        keys=tuple(held + after),
        finds=tuple(
            find
            for find in labels.finds
            if bars[0] <= find.first_bar and find.last_bar <= bars[1]
        ),
    )


# Doubles.


Step = tuple[int, int, int]


def shape_of(melody: Melody) -> tuple[Step, ...]:
    """Step, wait and length of each note after the first: the music in any key."""
    onsets, lengths = melody.onset_ticks, melody.duration_ticks
    return tuple(
        (melody.midi[b] - melody.midi[a], onsets[b] - onsets[a], lengths[b])
        for a, b in pairwise(range(len(melody)))
    )


def bars_of(melody: Melody) -> list[tuple[Step, ...]]:
    """The shape of each bar; a bar of one note says nothing and is left out."""
    found = []
    for number in dict.fromkeys(melody.bar):
        notes = [i for i, bar in enumerate(melody.bar) if bar == number]
        if len(notes) > 1:
            found.append(shape_of(melody.excerpt(notes[0], notes[-1])))
    return found


@dataclass(frozen=True, slots=True)
class Music:
    """The shape of a passage and of its bars, worked out once."""

    shape: tuple[Step, ...]
    bars: tuple[tuple[Step, ...], ...]


def music_of(melody: Melody) -> Music:
    """The shapes of a passage."""
    return Music(shape_of(melody), tuple(bars_of(melody)))


def is_double(one: Melody, other: Melody) -> bool:
    """Whether two passages are the same music, or half of the shorter is."""
    return is_same(music_of(one), music_of(other))


def is_same(one: Music, other: Music) -> bool:
    """Whether one holds the other, or half of the bars of the shorter."""
    short, long = sorted((one.shape, other.shape), key=len)
    if any(long[at : at + len(short)] == short for at in range(len(long) - len(short) + 1)):
        return True
    few, many = sorted((one.bars, other.bars), key=len)
    shared = sum(bar in many for bar in few)
    return shared > 1 and 2 * shared >= len(few)


def without_doubles(shown: Sequence[Shown]) -> list[tuple[int, Shown, tuple[str, ...]]]:
    """Leave the same music out: place from 0, passage, and where it stands too."""
    kept: list[tuple[int, Shown, list[str], Music]] = []
    for place, each in enumerate(shown):
        music = music_of(each.excerpt)
        same = next((k for k in kept if is_same(k[3], music)), None)
        if same is None:
            kept.append((place, each, [], music))
        else:
            here = same[1].tune_id == each.tune_id
            same[2].append(each.bars if here else each.title)
    return [(place, each, tuple(dict.fromkeys(also))) for place, each, also, _ in kept]
