"""Cadences, and how a piece ends.

Conventions: two chords are a cadence only where the music rests: on the last chord,
where a phrase ends, or where the melody or the chord stands clearly longer than
usual (:data:`LONG_REST_RATIO`); without that, five to one is only a step. A half cadence
needs a melody that rests: a V that lasts while the melody moves on prepares what comes.
A deceptive cadence needs no rest: it is the absence of one. All rules are common
practice, no source.

Contents: cadences, endings, cadence_of, LONG_REST_RATIO.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from melodex.analysis.harmony.finds import FIFTH_FAMILIES, TONIC_FAMILIES, Device, Piece
from melodex.analysis.harmony.numerals import LocalKey, is_minor_mode, numeral
from melodex.analysis.harmony.placed import PlacedChord, spoken_degree
from melodex.analysis.keys.home import same_key
from melodex.melody import pitch_class_name

__all__ = ["LONG_REST_RATIO", "cadence_of", "cadences", "endings"]

LONG_REST_RATIO = 1.9
"""A note or chord this many times the median length is a place of rest."""


def cadences(piece: Piece) -> Iterator[Device]:
    """Cadences where the music rests."""
    rests = RestingPlaces(piece)
    for step, here, after in piece.neighbours():
        kind = cadence_of(here, after)
        if kind and rests.enough(kind, step + 1):
            reason = f"{here.chord.text} {after.chord.text}: {named_in_key(here, after)}"
            yield piece.device(kind, step, step + 1, reason)


def named_in_key(here: PlacedChord, after: PlacedChord) -> str:
    """Numerals of two chords, and their tonic: that in which they make the cadence."""
    key = after.key if cadence_in(after.key, here, after) else here.key
    start, goal = (numeral_in(key, placed) for placed in (here, after))
    return f"{start} to {goal} in {pitch_class_name(key.tonic_fifths)}"


def numeral_in(key: LocalKey, placed: PlacedChord) -> str:
    """The numeral of a chord in a key, which may be that of its neighbour."""
    if same_key(key, placed.key):
        return placed.numeral.text
    return numeral(placed.chord, key.tonic_fifths, key.mode).text


def cadence_of(here: PlacedChord, after: PlacedChord) -> str:
    """The cadence that two chords make in the key of the second, or nothing.

    A sixth may become the new tonic, so that a deceptive cadence counts in the key of
    the first as well.
    """
    found = cadence_in(after.key, here, after)
    if not found and is_deceptive(here.key, here, after):
        return "deceptive cadence"
    return found


def cadence_in(key: LocalKey, here: PlacedChord, after: PlacedChord) -> str:
    """The cadence that two chords make in a key, or nothing."""
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
    return "deceptive cadence" if is_deceptive(key, here, after) else ""


def is_deceptive(key: LocalKey, here: PlacedChord, after: PlacedChord) -> bool:
    """Whether two chords are V and the sixth, minor or flat, of a key."""
    if key.mode == "none" or here.chord.family not in FIFTH_FAMILIES:
        return False
    steps = (
        here.chord.root_fifths - key.tonic_fifths,
        after.chord.root_fifths - key.tonic_fifths,
    )
    return steps in {(1, 3), (1, -4)} and after.chord.family in {"minor", "major"}


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
        return self.melody_rests(step)

    def melody_rests(self, step: int) -> bool:
        """Whether a note that rests sounds on the chord of a step."""
        steps = self.piece.steps
        end = steps[step + 1] if step + 1 < len(steps) else len(self.piece.placed)
        return any(place in self.rest_notes for place in range(steps[step], end))

    def enough(self, kind: str, step: int) -> bool:
        """Whether the music rests as a kind of cadence asks for."""
        if kind == "deceptive cadence":
            return True
        if kind == "half cadence" and self.piece.notes:
            return self.melody_rests(step)
        return self.at(step)


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
