"""The mode on a tonic that is known already.

Conventions: the third of the tonic chord decides between major and minor, with what else
sounds; then the telling notes decide whether it is mixolydian, dorian, phrygian or lydian:
chords and melody must have many more of them than of the notes they replace. A dominant
seventh on the tonic is a colour of blues and no mixolydian. What each chord and note
tells is common practice, no source; how much it counts is our choice.

Contents: MAJOR_SCALE, NATURAL_SCALE, third_of, root_and_third, thirds_of, Held, held_in,
scale_mode, is_blues_colour.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from melodex.analysis.keys.song.points import KINDS, NO_ROOT, SongBar
from melodex.melody import MODES

__all__ = [
    "MAJOR_SCALE",
    "NATURAL_SCALE",
    "Held",
    "held_in",
    "is_blues_colour",
    "root_and_third",
    "scale_mode",
    "third_of",
    "third_of_mode",
    "thirds_of",
]

MAJOR_SCALE = frozenset({0, 2, 4, 5, 7, 9, 11})
NATURAL_SCALE = frozenset({0, 2, 3, 5, 7, 8, 10})
"""Semitones above the tonic, of major and of natural minor."""
THIRD_SEMITONES = {"M": 4, "m": 3}
"""Semitones of the third above the root, by the kind of third."""
SUSPENDED = KINDS.index("suspended")
MAJOR_KINDS = frozenset({"major", "dominant", "major seventh"})
MINOR_KINDS = frozenset({"minor", "minor seventh", "half-diminished", "diminished"})
THIRDS = {
    (0, "M"): 2.0,
    (0, "m"): -2.0,
    (2, "m"): 0.2,
    (3, "M"): -0.5,
    (3, ""): -0.5,
    (4, "m"): 0.5,
    (5, "m"): -0.3,
    (8, "M"): -0.4,
    (9, "m"): 0.5,
    (10, "M"): -0.15,
}
"""Points for major by a bar of each chord: semitones above the tonic and its third."""
NOTE_POINTS = 0.4
"""Points of a bar of the melody on the third."""
PRINTED_POINTS = 3.0
DOMINANT_SHARE = 0.5
"""Of those points for a dominant on the tonic, which may lead to iv; our choice."""
LEAVING, LEAVING_AT_START = 5.0, 2.0
"""What it costs to pass from major to minor on one tonic, and so where a section begins."""

TELLING_MOST, TELLING_LEAST = 3.0, 0.06
"""A telling note must sound so many times as long as the one that it replaces, and for so
much of the whole."""
PRINTED_AGAINST = 4.0
"""The printed mode gives way where so many times as much speaks against it as for it; our
choice."""

FLAT_SEVENTH = {(10, "M"): 1.0, (10, ""): 1.0, (7, "m"): 1.0}
SHARP_SEVENTH = {(7, "M"): 1.0, (11, "m"): 1.0, (4, "m"): 0.5, (4, "M"): 0.5}
NATURAL_SIXTH = {(5, "M"): 1.0, (2, "m"): 1.0, (9, "m"): 0.5}
FLAT_SIXTH = {(8, "M"): 1.0, (5, "m"): 1.0, (1, "M"): 0.5}
FLAT_SECOND = {(1, "M"): 1.0, (10, "m"): 1.0}
NATURAL_SECOND = {(7, "m"): 1.0, (7, "M"): 1.0, (10, "M"): 1.0, (2, "m"): 1.0}
SHARP_FOURTH = {(2, "M"): 1.0, (11, "m"): 0.5}
NATURAL_FOURTH = {(5, "M"): 1.0, (2, "m"): 1.0, (10, "M"): 0.5, (5, "m"): 1.0}
TELLING = {
    "mixolydian": (FLAT_SEVENTH, 10, SHARP_SEVENTH, 11),
    "lydian": (SHARP_FOURTH, 6, NATURAL_FOURTH, 5),
    "dorian": (NATURAL_SIXTH, 9, FLAT_SIXTH, 8),
    "phrygian": (FLAT_SECOND, 1, NATURAL_SECOND, 2),
}
"""For each mode the chords and the note that tell it, and those that it replaces."""


def third_of(kind: int) -> str:
    """``M`` for a major third, ``m`` for a minor one, empty where there is none."""
    name = KINDS[kind]
    return "M" if name in MAJOR_KINDS else "m" if name in MINOR_KINDS else ""


def root_and_third(root: int, third: str) -> set[int]:
    """Pitch classes of a root and of a third as :func:`third_of` has it, the root alone
    where there is none.

    Examples
    --------
    >>> sorted(root_and_third(9, "m"))
    [0, 9]
    """
    return {root, (root + THIRD_SEMITONES.get(third, 0)) % 12}


def thirds_of(
    bars: Sequence[SongBar], tonic: int, starts: Sequence[bool], printed: Sequence[float]
) -> list[bool]:
    """Say in which bars a tonic has a major third.

    Parameters
    ----------
    bars : sequence of SongBar, of shape (n,)
        Of one tonic.
    tonic : int
        Pitch class.
    starts : sequence of bool, of shape (n,)
        Whether a section begins with the bar.
    printed : sequence of float, of shape (n,)
        1 where a key with a major third on this tonic is printed there, -1 for a minor
        one, else 0.
    """
    points = [
        third_points(bar, tonic) + PRINTED_POINTS * said
        for bar, said in zip(bars, printed, strict=True)
    ]
    best, back = [0.0, 0.0], []
    for number, point in enumerate(points):
        cost = LEAVING_AT_START if starts[number] or printed[number] else LEAVING
        if number:
            came = [best[0] >= best[1] - cost, best[1] >= best[0] - cost]
            back.append(came)
            best = [
                best[0] if came[0] else best[1] - cost,
                best[1] if came[1] else best[0] - cost,
            ]
        best = [best[0] + point / 2, best[1] - point / 2]
    state = 0 if best[0] >= best[1] else 1
    found = [state == 0]
    for came in reversed(back):
        state = state if came[state] else 1 - state
        found.append(state == 0)
    return found[::-1]


def third_points(bar: SongBar, tonic: int) -> float:
    """What a bar says for major, less what it says for minor."""
    points = 0.0
    for root, kind, share in bar.chords:
        if root != NO_ROOT:
            told = THIRDS.get(((root - tonic) % 12, third_of(kind)), 0.0)
            leads = root == tonic and KINDS[kind] == "dominant"
            points += share * told * (DOMINANT_SHARE if leads else 1.0)
    for pitch, length in bar.notes:
        degree = (pitch - tonic) % 12
        points += length * NOTE_POINTS * ((degree == 4) - (degree == 3))
    return points


@dataclass(frozen=True, slots=True)
class Held:
    """How long chords and notes of a stretch sound, as parts of a bar on the average.

    ``chords`` go by root and kind, ``notes`` by pitch class.
    """

    chords: Mapping[tuple[int, int], float]
    notes: Mapping[int, float]


def held_in(bars: Sequence[SongBar]) -> Held:
    """What sounds in some bars, how long."""
    chords: dict[tuple[int, int], float] = defaultdict(float)
    notes: dict[int, float] = defaultdict(float)
    for bar in bars:
        for root, kind, share in bar.chords:
            if root != NO_ROOT:
                chords[root, kind] += share / len(bars)
        for pitch, length in bar.notes:
            notes[pitch] += length / len(bars)
    return Held(chords, notes)


def scale_mode(
    held: Held, tonic: int, major: bool, printed_mode: str = "", signed_mode: str = ""
) -> str:
    """Name the mode on a tonic whose third is known.

    Parameters
    ----------
    held : Held
        What sounds in the stretch.
    tonic : int
        Pitch class.
    major : bool
        Whether the third is major.
    printed_mode : str, optional
        The mode that the source prints on this tonic, where it prints one.
    signed_mode : str, optional
        The mode that the printed signature makes of this tonic; it holds where nothing
        that sounds tells it from the plain one.
    """
    plain = "major" if major else "minor"
    if major and not printed_mode and set(held.chords) == {(tonic, SUSPENDED)}:
        # Nothing but its suspended chord sounds, which waits as a V does.
        return signed_mode or "mixolydian"
    names = ("mixolydian", "lydian") if major else ("dorian", "phrygian")
    told = {name: telling(held, tonic, name) for name in names}
    if printed_mode in names:
        for_it, against = told[printed_mode]
        return plain if against > PRINTED_AGAINST * for_it else printed_mode
    if signed_mode in names and not printed_mode and told[signed_mode] == (0.0, 0.0):
        return signed_mode
    printed_plain = {"ionian": "major", "aeolian": "minor"}.get(printed_mode, printed_mode)
    most = PRINTED_AGAINST if printed_plain == plain else TELLING_MOST
    for name, (for_it, against) in told.items():
        if (
            for_it >= TELLING_LEAST
            and for_it > most * against
            and stands(held, tonic, name)
        ):
            return name
    return printed_mode if printed_plain == plain else plain


def telling(held: Held, tonic: int, mode: str) -> tuple[float, float]:
    """Shares of the bars that tell a mode, and that speak against it."""
    chords, note, others, other = TELLING[mode]
    for_it = held.notes.get((tonic + note) % 12, 0.0)
    against = held.notes.get((tonic + other) % 12, 0.0)
    for (root, kind), share in held.chords.items():
        named = ((root - tonic) % 12, third_of(kind))
        for_it += share * chords.get(named, 0.0)
        against += share * others.get(named, 0.0)
        if KINDS[kind] == "major seventh" and named[0] == 0:
            against += share * (mode == "mixolydian")
    return for_it, against


def stands(held: Held, tonic: int, mode: str) -> bool:
    """Whether the chords of a mode mean it, and no dominant leads home or to the fifth."""
    if mode == "mixolydian":
        # With a flat sixth too the chords are borrowed from minor, over a major third.
        borrowed = share_of(held, tonic, 8, "M") + share_of(held, tonic, 5, "m")
        return not borrowed and not is_blues_colour(held, tonic)
    leading = share_of(held, tonic, 2 if mode == "lydian" else 7, "M", mode == "lydian")
    return leading < 0.5 * telling(held, tonic, mode)[0]


def share_of(
    held: Held, tonic: int, degree: int, third: str, sevenths: bool = False
) -> float:
    """Share of the chords on a degree with a third, or of its dominant sevenths alone."""
    return sum(
        share
        for (root, kind), share in held.chords.items()
        if (root - tonic) % 12 == degree
        and third_of(kind) == third
        and (not sevenths or KINDS[kind] == "dominant")
    )


def is_blues_colour(held: Held, tonic: int) -> bool:
    """Whether the tonic and the fourth mostly carry dominant sevenths."""
    return all(mostly_dominant(held, (tonic + step) % 12) for step in (0, 5))


def mostly_dominant(held: Held, root: int) -> bool:
    """Whether more than half of the chords on a root are dominant sevenths."""
    here = {kind: share for (other, kind), share in held.chords.items() if other == root}
    return 2 * here.get(KINDS.index("dominant"), 0.0) > sum(here.values())


def third_of_mode(mode: str) -> int:
    """1 for a mode with a major third, -1 for one with a minor third."""
    return 1 if MODES[mode] <= 1 else -1
