"""What is right for each kind of question, from its definition.

Conventions: a check sees what a pupil sees: the printed notes, chord symbols, bars and the
key that is named, and the words of the task. It counts with music21 (intervals, scales,
keys, time signatures, Roman numerals) and the tables below (common practice, no source).
It returns what is wrong in words, or nothing. A kind without a check is reported too.

Contents: Trial, wrong_in, CHECKS.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from music21 import interval, key, meter, pitch, roman, scale

from melodex.melody import Melody, note_name, pitch_class_name
from melodex.tasks.lesson.asking.records import Part, Question, Shown, plain_words

__all__ = ["CHECKS", "Trial", "wrong_in"]

QUARTER = 10080


@dataclass(frozen=True)
class Trial:
    """A part of a question with all that a pupil sees beside it."""

    question: Question
    part: Part

    @property
    def shown(self) -> Shown:
        """The first passage."""
        return self.question.passages[0]

    @property
    def melody(self) -> Melody:
        """Its notes."""
        return self.shown.excerpt

    @property
    def task(self) -> str:
        """The words of the task."""
        return plain_words(self.part.task)

    def accepted(self, place: int = 0) -> list[str]:
        """What a field accepts."""
        return [plain_words(words) for words in self.part.fields[place].accepted]


# Notes.


def m21(name: str) -> pitch.Pitch:
    """A note by its name here, such as Bb or Bb4."""
    return pitch.Pitch(name[0] + name[1:].replace("b", "-"))


def ours(note: pitch.Pitch) -> str:
    """The name of a note without octave, as it is printed here."""
    return str(note.name).replace("-", "b")


def class_of(melody: Melody, note: int) -> str:
    """The printed name of a note without its octave."""
    return pitch_class_name(melody.fifths[note])


def above(root: str, note: str) -> interval.Interval:
    """The interval from a root up to a note."""
    low, high = m21(root), m21(note)
    low.octave, high.octave = 3, 5
    return interval.Interval(low, high)


PERFECT = {1: 0, 4: 5, 5: 7}
IMPERFECT = {2: 2, 3: 4, 6: 9, 7: 11}


def degree(root: str, note: str) -> str:
    """A degree such as b3, by generic interval and semitones of music21."""
    found = above(root, note)
    number = (found.generic.undirected - 1) % 7 + 1
    usual = {**PERFECT, **IMPERFECT}[number]
    change = (int(found.semitones) - usual + 6) % 12 - 6
    return ("#" * change if change > 0 else "b" * -change) + str(number)


def within_octave(text: str) -> str:
    """A degree above the octave brought into it: b9 as b2."""
    sign, number = text.rstrip("0123456789"), int(text.lstrip("b#"))
    return f"{sign}{(number - 1) % 7 + 1}"


def key_of(shown: Shown, onset: int) -> tuple[str, str]:
    """The key that is named above the stave at a place: tonic and mode."""
    named = [each for each in shown.labels.keys if each.onset_ticks <= onset]
    chosen = (named or list(shown.labels.keys))[-1 if named else 0]
    return pitch_class_name(chosen.tonic_fifths), chosen.mode


def degrees_of(shown: Shown) -> list[str]:
    """The degree of every note in the key that is named."""
    melody = shown.excerpt
    return [
        degree(key_of(shown, onset)[0], class_of(melody, note))
        for note, onset in enumerate(melody.onset_ticks)
    ]


# Chord symbols: root, third, fifth, seventh, read by a table of our own.

SYMBOL = re.compile(r"([A-G])([b#]*)(.*)")
QUALITIES = (
    (r"(m7b5|ø7?|m7\(b5\))", ("1", "b3", "b5", "b7")),
    (r"(dim7|°7|o7)", ("1", "b3", "b5", "bb7")),
    (r"(dim|°|o)", ("1", "b3", "b5")),
    (r"(m\(maj7\)|mmaj7|mM7|m\(M7\))", ("1", "b3", "5", "7")),
    (r"(maj7|Maj7|M7|Δ7?)", ("1", "3", "5", "7")),
    (r"(m7|min7|-7)", ("1", "b3", "5", "b7")),
    (r"(m6|min6)", ("1", "b3", "5", "6")),
    (r"(m|min|-)", ("1", "b3", "5")),
    (r"(\+7|aug7|7\+|7#5)", ("1", "3", "#5", "b7")),
    (r"(\+|aug)", ("1", "3", "#5")),
    (r"(7)", ("1", "3", "5", "b7")),
    (r"(6)", ("1", "3", "5", "6")),
    (r"()", ("1", "3", "5")),
)


def chord_root(symbol: str) -> str:
    """The root of a chord symbol."""
    found = SYMBOL.match(symbol)
    assert found is not None, symbol
    return found[1] + found[2]


def is_minor(symbol: str) -> bool:
    """Whether the third of a chord symbol is minor."""
    found = SYMBOL.match(symbol)
    rest = found[3] if found else ""
    return bool(re.match(r"(m(?!aj)|min|-|dim|°|o|ø)", rest)) and not rest.startswith("M")


def members(symbol: str) -> list[str] | None:
    """The degrees of a chord symbol without tensions, None where the table lacks it."""
    found = SYMBOL.match(symbol.split("/")[0])
    for pattern, degrees in QUALITIES if found else ():
        if found and re.fullmatch(pattern, found[3]):
            return list(degrees)
    return None


def note_above(root: str, step: str) -> str:
    """The note that is a degree above a root."""
    number = int(step.lstrip("b#"))
    note = m21(root)
    note.octave = 4
    usual = "PMMPPMM"[(number - 1) % 7] + str((number - 1) % 7 + 1)
    moved = interval.Interval(usual).transposePitch(note)
    change = step.count("#") - step.count("b")
    alter = (moved.accidental.alter if moved.accidental else 0) + change
    moved.accidental = pitch.Accidental(alter)
    return ours(moved)


def numeral_root(text: str, tonic: str, mode: str) -> tuple[str, bool]:
    """Root and whether the third is minor, of a numeral, by music21.

    Counted from the major scale of the tonic, and from minor only where minor's own
    III, VI and VII stand without a flat.
    """
    head, _, goal = re.sub(r"\([^)]*\)", "", text).partition("/")
    if goal:
        root, _ = numeral_root(goal, tonic, mode)
        return numeral_root(head, root, "major")
    plain = re.match(r"([b#]*)(N|[IViv]+)", head)
    assert plain is not None, text
    natural = mode == "minor" and plain[1] == "" and plain[2] in {"III", "VI", "VII"}
    name = tonic.replace("b", "-")
    figure = "bII" if plain[2] == "N" else plain[1] + plain[2]
    read = roman.RomanNumeral(figure, key.Key(name, "minor" if natural else "major"))
    return ours(read.root()), plain[2].islower()


# The checks.


def degrees(trial: Trial) -> Iterator[str]:
    """Each blank holds the degree of its note."""
    told = degrees_of(trial.shown)
    for place, field in enumerate(trial.part.fields):
        if trial.accepted(place) != [told[field.index]]:
            yield f"note {field.index} is {told[field.index]}"
        if field.index not in trial.shown.asked_notes:
            yield f"note {field.index} has no blank"


SOLFA = {
    "1": "do",
    "2": "re",
    "3": "mi",
    "4": "fa",
    "5": "sol",
    "6": "la",
    "7": "ti",
    "b2": "ra",
    "b3": "me",
    "b5": "se",
    "b6": "le",
    "b7": "te",
    "#1": "di",
    "#2": "ri",
    "#4": "fi",
    "#5": "si",
    "#6": "li",
}
"""Syllables of degrees over a major scale on do (common practice, no source)."""


def solfa(trial: Trial) -> Iterator[str]:
    """Each blank holds the syllable of its degree."""
    told = degrees_of(trial.shown)
    for place, field in enumerate(trial.part.fields):
        right = SOLFA.get(told[field.index], "?")
        if trial.accepted(place) != [right, told[field.index]]:
            yield f"note {field.index} is {right}"


def chords(trial: Trial) -> Iterator[str]:
    """Each spelling means the root and third of the symbol."""
    for place, field in enumerate(trial.part.fields):
        symbol = trial.melody.chords[field.index]
        onset = max(symbol.onset_ticks, trial.melody.onset_ticks[0])
        for text in trial.accepted(place):
            found = numeral_root(text, *key_of(trial.shown, onset))
            if found != (chord_root(symbol.text), is_minor(symbol.text)):
                yield f"{symbol.text} is not {text}: {found}"


def note_on_chord(trial: Trial) -> Iterator[str]:
    """The note in a box is so far above the root of the chord in a box."""
    if len(trial.shown.marked_notes) != 1:
        yield "not one note in a box"
        return
    (note,) = trial.shown.marked_notes
    under = chord_under(trial.melody, note)
    if under not in trial.shown.marked_chords:
        yield "the chord under the note is not in a box"
        return
    root = chord_root(trial.melody.chords[under].text)
    right = degree(root, class_of(trial.melody, note))
    for text in trial.accepted():
        if re.fullmatch(r"[b#]*\d+", text) and within_octave(text) != right:
            yield f"{class_of(trial.melody, note)} over {root} is {right}, not {text}"


def chord_under(melody: Melody, note: int) -> int:
    """The chord symbol that holds where a note begins."""
    before = [
        p for p, c in enumerate(melody.chords) if c.onset_ticks <= melody.onset_ticks[note]
    ]
    return before[-1] if before else -1


def motion(trial: Trial) -> Iterator[str]:
    """A second is a step, more is a leap, by music21's generic interval."""
    note = min(trial.shown.marked_notes)
    one, other = (
        m21(note_name(trial.melody.midi[n], trial.melody.fifths[n]))
        for n in (note, note + 1)
    )
    size = interval.Interval(one, other).generic.directed
    far = "stays" if abs(size) == 1 else "steps" if abs(size) == 2 else "leaps"
    way = "" if abs(size) == 1 else " up" if size > 0 else " down"
    if trial.accepted()[0] != far + way:
        yield f"it {far}{way}"


WISH = re.compile(
    r"the ((?:sharp |flat |major |minor |diminished )?\S+) on ([b#]?[IViv]+\S*)"
)
SIGNS = {"sharp": "#", "flat": "b", "major": "", "minor": "b", "": ""}


def wish_of(task: str) -> tuple[str, str]:
    """Degree and numeral that a task names."""
    found = WISH.search(task)
    assert found is not None, task
    quality, _, ordinal = found[1].rpartition(" ")
    if ordinal == "root":
        return "1", found[2].rstrip(".,")
    number = re.sub(r"\D", "", ordinal)
    sign = "b" if ordinal.startswith("7") and quality == "" else SIGNS[quality]
    return sign + number, found[2].rstrip(".,")


def hits(shown: Shown, wish: tuple[str, str]) -> list[tuple[int, str]]:
    """Bar and name of each note that sounds as a degree over a numeral."""
    melody, found = shown.excerpt, []
    ends = [c.onset_ticks for c in melody.chords[1:]] + [10**12]
    for chord, end in zip(melody.chords, ends, strict=True):
        tonic, mode = key_of(shown, max(chord.onset_ticks, melody.onset_ticks[0]))
        if numeral_root(wish[1], tonic, mode) != (
            chord_root(chord.text),
            is_minor(chord.text),
        ):
            continue
        for note, onset in enumerate(melody.onset_ticks):
            sounds = onset < end and onset + melody.duration_ticks[note] > chord.onset_ticks
            name = class_of(melody, note)
            if sounds and degree(chord_root(chord.text), name) == within_octave(wish[0]):
                found.append((melody.bar[note], name))
    return list(dict.fromkeys(found)) if len(set(found)) < len(found) else found


def find(trial: Trial) -> Iterator[str]:
    """All notes that are meant, by bar and name; or the bar of a figure."""
    if trial.task.startswith("The figure"):
        yield from find_figure(trial)
        return
    told = [trial.accepted(place)[0] for place in range(len(trial.part.fields))]
    named = list(zip(map(int, told[::2]), told[1::2], strict=True))
    found = hits(trial.shown, wish_of(trial.task))
    if sorted(found) != sorted(set(named)):
        yield f"there are {found}, the key says {named}"


def find_figure(trial: Trial) -> Iterator[str]:
    """The bars in which a row of degrees begins, its steps being those of the figure."""
    names = re.findall(r"[b#]*\d", trial.task.split("stands")[0])
    told = degrees_of(trial.shown)
    starts = [
        trial.melody.bar[at]
        for at in range(len(told) - len(names) + 1)
        if told[at : at + len(names)] == names
    ]
    if [str(bar) for bar in starts] != trial.accepted():
        yield f"it begins in {starts}"


def spot(trial: Trial) -> Iterator[str]:
    """Just one of the passages shows it."""
    wish = wish_of(trial.task)
    found = [each.letter for each in trial.question.passages if hits(each, wish)]
    if found != trial.accepted():
        yield f"it is in {found}"


def spelling(trial: Trial) -> Iterator[str]:
    """The notes of a chord symbol."""
    found = re.match(r"Write the notes of (\S+) from", trial.task)
    assert found is not None, trial.task
    steps = members(found[1])
    if steps is None:
        yield f"the table of chords lacks {found[1]}"
        return
    right = " ".join(note_above(chord_root(found[1]), step) for step in steps)
    if trial.accepted() != [right]:
        yield f"{found[1]} is {right}"


def interval_name(low: str, high: str) -> str:
    """The name of an interval within the octave, by music21."""
    found = above(low, high)
    return str(found.semiSimpleNiceName).lower()


def intervals(trial: Trial) -> Iterator[str]:
    """Between two roots or tonics, or from the lowest note to the highest."""
    moved = re.search(r"from (\S+)(?: \w+)? to (\S+?)(?: \w+)?\?", trial.task)
    if moved:
        low, high = chord_root(moved[1]), chord_root(moved[2])
        up, down = interval_name(low, high), interval_name(high, low)
        right = {up, f"{up} up", down, f"{down} down"}
        if not set(trial.accepted()) <= right:
            yield f"{low} to {high} is {up} up or {down} down"
        return
    order = sorted(range(len(trial.melody)), key=lambda n: trial.melody.midi[n])
    low, high = (class_of(trial.melody, note) for note in (order[0], order[-1]))
    if trial.accepted() != [interval_name(low, high)]:
        yield f"{low} to {high} is a {interval_name(low, high)}"


MODES = {
    "major": scale.MajorScale,
    "minor": scale.MinorScale,
    "dorian": scale.DorianScale,
    "phrygian": scale.PhrygianScale,
    "lydian": scale.LydianScale,
    "mixolydian": scale.MixolydianScale,
}


def mode_notes(tonic: str, mode: str) -> list[str]:
    """The seven notes of a mode, by music21."""
    return [ours(note) for note in MODES[mode](m21(tonic)).getPitches()[:7]]


def write_another(trial: Trial) -> Iterator[str]:
    """Each of the tasks that need no music."""
    for pattern, right in WRITTEN.items():
        if found := re.fullmatch(pattern, trial.task):
            told = [trial.accepted(place)[0] for place in range(len(trial.part.fields))]
            if told != right(*found.groups()):
                yield f"it is {right(*found.groups())}, the key says {told}"
            return
    yield f"no check for: {trial.task}"


def root_and_note(tonic: str, mode: str, numeral: str, name: str) -> list[str]:
    """The root of a numeral, and a degree above it."""
    root, _ = numeral_root(numeral, tonic, mode)
    wish, _ = wish_of(f"the {name} on I")
    return [root, note_above(root, within_octave(wish))]


def roots(tonic: str, mode: str, numerals: str) -> list[str]:
    """The roots of some numerals."""
    return [numeral_root(text, tonic, mode)[0] for text in numerals.split(", ")]


def filling(unit: str, signature: str) -> list[str]:
    """How many of a note value fill a bar, by music21."""
    quarters = {"crotchets": 1, "quavers": 0.5, "semiquavers": 0.25}[unit]
    return [str(int(meter.TimeSignature(signature).barDuration.quarterLength / quarters))]


WRITTEN: dict[str, Callable[..., list[str]]] = {
    r"In (\S+) (\w+): which note is the root of (\S+), and which its (.+)\?": root_and_note,
    r"In (\S+) (\w+): write the root of each of these: (.+)\.": roots,
    r"Write the seven notes of (\S+) (\w+), upward\.": lambda tonic, mode: [
        " ".join(mode_notes(tonic, mode))
    ],
    r"Write the notes of the figure (.+) in (\S+) \w+\.": lambda steps, tonic: [
        " ".join(note_above(tonic, step) for step in steps.split())
    ],
    r"How many (\w+) fill a bar of (\d+/\d+)\?": filling,
}


def keys(trial: Trial) -> Iterator[str]:
    """Signatures, notes and tonics of two keys."""
    if found := re.search(r"signature of (\S+) (\w+)\?", trial.task):
        sharps = key.Key(found[1].replace("b", "-"), found[2]).sharps
        kind = "sharp" if sharps > 0 else "flat"
        count = abs(sharps)
        right = f"{count} {kind}{'s' if count != 1 else ''}" if count else "none"
        if trial.accepted()[0] != right:
            yield f"it is {right}"
    elif found := re.search(
        r"Which notes has (\S+) (\w+) that (\S+) (\w+) has", trial.task
    ):
        new, old = mode_notes(found[1], found[2]), mode_notes(found[3], found[4])
        added = [note for note in new if note not in old]
        if trial.accepted()[0].split() != added:
            yield f"it is {added}"
    elif found := re.search(r"(\S+) (\w+) and (\S+) (\w+): what", trial.task):
        if found[1] != found[3] or "tonic" not in trial.accepted():
            yield "the tonics differ"
    else:
        yield from intervals(trial)


def key_change(trial: Trial) -> Iterator[str]:
    """Two bars of each key, its tonic chord, and fewer foreign notes in the right key."""
    melody = trial.melody
    one, other = (trial.accepted(place)[0].split() for place in (0, 1))
    bar = int(trial.accepted(2)[0])
    if not {str(bar)} <= set(trial.accepted(2)):
        yield "the bar itself is not accepted"
    for before, (tonic, mode), rival in ((True, one, other), (False, other, one)):
        bars = {n for n in melody.bar if (n < bar) == before}
        if len(bars) < 2:
            yield f"{len(bars)} bars of {tonic} {mode}"
        symbols = [c.text for c in melody.chords if (c.bar < bar) == before]
        small = mode in {"minor", "dorian", "phrygian"}
        if not any(chord_root(s) == tonic and is_minor(s) == small for s in symbols):
            yield f"no tonic chord of {tonic} {mode}"
        names = [
            class_of(melody, n) for n, b in enumerate(melody.bar) if (b < bar) == before
        ]
        own, foreign = strangers(names, tonic, mode), strangers(names, *rival)
        if own > foreign:
            yield f"{own} notes foreign to {tonic} {mode}, {foreign} to its rival"


def strangers(names: list[str], tonic: str, mode: str) -> int:
    """How many notes a key does not have; minor has both sevenths and sixths."""
    held = set(mode_notes(tonic, mode))
    if mode == "minor":
        held |= set(mode_notes(tonic, "major")[5:])
    return sum(name not in held for name in names)


def mode(trial: Trial) -> Iterator[str]:
    """Just one mode on the tonic has all notes."""
    found = re.search(r"[Tt]he tonic is (\S+)\.", trial.task)
    assert found is not None, trial.task
    held = {class_of(trial.melody, note) for note in range(len(trial.melody))}
    fits = [name for name in MODES if held <= set(mode_notes(found[1], name))]
    if fits != trial.accepted()[:1]:
        yield f"it may be {fits}"


BRITISH = {"half": "minim", "quarter": "crotchet", "eighth": "quaver", "whole": "semibreve"}


def metre(trial: Trial) -> Iterator[str]:
    """Beats, their value and division, or notes on beats, by music21."""
    assert trial.melody.metre is not None
    made = trial.melody.metre
    signature = meter.TimeSignature(f"{made.numerator}/{made.denominator}")
    if found := re.match(r"Bar (\d+): how many", trial.task):
        number, beat = int(found[1]), Fraction(signature.beatDuration.quarterLength)
        (start,) = {b.onset_ticks for b in trial.melody.bars if b.number == number}
        offsets = [
            Fraction(o - start, QUARTER)
            for o, b in zip(trial.melody.onset_ticks, trial.melody.bar, strict=True)
            if b == number
        ]
        right = str(sum(offset % beat == 0 for offset in offsets))
        if trial.accepted() != [right]:
            yield f"{right} notes begin on a beat"
        return
    value = signature.beatDuration
    name = ("dotted " if value.dots else "") + BRITISH[value.type]
    kind = signature.beatDivisionCountName.lower()
    told = [trial.accepted(place)[0] for place in range(3)]
    if told != [str(signature.beatCount), name, kind]:
        yield f"it is {signature.beatCount}, {name}, {kind}"


CLOSES = {
    ("5", "1"): "authentic cadence",
    ("4", "1"): "plagal cadence",
    ("5", "6"): "deceptive cadence",
    ("5", "b6"): "deceptive cadence",
}


def cadence(trial: Trial) -> Iterator[str]:
    """The close of the last two chords by their degrees."""
    places = sorted(trial.shown.marked_chords)[-2:]
    onset = trial.melody.chords[places[-1]].onset_ticks
    tonic, _ = key_of(trial.shown, onset)
    told = tuple(degree(tonic, chord_root(trial.melody.chords[p].text)) for p in places)
    before, last = told
    right = CLOSES.get((before, last)) or ("half cadence" if last == "5" else "none")
    if trial.accepted()[0] != right:
        yield f"{told} is a {right}"


def section(trial: Trial) -> Iterator[str]:
    """The bars that are printed, counted."""
    first, last = trial.melody.bar[0], trial.melody.bar[-1]
    if trial.accepted() != [str(last - first + 1)]:
        yield f"bars {first} to {last}"


def ending(trial: Trial) -> Iterator[str]:
    """The degree of the last note."""
    if trial.accepted() != degrees_of(trial.shown)[-1:]:
        yield f"it ends on {degrees_of(trial.shown)[-1]}"


def returning(trial: Trial) -> Iterator[str]:
    """Two spans of bars compared step by step, by music21's generic intervals."""
    head = plain_words(trial.question.parts[0].task)
    numbers = [int(n) for n in re.findall(r"\d+", head)]
    spans = [numbers[:2], numbers[2:]] if len(numbers) == 4 else [[n, n] for n in numbers]
    yield from again(
        trial,
        *(
            [n for n, b in enumerate(trial.melody.bar) if first <= b <= last]
            for first, last in spans
        ),
    )


def again(trial: Trial, *spans: Sequence[int]) -> Iterator[str]:
    """How some notes come again, or by how far."""
    one, other = (
        [m21(note_name(trial.melody.midi[n], trial.melody.fifths[n])) for n in notes]
        for notes in spans
    )
    if len(one) != len(other):
        yield f"{len(one)} notes and {len(other)}"
        return
    steps = [
        [interval.Interval(a, b).generic.directed for a, b in pairwise(row)]
        for row in (one, other)
    ]
    moved = interval.Interval(one[0], other[0]).generic
    if "How far" in trial.task:
        way = "up" if moved.directed > 0 else "down"
        name = str(moved.niceName).lower()
        if trial.accepted()[0] != f"a {name} {way}":
            yield f"it is a {name} {way}"
        return
    same = [p.ps for p in one] == [p.ps for p in other]
    turned = [s if abs(s) == 1 else -s for s in steps[0]] == steps[1]
    right = "note for note" if same else "in sequence" if steps[0] == steps[1] else ""
    right = right or ("turned over" if turned else "nothing of the kind")
    if trial.accepted()[0] != right:
        yield f"it comes again {right}"


def transpose(trial: Trial) -> Iterator[str]:
    """The first notes, moved by music21's interval from tonic to tonic."""
    found = re.search(r"first (\d+) notes, moved from (\S+) \w+ to (\S+) \w+\.", trial.task)
    assert found is not None, trial.task
    by = above(found[2], found[3])
    right = [
        ours(by.transposePitch(m21(f"{class_of(trial.melody, note)}4")))
        for note in range(int(found[1]))
    ]
    if trial.accepted() != [" ".join(right)]:
        yield f"it is {right}"


def dictation(trial: Trial) -> Iterator[str]:
    """The degrees of all notes, or their lengths where the pitches are printed."""
    if found := re.search(r"how many (\w+) each lasts", trial.task):
        unit = {"crotchets": 1, "quavers": 2, "semiquavers": 4}[found[1]]
        lengths = [Fraction(d * unit, QUARTER) for d in trial.melody.duration_ticks]
        if trial.accepted() != [" ".join(str(length) for length in lengths)]:
            yield f"they last {lengths}"
        return
    yield from rows(trial)


def rows(trial: Trial) -> Iterator[str]:
    """All degrees, and the same in solfa where each has a syllable."""
    told = degrees_of(trial.shown)
    right = [" ".join(told)]
    if all(step in SOLFA for step in told):
        right.append(" ".join(SOLFA[step] for step in told))
    if trial.accepted() != right:
        yield f"it is {right}"


def sing(trial: Trial) -> Iterator[str]:
    """The degrees of all notes, or a chord upward and the note in a box."""
    if found := re.search(r"the notes of (\S+) from the root up", trial.task):
        steps = members(found[1])
        if steps is None:
            yield f"the table of chords lacks {found[1]}"
            return
        chord = " ".join(note_above(chord_root(found[1]), step) for step in steps)
        last = class_of(trial.melody, min(trial.shown.marked_notes))
        if trial.accepted() != [f"{chord}, then {last}"]:
            yield f"it is {chord}, then {last}"
        return
    yield from rows(trial)


def sequence(trial: Trial) -> Iterator[str]:
    """What is printed, moved within the scale as music21 spells it.

    Every note goes as many steps of the scale as the first note of the second time lies
    from the first of the first.
    """
    found = re.search(r"foreign to (\S+) (\w+)\.", trial.task)
    assert found is not None, trial.task
    steps = mode_notes(found[1], found[2])
    hidden = sorted(trial.shown.unwritten)
    names = [class_of(trial.melody, note) for note in range(hidden[0])]
    model, start = names[:-1], names[-1]
    if len(model) != len(hidden) + 1 or not set(names) <= set(steps):
        yield "what is printed is not the first time and one note"
        return
    by = steps.index(start) - steps.index(model[0])
    right = " ".join(steps[(steps.index(name) + by) % 7] for name in model[1:])
    if trial.accepted() != [right]:
        yield f"it goes on {right}"


def hear(trial: Trial) -> Iterator[str]:
    """What is asked by ear is what the notes say; nothing is printed."""
    if any(each.heard != "nothing" for each in trial.question.passages):
        yield "what is to be heard is printed"
    if found := re.search(r"degree (\S+) of (\S+) \w+, in the other", trial.task):
        having = [
            each.letter
            for each in trial.question.passages
            if found[1]
            in {
                degree(found[2], class_of(each.excerpt, n))
                for n in range(len(each.excerpt))
            }
        ]
        if having != trial.accepted():
            yield f"it is in {having}"
    elif "second half" in trial.task:
        half = len(trial.melody) // 2
        yield from again(trial, range(half), range(half, len(trial.melody)))
    elif "Which mode" in trial.task:
        yield from mode(trial)
    elif trial.accepted()[0] != degrees_of(trial.shown)[-1]:
        yield f"it ends on {degrees_of(trial.shown)[-1]}"


def compare(trial: Trial) -> Iterator[str]:
    """First and last degree of both."""
    told = [trial.accepted(place) for place in range(4)]
    right = [
        [row[at]]
        for p in trial.question.passages
        for row in [degrees_of(p)]
        for at in (0, -1)
    ]
    if told != right:
        yield f"they are {right}"


def shared_notes(trial: Trial) -> Iterator[str]:
    """Same degree at the same time after the first bar line that is printed."""
    a, b = trial.question.passages
    rows = []
    for each in (a, b):
        metre = each.excerpt.metre
        full = metre.bar_ticks if metre else 0
        start = next(
            (b.onset_ticks for b in each.excerpt.bars if b.duration_ticks >= full),
            each.excerpt.onset_ticks[0],
        )
        told = degrees_of(each)
        rows.append(
            {(o - start, d) for o, d in zip(each.excerpt.onset_ticks, told, strict=True)}
        )
    if trial.accepted() != [str(len(rows[0] & rows[1]))]:
        yield f"{len(rows[0] & rows[1])} notes are shared"


def relative(trial: Trial) -> Iterator[str]:
    """One choice has most degrees in order, twice as many as each other one."""
    phrase, *choices = trial.question.passages
    counts = {c.letter: in_order(degrees_of(phrase), degrees_of(c)) for c in choices}
    best = max(counts, key=counts.__getitem__)
    others = [count for letter, count in counts.items() if letter != best]
    if trial.accepted() != [best]:
        yield f"{best} has most: {counts}"
    if 2 * max(others) > counts[best] or counts[best] < 0.7 * len(phrase.excerpt):
        yield f"no gap that can be heard: {counts} of {len(phrase.excerpt)}"


def in_order(a: list[str], b: list[str]) -> int:
    """The longest row of equal members in order (table of a by b)."""
    best = [[0] * (len(b) + 1) for _ in range(len(a) + 1)]
    for i, one in enumerate(a):
        for j, other in enumerate(b):
            longer = best[i][j] + 1 if one == other else 0
            best[i + 1][j + 1] = max(longer, best[i][j + 1], best[i + 1][j])
    return best[-1][-1]


CHECKS: dict[str, Callable[[Trial], Iterator[str]]] = {
    "degrees": degrees,
    "solfa": solfa,
    "chords": chords,
    "note on chord": note_on_chord,
    "motion": motion,
    "find": find,
    "spot": spot,
    "spelling": spelling,
    "intervals": intervals,
    "write another": write_another,
    "keys": keys,
    "key change": key_change,
    "mode": mode,
    "metre": metre,
    "cadence": cadence,
    "section": section,
    "ending": ending,
    "returning": returning,
    "transpose": transpose,
    "dictation": dictation,
    "shared notes": shared_notes,
    "relative": relative,
    "sequence": sequence,
    "hear": hear,
    "sing": sing,
    "compare": compare,
}


def wrong_in(question: Question, part: Part) -> list[str]:
    """What is wrong with the key of a part, in words; nothing where it is right."""
    if part.is_open and part.kind not in CHECKS:
        return []
    if part.kind not in CHECKS:
        return [f"no check for {part.kind}"]
    return list(CHECKS[part.kind](Trial(question, part)))
