"""Devices of single chords: applied, borrowed, substituted and altered ones.

Conventions: a reason is one sentence, made for each role by a function of its own. All
rules are common practice, no source.

Contents: coloured_chords, altered_dominants, lender, named_source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from melodex.analysis.harmony.devices.device import FIFTH_DOWN, Device, Piece, runs
from melodex.analysis.harmony.placed import (
    PlacedChord,
    spoken_degree,
    spoken_numeral,
)
from melodex.analysis.harmony.roles import LEADING_TONE, goes_on, is_minor_mode
from melodex.melody import pitch_class, pitch_class_name

__all__ = ["altered_dominants", "coloured_chords", "lender", "named_source"]

FLATTEST_NAME = -7
"""C flat, on the line of fifths: what is flatter has a plainer name."""
FIFTH_DOWN_SEMITONES, HALF_STEP_DOWN = 7, 1
"""How far a root falls to the next one, in half steps."""
PARALLEL = {"minor": "the parallel minor", "major": "the parallel major"}


def coloured_chords(piece: Piece) -> Iterator[Device]:
    """Applied, borrowed and substituted chords, each with its reason."""
    closing = {d.chords[1] for d in piece.cadences if d.kind == "Picardy third"}
    told = [
        None
        if piece.steps[step] in closing
        or (here.numeral.role == "borrowed" and not lender(piece, here))
        else (here.numeral.role, here.chord.root_fifths)
        for step, here in enumerate(piece.row)
    ]
    for first, last in runs(told):
        sentence = SENTENCES.get(piece.row[first].numeral.role)
        if sentence is not None and told[first] is not None:
            kind = KIND_OF_ROLE[piece.row[first].numeral.role]
            for begin, stop, here in one_chord(piece, first, last):
                yield piece.device(kind, begin, stop, sentence(here))


def one_chord(
    piece: Piece, first: int, last: int
) -> Iterator[tuple[int, int, PlacedChord]]:
    """What is told of some chords that do one thing on one root, and of which of them.

    Of notes that are played it is told once, by the chord with the most notes, and goes
    where the last of them goes; symbols are told one by one.
    """
    row = piece.row[first : last + 1]
    if not piece.melody.chords_worked_out:
        yield from ((step, step, here) for step, here in enumerate(row, start=first))
        return
    fullest = max(row, key=lambda here: len(here.chord.degrees))
    goes_on_to = replace(fullest.numeral, resolves=row[-1].numeral.resolves)
    yield first, last, fullest._replace(numeral=goes_on_to)


def lender(piece: Piece, here: PlacedChord) -> str:
    """The mode that a chord is borrowed from, or nothing.

    Of notes that are played only the parallel major or minor lends: what stands in none
    of both is of a key that is touched in passing, and of no church mode.
    """
    source = here.numeral.from_mode
    return source if source in PARALLEL or not piece.melody.chords_worked_out else ""


def goes(here: PlacedChord) -> str:
    """Whether an applied chord goes where it leads."""
    return "and goes there" if here.numeral.resolves else "without going there"


def goal_of(here: PlacedChord) -> int:
    """The root that an applied chord leads to, as the key has it, in fifths."""
    return here.key.tonic_fifths + (here.numeral.goal_degree or 0)


def goal_note(here: PlacedChord) -> str:
    """The root that an applied chord leads to, named as the chord is: A7 leads to D."""
    if here.numeral.role == "secondary dominant":
        return pitch_class_name(here.chord.root_fifths + FIFTH_DOWN)
    goal = goal_of(here)
    return pitch_class_name(goal + 12 if goal < FLATTEST_NAME else goal)


def say_secondary_dominant(here: PlacedChord) -> str:
    """Reason of a secondary dominant."""
    return (
        f"{here.chord.text} is {here.numeral.text}: the dominant of {goal_note(here)} "
        f"({here.numeral.goal}), {goes(here)}"
    )


def say_leading_tone(here: PlacedChord) -> str:
    """Reason of a secondary leading-tone chord."""
    goal = goal_of(here)
    under = pitch_class(goal - here.chord.root_fifths) == 1
    note = "it" if under else f"its {pitch_class_name(goal + LEADING_TONE)}"
    return (
        f"{here.chord.text} is {here.numeral.text}: {note} stands a half step below "
        f"{goal_note(here)} ({here.numeral.goal}), {goes(here)}"
    )


def say_related_ii(here: PlacedChord) -> str:
    """Reason of the ii before a secondary dominant."""
    return f"{here.chord.text} is {here.numeral.text}: the ii before a dominant of its own"


def say_substitute(here: PlacedChord) -> str:
    """Reason of a tritone substitute."""
    five = pitch_class_name(goal_of(here) + 1)
    return (
        f"{here.chord.text} ({here.numeral.text}) stands for "
        f"{five}7, a tritone away, and leads down a half step to "
        f"{goal_note(here)} ({here.numeral.goal}), {goes(here)}"
    )


def named_source(here: PlacedChord) -> str:
    """The mode that a chord is borrowed from, in words.

    Minor is parallel to major; beside dorian it is the natural one.
    """
    source = here.numeral.from_mode
    minor = is_minor_mode(here.key.mode)
    if source == "minor" and minor:
        return "natural minor on the same tonic"
    parallel = PARALLEL.get(source) if source != "major" or minor else None
    return parallel or f"{source} on the same tonic"


def say_borrowed(here: PlacedChord) -> str:
    """Reason of a borrowed chord."""
    spoken = spoken_numeral(here.numeral.text, here.chord.family)
    return f"{here.chord.text} is {spoken}, borrowed from {named_source(here)}"


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
        if here.numeral.role == "blues seventh":
            # I7#9 is as much at rest as I7: it goes to IV, but leads nowhere.
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
