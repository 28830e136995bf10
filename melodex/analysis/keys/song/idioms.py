"""The idiom of a song whose tonic is known: a blues, or a tune on the phrygian scale.

Conventions: sevenths on the tonic and the fourth that do not lead on make a blues, or the
chords of the twelve-bar form at its corners. A major I over a flat II, with minor chords on
the fourth or the flat seventh, is the phrygian dominant mode; with flat III and VI, which
the natural third of the phrygian mode brings, it is what flamenco is played in. All of it
is common practice, no source.

Contents: FREYGISH, FLAMENCO, PHRYGIAN, idiom_at_home, idiom_of, fifth_as_tonic.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.centres import sounding
from melodex.analysis.keys.song.confirmed import parts_of
from melodex.analysis.keys.song.mode import Held, held_in, is_blues_colour, third_of
from melodex.analysis.keys.song.points import FIFTH, KINDS, NO_ROOT, SongBar

if TYPE_CHECKING:
    from melodex.analysis.keys.song.layout import Layout

__all__ = [
    "FLAMENCO",
    "FREYGISH",
    "PHRYGIAN",
    "fifth_as_tonic",
    "idiom_at_home",
    "idiom_of",
]

TWELVE = 12
"""Bars of a blues chorus: common practice, no source."""
FREYGISH = "freygish tune (phrygian dominant)"
FLAMENCO = "tune in the flamenco mode (phrygian with a major I)"
PHRYGIAN = frozenset({FREYGISH, FLAMENCO})
LEAST_TONIC, LEAST_FLAT_SECOND, MOST_FOREIGN = 0.2, 0.08, 0.05
"""Shares of the time of its I, of its flat II, and of chords that the mode lacks."""
OWN_CHORDS = frozenset({(0, "M"), (1, "M"), (5, "m"), (10, "m"), (4, ""), (7, "")})
NATURAL_CHORDS = frozenset({(3, "M"), (8, "M")})
"""Semitones above the tonic and third of the chords of the phrygian dominant mode, and of
those that the natural third adds."""


def idiom_at_home(bars: Sequence[SongBar], tonics: Sequence[int]) -> str:
    """The idiom of a piece whose bars have these tonics.

    One that goes to other tonics is no blues; on the phrygian scale it is where its first
    tonic holds for more than half of it.
    """
    home = tonics[0]
    own = [bar for bar, tonic in zip(bars, tonics, strict=True) if tonic == home]
    if len(own) == len(bars):
        return idiom_of(bars, home)
    return phrygian_idiom(held_in(own), home) if 2 * len(own) > len(bars) else ""


def idiom_of(bars: Sequence[SongBar], tonic: int) -> str:
    """Name the idiom of a piece, ``blues`` or ``minor blues`` among them, or nothing."""
    held = held_in(bars)
    if is_blues_colour(held, tonic):
        return "blues"
    if phrygian := phrygian_idiom(held, tonic):
        return phrygian
    harmony = [bar for bar in bars if any(c[0] != NO_ROOT for c in bar.chords)]
    # In fast time each bar of the form is written as two.
    doubled = harmony[::2] if len(harmony) % 2 == 0 else []
    return blues_of(harmony, tonic) or blues_of(doubled, tonic)


def blues_of(harmony: Sequence[SongBar], tonic: int) -> str:
    """The blues whose corners some bars with chords have, or nothing."""
    if not harmony or len(harmony) % TWELVE:
        return ""
    thirds: set[str] = set()
    for start in range(0, len(harmony), TWELVE):
        chorus = harmony[start : start + TWELVE]
        for bar, degree in ((0, 0), (4, 5), (6, 0)):
            root, kind, _ = next(c for c in chorus[bar].chords if c[0] != NO_ROOT)
            above = (root - tonic) % 12
            if bar == 6 and above == 4:
                # Later players put iii in the place of I.
                continue
            if above != degree:
                return ""
            thirds.update(third_of(kind))
        turn = {(c[0] - tonic) % 12 for bar in chorus[8:10] for c in bar.chords}
        if 7 not in turn:
            return ""
    # A chord without a third, as on guitars, leaves it to the others.
    return "minor blues" if thirds == {"m"} else "blues" if thirds <= {"M"} else ""


def phrygian_idiom(held: Held, tonic: int) -> str:
    """Whether the chords are those of the phrygian mode with a major third, by name."""
    shares: dict[tuple[int, str], float] = defaultdict(float)
    for (root, kind), length in held.chords.items():
        shares[(root - tonic) % 12, third_of(kind)] += length
    whole = sum(shares.values())
    known = OWN_CHORDS | NATURAL_CHORDS
    foreign = sum(length for which, length in shares.items() if which not in known)
    if (
        shares[0, "M"] < LEAST_TONIC * whole
        or shares[1, "M"] < LEAST_FLAT_SECOND * whole
        or shares[5, "m"] + shares[10, "m"] == 0
        or foreign > MOST_FOREIGN * whole
    ):
        return ""
    natural = sum(shares[which] for which in NATURAL_CHORDS)
    return FLAMENCO if natural > MOST_FOREIGN * whole else FREYGISH


def fifth_as_tonic(layout: Layout, tonics: Sequence[int]) -> tuple[int, list[int]] | None:
    """The fifth of a minor key, where it is the tonic of a freygish tune, and its bars.

    Such a tune is often printed with the signature, and as in the key, of its iv. It begins
    on its own I, a plain major chord, ends each section on it, and stays on it for longer
    than on iv. Strains of another key may stand between, for less than half of it.
    """
    if len(set(tonics)) != 1:
        return None
    four, tonic = tonics[0], (tonics[0] + FIFTH) % 12
    parts = [
        (range(first, stop), sounding(layout.bars[first:stop]))
        for first, stop in parts_of(layout)
    ]
    told = [row for _, row in parts if row]
    if not told or {told[0][0].root, told[-1][-1].root} != {tonic}:
        return None
    at_home = [bars for bars, row in parts if row and row[-1].root == tonic]
    elsewhere = [row for _, row in parts if row and row[-1].root != tonic]
    if any(four not in {row[0].root, row[-1].root} for row in elsewhere):
        return None
    own = [bar for bars in at_home for bar in bars]
    held = held_in([layout.bars[bar] for bar in own])
    plain = held.chords.get((tonic, KINDS.index("major")), 0.0)
    seventh = held.chords.get((tonic, KINDS.index("dominant")), 0.0)
    on_four = sum(held.chords.get((four, kind), 0.0) for kind in range(len(KINDS)))
    if (
        2 * len(own) <= len(layout.bars)
        or seventh
        or plain <= on_four
        or not phrygian_idiom(held, tonic)
    ):
        return None
    return tonic, own
