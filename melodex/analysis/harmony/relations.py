"""What one chord is to another that was looked for: the same, a richer one, a stand-in.

Conventions: points, higher is better, :data:`SAME` for the same chord and
:data:`MISMATCH` for a stranger. The distance of two roots counts on the line of
fifths, under a transposition. What may stand for what is common practice, no source;
the points are our own choice.

Contents: relation, most_points, SAME, MISMATCH, OTHER_BASS, OTHER_SPELLING,
OTHER_EXTENSIONS.
"""

from __future__ import annotations

from functools import cache, lru_cache

from melodex.analysis.harmony.progressions import ChordToken
from melodex.melody import pitch_class

__all__ = [
    "MISMATCH",
    "OTHER_BASS",
    "OTHER_EXTENSIONS",
    "OTHER_SPELLING",
    "SAME",
    "most_points",
    "relation",
]

SAME = 3.0
"""Points for the same chord. These and the next are our own choice."""

MISMATCH = -2.0
"""Points for a chord that stands in no known relation."""

OTHER_BASS, OTHER_SPELLING, OTHER_EXTENSIONS = -0.2, -0.1, -0.2
"""Added where only the bass, the spelling of the root, or what lies above the seventh is
another one."""

TRITONE = 6
"""Fifths modulo twelve between roots of dominants that share their third and seventh."""

RELATIONS_ON_ONE_ROOT = {
    ("major", "dominant"): (2.6, "with minor seventh"),
    ("dominant", "major"): (2.6, "without the seventh"),
    ("major", "suspended"): (2.0, "suspended"),
    ("dominant", "suspended"): (2.0, "suspended"),
    ("suspended", "dominant"): (2.0, "not suspended"),
    ("suspended", "major"): (2.0, "not suspended"),
    ("major", "augmented"): (1.5, "fifth raised"),
    ("dominant", "augmented"): (1.5, "fifth raised"),
    ("augmented", "major"): (1.5, "fifth not raised"),
    ("augmented", "dominant"): (1.5, "fifth raised"),
    ("minor", "half-diminished"): (2.0, "fifth lowered"),
    ("half-diminished", "minor"): (2.0, "fifth not lowered"),
    ("half-diminished", "diminished"): (2.0, "seventh lowered"),
    ("diminished", "half-diminished"): (2.0, "seventh not lowered"),
    ("major", "minor"): (1.0, "minor for major"),
    ("minor", "major"): (1.0, "major for minor"),
    ("minor", "dominant"): (0.5, "major for minor"),
}
"""Kinds of two chords on one root -> points, and what the second is to the first."""
RELATIONS_AT_A_DISTANCE = {
    ("major", "minor", 3): (1.0, "relative minor"),
    ("major", "minor", 4): (0.8, "minor on the third"),
    ("minor", "major", -3): (1.0, "relative major"),
    ("minor", "major", -4): (0.8, "major on the sixth below"),
    ("dominant", "diminished", 4): (1.5, "leading-tone chord"),
    ("dominant", "half-diminished", 4): (1.5, "leading-tone chord"),
    ("major", "diminished", 4): (1.0, "leading-tone chord"),
}
"""Kinds, and fifths from root to root -> points, and what the second is."""
SEVENTHS = frozenset({"7", "b7", "bb7", "6"})


@lru_cache(maxsize=65536)
def relation(
    wanted: ChordToken, found: ChordToken, transposition_fifths: int
) -> tuple[float, str]:
    """Return points and name of what a found chord is to a wanted one.

    Parameters
    ----------
    wanted, found : ChordToken
    transposition_fifths : int
        From the wanted chord's root to where it is looked for.

    Examples
    --------
    >>> five, sub = ChordToken("V7", 1, "dominant"), ChordToken("Db7", -5, "dominant")
    >>> relation(five, sub, 0)
    (2.0, 'tritone substitute')
    """
    distance = found.root_fifths - wanted.root_fifths - transposition_fifths
    if distance % 12 == 0:
        points, name = on_one_root(wanted, found)
        points += OTHER_SPELLING if distance else 0.0
    elif distance % 12 == TRITONE and found.family == "dominant":
        points, name = by_tritone(wanted)
    else:
        points, name = RELATIONS_AT_A_DISTANCE.get(
            (wanted.family, found.family, distance), (MISMATCH, "another chord")
        )
    if points > 0 and other_bass(wanted, found, transposition_fifths):
        return points + OTHER_BASS, f"{name}, over another bass"
    return points, name


def on_one_root(wanted: ChordToken, found: ChordToken) -> tuple[float, str]:
    """The relation of two chords on one root."""
    if wanted.family == found.family:
        if (wanted.sevenths, wanted.alterations) == (found.sevenths, found.alterations):
            return SAME, "same chord"
        return SAME + OTHER_EXTENSIONS, extensions_compared(wanted, found)
    if "power" in {wanted.family, found.family}:
        return 2.0, "third left open"
    if (wanted.family, found.family) == ("major", "dominant") and wanted.sevenths:
        return 1.5, "another seventh"
    if (wanted.family, found.family) == ("dominant", "major") and found.sevenths:
        return 1.5, "another seventh"
    return RELATIONS_ON_ONE_ROOT.get(
        (wanted.family, found.family), (MISMATCH, "another chord")
    )


def extensions_compared(wanted: ChordToken, found: ChordToken) -> str:
    """Say how two chords of one root and family differ."""
    more = set(found.sevenths) - set(wanted.sevenths)
    fewer = set(wanted.sevenths) - set(found.sevenths)
    if found.alterations != wanted.alterations:
        return "altered" if found.alterations else "not altered"
    if more and not fewer:
        return "with seventh" if more <= {"7", "b7", "bb7"} else "extended"
    return "plainer" if fewer and not more else "other extensions"


def by_tritone(wanted: ChordToken) -> tuple[float, str]:
    """A dominant a tritone away from a dominant, or from V without its seventh."""
    if wanted.family == "dominant":
        return 2.0, "tritone substitute"
    if wanted.family in {"major", "suspended"}:
        return 1.5, "tritone substitute"
    return MISMATCH, "another chord"


def other_bass(wanted: ChordToken, found: ChordToken, transposition_fifths: int) -> bool:
    """Whether a chord is over another bass than was wanted."""
    if wanted.bass_fifths is None:
        return found.bass_fifths is not None
    lowest = found.root_fifths if found.bass_fifths is None else found.bass_fifths
    return lowest != wanted.bass_fifths + transposition_fifths


@cache
def most_points(wanted: str, found: str, semitones: int) -> float:
    """Return the most points of two families with roots some semitones apart, or 0."""
    chord = ChordToken("", 0, wanted)
    ways = (d for d in range(-11, 12) if pitch_class(d) == semitones)
    return max(0.0, *(relation(chord, ChordToken("", d, found), 0)[0] for d in ways))
