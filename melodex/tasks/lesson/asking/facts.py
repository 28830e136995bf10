"""What the set is about, asked in another key: write one of your own.

Conventions: such a part needs no music; the key is drawn from the content of the passage
beside it, so that the same set gives the same sheet; ``turn`` takes a later one. Keys
whose notes would need double signs are passed over. Names of notes stay when the sheet is
printed in another key.

Contents: MODE_STEPS, note_elsewhere, chords_elsewhere, scale_elsewhere, figure_elsewhere,
new_notes, signature_part, bar_part.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from melodex.analysis.harmony.placed import spoken_degree
from melodex.melody import (
    Key,
    fifths_from_name,
    pitch_class_name,
)
from melodex.tasks.lesson.asking.proofs import (
    LETTERS,
    MAJOR,
    Pitch,
    named,
    pitch_of,
    read_numeral,
)
from melodex.tasks.lesson.asking.records import (
    STAYS,
    Field,
    KeyName,
    NoteName,
    Part,
    Shown,
    Word,
    Words,
)

__all__ = [
    "MODE_STEPS",
    "bar_part",
    "chords_elsewhere",
    "figure_elsewhere",
    "new_notes",
    "note_elsewhere",
    "scale_elsewhere",
    "signature_part",
]

TONICS = ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab")

MODE_STEPS = {
    "major": "1 2 3 4 5 6 7",
    "dorian": "1 2 b3 4 5 6 b7",
    "phrygian": "1 b2 b3 4 5 b6 b7",
    "lydian": "1 2 3 #4 5 6 7",
    "mixolydian": "1 2 3 4 5 6 b7",
    "minor": "1 2 b3 4 5 b6 b7",
    "locrian": "1 b2 b3 4 b5 b6 b7",
}
"""Degrees of each mode against the major scale (common practice, no source)."""


def other_tonics(shown: Shown, salt: str, turn: int = 0) -> list[str]:
    """Tonics other than the passage's own, in an order that its content gives."""
    own = pitch_class_name(shown.labels.keys[0].tonic_fifths) if shown.labels.keys else ""
    text = f"{shown.title} {salt}"

    def drawn(tonic: str) -> str:
        return hashlib.sha256(f"{text} {tonic}".encode()).hexdigest()

    ordered = sorted((tonic for tonic in TONICS if tonic != own), key=drawn)
    return ordered[2 * turn :] + ordered[: 2 * turn]


def above(low: Pitch, degree: str) -> Pitch:
    """The note that is a degree above another, by letters and semitones."""
    number = (int(degree.lstrip("b#")) - 1) % 7
    letter = (low.letter + number) % 7
    change = degree.count("#") - degree.count("b")
    semitones = low.semitones + MAJOR[number] + change
    return Pitch(letter, semitones - 12 * round((semitones - MAJOR[letter]) / 12))


def name_of(pitch: Pitch) -> str:
    """The printed name of a note."""
    change = pitch.semitones - MAJOR[pitch.letter]
    return LETTERS[pitch.letter] + ("#" * change if change > 0 else "b" * -change)


def word_of(pitch: Pitch) -> NoteName:
    """The note as a word that stays in its key."""
    return NoteName(fifths_from_name(name_of(pitch)), STAYS)


def is_plain(pitch: Pitch) -> bool:
    """Whether a note has no double sign, and none that beginners never meet."""
    return name_of(pitch) not in {"Cb", "Fb", "E#", "B#"} and len(name_of(pitch)) <= 2


def mode_for(shown: Shown, numeral: str = "") -> str:
    """Minor for what stands in minor, else major; a tonic chord says it itself."""
    if numeral in {"I", "i"}:
        return "minor" if numeral == "i" else "major"
    mode = shown.labels.keys[0].mode if shown.labels.keys else "major"
    return "minor" if mode == "minor" else "major"


def note_elsewhere(shown: Shown, degree: str, numeral: str, turn: int = 0) -> Part | None:
    """Say which note is a degree on a numeral, in another key."""
    for name in other_tonics(shown, "note", turn):
        tonic = pitch_of(name)
        read = read_numeral(numeral, tonic)
        if read is None:
            return None
        note = above(read.root, degree)
        if not is_plain(note) or not is_plain(read.root):
            continue
        key = KeyName(Key(fifths_from_name(name), mode_for(shown, numeral)), STAYS)
        task: Words = (
            "In ",
            key,
            f": which note is the root of {numeral}, and which its "
            f"{spoken_degree(degree)}?",
        )
        root, found = word_of(read.root), word_of(note)
        fields = (Field(((root,),), ("root",)), Field(((found,),), ("the note",)))
        why: Words = (found, f" is the {spoken_degree(degree)} above ", root, ", which is ")
        why = (*why, f"{numeral} in ", key, ".")
        return Part("write another", task, fields, why, True, level=2)
    return None


def chords_elsewhere(shown: Shown, numerals: Sequence[str], turn: int = 0) -> Part | None:
    """Say on which notes some numerals stand, in another key."""
    for name in other_tonics(shown, "chords", turn) if numerals else ():
        reads = [read_numeral(text, pitch_of(name)) for text in numerals]
        roots = [read.root for read in reads if read is not None]
        if len(roots) < len(numerals):
            return None
        if not all(map(is_plain, roots)):
            continue
        key = KeyName(Key(fifths_from_name(name), mode_for(shown)), STAYS)
        fields = tuple(
            Field(((word_of(root),),), (text,))
            for text, root in zip(numerals, roots, strict=True)
        )
        told = ", ".join(numerals)
        task: Words = ("In ", key, f": write the root of each of these: {told}.")
        why: Words = ("Roots are counted from ", word_of(pitch_of(name)), ": ")
        why = (*why, f"{numerals[0]} stands on ", word_of(roots[0]), ".")
        return Part("write another", task, fields, why, True, level=2)
    return None


def joined(notes: Sequence[Pitch]) -> Words:
    """Names of notes with spaces between them."""
    told: list[Word] = []
    for note in notes:
        told += [" ", word_of(note)] if told else [word_of(note)]
    return tuple(told)


def scale_elsewhere(shown: Shown, mode: str, turn: int = 0) -> Part | None:
    """Write the seven notes of a mode on another tonic."""
    steps = MODE_STEPS.get(mode, "").split()
    for name in other_tonics(shown, "scale", turn):
        notes = [above(pitch_of(name), step) for step in steps]
        if not notes or not all(map(is_plain, notes)):
            continue
        tonic = NoteName(fifths_from_name(name), STAYS)
        task: Words = ("Write the seven notes of ", tonic, f" {mode}, upward.")
        why: Words = (f"The degrees of {mode} are {' '.join(steps)}.",)
        return Part("write another", task, (Field((joined(notes),)),), why, True, level=2)
    return None


def figure_elsewhere(shown: Shown, degrees: Sequence[str], turn: int = 0) -> Part | None:
    """Write a figure of degrees in another key."""
    for name in other_tonics(shown, "figure", turn):
        notes = [above(pitch_of(name), step) for step in degrees]
        if not all(map(is_plain, notes)):
            continue
        key = KeyName(Key(fifths_from_name(name), mode_for(shown)), STAYS)
        task: Words = ("Write the notes of the figure ", " ".join(degrees), " in ", key)
        why: Words = ("1 is ", word_of(pitch_of(name)), "; the others are counted from it.")
        field = Field((joined(notes),))
        return Part("write another", (*task, "."), (field,), why, True, level=2)
    return None


# Keys.


def scale_of(key: Key) -> list[Pitch]:
    """The seven notes of a key, minor without raised degrees."""
    return [above(named(key.tonic_fifths), step) for step in MODE_STEPS[key.mode].split()]


def new_notes(before: Key, after: Key, of: int = 0) -> Part | None:
    """Say which notes a new key has that the old one has not."""
    if before.mode not in MODE_STEPS or after.mode not in MODE_STEPS:
        return None
    old = {name_of(note) for note in scale_of(before)}
    fresh = [note for note in scale_of(after) if name_of(note) not in old]
    if not 0 < len(fresh) <= 4:
        return None
    told: list[Word] = []
    for note in fresh:
        word = NoteName(fifths_from_name(name_of(note)), of)
        told += [" ", word] if told else [word]
    one, other = KeyName(before, of), KeyName(after, of)
    minor = (
        " (minor without raised degrees)" if "minor" in {before.mode, after.mode} else ""
    )
    task: Words = ("Which notes has ", other, " that ", one, f" has not{minor}?")
    why: Words = ("All other notes of ", other, " stand in ", one, " too.")
    return Part("keys", task, (Field((tuple(told),)),), why, True, level=2)


def signature_part(key: Key, of: int = 0) -> Part | None:
    """Say how many sharps or flats the signature of a key has."""
    if key.mode not in MODE_STEPS:
        return None
    signs = [name_of(note)[1:] for note in scale_of(key)]
    sharps = sum(len(sign) for sign in signs if sign.startswith("#"))
    flats = sum(len(sign) for sign in signs if sign.startswith("b"))
    if sharps + flats > 7:
        return None
    count, kind = max((sharps, "sharp"), (flats, "flat"))
    text = f"{count} {kind}{'s' if count != 1 else ''}" if count else "none"
    task: Words = ("How many sharps or flats has the signature of ", KeyName(key, of), "?")
    why: Words = ("So many of the seven notes of ", KeyName(key, of), " have a sign.")
    accepted = ((text,), (str(count),)) if count else ((text,), ("0",))
    return Part("keys", task, (Field(accepted),), why, True)


# Metre.

UNITS = {1: "semibreves", 2: "minims", 4: "crotchets", 8: "quavers", 16: "semiquavers"}
SMALLER = {2: 4, 4: 8, 8: 16}
"""Note values by the lower figure of a metre, and the next smaller of each."""
OTHERS = ((2, 4), (3, 4), (4, 4), (3, 8), (6, 8), (9, 8), (12, 8), (6, 4), (5, 8), (7, 8))
"""Metres that a question may turn to; common practice, no source."""


def bar_part(shown: Shown, turn: int = 0) -> Part | None:
    """Say how many of the next smaller note fill a bar of another metre."""
    metre = shown.excerpt.metre
    own = (metre.numerator, metre.denominator) if metre else ()
    text = f"{shown.title} bar"
    choices = sorted(
        (each for each in OTHERS if each != own and each[1] in SMALLER),
        key=lambda each: hashlib.sha256(f"{text} {each}".encode()).hexdigest(),
    )
    top, bottom = choices[turn % len(choices)]
    unit = UNITS[SMALLER[bottom]]
    task: Words = (f"How many {unit} fill a bar of {top}/{bottom}?",)
    why: Words = (f"{top} {UNITS[bottom]} fill it, and two {unit} go into each.",)
    return Part("write another", task, (Field(((str(2 * top),),)),), why, True, level=2)
