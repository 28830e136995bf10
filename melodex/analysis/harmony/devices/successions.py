"""Devices of several chords in a row: ii V I, circles, turnarounds, mixture, thirds.

Conventions: steps are counted on the line of fifths. All rules are common practice, no
source; how sure a key must be for ii V I was measured.

Contents: mixtures, two_five_ones, find_two_five_ones, sure_tonic, circles, flat_sevens,
turnarounds, third_relations.
"""

from __future__ import annotations

import operator
from collections.abc import Iterator, Sequence

from melodex.analysis.harmony.chords import Chord
from melodex.analysis.harmony.devices.cadences import with_minor_four
from melodex.analysis.harmony.devices.device import (
    DOMINANT,
    FIFTH_DOWN,
    FIFTH_FAMILIES,
    SECOND_FAMILIES,
    TONIC_FAMILIES,
    Device,
    Piece,
    runs,
)
from melodex.analysis.harmony.devices.single_chords import lender, named_source
from melodex.analysis.harmony.numerals import is_minor_mode
from melodex.analysis.harmony.placed import PlacedChord
from melodex.melody import MODES, pitch_class_name

__all__ = [
    "circles",
    "find_two_five_ones",
    "flat_sevens",
    "mixtures",
    "sure_tonic",
    "third_relations",
    "turnarounds",
    "two_five_ones",
]

CIRCLE_CHORDS = 4
"""Roots in a row that fall by fifths before it is called a circle."""
MIXTURE_CHORDS = 2
"""Borrowed chords in a row before the passage is said to dip into their mode."""
TURNAROUND_BARS = 2
"""The longest that its four chords may last."""
LEAST_CERTAIN_KEY = 0.6
"""Of a key span, for ii V I; chosen on the tuning half of human analyses."""
DIATONIC_FIFTH_DOWN = 6
"""IV to vii: the one diminished fifth in a circle that stays in the key."""


def mixtures(piece: Piece) -> Iterator[Device]:
    """Two or more borrowed chords in a row, from one parallel mode."""
    sources = [lender(piece, here) for here in piece.row]
    for first, last in runs(sources):
        if sources[first] and last - first + 1 >= MIXTURE_CHORDS:
            texts = " ".join(piece.row[s].numeral.text for s in range(first, last + 1))
            reason = f"{texts}: the passage dips into {named_source(piece.row[first])}"
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
        if piece.melody.chords_worked_out and one.bass_fifths == one.root_fifths + 1:
            # I over its fifth, in notes that are played, is on its way to V again.
            continue
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
    named = {d.chords[1] for d in piece.cadences if d.kind == "backdoor cadence"}
    for step, here, after in piece.neighbours():
        degrees = here.numeral.degree, after.numeral.degree
        if degrees != (-2, 0) or after.chord.family not in {"major", "dominant"}:
            continue
        moves = here.key.tonic_fifths != after.key.tonic_fifths
        if moves or is_minor_mode(after.key.mode):
            continue
        if here.chord.family == "dominant" and piece.steps[step + 1] not in named:
            first = with_minor_four(piece, step)
            texts = " ".join(piece.row[s].numeral.text for s in range(first, step + 2))
            reason = f"{texts}: the backdoor, up a whole tone to I"
            yield piece.device("backdoor", first, step + 1, reason)
        elif here.chord.family == "major" and after.chord.family == "major":
            texts = " ".join(piece.row[s].numeral.text for s in range(step, step + 2))
            reason = f"{texts}: flat VII goes straight to I, up a whole tone"
            yield piece.device("flat VII to I", step, step + 1, reason)


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
            rooted = here.chord.is_over_its_root and after.chord.is_over_its_root
            if piece.melody.chords_worked_out and not rooted:
                # Over a bass that moves by step they are played in passing.
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
