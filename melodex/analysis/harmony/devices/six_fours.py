"""Cadences inside what the tune makes one phrase, in notes that are played.

Conventions: I over its fifth, on no weaker a place than the V over the same bass that it
goes to, delays this V; where the V then goes to I in root position on a downbeat or in the
middle of a bar, and the tune from its neighbour to the tonic without a rest, that is a
cadence wherever phrases end, and no half cadence on V. Over a bass that was there before,
as over a pedal, the six-four delays nothing. So it is where ii, IV or V of V lead to the V,
and the tune rests on the tonic for half a bar and clearly longer than usual. Common
practice, no source.

Contents: with_six_fours.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from statistics import median

from melodex.analysis.harmony.devices.cadences import reason_of
from melodex.analysis.harmony.devices.device import FIFTH_FAMILIES, Device, Piece
from melodex.analysis.harmony.devices.rests import LONG_REST_RATIO, end_of, numbered_ends
from melodex.analysis.harmony.heard.slices import offsets_at
from melodex.analysis.harmony.numerals import is_minor_mode
from melodex.analysis.harmony.placed import PlacedChord
from melodex.analysis.keys.home import same_key
from melodex.analysis.texture.motion import bar_ticks
from melodex.melody import Melody, beat_strength

__all__ = ["with_six_fours"]

DOWNBEAT, STRONG = 1.0, 0.5
"""Strength of a downbeat, and of the middle of a bar, as :func:`beat_strength` has it."""
STEP = 2
"""Semitones of a step at most."""


def with_six_fours(piece: Piece, found: Sequence[Device]) -> tuple[Device, ...]:
    """The cadences of a piece with those that a six-four announces, or a rest confirms.

    Parameters
    ----------
    piece : Piece
    found : sequence of Device
        The cadences at the ends of its phrases.
    """
    if not piece.melody.chords_worked_out:
        return tuple(found)
    goals = {device.chords[1] for device in found if device.kind != "half cadence"}
    onsets = [here.onset_ticks for here in piece.row]
    strengths = [beat_strength(*place) for place in offsets_at(onsets, piece.melody)]
    ours = []
    for fifth, goal in [*announced(piece, strengths), *confirmed(piece, strengths)]:
        if piece.steps[goal] not in goals:
            goals.add(piece.steps[goal])
            reason = reason_of(piece.row[goal - 1], piece.row[goal])
            device = piece.device("authentic cadence", goal - 1, goal, reason)
            ours.append((fifth, device))
    passed = {piece.steps[step] for fifth, device in ours for step in (fifth, fifth + 1)}
    kept = [d for d in found if d.kind != "half cadence" or d.chords[1] not in passed]
    return tuple(sorted([*kept, *(device for _, device in ours)], key=lambda d: d.chords))


def announced(piece: Piece, strengths: Sequence[float]) -> Iterator[tuple[int, int]]:
    """The step of each V after a six-four, and of the I that it goes to.

    ``strengths`` are those of the places where chords begin.
    """
    row = piece.row
    melody = piece.melody
    marked = [melody.onset_ticks[note] for note in numbered_ends(melody)[:-1]]
    for step in range(1, len(row) - 2):
        here, five = row[step], row[step + 1]
        if not is_six_four(here) or not is_five(here, five):
            continue
        goal = step + 2
        while goal + 1 < len(row) and is_five(here, row[goal]):
            goal += 1
        held = row[step - 1].chord.lowest_fifths == here.chord.lowest_fifths
        ends = bisect_left(marked, row[goal].onset_ticks) > bisect_left(
            marked, five.onset_ticks
        )
        delays = strengths[step] >= strengths[step + 1] and strengths[goal] >= STRONG
        announces = not held and not ends and delays
        if announces and is_home(here, row[goal]) and goes_home(piece, row[goal]):
            yield step + 1, goal


def confirmed(piece: Piece, strengths: Sequence[float]) -> Iterator[tuple[int, int]]:
    """The step of each V that is prepared, and of the I on which the tune then rests.

    ``strengths`` are those of the places where chords begin.
    """
    row = piece.row
    usual = median(piece.melody.duration_ticks) if len(piece.melody) else 0
    for step in range(1, len(row) - 1):
        before, five, goal = row[step - 1 : step + 2]
        prepared = prepares(before, five) and is_five(goal, five)
        if not prepared or strengths[step + 1] < DOWNBEAT or not is_home(goal, goal):
            continue
        if goes_home(piece, goal) and stands_long(piece.melody, goal, usual):
            yield step, step + 1


PREPARING = frozenset({-1, 2})
"""Degrees of IV and ii, in fifths above the tonic."""


def stands_long(melody: Melody, goal: PlacedChord, usual: float) -> bool:
    """Whether the note over a I lasts for half a bar, and longer than notes usually do."""
    note = bisect_left(melody.onset_ticks, goal.onset_ticks)
    lasts = end_of(melody, note) - melody.onset_ticks[note]
    half = bar_ticks(melody, goal.onset_ticks) / 2
    return lasts >= max(half, LONG_REST_RATIO * usual)


def prepares(before: PlacedChord, five: PlacedChord) -> bool:
    """Whether a chord is the IV, the ii or the V of a V, in one key with it."""
    named = before.numeral
    if not same_key(before.key, five.key):
        return False
    of_five = named.role.startswith("secondary") and named.goal_degree == 1
    return of_five or (named.role != "secondary dominant" and named.degree in PREPARING)


def is_six_four(here: PlacedChord) -> bool:
    """Whether a chord is I over its fifth."""
    chord, tonic = here.chord, here.key.tonic_fifths
    third = -3 if is_minor_mode(here.key.mode) else 4
    plain = chord.root_fifths == tonic and third in chord.degrees
    return plain and chord.bass_fifths == tonic + 1


def is_five(here: PlacedChord, five: PlacedChord) -> bool:
    """Whether a chord is the V, in root position, that a six-four delays."""
    chord = five.chord
    root = here.key.tonic_fifths + 1
    return (
        chord.root_fifths == root
        and chord.family in FIFTH_FAMILIES
        and chord.lowest_fifths == root
    )


def is_home(here: PlacedChord, goal: PlacedChord) -> bool:
    """Whether a chord is the I of the key of a six-four, in root position."""
    chord = goal.chord
    tonic = here.key.tonic_fifths
    plain = chord.family in {"major", "minor"}
    return chord.root_fifths == tonic and plain and chord.lowest_fifths == tonic


def goes_home(piece: Piece, goal: PlacedChord) -> bool:
    """Whether the tune goes by step to the tonic, without a rest, as its chord comes."""
    melody = piece.melody
    note = bisect_left(melody.onset_ticks, goal.onset_ticks)
    if not 0 < note < len(melody) or melody.onset_ticks[note] != goal.onset_ticks:
        return False
    goes_on = melody.onset_ticks[note - 1] + melody.duration_ticks[note - 1]
    moves = abs(melody.midi[note] - melody.midi[note - 1])
    at_home = melody.fifths[note] == goal.key.tonic_fifths
    return at_home and goes_on >= goal.onset_ticks and 0 < moves <= STEP
