"""Parts that any passage can be asked: metre, mode, cadence, dictation, transposition.

Conventions: as in :mod:`~melodex.tasks.lesson.asking.parts`. Where two trained readers
could answer differently (a metre of five, a mode of which a note is missing, a close
without its chords), nothing is asked.

Contents: metre_part, beats_part, mode_part, telling_notes, cadence_part, count_part,
ending_part, move_part, transposed_part, dictation_parts.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace

from melodex.analysis.harmony.chords import parse_chord
from melodex.melody import (
    TICKS_PER_QUARTER,
    Key,
    Melody,
    fifths_from_name,
    pitch_class_name,
)
from melodex.tasks.lesson.asking.facts import MODE_STEPS, TONICS, above, is_plain, name_of
from melodex.tasks.lesson.asking.parts import (
    Made,
    degree_texts,
    in_solfa,
    is_sure,
    key_at,
    known_degrees,
)
from melodex.tasks.lesson.asking.proofs import degree_by_letters, distance, named
from melodex.tasks.lesson.asking.records import (
    STAYS,
    Field,
    KeyName,
    NoteName,
    Part,
    Shown,
    Symbol,
    Word,
    Words,
)

__all__ = [
    "beats_part",
    "cadence_part",
    "count_part",
    "dictation_parts",
    "ending_part",
    "metre_part",
    "mode_part",
    "move_part",
    "telling_notes",
    "transposed_part",
]

# Metre.

SIMPLE_BEATS = {2: "duple", 3: "triple", 4: "quadruple"}
COMPOUND_BEATS = {6: "duple", 9: "triple", 12: "quadruple"}
BEAT_VALUES = {1: "semibreve", 2: "minim", 4: "crotchet", 8: "quaver"}
DOTTED = {4: "dotted minim", 8: "dotted crotchet", 16: "dotted quaver"}
OTHER_NAMES = {
    "semibreve": "whole note",
    "minim": "half note",
    "crotchet": "quarter note",
    "quaver": "eighth note",
    "dotted minim": "dotted half note",
    "dotted crotchet": "dotted quarter note",
    "dotted quaver": "dotted eighth note",
}


def beats_of(melody: Melody) -> tuple[int, str, str] | None:
    """Beats in a bar, the value of each, and simple or compound; None if disputed."""
    metre = melody.metre
    if metre is None or len(melody.metres) != 1 or metre.groups:
        return None
    top, bottom = metre.numerator, metre.denominator
    if top in COMPOUND_BEATS and bottom in DOTTED:
        return top // 3, DOTTED[bottom], "compound"
    if top in SIMPLE_BEATS and bottom in {2, 4}:
        return top, BEAT_VALUES[bottom], "simple"
    return None


def metre_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say how many beats a bar has, which note is a beat, and simple or compound."""
    found = beats_of(shown.excerpt)
    metre = shown.excerpt.metre
    if found is None or metre is None:
        return None
    beats, value, kind = found
    fields = (
        Field(((str(beats),),), ("beats in a bar",)),
        Field(((value,), (OTHER_NAMES[value],)), ("each beat is a",)),
        Field(((kind,),), ("simple or compound?",)),
    )
    parts = "three" if kind == "compound" else "two"
    signature = f"{metre.numerator}/{metre.denominator}"
    why: Words = (f"{signature} has {beats} beats, and each divides into {parts}.",)
    task: Words = ("What does the time signature say?",)
    return Part("metre", task, fields, why, is_topical)


def beats_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say how many notes of a bar begin on a beat."""
    found = beats_of(shown.excerpt)
    melody = shown.excerpt
    if found is None or melody.metre is None or melody.graces:
        return None
    step = melody.metre.bar_ticks // found[0]
    for bar in melody.bars:
        notes = [i for i, number in enumerate(melody.bar) if number == bar.number]
        full = bar.duration_ticks == melody.metre.bar_ticks
        tied = any(
            o < bar.onset_ticks < o + d
            for o, d in zip(melody.onset_ticks, melody.duration_ticks, strict=True)
        )
        if not full or tied or len(notes) < 3 or bar.number < 1:
            continue
        offsets = [melody.onset_ticks[note] - bar.onset_ticks for note in notes]
        count = sum(offset % step == 0 for offset in offsets)
        task: Words = (f"Bar {bar.number}: how many of its notes begin on a beat?",)
        why: Words = (f"{len(notes)} notes begin in it, {count} of them on a beat.",)
        return Part("metre", task, (Field(((str(count),),)),), why, is_topical, level=2)
    return None


# Mode.

MODE_NAMES = {"major": ("major", "ionian"), "minor": ("minor", "natural minor", "aeolian")}
MODE_CHOICES = ("major", "dorian", "phrygian", "lydian", "mixolydian", "minor")


def fitting_modes(shown: Shown, tonic: int) -> list[str]:
    """The modes on a tonic that hold every note of a passage."""
    held = {degree_by_letters(tonic, fifths) for fifths in shown.excerpt.fifths}
    return [mode for mode in MODE_CHOICES if held <= set(MODE_STEPS[mode].split())]


def mode_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say which mode a passage is in, its tonic being named."""
    if not is_sure(shown) or not shown.is_in_one_key:
        return None
    key = shown.labels.keys[0].key
    held = {degree_by_letters(key.tonic_fifths, fifths) for fifths in shown.excerpt.fifths}
    if fitting_modes(shown, key.tonic_fifths) != [key.mode] or "1" not in held:
        return None
    task: Words = ("The tonic is ", NoteName(key.tonic_fifths), ". Which mode is it?")
    names = MODE_NAMES.get(key.mode, (key.mode,))
    steps = MODE_STEPS[key.mode].split()
    told = [step for step in steps if step in held and step not in {"1", "2", "4", "5"}]
    why: Words = (f"It has {', '.join(told)}; {key.mode} is {' '.join(steps)}.",)
    fields = (Field(tuple((name,) for name in names)),)
    return Part("mode", task, fields, why, is_topical, choices=MODE_CHOICES, level=2)


def telling_notes(shown: Shown, mode: str) -> list[int]:
    """Notes of a passage that its mode has and the major or minor nearest to it has not."""
    steps = MODE_STEPS.get(mode, "").split()
    if not steps:
        return []
    plain = "minor" if "b3" in steps else "major"
    telling = set(steps) - set(MODE_STEPS[plain].split()) or {steps[2]}
    found = []
    for note in known_degrees(shown):
        key = key_at(shown, shown.excerpt.onset_ticks[note])
        degree = degree_by_letters(key.tonic_fifths, shown.excerpt.fifths[note])
        if degree in telling:
            found.append(note)
    return found


# Cadences.

CLOSES = {
    ("5", "1"): ("authentic cadence", ("perfect cadence", "full close")),
    ("4", "1"): ("plagal cadence", ()),
    ("5", "6"): ("deceptive cadence", ("interrupted cadence",)),
    ("5", "b6"): ("deceptive cadence", ("interrupted cadence",)),
}
CLOSE_CHOICES = ("authentic cadence", "half cadence", "plagal cadence", "deceptive cadence")


def cadence_part(shown: Shown, *, is_topical: bool = False) -> Made | None:
    """Name the close that the last two chords of a phrase make."""
    found = [f for f in shown.labels.finds if f.kind in CLOSE_CHOICES]
    chords = shown.excerpt.chords
    for find in found:
        places = [p for p, c in enumerate(chords) if c.bar <= find.last_bar]
        if len(places) < 2 or not is_sure(shown) or find.last_bar != shown.excerpt.bar[-1]:
            continue
        before, last = places[-2:]
        if last != len(chords) - 1:
            # A chord that follows under the last note would make another close of it.
            continue
        close = close_of(shown, before, last)
        if close is None or close[0] != find.kind:
            continue
        name, others, degrees = close
        marked = shown.with_marks(marked_chords=frozenset({before, last}))
        task: Words = ("Which cadence do the two chords in boxes make at the end?",)
        key = key_at(shown, chords[last].onset_ticks)
        why: Words = (
            Symbol(chords[before].text),
            " to ",
            Symbol(chords[last].text),
            f" goes from degree {degrees[0]} to {degrees[1]} of ",
            KeyName(key),
            f": a {name}.",
        )
        short = [each.removesuffix(" cadence") for each in (name, *others)]
        fields = (Field(tuple((each,) for each in (name, *others, *short))),)
        part = Part(
            "cadence", task, fields, why, is_topical, choices=CLOSE_CHOICES, level=2
        )
        return Made(marked, part)
    return None


def close_of(
    shown: Shown, before: int, last: int
) -> tuple[str, tuple[str, ...], tuple[str, str]] | None:
    """Name, other names and degrees of a close by the roots of its chords."""
    chords = shown.excerpt.chords
    key = key_at(shown, chords[last].onset_ticks)
    one, two = (parse_chord(chords[place].text) for place in (before, last))
    if not (one.sounds and two.sounds) or one.bass_fifths or two.bass_fifths:
        return None
    first, second = (degree_by_letters(key.tonic_fifths, c.root_fifths) for c in (one, two))
    degrees = first, second
    if degrees[1] == "5" and degrees[0] != "5" and "b7" not in two.degree_names:
        return "half cadence", ("imperfect cadence", "half close"), degrees
    named_close = CLOSES.get(degrees)
    if named_close is None or (degrees[0] == "5" and "3" not in one.degree_names):
        return None
    return (*named_close, degrees)


# Counting and ending.


def count_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say how many bars a whole section has."""
    melody = shown.excerpt
    if melody.metre is None or any(
        bar.duration_ticks != melody.metre.bar_ticks for bar in melody.bars
    ):
        return None
    numbers = [bar.number for bar in melody.bars]
    if (numbers[0], numbers[-1]) != (melody.bar[0], melody.bar[-1]):
        # A bar in which no note begins is one that some would not count.
        return None
    if len(set(numbers)) != len(numbers) or any(b.ending for b in melody.bars):
        return None
    count = len(numbers)
    away = abs(count - 8)
    than = "more than" if count > 8 else "fewer than"
    told = f"{away} {than} eight" if away else "eight, the usual length"
    task: Words = ("This is one section, whole. How many bars has it?",)
    why: Words = (f"Bars {numbers[0]} to {numbers[-1]}: {count}, which is {told}.",)
    return Part("section", task, (Field(((str(count),),)),), why, is_topical)


def ending_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say on which degree a passage ends."""
    last = len(shown.excerpt) - 1
    if not is_sure(shown) or not shown.is_in_one_key or last not in known_degrees(shown):
        return None
    key = shown.labels.keys[0].key
    degree = degree_texts(shown)[last]
    task: Words = ("On which degree of ", KeyName(key), " does the passage end?")
    why: Words = ("Its last note is ", NoteName(shown.excerpt.fifths[last]))
    why = (*why, f", degree {degree}.")
    return Part("ending", task, (Field(((degree,),)),), why, is_topical)


def move_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Say how wide the passage is from its lowest note to its highest."""
    melody = shown.excerpt
    low, high = (f(range(len(melody)), key=melody.midi.__getitem__) for f in (min, max))
    width = melody.midi[high] - melody.midi[low]
    if not 0 < width < 12:
        return None
    from melodex.tasks.lesson.asking.proofs import interval_in_words

    name = interval_in_words(
        *distance(named(melody.fifths[low]), named(melody.fifths[high]))
    )
    if not name or name.startswith(("augmented", "diminished")):
        return None
    task: Words = ("Which interval is it from the lowest note to the highest?",)
    why: Words = (NoteName(melody.fifths[low]), " to ", NoteName(melody.fifths[high]))
    return Part(
        "intervals", task, (Field(((name,),)),), (*why, f" is a {name}."), is_topical
    )


# Writing.

MOST_WRITTEN = 10
"""Notes that a pupil writes out in another key: what a line of paper holds."""


def drawn_tonic(shown: Shown, salt: str) -> list[str]:
    """Tonics in an order that a passage's content gives."""
    return sorted(
        TONICS,
        key=lambda t: hashlib.sha256(f"{shown.title} {salt} {t}".encode()).hexdigest(),
    )


def transposed_part(shown: Shown, *, is_topical: bool = False) -> Part | None:
    """Name the notes of the first bars in another key."""
    if not is_sure(shown) or not shown.is_in_one_key or shown.excerpt.graces:
        return None
    key = shown.labels.keys[0].key
    count = min(MOST_WRITTEN, len(shown.excerpt))
    degrees = [degree_by_letters(key.tonic_fifths, f) for f in shown.excerpt.fifths[:count]]
    for name in drawn_tonic(shown, "move"):
        if name == pitch_class_name(key.tonic_fifths):
            continue
        notes = [above(named(fifths_from_name(name)), degree) for degree in degrees]
        if not all(map(is_plain, notes)):
            continue
        told: list[Word] = []
        for note in notes:
            word = NoteName(fifths_from_name(name_of(note)), STAYS)
            told += [" ", word] if told else [word]
        goal = KeyName(Key(fifths_from_name(name), key.mode), STAYS)
        task: Words = (f"Write the names of the first {count} notes, moved from ",)
        task = (*task, KeyName(key), " to ", goal, ".")
        why: Words = (f"They are the same degrees: {' '.join(degrees)}.",)
        field = Field((tuple(told),))
        return Part("transpose", task, (field,), why, is_topical, level=3)
    return None


MOST_HEARD = 16
"""Notes of a dictation: what is held in the ear in a few hearings; our choice."""


def dictation_parts(shown: Shown) -> Iterator[tuple[str, Made]]:
    """Write what is heard, with the rhythm given, with the pitches given, with neither."""
    if not is_sure(shown) or not shown.is_in_one_key or shown.excerpt.graces:
        return
    count = len(shown.excerpt)
    if len(known_degrees(shown)) < count or not 3 <= count <= MOST_HEARD:
        return
    key = KeyName(shown.labels.keys[0].key)
    degrees = degree_texts(shown)
    rows = [" ".join(degrees), in_solfa(degrees)]
    field = Field(tuple((row,) for row in rows if row))
    tonic = NoteName(shown.labels.keys[0].tonic_fifths)
    why: Words = ("Each degree counts from ", tonic, f"; the last is {degrees[-1]}.")
    first = f"The first is {degrees[0]}."
    for given, told in (
        ("rhythm", f"{count} notes, whose rhythm is printed"),
        ("nothing", f"{count} notes"),
    ):
        task: Words = (
            f"Listen: {told}. Write their degrees or solfa in ",
            key,
            f". {first}",
        )
        part = Part("dictation", task, (field,), why, level=3)
        yield f"Dictation, {given} given", Made(replace(shown, heard=given), part)
    timed = rhythm_part(shown.excerpt)
    if timed is not None:
        yield "Dictation, pitches given", Made(replace(shown, heard="pitches"), timed)


def rhythm_part(melody: Melody) -> Part | None:
    """Write how long each note lasts that is heard; none where there are rests."""
    lengths = melody.duration_ticks
    ends = [o + d for o, d in zip(melody.onset_ticks, lengths, strict=True)]
    if any(end != onset for end, onset in zip(ends, melody.onset_ticks[1:], strict=False)):
        return None
    units = {"crotchets": TICKS_PER_QUARTER, "quavers": TICKS_PER_QUARTER // 2}
    units["semiquavers"] = TICKS_PER_QUARTER // 4
    fit = [(n, u) for n, u in units.items() if all(length % u == 0 for length in lengths)]
    if not fit or len(set(lengths)) < 2:
        return None
    name, unit = fit[0]
    counts = " ".join(str(length // unit) for length in lengths)
    task: Words = (
        f"Listen: {len(melody)} notes, whose pitches are printed. Write how many {name} "
        "each lasts.",
    )
    why: Words = (f"The first lasts {lengths[0] // unit}, the last {lengths[-1] // unit}.",)
    return Part("dictation", task, (Field(((counts,),)),), why, level=3)
