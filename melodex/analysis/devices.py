"""Harmonic devices: what in the chords of a piece is worth pointing out, and why.

Conventions: each find names its kind, its bars, the chords and notes that show it
and one sentence of reason. Kinds are terms of the trade. A cadence is told only
where the music rests: on the last chord, where a phrase ends, or where the melody
or the chord stands clearly longer than usual; without that, five to one is only a
step. Lines by half step are told apart from what any two chords share by their
length (:data:`LINE_CHORDS`). All rules are common practice, no source.

Contents: Device, devices, harmony, Harmony, KINDS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from statistics import median

from melodex.analysis.harmony import (
    TENSION,
    KeyStretch,
    NoteOnChord,
    PlacedChord,
    melody_on_chords,
    place_chords,
    spoken_degree,
    spoken_numeral,
)
from melodex.analysis.lines import bass_lines, inner_lines, pedals
from melodex.analysis.numerals import is_minor_mode
from melodex.melody import Melody, degree_name, pitch_class_name

__all__ = ["KINDS", "Device", "Harmony", "devices", "harmony"]

KINDS = (
    "secondary dominant",
    "secondary leading tone",
    "related ii",
    "borrowed chord",
    "modal mixture",
    "tritone substitute",
    "flat VII to I",
    "blues seventh",
    "altered dominant",
    "ii V I",
    "circle of fifths",
    "third relation",
    "authentic cadence",
    "plagal cadence",
    "minor plagal cadence",
    "half cadence",
    "deceptive cadence",
    "suspended ending",
    "major ending in minor",
    "ending off the tonic",
    "ending on a coloured tonic",
    "pedal bass",
    "bass by half step",
    "inner line by half step",
    "inner line over one root",
    "colour note",
)
"""Every kind of device, in the order in which they are looked for."""

CIRCLE_CHORDS = 4
"""Roots in a row that fall by fifths before it is called a circle."""
MIXTURE_CHORDS = 2
LONG_REST_RATIO = 1.9
"""A note or chord this many times the median length is a place of rest."""
LONG_NOTE_RATIO = 1.4
FIFTH_DOWN = -1
DIATONIC_FIFTH_DOWN = 6
"""IV to vii: the one diminished fifth in a circle that stays in the key."""
PARALLEL = {"minor": "the parallel minor", "major": "the parallel major"}


@dataclass(frozen=True, slots=True)
class Device:
    """A find: kind, bars, one sentence of reason, and what shows it.

    ``notes`` are indexes into the melody, ``chords`` the first and last index
    into the placed chords.
    """

    kind: str
    first_bar: int
    last_bar: int
    reason: str
    chords: tuple[int, int]
    notes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Harmony:
    """Everything that is said of the chords of a piece."""

    chords: tuple[PlacedChord, ...]
    notes: tuple[NoteOnChord, ...]
    devices: tuple[Device, ...]


def harmony(melody: Melody, key_spans: Sequence[KeyStretch] = ()) -> Harmony:
    """Read chords, melody notes on them, and devices in one go.

    Parameters
    ----------
    melody : Melody
        Without chord symbols everything comes back empty.
    key_spans : sequence of KeyStretch
        Key centres in the order of their onsets; without any, the printed keys.

    Examples
    --------
    >>> harmony(Melody()).devices
    ()
    """
    placed = place_chords(melody, key_spans)
    notes = melody_on_chords(melody, placed)
    return Harmony(placed, notes, devices(melody, placed, notes))


def devices(
    melody: Melody, placed: Sequence[PlacedChord], notes: Sequence[NoteOnChord]
) -> tuple[Device, ...]:
    """Find the harmonic devices of a piece.

    Parameters
    ----------
    melody : Melody
    placed : sequence of PlacedChord
        From :func:`~melodex.analysis.harmony.place_chords`.
    notes : sequence of NoteOnChord
        From :func:`~melodex.analysis.harmony.melody_on_chords`.

    Returns
    -------
    tuple of Device
        In the order of their first chord, then of :data:`KINDS`.
    """
    steps = sounding_steps(placed)
    if not steps:
        return ()
    piece = Piece(melody, placed, notes, steps, tuple(placed[step] for step in steps))
    found = [device for finder in FINDERS for device in finder(piece)]
    found.sort(key=lambda device: (device.chords, KIND_ORDER[device.kind]))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Piece:
    """What the finders look at.

    ``steps`` indexes the chords without silences and mere repeats, ``row`` holds
    those chords.
    """

    melody: Melody
    placed: Sequence[PlacedChord]
    notes: Sequence[NoteOnChord]
    steps: tuple[int, ...]
    row: tuple[PlacedChord, ...]

    def neighbours(self) -> Iterator[tuple[int, PlacedChord, PlacedChord]]:
        """Each step with its chord and the next one."""
        return zip(count(), self.row, self.row[1:], strict=False)

    def device(self, kind: str, first: int, last: int, reason: str) -> Device:
        """A find over a run of steps."""
        chords = self.steps[first], self.steps[last]
        return Device(kind, self.row[first].bar, self.row[last].bar, reason, chords)


def sounding_steps(placed: Sequence[PlacedChord]) -> tuple[int, ...]:
    """Indexes of chords that sound and are not a mere repeat of the one before."""
    steps: list[int] = []
    before = ""
    for place, here in enumerate(placed):
        if here.chord.degrees and here.chord.text != before:
            steps.append(place)
            before = here.chord.text
    return tuple(steps)


# Single chords.


def coloured_chords(piece: Piece) -> Iterator[Device]:
    """Applied, borrowed and substituted chords, each with its reason."""
    for step, here in enumerate(piece.row):
        sentence = SENTENCES.get(here.numeral.role)
        if sentence is not None:
            kind = KIND_OF_ROLE[here.numeral.role]
            yield piece.device(kind, step, step, sentence(here))


def goes(here: PlacedChord) -> str:
    """Whether an applied chord goes where it leads."""
    return "and goes there" if here.numeral.resolves else "without going there"


def goal_note(here: PlacedChord) -> str:
    """The root that an applied chord leads to."""
    return pitch_class_name(here.key.tonic_fifths + (here.numeral.goal_degree or 0))


def say_secondary_dominant(here: PlacedChord) -> str:
    """Reason of a secondary dominant."""
    return (
        f"{here.chord.text} is {here.numeral.text}: the dominant of {goal_note(here)} "
        f"({here.numeral.goal}), {goes(here)}"
    )


def say_leading_tone(here: PlacedChord) -> str:
    """Reason of a secondary leading-tone chord."""
    return (
        f"{here.chord.text} is {here.numeral.text}: it stands a half step below "
        f"{goal_note(here)} ({here.numeral.goal}), {goes(here)}"
    )


def say_related_ii(here: PlacedChord) -> str:
    """Reason of the ii before a secondary dominant."""
    return f"{here.chord.text} is {here.numeral.text}: the ii before a dominant of its own"


def say_substitute(here: PlacedChord) -> str:
    """Reason of a tritone substitute."""
    goal = here.key.tonic_fifths + (here.numeral.goal_degree or 0)
    return (
        f"{here.chord.text} ({here.numeral.text}) stands for "
        f"{pitch_class_name(goal + 1)}7, a tritone away, and leads down a half step to "
        f"{goal_note(here)} ({here.numeral.goal}), {goes(here)}"
    )


def say_borrowed(here: PlacedChord) -> str:
    """Reason of a borrowed chord."""
    source = here.numeral.from_mode
    named = PARALLEL.get(source, f"{source} on the same tonic")
    spoken = spoken_numeral(here.numeral.text, here.chord.family)
    return f"{here.chord.text} is {spoken}, borrowed from {named}"


def say_blues(here: PlacedChord) -> str:
    """Reason of a seventh on I or IV that does not resolve."""
    return (
        f"{here.chord.text} ({here.numeral.text}) has a minor 7th as colour "
        "and does not go on as a dominant"
    )


SENTENCES: dict[str, Callable[[PlacedChord], str]] = {
    "secondary dominant": say_secondary_dominant,
    "secondary leading tone": say_leading_tone,
    "related ii": say_related_ii,
    "tritone substitute": say_substitute,
    "borrowed": say_borrowed,
    "blues seventh": say_blues,
}
KIND_OF_ROLE = {role: role for role in SENTENCES} | {"borrowed": "borrowed chord"}


def altered_dominants(piece: Piece) -> Iterator[Device]:
    """Dominants with altered fifths or tensions."""
    for step, here in enumerate(piece.row):
        if here.chord.family == "dominant" and here.chord.alterations:
            listed = " and ".join(spoken_degree(n) for n in here.chord.alterations)
            reason = f"{here.chord.text} ({here.numeral.text}) is a dominant with {listed}"
            yield piece.device("altered dominant", step, step, reason)


# Runs of chords.


def mixtures(piece: Piece) -> Iterator[Device]:
    """Two or more borrowed chords in a row, from one parallel mode."""
    sources = [here.numeral.from_mode for here in piece.row]
    for first, last in runs(sources):
        if sources[first] and last - first + 1 >= MIXTURE_CHORDS:
            texts = " ".join(piece.row[s].numeral.text for s in range(first, last + 1))
            source = sources[first]
            named = PARALLEL.get(source, f"{source} on the same tonic")
            reason = f"{texts}: the passage dips into {named}"
            yield piece.device("modal mixture", first, last, reason)


def runs(values: Sequence[object]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of equal values."""
    first = 0
    for place in range(1, len(values) + 1):
        if place == len(values) or values[place] != values[first]:
            yield first, place - 1
            first = place


TONIC_FAMILIES = frozenset({"major", "minor", "dominant"})
SECOND_FAMILIES = frozenset({"minor", "half-diminished"})
DOMINANT = frozenset({"dominant"})
FIFTH_FAMILIES = frozenset({"dominant", "major", "suspended", "augmented"})


def two_five_ones(piece: Piece) -> Iterator[Device]:
    """ii V I in the key that holds at the I."""
    for step, two in enumerate(piece.row[:-2]):
        if two.chord.family not in SECOND_FAMILIES:
            continue
        tonic, between = closing_tonic(piece, step + 1)
        if tonic is None:
            continue
        five, one = piece.row[step + 1], piece.row[tonic]
        key = one.key.tonic_fifths
        substituted = is_degree(five, -5, key, DOMINANT)
        if (
            is_degree(two, 2, key, SECOND_FAMILIES)
            and (substituted or is_degree(five, 1, key, FIFTH_FAMILIES))
            and is_degree(one, 0, key, TONIC_FAMILIES)
        ):
            between += ", a tritone substitute for the V" if substituted else ""
            texts = " ".join(piece.row[s].chord.text for s in range(step, tonic + 1))
            minor = " minor" if one.chord.family == "minor" else ""
            reason = f"{texts}: ii V I in {pitch_class_name(key)}{minor}{between}"
            yield piece.device("ii V I", step, tonic, reason)


def closing_tonic(piece: Piece, five: int) -> tuple[int | None, str]:
    """The step after V, past a second form of V such as V7 after Vsus4."""
    after = five + 1
    root = piece.row[five].chord.root_fifths
    while after < len(piece.steps) and piece.row[after].chord.root_fifths == root:
        after += 1
    if after >= len(piece.steps):
        return None, ""
    return after, ", the V in more than one form" if after > five + 1 else ""


def is_degree(
    here: PlacedChord, degree: int, tonic_fifths: int, families: frozenset[str]
) -> bool:
    """Whether a chord stands on a degree of a key and is of one of some families."""
    return here.chord.root_fifths - tonic_fifths == degree and here.chord.family in families


def circles(piece: Piece) -> Iterator[Device]:
    """Roots that fall by fifths, four chords or more."""
    falls = [
        after.chord.root_fifths - here.chord.root_fifths
        in {FIFTH_DOWN, DIATONIC_FIFTH_DOWN}
        for _, here, after in piece.neighbours()
    ]
    for first, last in runs(falls):
        if falls[first] and last - first + 2 >= CIRCLE_CHORDS:
            roots = (piece.row[s].chord.root_fifths for s in range(first, last + 2))
            names = " ".join(pitch_class_name(r) for r in roots)
            reason = f"roots fall by fifths: {names}"
            yield piece.device("circle of fifths", first, last + 1, reason)


def flat_sevens(piece: Piece) -> Iterator[Device]:
    """bVII, with or without a seventh, straight to a major I."""
    for step, here, after in piece.neighbours():
        degrees = here.numeral.degree, after.numeral.degree
        if (
            degrees == (-2, 0)
            and here.chord.family in {"dominant", "major"}
            and after.chord.family == "major"
        ):
            first = step
            if step and piece.row[step - 1].numeral.text.startswith("iv"):
                first = step - 1
            texts = " ".join(piece.row[s].numeral.text for s in range(first, step + 2))
            reason = f"{texts}: flat VII goes straight to I, up a whole tone"
            yield piece.device("flat VII to I", first, step + 1, reason)


def third_relations(piece: Piece) -> Iterator[Device]:
    """Two major or two minor triads whose roots are a third apart."""
    for step, here, after in piece.neighbours():
        same = here.chord.family == after.chord.family
        apart = abs(after.chord.root_fifths - here.chord.root_fifths)
        if same and here.chord.family in {"major", "minor"} and apart in {3, 4}:
            reason = (
                f"{here.chord.text} to {after.chord.text}: two {here.chord.family} chords "
                "a third apart, which share one note of their triads"
            )
            yield piece.device("third relation", step, step + 1, reason)


# Cadences and endings.


def cadences(piece: Piece) -> Iterator[Device]:
    """Cadences where the music rests."""
    rests = RestingPlaces(piece)
    for step, here, after in piece.neighbours():
        kind = cadence_of(here, after)
        if kind and (rests.at(step + 1) or kind == "deceptive cadence"):
            named = f"{here.numeral.text} to {after.numeral.text}"
            where = pitch_class_name(after.key.tonic_fifths)
            reason = f"{here.chord.text} {after.chord.text}: {named} in {where}"
            yield piece.device(kind, step, step + 1, reason)


def cadence_of(here: PlacedChord, after: PlacedChord) -> str:
    """The cadence that two chords make in the key of the second, or nothing."""
    key = after.key
    if key.mode == "none":
        return ""
    degree = here.chord.root_fifths - key.tonic_fifths
    goal = after.chord.root_fifths - key.tonic_fifths
    five = degree == 1 and here.chord.family in FIFTH_FAMILIES
    leading = degree == 5 and here.chord.family in {"diminished", "half-diminished"}
    if goal == 0 and after.chord.family in TONIC_FAMILIES:
        if five or leading:
            return "authentic cadence"
        return plagal_of(here, degree, key.mode)
    if goal == 1 and after.chord.family in {"major", "dominant"} and degree != 1:
        return "half cadence"
    goes_to_sixth = goal in {3, -4} and after.chord.family in {"minor", "major"}
    return "deceptive cadence" if five and goes_to_sixth else ""


def plagal_of(here: PlacedChord, degree: int, mode: str) -> str:
    """IV to I, or iv to I in a major key."""
    if degree != -1:
        return ""
    if here.chord.family == "minor" and not is_minor_mode(mode):
        return "minor plagal cadence"
    return "plagal cadence" if here.chord.family in {"major", "minor"} else ""


class RestingPlaces:
    """Where a phrase ends, or note or chord stand clearly longer than usual."""

    def __init__(self, piece: Piece) -> None:
        """Measure what is usual in the piece."""
        self.piece = piece
        lengths = piece.melody.duration_ticks
        self.long_note = LONG_REST_RATIO * median(lengths) if lengths else 0.0
        spans = [self.length(step) for step in range(len(piece.steps))]
        self.long_chord = LONG_REST_RATIO * median(spans)
        self.rest_notes = {
            row.chord: row.note for row in piece.notes if self.note_rests(row.note)
        }

    def length(self, step: int) -> int:
        """How long a chord holds, its repeats counted."""
        steps, placed = self.piece.steps, self.piece.placed
        last = steps[step + 1] - 1 if step + 1 < len(steps) else len(placed) - 1
        return placed[last].end_ticks - placed[steps[step]].onset_ticks

    def note_rests(self, note: int) -> bool:
        """Whether a note is long or ends a phrase."""
        melody = self.piece.melody
        if note + 1 == len(melody) or melody.phrase[note + 1] != melody.phrase[note]:
            return True
        return melody.duration_ticks[note] >= self.long_note

    def at(self, step: int) -> bool:
        """Whether the music rests on the chord of a step."""
        steps = self.piece.steps
        if step + 1 == len(steps) or self.length(step) >= self.long_chord:
            return True
        return any(
            place in self.rest_notes for place in range(steps[step], steps[step + 1])
        )


def endings(piece: Piece) -> Iterator[Device]:
    """How the piece ends, where it is not on a plain tonic."""
    last = len(piece.steps) - 1
    here = piece.row[last]
    found = ending_of(here)
    if found:
        yield piece.device(found[0], last, last, found[1])


def ending_of(here: PlacedChord) -> tuple[str, str] | None:
    """Kind and reason of an ending that is worth telling."""
    chord, named = here.chord, here.numeral
    if chord.family == "suspended":
        return "suspended ending", f"the last chord, {chord.text}, stays suspended"
    if named.degree is None:
        return None
    if named.degree != 0:
        reason = f"the last chord is {chord.text} ({named.text}), not the tonic"
        return "ending off the tonic", reason
    if is_minor_mode(here.key.mode) and chord.family == "major":
        return (
            "major ending in minor",
            f"the key is minor and the last chord, {chord.text}, is major",
        )
    if chord.extensions:
        added = " and ".join(spoken_degree(n) for n in chord.extensions)
        return (
            "ending on a coloured tonic",
            f"the last chord, {chord.text}, is a tonic with {added}",
        )
    return None


# Lines and colour notes.


def lines(piece: Piece) -> Iterator[Device]:
    """Pedal basses, basses and inner voices that move by half step."""
    chords = [here.chord for here in piece.row]
    for first, last, bass in pedals(chords):
        key = piece.row[first].key
        degree = "" if key.mode == "none" else degree_name(bass - key.tonic_fifths)
        on = f" (degree {degree})" if degree else ""
        texts = " ".join(chord.text for chord in chords[first : last + 1])
        reason = f"the bass stays on {pitch_class_name(bass)}{on} under {texts}"
        yield piece.device("pedal bass", first, last, reason)
    for line in bass_lines(chords):
        reason = f"the bass moves by half step: {line.names}"
        yield piece.device("bass by half step", line.first, line.last, reason)
    for line in inner_lines(chords):
        kind = "inner line over one root" if line.one_root else "inner line by half step"
        texts = " ".join(chord.text for chord in chords[line.first : line.last + 1])
        reason = f"a voice inside {texts} moves by half step: {line.names}"
        yield piece.device(kind, line.first, line.last, reason)


COLOURED_ROLES = frozenset({"borrowed", "tritone substitute", "secondary dominant"})
COLOURS = frozenset({"#11", "b9", "#9", "b13"})


def colour_notes(piece: Piece) -> Iterator[Device]:
    """Long or strong melody notes that are telling tensions on their chord."""
    lengths = piece.melody.duration_ticks
    long_note = LONG_NOTE_RATIO * median(lengths) if lengths else 0.0
    for row in piece.notes:
        if row.kind != TENSION or row.held:
            continue
        strong = piece.melody.beat_strength[row.note] == 1.0
        if not strong and lengths[row.note] < long_note:
            continue
        if is_telling(row, piece.placed[row.chord].numeral.role):
            bar = piece.melody.bar[row.note]
            note = pitch_class_name(piece.melody.fifths[row.note])
            reason = f"the {note} in the melody is the {row.sentence}"
            yield Device(
                "colour note", bar, bar, reason, (row.chord, row.chord), (row.note,)
            )


def is_telling(row: NoteOnChord, role: str) -> bool:
    """Whether a tension is one that a listener remembers."""
    if row.degree_name in COLOURS:
        return True
    if row.degree_name == "7" and row.family == "minor":
        return True
    return role in COLOURED_ROLES and row.degree_name in {"7", "9", "13", "11"}


FINDERS: tuple[Callable[[Piece], Iterator[Device]], ...] = (
    coloured_chords,
    mixtures,
    flat_sevens,
    altered_dominants,
    two_five_ones,
    circles,
    third_relations,
    cadences,
    endings,
    lines,
    colour_notes,
)
KIND_ORDER = {kind: place for place, kind in enumerate(KINDS)}
