"""Parts of questions about degrees, chords and melody notes on chords.

Conventions: each function gives None where the answer is uncertain, cannot be reached a
second way, or has an equal rival. Passages come back with what is asked or marked in
them.

Contents: Made, LEAST_CERTAIN, is_sure, degrees_part, in_solfa, numerals_part,
note_part, next_part, find_part, spell_part, root_part, provable, known_degrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from melodex.analysis.harmony.chords import Chord, parse_chord, parse_chords
from melodex.analysis.harmony.placed import spoken_degree
from melodex.melody import Key, degree_name
from melodex.tasks.lesson.asking.proofs import (
    ROMANS,
    degree_by_letters,
    distance,
    interval_in_words,
    is_numeral_of,
    named,
    numeral_spellings,
    read_numeral,
    same_number,
)
from melodex.tasks.lesson.asking.records import (
    Field,
    KeyName,
    NoteName,
    Part,
    Shown,
    Symbol,
    Word,
    Words,
    plain_words,
)

__all__ = [
    "LEAST_CERTAIN",
    "Made",
    "degree_texts",
    "degrees_part",
    "find_part",
    "in_solfa",
    "is_sure",
    "is_usual",
    "key_at",
    "known_degrees",
    "next_part",
    "note_part",
    "numerals_part",
    "provable",
    "root_part",
    "solfa_part",
    "spell_part",
    "united",
]

LEAST_CERTAIN = 0.75
"""Certainty of a key below which nothing that rests on it is asked; our choice."""

MOST_ASKED = 12
"""Blanks in one passage: what a class writes in a few minutes; our choice."""

OCTAVE_NAMES = {"2": "9", "4": "11", "6": "13", "9": "2", "11": "4", "13": "6"}


class Made(NamedTuple):
    """A passage with what is asked in it, and the part that asks."""

    shown: Shown
    part: Part


def is_sure(shown: Shown) -> bool:
    """Whether the keys of a passage are sure enough to rest answers on."""
    return bool(shown.labels.keys) and shown.labels.certainty >= LEAST_CERTAIN


def key_at(shown: Shown, onset_ticks: int) -> Key:
    """The key that holds at a place of a passage."""
    keys = shown.labels.keys
    held = [each for each in keys if each.onset_ticks <= onset_ticks] or keys[:1]
    return held[-1].key


def in_keys(shown: Shown) -> Words:
    """The keys of a passage in words: F major, then D minor."""
    told: list[Word] = []
    for each in shown.labels.keys:
        told += [", then ", KeyName(each.key)] if told else [KeyName(each.key)]
    return tuple(told)


# Degrees.


def known_degrees(shown: Shown) -> list[int]:
    """Notes whose degree both ways agree on."""
    found = []
    for note, degree in enumerate(shown.labels.degrees):
        key = key_at(shown, shown.excerpt.onset_ticks[note])
        if degree is None or key.mode == "none":
            continue
        other = degree_by_letters(key.tonic_fifths, shown.excerpt.fifths[note])
        if other == degree_name(degree):
            found.append(note)
    return found


def degrees_part(
    shown: Shown, notes: Sequence[int] | None = None, *, is_topical: bool = False
) -> Made | None:
    """Write the degree below some notes, or below as many as are pleasant."""
    known = known_degrees(shown)
    if not is_sure(shown) or len(known) < len(shown.excerpt) or len(known) < 2:
        return None
    wanted = list(notes) if notes is not None else known[1 : MOST_ASKED + 1]
    if not wanted:
        return None
    given = frozenset() if 0 in wanted else frozenset({0})
    shown = shown.with_marks(asked_notes=frozenset(wanted), given_notes=given)
    fields = tuple(
        Field(((degree_name(shown.labels.degrees[note] or 0),),), at="note", index=note)
        for note in wanted
    )
    task: Words = ("Write the scale degree below each blank, in ", *in_keys(shown), ".")
    return Made(shown, Part("degrees", task, fields, why_degree(shown, wanted), is_topical))


def why_degree(shown: Shown, notes: Sequence[int]) -> Words:
    """One of the degrees explained: an altered one, if there is any."""
    degrees = shown.labels.degrees
    told = next((n for n in notes if not -1 <= (degrees[n] or 0) <= 5), notes[-1])
    key = key_at(shown, shown.excerpt.onset_ticks[told])
    return (
        "Letters are counted from ",
        NoteName(key.tonic_fifths),
        " as 1 and measured against its major scale: ",
        NoteName(shown.excerpt.fifths[told]),
        f" is {degree_name(degrees[told] or 0)}.",
    )


SOLFA = {
    "1": "do",
    "#1": "di",
    "b2": "ra",
    "2": "re",
    "#2": "ri",
    "b3": "me",
    "3": "mi",
    "4": "fa",
    "#4": "fi",
    "b5": "se",
    "5": "sol",
    "#5": "si",
    "b6": "le",
    "6": "la",
    "#6": "li",
    "b7": "te",
    "7": "ti",
}
"""Movable solfa with do as the tonic of every mode (common practice, no source)."""


def in_solfa(degrees: Sequence[str]) -> str:
    """Degrees as solfa, empty where a degree has no syllable."""
    names = [SOLFA.get(degree, "") for degree in degrees]
    return " ".join(names) if all(names) else ""


def solfa_part(shown: Shown) -> Made | None:
    """Write the solfa name below some notes, for classes that sing before they count."""
    made = degrees_part(shown)
    if made is None or not shown.is_in_one_key:
        return None
    names = [SOLFA.get(plain_words(f.accepted[0])) for f in made.part.fields]
    if None in names:
        return None
    fields = tuple(
        replace(field, accepted=((name,), (plain_words(field.accepted[0]),)))
        for field, name in zip(made.part.fields, names, strict=True)
        if name is not None
    )
    tonic = NoteName(shown.labels.keys[0].tonic_fifths)
    task: Words = ("Write the solfa name below each blank; do is ", tonic, ".")
    last = made.part.fields[-1].index
    why: Words = ("Do is ", tonic, ", so ", NoteName(shown.excerpt.fifths[last]))
    why = (*why, f" is {names[-1]}.")
    return Made(
        replace(made.shown, given_notes=frozenset()),
        replace(made.part, kind="solfa", task=task, fields=fields, why=why),
    )


# Numerals.


def chord_of(shown: Shown, place: int) -> Chord:
    """A chord symbol of a passage, read."""
    return parse_chords(chord.text for chord in shown.excerpt.chords)[place]


def provable(shown: Shown) -> list[int]:
    """Chords whose numeral means what their symbol writes, the second way too."""
    chords = parse_chords(chord.text for chord in shown.excerpt.chords)
    start = shown.excerpt.onset_ticks[0]
    return [
        place
        for place, (chord, text) in enumerate(
            zip(chords, shown.labels.numerals, strict=True)
        )
        if text
        and is_numeral_of(
            text,
            chord,
            key_at(shown, max(shown.excerpt.chords[place].onset_ticks, start)).tonic_fifths,
        )
    ]


def plain_numeral(text: str, chord: Chord, tonic_fifths: int) -> str:
    """A numeral counted from the tonic alone: ``II7`` for ``V7/V``."""
    head, _, goal = text.partition("/")
    if not goal:
        return text
    degree = degree_by_letters(tonic_fifths, chord.root_fifths)
    sign, number = degree.rstrip("1234567"), int(degree[-1])
    letters = ROMANS[number - 1]
    read = read_numeral(head, named(tonic_fifths))
    small = read is not None and read.third == 3
    return sign + (letters.lower() if small else letters) + head.lstrip("b#IViv")


def distinct(shown: Shown, places: Sequence[int]) -> list[int]:
    """Chords without those that only say the chord before once more."""
    texts = [chord.text for chord in shown.excerpt.chords]
    return [place for place in places if place == 0 or texts[place] != texts[place - 1]]


def numerals_part(
    shown: Shown, places: Sequence[int], *, is_topical: bool = False, boxed: bool = False
) -> Made | None:
    """Write the numeral of some chords in the boxes above them."""
    sure = set(provable(shown))
    places = [place for place in distinct(shown, places) if place in sure][:MOST_ASKED]
    if not places or not is_sure(shown):
        return None
    fields = tuple(numeral_field(shown, place) for place in places)
    shown = shown.with_marks(
        asked_chords=frozenset(places),
        marked_chords=frozenset(places) if boxed else frozenset(),
    )
    task: Words = (
        "Write the Roman numeral in each box, in ",
        *in_keys(shown),
        ".",
    )
    why = why_numeral(shown, places)
    return Made(shown, Part("chords", task, fields, why, is_topical, level=2))


def numeral_field(shown: Shown, place: int) -> Field:
    """Where the numeral of a chord goes, with all its spellings."""
    symbol = shown.excerpt.chords[place]
    key = key_at(shown, max(symbol.onset_ticks, shown.excerpt.onset_ticks[0]))
    chord = chord_of(shown, place)
    text = shown.labels.numerals[place]
    plain = plain_numeral(text, chord, key.tonic_fifths)
    spellings = numeral_spellings(text, plain, key.mode)
    return Field(
        tuple((each,) for each in spellings), (Symbol(symbol.text),), "chord", place
    )


def why_numeral(shown: Shown, places: Sequence[int]) -> Words:
    """One of the numerals explained: an applied one, if there is any."""
    texts = shown.labels.numerals
    told = next((p for p in places if "/" in texts[p]), places[0])
    symbol, chord = shown.excerpt.chords[told], chord_of(shown, told)
    key = key_at(shown, max(symbol.onset_ticks, shown.excerpt.onset_ticks[0]))
    degree = degree_by_letters(key.tonic_fifths, chord.root_fifths)
    why: Words = (
        Symbol(symbol.text),
        " stands on ",
        NoteName(chord.root_fifths),
        f", degree {degree} of ",
        KeyName(key),
    )
    head, _, goal = texts[told].partition("/")
    return (*why, f", and is the {head} of {goal}." if goal else f": {texts[told]}.")


# The melody note on its chord.


def note_names(degree: str) -> tuple[str, ...]:
    """The ways to name a degree above a chord: number, octave, words."""
    sign, number = degree.rstrip("0123456789"), degree.lstrip("b#")
    names = [degree, spoken_degree(degree)]
    if number in OCTAVE_NAMES:
        other = sign + OCTAVE_NAMES[number]
        names += [other, spoken_degree(other)]
    return tuple(dict.fromkeys(names))


def note_part(
    shown: Shown, hits: Sequence[tuple[int, int]], degree: str, *, is_topical: bool = False
) -> Made | None:
    """Say what the note in a box is on its chord."""
    if not hits or len({note for note, _ in hits}) < len(hits):
        return None
    for note, place in hits:
        root = chord_of(shown, place).root_fifths
        if not same_number(degree_by_letters(root, shown.excerpt.fifths[note]), degree):
            return None
    note, place = hits[0]
    fields = (Field(tuple((name,) for name in note_names(degree))),)
    melody = shown.excerpt
    shown = shown.with_marks(
        marked_notes=frozenset(note for note, _ in hits),
        marked_chords=frozenset(place for _, place in hits),
    )
    many = "notes in boxes" if len(hits) > 1 else "note in a box"
    verb = "are the" if len(hits) > 1 else "is the"
    task: Words = (f"The {many}: which degree of the chord above {verb} melody there?",)
    why = (*why_note(shown, note, place, degree), ".")
    part = Part("note on chord", task, fields, why, is_topical)
    assert melody is shown.excerpt
    return Made(shown, part)


def why_note(shown: Shown, note: int, place: int, degree: str) -> Words:
    """A flat is the flat 9th of G7, V in C major."""
    symbol = shown.excerpt.chords[place]
    key = key_at(shown, max(symbol.onset_ticks, shown.excerpt.onset_ticks[0]))
    told: Words = (
        NoteName(shown.excerpt.fifths[note]),
        f" is the {spoken_degree(degree)} of ",
        Symbol(symbol.text),
    )
    numeral = shown.labels.numerals[place]
    return (*told, f", {numeral} in ", KeyName(key)) if numeral else told


MOVES = ("steps up", "steps down", "leaps up", "leaps down", "stays")


def next_part(shown: Shown, note: int, *, is_topical: bool = False) -> Part | None:
    """Say what the melody does after the note in a box."""
    melody = shown.excerpt
    if note + 1 >= len(melody):
        return None
    semitones = melody.midi[note + 1] - melody.midi[note]
    one, other = named(melody.fifths[note]), named(melody.fifths[note + 1])
    low, high = (one, other) if semitones >= 0 else (other, one)
    number, _ = distance(low, high)
    way = "up" if semitones > 0 else "down"
    if semitones == 0 and one == other:
        move = "stays"
    elif number == 2 and 1 <= abs(semitones) <= 2:
        move = f"steps {way}"
    elif number > 2 and abs(semitones) > 2:
        move = f"leaps {way}"
    else:
        return None
    why: Words = (
        NoteName(melody.fifths[note]),
        " is followed by ",
        NoteName(melody.fifths[note + 1]),
        f": it {move}.",
    )
    task: Words = ("What does the melody do after the note in a box?",)
    accepted = ((move,), (move.replace("steps", "step").replace("leaps", "leap"),))
    return Part("motion", task, (Field(accepted),), why, is_topical, choices=MOVES)


MOST_FOUND = 3
"""More places of one note on one chord are no search any more; our choice."""
COUNTS = {2: "Two", 3: "Three"}


def find_part(
    shown: Shown, hits: Sequence[tuple[int, int, bool]], degree: str, chord: str
) -> Part | None:
    """Find the notes that are meant: bar and name of each.

    Nothing is asked where one is held over from the chord before, for then a class would
    count in two ways; nor where there are more than a few.
    """
    if not 0 < len(hits) <= MOST_FOUND or any(held for _, _, held in hits):
        return None
    # A chord that holds twice as long for a repeated symbol is met once.
    notes = list(dict.fromkeys(note for note, _, _ in hits))
    if len(notes) < len(hits):
        return None
    melody = shown.excerpt
    fields = []
    for count, note in enumerate(notes, start=1):
        label = f"Note {count}, " if len(notes) > 1 else ""
        fields.append(Field(((str(melody.bar[note]),),), (f"{label}bar",)))
        fields.append(Field(((NoteName(melody.fifths[note]),),), ("name of the note",)))
    many = f"{COUNTS[len(notes)]} notes are" if len(notes) > 1 else "One note is"
    task: Words = (
        f"{many} the {spoken_degree(degree)} on {chord}. In which bar, and which note?",
    )
    why = (*why_note(shown, notes[0], hits[0][1], degree), ".")
    return Part("find", task, tuple(fields), why, True, level=2)


# Chords by themselves.


def spell_part(shown: Shown, place: int, *, is_topical: bool = False) -> Part | None:
    """Write the notes of a chord in a box, from the root."""
    symbol = shown.excerpt.chords[place]
    chord = chord_of(shown, place)
    if not chord.sounds or len(chord.degrees) > 4 or "alt" in symbol.text:
        return None
    if chord.bass_fifths is not None or any(not -8 <= f <= 12 for f in chord.note_fifths):
        return None
    notes: list[Word] = []
    for fifths in chord.note_fifths:
        notes += [" ", NoteName(fifths)] if notes else [NoteName(fifths)]
    degrees = " ".join(chord.degree_names)
    why: Words = (Symbol(symbol.text), f" is {degrees} above ", NoteName(chord.root_fifths))
    task: Words = ("Write the notes of ", Symbol(symbol.text), " from the root up.")
    return Part(
        "spelling", task, (Field((tuple(notes),)),), (*why, "."), is_topical, level=2
    )


def root_part(shown: Shown, place: int, *, is_topical: bool = False) -> Part | None:
    """Say how far the next root lies above that of a chord in a box."""
    symbols = shown.excerpt.chords
    if place + 1 >= len(symbols):
        return None
    here, after = (parse_chord(symbols[p].text) for p in (place, place + 1))
    if not (here.sounds and after.sounds) or here.root_fifths == after.root_fifths:
        return None
    up = interval_in_words(*distance(named(here.root_fifths), named(after.root_fifths)))
    down = interval_in_words(*distance(named(after.root_fifths), named(here.root_fifths)))
    if not up or not down or not (is_usual(up) and is_usual(down)):
        return None
    task: Words = (
        "By which interval does the root move from ",
        Symbol(symbols[place].text),
        " to ",
        Symbol(symbols[place + 1].text),
        "?",
    )
    why: Words = (
        "From ",
        NoteName(here.root_fifths),
        " to ",
        NoteName(after.root_fifths),
        f" is a {up} up, or a {down} down.",
    )
    accepted = tuple(
        (f"{name}{way}",)
        for name, ways in ((up, (" up", "")), (down, (" down", "")))
        for way in ways
    )
    return Part("intervals", task, (Field(accepted),), why, is_topical, level=2)


def is_usual(name: str) -> bool:
    """Whether an interval is one that a class names without dispute over spelling."""
    perfect = name.split()[0] in {"perfect", "major", "minor"}
    return name in {"augmented fourth", "diminished fifth"} or perfect


def degree_texts(shown: Shown) -> list[str]:
    """The degrees of a passage by name."""
    return ["–" if d is None else degree_name(d) for d in shown.labels.degrees]


def united(one: Shown, other: Shown) -> Shown:
    """A passage with all that is asked and marked in two forms of it."""
    return one.with_marks(
        asked_notes=other.asked_notes,
        given_notes=other.given_notes - one.asked_notes,
        asked_chords=other.asked_chords,
        given_chords=other.given_chords,
        marked_notes=other.marked_notes,
        marked_chords=other.marked_chords,
    )
