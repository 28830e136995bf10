"""Harmonic devices: what in the chords of a piece is worth pointing out, and why.

Conventions: each find names its kind, its bars, the chords and notes that show it
and one sentence of reason. Kinds are terms of the trade. When two chords are a
cadence is said in ``cadences``, when a chain of half steps is a line in ``lines``.
All rules are common practice, no source.

Contents: Device, devices, harmony, Harmony, find_two_five_ones, KINDS.
"""

from __future__ import annotations

import operator
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
from melodex.analysis.harmony.lines import Line, bass_lines, inner_lines, pedals
from melodex.analysis.harmony.numerals import is_minor_mode
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
from melodex.analysis.harmony.rests import PhraseEnd, Rest, SectionEnd, rests
from melodex.analysis.harmony.roles import goes_on
from melodex.melody import MODES, Melody, degree_name, pitch_class, pitch_class_name

__all__ = ["KINDS", "Device", "Harmony", "devices", "find_two_five_ones", "harmony"]

KINDS = (
    "secondary dominant",
    "secondary leading tone",
    "related ii",
    "borrowed chord",
    "modal mixture",
    "tritone substitute",
    "augmented sixth",
    "Neapolitan",
    "common-tone diminished",
    "passing diminished",
    "backdoor",
    "flat VII to I",
    "blues seventh",
    "altered dominant",
    "lydian dominant",
    "ii V I",
    "turnaround",
    "circle of fifths",
    "third relation",
    "authentic cadence",
    "plagal cadence",
    "minor plagal cadence",
    "half cadence",
    "deceptive cadence",
    "backdoor cadence",
    "Picardy third",
    "suspended ending",
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
TURNAROUND_BARS = 2
LEAST_CERTAIN_KEY = 0.6
"""Of a key span, for ii V I; chosen on the tuning half of human analyses."""
LONG_NOTE_RATIO = 1.4
FIFTH_DOWN = -1
FLATTEST_NAME = -7
"""C flat, on the line of fifths: what is flatter has a plainer name."""
FIFTH_DOWN_SEMITONES, HALF_STEP_DOWN = 7, 1
DIATONIC_FIFTH_DOWN = 6
"""IV to vii: the one diminished fifth in a circle that stays in the key."""
PARALLEL = {"minor": "the parallel minor", "major": "the parallel major"}


@dataclass(frozen=True, slots=True)
class Harmony:
    """Everything that is said of the chords of a piece."""

    chords: tuple[PlacedChord, ...]
    notes: tuple[NoteOnChord, ...]
    devices: tuple[Device, ...]


def harmony(
    melody: Melody,
    key_spans: Sequence[KeyStretch] = (),
    *,
    phrases: Sequence[PhraseEnd] | None = None,
    sections: Sequence[SectionEnd] = (),
) -> Harmony:
    """Read chords, melody notes on them, and devices in one go.

    Parameters
    ----------
    melody : Melody
        Without chord symbols everything comes back empty.
    key_spans : sequence of KeyStretch
        Key centres in the order of their onsets; without any, the printed keys.
    phrases : sequence of PhraseEnd, optional
        Where cadences may stand; without them, the phrases that the melody is numbered
        by.
    sections : sequence of SectionEnd
        Where cadences may stand too.

    Examples
    --------
    >>> harmony(Melody()).devices
    ()
    """
    placed = place_chords(melody, key_spans)
    notes = melody_on_chords(melody, placed)
    resting = rests(melody, placed, phrases, sections)
    return Harmony(placed, notes, devices(melody, placed, notes, resting))


def devices(
    melody: Melody,
    placed: Sequence[PlacedChord],
    notes: Sequence[NoteOnChord],
    resting: tuple[Rest, ...],
) -> tuple[Device, ...]:
    """Find the harmonic devices of a piece.

    Parameters
    ----------
    melody : Melody
    placed : sequence of PlacedChord
        From :func:`~melodex.analysis.harmony.placed.place_chords`.
    notes : sequence of NoteOnChord
        From :func:`~melodex.analysis.harmony.placed.melody_on_chords`.
    resting : tuple of Rest
        From :func:`~melodex.analysis.harmony.rests.rests`.

    Returns
    -------
    tuple of Device
        In the order of their first chord, then of :data:`KINDS`.
    """
    steps = sounding_steps(placed)
    if not steps:
        return ()
    row = tuple(placed[step] for step in steps)
    piece = Piece(melody, placed, notes, steps, row, resting)
    found = one_name([device for finder in FINDERS for device in finder(piece)], steps[-1])
    found.sort(key=lambda device: (device.chords, KIND_ORDER[device.kind]))
    return tuple(found)


def one_name(found: Sequence[Device], last: int) -> list[Device]:
    """Leave out a half cadence where a turnaround or the close of the piece has its V."""
    taken = {device.chords[1] for device in found if device.kind == "turnaround"}
    taken |= {d.chords[0] for d in found if d.chords[1] == last and "cadence" in d.kind}
    return [d for d in found if d.kind != "half cadence" or d.chords[1] not in taken]


# Single chords.


def coloured_chords(piece: Piece) -> Iterator[Device]:
    """Applied, borrowed and substituted chords, each with its reason."""
    closing = {d.chords[1] for d in cadences(piece) if d.kind == "Picardy third"}
    for step, here in enumerate(piece.row):
        sentence = SENTENCES.get(here.numeral.role)
        if sentence is not None and piece.steps[step] not in closing:
            kind = KIND_OF_ROLE[here.numeral.role]
            yield piece.device(kind, step, step, sentence(here))


def goes(here: PlacedChord) -> str:
    """Whether an applied chord goes where it leads."""
    return "and goes there" if here.numeral.resolves else "without going there"


def goal_note(here: PlacedChord) -> str:
    """The root that an applied chord leads to, named as the chord is: A7 leads to D."""
    if here.numeral.role == "secondary dominant":
        return pitch_class_name(here.chord.root_fifths + FIFTH_DOWN)
    goal = here.key.tonic_fifths + (here.numeral.goal_degree or 0)
    return pitch_class_name(goal + 12 if goal < FLATTEST_NAME else goal)


def say_secondary_dominant(here: PlacedChord) -> str:
    """Reason of a secondary dominant."""
    return (
        f"{here.chord.text} is {here.numeral.text}: the dominant of {goal_note(here)} "
        f"({here.numeral.goal}), {goes(here)}"
    )


def say_leading_tone(here: PlacedChord) -> str:
    """Reason of a secondary leading-tone chord."""
    goal = here.key.tonic_fifths + (here.numeral.goal_degree or 0)
    under = pitch_class(goal - here.chord.root_fifths) == 1
    note = "it" if under else f"its {pitch_class_name(goal + 5)}"
    return (
        f"{here.chord.text} is {here.numeral.text}: {note} stands a half step below "
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


def say_sixth(here: PlacedChord) -> str:
    """Reason of an augmented sixth."""
    root = here.key.tonic_fifths - 4
    return (
        f"{here.chord.text} is {spoken_numeral(here.numeral.text)}: "
        f"{pitch_class_name(root)} and {pitch_class_name(root + 10)} open out to the "
        f"{pitch_class_name(here.key.tonic_fifths + 1)} of V"
    )


def say_neapolitan(here: PlacedChord) -> str:
    """Reason of a Neapolitan."""
    return (
        f"{here.chord.text} ({here.numeral.text}) is the Neapolitan: the major chord on "
        "the flat 2nd, before the dominant"
    )


def say_common_tone(here: PlacedChord) -> str:
    """Reason of a common-tone diminished chord."""
    return (
        f"{here.chord.text} ({here.numeral.text}) is a diminished seventh that keeps the "
        "root of the chord it goes to"
    )


def say_passing(here: PlacedChord) -> str:
    """Reason of a passing diminished chord."""
    return (
        f"{here.chord.text} ({here.numeral.text}) is a diminished chord that passes down "
        "a half step to the next"
    )


SENTENCES: dict[str, Callable[[PlacedChord], str]] = {
    "secondary dominant": say_secondary_dominant,
    "secondary leading tone": say_leading_tone,
    "related ii": say_related_ii,
    "tritone substitute": say_substitute,
    "augmented sixth": say_sixth,
    "Neapolitan": say_neapolitan,
    "common-tone diminished": say_common_tone,
    "passing diminished": say_passing,
    "borrowed": say_borrowed,
    "blues seventh": say_blues,
}
KIND_OF_ROLE = {role: role for role in SENTENCES} | {"borrowed": "borrowed chord"}


ALTERED = frozenset({"b5", "#5", "b9", "#9", "b13"})


def altered_dominants(piece: Piece) -> Iterator[Device]:
    """Dominants with altered fifths or tensions that go where a dominant goes.

    A raised eleventh alone, on a dominant that does not fall by a fifth, is lydian.
    """
    for step, here in enumerate(piece.row):
        if here.chord.family != "dominant" or not here.chord.alterations:
            continue
        listed = " and ".join(spoken_degree(n) for n in here.chord.alterations)
        named = "" if here.numeral.degree is None else f" ({here.numeral.text})"
        reason = f"{here.chord.text}{named} is a dominant with {listed}"
        fall = fall_after(piece, step)
        if fall == FIFTH_DOWN_SEMITONES or (
            fall == HALF_STEP_DOWN and ALTERED & set(here.chord.alterations)
        ):
            yield piece.device("altered dominant", step, step, reason)
        elif here.chord.alterations == ("#11",):
            reason += " that does not fall by a fifth"
            yield piece.device("lydian dominant", step, step, reason)


def fall_after(piece: Piece, step: int) -> int | None:
    """Half steps down from a root to that of the next chord which is not more of it."""
    here = piece.row[step].chord
    for later in piece.row[step + 1 :]:
        if not goes_on(here, later.chord):
            return (7 * (here.root_fifths - later.chord.root_fifths)) % 12
    return None


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
            found.append((start_of_two(chords, two), one[0]))
    return found


def start_of_two(chords: Sequence[Chord], two: tuple[int, int]) -> int:
    """Where the ii starts in a run of chords on its root: D7 before Dm7 is no ii."""
    first = two[1]
    while first > two[0] and chords[first - 1].family in SECOND_FAMILIES:
        first -= 1
    return first


def evident(two: Chord, one: Chord) -> bool:
    """Whether the chords alone say ii V I: a seventh on the ii, maj7 or 6 on the I."""
    return "b7" in two.extensions and bool({"7", "6"} & set(one.extensions))


def is_degree(chord: Chord, root_fifths: int, families: frozenset[str]) -> bool:
    """Whether a chord stands on a root and is of one of some families."""
    return chord.root_fifths == root_fifths and chord.family in families


def circles(piece: Piece) -> Iterator[Device]:
    """Roots that fall by fifths, four chords or more."""
    falls = [falls_by_fifth(here, after) for _, here, after in piece.neighbours()]
    for first, last in runs(falls):
        if falls[first] and last - first + 2 >= CIRCLE_CHORDS:
            roots = (piece.row[s].chord.root_fifths for s in range(first, last + 2))
            names = " ".join(pitch_class_name(r) for r in roots)
            reason = f"roots fall by fifths: {names}"
            yield piece.device("circle of fifths", first, last + 1, reason)


def falls_by_fifth(here: PlacedChord, after: PlacedChord) -> bool:
    """Whether a root falls by a fifth, a diminished one between two notes of the key."""
    step = after.chord.root_fifths - here.chord.root_fifths
    if step != DIATONIC_FIFTH_DOWN or here.key.mode == "none":
        return step in {FIFTH_DOWN, DIATONIC_FIFTH_DOWN}
    scale_start = -1 - MODES[here.key.mode]
    return here.chord.root_fifths - here.key.tonic_fifths == scale_start


def flat_sevens(piece: Piece) -> Iterator[Device]:
    """bVII straight to a major I: the backdoor with a seventh, else a plain step.

    Where it closes a phrase it is named as a cadence.
    """
    named = {d.chords[1] for d in cadences(piece) if d.kind == "backdoor cadence"}
    for step, here, after in piece.neighbours():
        degrees = here.numeral.degree, after.numeral.degree
        if degrees != (-2, 0) or after.chord.family not in {"major", "dominant"}:
            continue
        moves = here.key.tonic_fifths != after.key.tonic_fifths
        if moves or is_minor_mode(after.key.mode):
            continue
        if here.chord.family == "dominant" and piece.steps[step + 1] not in named:
            first = step - 1 if step and is_minor_four(piece.row[step - 1]) else step
            texts = " ".join(piece.row[s].numeral.text for s in range(first, step + 2))
            reason = f"{texts}: the backdoor, up a whole tone to I"
            yield piece.device("backdoor", first, step + 1, reason)
        elif here.chord.family == "major" and after.chord.family == "major":
            texts = " ".join(piece.row[s].numeral.text for s in range(step, step + 2))
            reason = f"{texts}: flat VII goes straight to I, up a whole tone"
            yield piece.device("flat VII to I", step, step + 1, reason)


def is_minor_four(here: PlacedChord) -> bool:
    """Whether a chord is the minor subdominant."""
    return here.numeral.degree == -1 and here.chord.family == "minor"


TURNING = (
    frozenset({0, 4, 5, 6, 9, -3}),
    frozenset({3, -3, 9}),
    frozenset({2, -4, 8}),
    frozenset({1, -5, 7}),
)
"""Degrees of a turnaround: I or iii, vi, ii, V, or what stands a tritone away."""


def turnarounds(piece: Piece) -> Iterator[Device]:
    """Four chords within two bars that lead back to I: I vi ii V, and their stand-ins.

    After the last chord of a piece its beginning may follow.
    """
    degrees = [here.numeral.degree for here in piece.row]
    for step in range(len(piece.row) - 3):
        four = degrees[step : step + 4]
        home = step + 4 == len(degrees) or degrees[step + 4] == 0
        if home and all(map(operator.contains, TURNING, four)) and is_quick(piece, step):
            texts = " ".join(piece.row[s].numeral.text for s in range(step, step + 4))
            reason = f"{texts}: the turnaround, back to I"
            yield piece.device("turnaround", step, step + 3, reason)


def is_quick(piece: Piece, step: int) -> bool:
    """Whether four chords in one key last for no more than two bars."""
    four = piece.row[step : step + 4]
    bars = four[-1].bar - four[0].bar
    return bars < TURNAROUND_BARS and all(here.key == four[0].key for here in four)


def third_relations(piece: Piece) -> Iterator[Device]:
    """Two major or two minor triads whose roots are a third apart."""
    for step, here, after in piece.neighbours():
        same = here.chord.family == after.chord.family
        apart = abs(after.chord.root_fifths - here.chord.root_fifths)
        if same and here.chord.family in {"major", "minor"} and apart in {3, 4}:
            if shares_a_sixth(here.chord, after.chord) or falls_on(piece, step + 1):
                # A dominant belongs to where it goes, not to what stands before it.
                continue
            reason = (
                f"{here.chord.text} to {after.chord.text}: two {here.chord.family} chords "
                "a third apart, which share one note of their triads"
            )
            yield piece.device("third relation", step, step + 1, reason)


def shares_a_sixth(one: Chord, other: Chord) -> bool:
    """Whether a sixth or seventh makes two minor chords nearly one, as Ebm6 and Cm7."""
    return one.family == "minor" and bool(
        {"6", "b7"} & {*one.extensions, *other.extensions}
    )


def falls_on(piece: Piece, step: int) -> bool:
    """Whether the chord of a step is the dominant of the next one, or of the key."""
    if step + 1 >= len(piece.row):
        return False
    here, after = piece.row[step], piece.row[step + 1]
    dominant = here.numeral.degree == 1 or here.numeral.role == "secondary dominant"
    return dominant and after.chord.root_fifths == here.chord.root_fifths + FIFTH_DOWN


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
        if is_cliche(piece, line):
            reason += ", the line cliche"
        yield piece.device(kind, line.first, line.last, reason)


def is_cliche(piece: Piece, line: Line) -> bool:
    """Whether a line runs from the root or the fifth of a tonic that stays."""
    here = piece.row[line.first]
    if not line.one_root or here.numeral.degree != 0:
        return False
    return pitch_class(line.notes[0] - here.chord.root_fifths) in {0, 7}


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
    turnarounds,
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
