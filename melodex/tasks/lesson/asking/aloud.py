"""Parts that are sung or heard: on paper their task begins with just these words.

Conventions: what is to be heard is not printed, and sounds on the page or in the sheet's
MIDI file. It is asked only where the ear can tell: modes that differ within the passage,
how its second half comes again, where it ends. A teacher hears what is sung; the key says
its degrees and solfa.

Contents: heard_drafts, sing_part, sing_topic.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from melodex.tasks.lesson.asking.parts import (
    SOLFA,
    Made,
    chord_of,
    degree_texts,
    in_solfa,
    is_sure,
    known_degrees,
)
from melodex.tasks.lesson.asking.plain import ending_part, mode_part
from melodex.tasks.lesson.asking.records import (
    Field,
    NoteName,
    Part,
    Shown,
    Symbol,
    Word,
    Words,
)
from melodex.tasks.lesson.asking.returning import halves_part

__all__ = ["heard_drafts", "sing_part", "sing_topic"]

MOST_SUNG = 20
"""Notes that a class sings at sight; our choice."""

WIDEST_SUNG = 16
"""Semitones from the lowest note to the highest: an octave and a third, what untrained
voices reach (common practice, no source)."""

AT_LEAST_HEARD = 5
"""Notes below which a passage says too little to the ear; our choice."""


def can_be_sung(shown: Shown) -> bool:
    """Whether a class can sing a passage, and its degrees are certain."""
    melody = shown.excerpt
    return (
        is_sure(shown)
        and shown.is_in_one_key
        and not melody.graces
        and 3 <= len(melody) <= MOST_SUNG
        and max(melody.midi) - min(melody.midi) <= WIDEST_SUNG
        and len(known_degrees(shown)) == len(melody)
    )


def sing_part(shown: Shown) -> Part | None:
    """Sing the passage on degrees or solfa, the tonic being named."""
    if not can_be_sung(shown):
        return None
    degrees = degree_texts(shown)
    tonic = NoteName(shown.labels.keys[0].tonic_fifths)
    task: Words = (
        "To be sung: the passage, on degrees or on solfa; the tonic is ",
        tonic,
        ".",
    )
    rows = [" ".join(degrees), in_solfa(degrees)]
    accepted = tuple((row,) for row in rows if row)
    why: Words = ("Each degree counts from ", tonic, ".")
    return Part("sing", task, (Field(accepted),), why, is_open=True)


def sing_topic(shown: Shown, note: int, place: int) -> Part | None:
    """Sing the chord in a box from its root up, then the note in a box."""
    chord, symbol = chord_of(shown, place), shown.excerpt.chords[place]
    if (
        not chord.sounds
        or len(chord.degrees) > 4
        or any(not -8 <= f <= 12 for f in chord.note_fifths)
    ):
        return None
    task: Words = (
        "To be sung: the notes of ",
        Symbol(symbol.text),
        " from the root up, then the melody note in a box; and the passage on its words "
        "or on la.",
    )
    told: list[Word] = []
    for fifths in chord.note_fifths:
        told += [" ", NoteName(fifths)] if told else [NoteName(fifths)]
    told += [", then ", NoteName(shown.excerpt.fifths[note])]
    why: Words = ("The root of ", Symbol(symbol.text), " is ", NoteName(chord.root_fifths))
    return Part(
        "sing", task, (Field((tuple(told),)),), (*why, "."), True, is_open=True, level=2
    )


def heard_drafts(shown: Shown, *, is_topical: bool = False) -> Iterator[tuple[str, Made]]:
    """By ear: which mode, how the second half comes again, on which degree it ends."""
    if len(shown.excerpt) < AT_LEAST_HEARD or shown.excerpt.graces:
        return
    topic = shown.labels.topic.kind if shown.labels.topic else ""
    bare = replace(shown, heard="nothing", has_key_names=False)
    made: tuple[tuple[str, Shown, Part | None, set[str]], ...] = (
        ("Mode by ear", bare, mode_part(shown, is_topical=is_topical), {"mode", "modal"}),
        ("Again by ear", *by_halves(shown, is_topical=is_topical), {"returning"}),
        ("The end by ear", bare, ending_by_ear(shown), set()),
    )
    for heading, here, part, topics in made:
        if part is not None and (not is_topical or topic in topics):
            task = ("To be heard: ", *in_sentence(part.task))
            heard = replace(part, kind="hear", task=task, is_topical=is_topical)
            yield heading, Made(here, heard)


def in_sentence(task: Words) -> Words:
    """A task that goes on after a colon."""
    first = task[0]
    return (first[:1].lower() + first[1:], *task[1:]) if isinstance(first, str) else task


def by_halves(shown: Shown, *, is_topical: bool) -> tuple[Shown, Part | None]:
    """A passage whose second half is its first again, and what is asked of it."""
    made = halves_part(shown, is_topical=is_topical)
    if made is None:
        return shown, None
    return replace(made.shown, heard="nothing", has_key_names=False), made.part


def ending_by_ear(shown: Shown) -> Part | None:
    """Say on which degree a passage ends that is heard; its tonic is played or sung."""
    part = ending_part(shown)
    if part is None:
        return None
    tonic = NoteName(shown.labels.keys[0].tonic_fifths)
    task: Words = ("the tonic is ", tonic, ". On which degree does the passage end?")
    degree = part.fields[0].accepted[0][0]
    name = SOLFA.get(degree, "") if isinstance(degree, str) else ""
    accepted = (*part.fields[0].accepted, *(((name,),) if name else ()))
    return replace(part, task=task, fields=(Field(accepted),))
