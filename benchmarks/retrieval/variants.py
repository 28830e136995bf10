"""Variants of phrases, one kind of change at a time: where does each method fail?

Conventions: a variant is made of a phrase of a tune, and the tune is the one right
answer. How much is changed stands with each kind; choices come from a seeded
generator. The kinds of change are common practice, no source; how far each goes is
ours.

Contents: KINDS, variant, variant_queries.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from random import Random

from benchmarks.retrieval.corpus import Query
from benchmarks.retrieval.judged.labels import JudgedTune
from melodex.melody import Key, KeyChange, Melody, Metre, MetreChange, Phrase, beat_strength

__all__ = ["KINDS", "variant", "variant_queries"]

Note = tuple[int, int, int]
"""MIDI pitch, place on the line of fifths, length in ticks."""

MAJOR, MINOR = frozenset({3, 4, 5}), frozenset({-4, -3, -2})
"""Third, sixth and seventh of either mode, in fifths from the tonic."""

CHANGED_SHARE = 0.3
"""Of the notes, where a kind of change is applied to some only."""


def transposed(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Up a minor third."""
    return [(midi + 3, fifths - 3, ticks) for midi, fifths, ticks in notes]


def other_mode(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Thirds, sixths and sevenths flattened where they are major, else raised."""
    degrees = [fifths - key.tonic_fifths for _, fifths, _ in notes]
    major, minor = (sum(d in kind for d in degrees) for kind in (MAJOR, MINOR))
    flatten = major >= minor
    of, move = (MAJOR, -1) if flatten else (MINOR, 1)
    return [
        (midi + move, fifths + 7 * move, ticks) if degree in of else (midi, fifths, ticks)
        for (midi, fifths, ticks), degree in zip(notes, degrees, strict=True)
    ]


def ornamented(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Some notes shared with an upper neighbour in their second half."""
    found: list[Note] = []
    for midi, fifths, ticks in notes:
        if dice.random() < CHANGED_SHARE and ticks > 1:
            found.append((midi, fifths, ticks - ticks // 2))
            found.append((midi + 2, fifths + 2, ticks // 2))
        else:
            found.append((midi, fifths, ticks))
    return found


def augmented(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Every note twice as long."""
    return [(midi, fifths, 2 * ticks) for midi, fifths, ticks in notes]


def other_metre(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Every second note twice as long, as from two beats to three."""
    return [
        (midi, fifths, ticks * (2 - place % 2))
        for place, (midi, fifths, ticks) in enumerate(notes)
    ]


def octave_displaced(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """The second half an octave lower, as where an instrument's range ends."""
    half = len(notes) // 2
    return [
        (midi - (12 if place >= half else 0), fifths, ticks)
        for place, (midi, fifths, ticks) in enumerate(notes)
    ]


def split(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Some notes struck twice."""
    found: list[Note] = []
    for midi, fifths, ticks in notes:
        if dice.random() < CHANGED_SHARE and ticks > 1:
            found += [(midi, fifths, ticks - ticks // 2), (midi, fifths, ticks // 2)]
        else:
            found.append((midi, fifths, ticks))
    return found


def merged(notes: list[Note], key: Key, dice: Random) -> list[Note]:
    """Some notes take up the note after them."""
    found: list[Note] = []
    place = 0
    while place < len(notes):
        midi, fifths, ticks = notes[place]
        if dice.random() < CHANGED_SHARE and place + 1 < len(notes):
            ticks += notes[place + 1][2]
            place += 1
        found.append((midi, fifths, ticks))
        place += 1
    return found


KINDS: dict[str, Callable[[list[Note], Key, Random], list[Note]]] = {
    "transposed": transposed,
    "other mode": other_mode,
    "ornamented": ornamented,
    "augmented": augmented,
    "other metre": other_metre,
    "octave displaced": octave_displaced,
    "split": split,
    "merged": merged,
}


def variant(melody: Melody, kind: str, dice: Random) -> Melody:
    """Change a phrase in one way.

    Parameters
    ----------
    melody : Melody
        Of a few notes.
    kind : str
        One of :data:`KINDS`.
    dice : random.Random
        Chooses the notes.
    """
    notes = list(zip(melody.midi, melody.fifths, melody.duration_ticks, strict=True))
    changed = KINDS[kind](notes, melody.key, dice)
    key = melody.keys[:1]
    if kind == "transposed" and key:
        moved = Key(key[0].key.tonic_fifths - 3, key[0].key.mode)
        key = (replace(key[0], key=moved, signature_fifths=key[0].signature_fifths - 3),)
    start = melody.onset_ticks[0]
    return laid_out(changed, start, key, melody.metre)


def laid_out(
    notes: Sequence[Note], start: int, keys: tuple[KeyChange, ...], metre: Metre | None
) -> Melody:
    """Notes one after the other from a place in the bar, in one metre."""
    onsets = [start]
    for _, _, ticks in notes:
        onsets.append(onsets[-1] + ticks)
    bar = metre.bar_ticks if metre else 4 * 10080
    return Melody(
        midi=tuple(midi for midi, _, _ in notes),
        fifths=tuple(fifths for _, fifths, _ in notes),
        onset_ticks=tuple(onsets[:-1]),
        duration_ticks=tuple(ticks for _, _, ticks in notes),
        bar=tuple(1 + onset // bar for onset in onsets[:-1]),
        beat_strength=tuple(beat_strength(onset % bar, metre) for onset in onsets[:-1]),
        phrase=(0,) * len(notes),
        keys=keys,
        metres=(MetreChange(0, metre),),
    )


def variant_queries(
    tunes: Sequence[JudgedTune], kind: str, length: int, count: int
) -> list[Query]:
    """Variants of the middle of tunes drawn at random; the tune is the right answer."""
    dice = Random(f"{kind} {length}")
    long_enough = [n for n, tune in enumerate(tunes) if len(tune.melody) >= length]
    found = []
    for family, place in enumerate(dice.sample(long_enough, count)):
        melody = tunes[place].melody
        first = (len(melody) - length) // 2
        changed = variant(melody.excerpt(first, first + length - 1), kind, dice)
        phrase = Phrase(changed, "abc")
        found.append(Query(family, -1, "middle", phrase, frozenset({place}), frozenset()))
    return found
