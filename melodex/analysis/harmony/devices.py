"""Harmonic devices: what in the chords of a piece is worth pointing out, and why.

Conventions: each find names its kind, its bars, the chords and notes that show it
and one sentence of reason. Kinds are terms of the trade. When two chords are a
cadence is said in ``cadences``, when a chain of half steps is a line in ``lines``.
All rules are common practice, no source.

Contents: Device, devices, harmony, Harmony, find_two_five_ones, KINDS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from melodex.analysis.harmony.cadences import cadences, endings
from melodex.analysis.harmony.chords import Chord
from melodex.analysis.harmony.finds import (
    DOMINANT,
    FIFTH_FAMILIES,
    SECOND_FAMILIES,
    TONIC_FAMILIES,
    Device,
    Piece,
    runs,
    sounding_steps,
)
from melodex.analysis.harmony.lines import bass_lines, inner_lines, pedals
from melodex.analysis.harmony.placed import (
    TENSION,
    KeyStretch,
    NoteOnChord,
    PlacedChord,
    melody_on_chords,
    place_chords,
    spoken_degree,
    spoken_numeral,
)
from melodex.melody import Melody, degree_name, pitch_class_name

__all__ = ["KINDS", "Device", "Harmony", "devices", "find_two_five_ones", "harmony"]

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
LEAST_CERTAIN_KEY = 0.6
"""Of a key span, for ii V I; chosen on the tuning half of human analyses."""
LONG_NOTE_RATIO = 1.4
FIFTH_DOWN = -1
DIATONIC_FIFTH_DOWN = 6
"""IV to vii: the one diminished fifth in a circle that stays in the key."""
PARALLEL = {"minor": "the parallel minor", "major": "the parallel major"}


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
        From :func:`~melodex.analysis.harmony.placed.place_chords`.
    notes : sequence of NoteOnChord
        From :func:`~melodex.analysis.harmony.placed.melody_on_chords`.

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
            named = "" if here.numeral.degree is None else f" ({here.numeral.text})"
            reason = f"{here.chord.text}{named} is a dominant with {listed}"
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


def two_five_ones(piece: Piece) -> Iterator[Device]:
    """ii V I in the key that holds there."""
    chords = [here.chord for here in piece.row]
    tonics = [
        sure_tonic(here.key.tonic_fifths, here.key.mode, here.key_certainty)
        for here in piece.row
    ]
    for first, last in find_two_five_ones(chords, tonics):
        one = chords[last]
        texts = " ".join(chord.text for chord in chords[first : last + 1])
        minor = " minor" if one.family == "minor" else ""
        reason = f"{texts}: ii V I in {pitch_class_name(one.root_fifths)}{minor}"
        if all(chord.root_fifths != one.root_fifths + 1 for chord in chords[first:last]):
            reason += ", a tritone substitute for the V"
        yield piece.device("ii V I", first, last, reason)


def sure_tonic(tonic_fifths: int, mode: str, certainty: float) -> int | None:
    """The tonic of a key, None where there is none or it is too unsure to build on."""
    if mode == "none" or certainty < LEAST_CERTAIN_KEY:
        return None
    return tonic_fifths


def find_two_five_ones(
    chords: Sequence[Chord], tonics: Sequence[int | None]
) -> list[tuple[int, int]]:
    """Find ii V I under local keys.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)
        All of them sound. Several chords on one root, such as V7 after Vsus4, are
        one step.
    tonics : sequence of int or None, of shape (n,)
        The tonic that holds at each chord, on the line of fifths; None where it is
        not sure. Seventh chords that no other key has, such as Dm7 G7 Cmaj7, need
        none.

    Returns
    -------
    list of (int, int)
        First index of the ii and first index of the I.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chords
    >>> find_two_five_ones(parse_chords(["Dm7", "Gsus4", "G7", "C"]), [0, 0, 0, 0])
    [(0, 3)]
    """
    groups = list(runs([chord.root_fifths for chord in chords]))
    found = []
    for two, five, one in zip(groups, groups[1:], groups[2:], strict=False):
        key = chords[one[0]].root_fifths
        steps = (
            is_degree(chords[two[1]], key + 2, SECOND_FAMILIES),
            is_degree(chords[five[1]], key + 1, FIFTH_FAMILIES)
            or is_degree(chords[five[1]], key - 5, DOMINANT),
            is_degree(chords[one[0]], key, TONIC_FAMILIES),
        )
        # The next key often starts on the I, so only ii and V must be in the key:
        # of the rules tried on the tuning half of human analyses this was the best.
        in_key = tonics[two[1]] == key and tonics[five[1]] == key
        if all(steps) and (in_key or evident(chords[two[1]], chords[one[0]])):
            found.append((two[0], one[0]))
    return found


def evident(two: Chord, one: Chord) -> bool:
    """Whether the chords alone say ii V I: a seventh on the ii, maj7 or 6 on the I."""
    return "b7" in two.extensions and bool({"7", "6"} & set(one.extensions))


def is_degree(chord: Chord, root_fifths: int, families: frozenset[str]) -> bool:
    """Whether a chord stands on a root and is of one of some families."""
    return chord.root_fifths == root_fifths and chord.family in families


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
