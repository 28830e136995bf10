"""Roman numerals: what a chord is in the key that holds where it stands.

Conventions: a degree is the distance of the root from the local tonic in fifths.
Signs before a numeral are counted from the major scale on the tonic in both
modes: A flat in C major and in C minor is bVI. Large numerals have a major third,
small ones a minor third. A Roman number after a slash is the chord that is tonicised
(``V7/V``), and nothing else is written with a slash: inversions of triads and plain
seventh chords are figured (6, 64, 65, 43, 42), any other bass is a scale degree after
``over`` (``IV over 5``). A tritone substitute is written by the degree a half step above
its goal (``bII7``, never ``#I7``). Augmented sixths have names of their own (``Ger6``).
What a chord does is told in ``roles``. All rules are common practice; no source.

Contents: Numeral, numeral, numerals; from ``roles``: roman, scale_of_mode,
is_minor_mode, ROLES.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

from melodex.analysis.harmony.chords import DIMINISHED, Chord
from melodex.analysis.harmony.lines import bass_lines, inner_lines
from melodex.analysis.harmony.roles import (
    APPLIED_DEGREE,
    LOWERED_THIRD,
    ROLES,
    Place,
    Role,
    goes_on,
    is_minor_mode,
    near,
    role_of,
    roman,
    scale_of_mode,
)
from melodex.melody import degree_name, pitch_class

__all__ = [
    "ROLES",
    "LocalKey",
    "Numeral",
    "is_minor_mode",
    "numeral",
    "numerals",
    "roman",
    "scale_of_mode",
]


class LocalKey(Protocol):
    """Whatever says which tonic and mode hold, such as a Key or a key span."""

    @property
    def tonic_fifths(self) -> int:
        """The tonic on the line of fifths."""

    @property
    def mode(self) -> str:
        """A name of a mode, or ``none``."""


@dataclass(frozen=True, slots=True)
class Numeral:
    """A chord as a Roman numeral.

    Parameters
    ----------
    text : str
        The whole in plain text, such as ``bVI``, ``viiø7``, ``V65/V``, ``IV/5``.
    plain_text : str
        The same counted from the local tonic alone: ``II65`` for ``V65/V``.
    degree : int
        Root above the local tonic in fifths.
    family : str
        As in the chord.
    figures : str
        Figures of seventh and inversion, such as ``7``, ``65``, ``maj7``, ``sus4``.
    bass_degree : int or None
        A bass other than the root, above the local tonic in fifths.
    role : str
        One of :data:`ROLES`, or empty.
    goal : str
        For applied chords and substitutes: the numeral that is led to.
    goal_degree : int or None
        The same in fifths above the tonic.
    resolves : bool
        Whether the next other root is that goal.
    from_mode : str
        For borrowed chords: the parallel mode that holds them.
    """

    text: str
    plain_text: str = ""
    degree: int | None = None
    family: str = ""
    figures: str = ""
    bass_degree: int | None = None
    role: str = ""
    goal: str = ""
    goal_degree: int | None = None
    resolves: bool = False
    from_mode: str = ""


@lru_cache(maxsize=16384)
def numeral(
    chord: Chord,
    tonic_fifths: int,
    mode: str,
    following: Chord | None = None,
    beyond: Chord | None = None,
    *,
    raised_sixth: bool = False,
    after_its_two: bool = False,
    coming: int | None = None,
) -> Numeral:
    """Name a chord in a key.

    Parameters
    ----------
    chord : Chord
        As parsed.
    tonic_fifths, mode : int and str
        The key that holds there; mode ``none`` gives an empty numeral.
    following, beyond : Chord, optional
        The next chord with another root or function, and the one after it: they settle
        what an applied chord leads to, and whether it goes there.
    raised_sixth : bool
        Whether the melody has the augmented sixth above its root.
    after_its_two : bool
        Whether the ii of the chord it leads to stands before it.
    coming : int, optional
        Tonic of the key that begins after the chord, above this one in fifths.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> [numeral(parse_chord(t), 0, "major").text for t in ("Fm", "F/G", "D7/F#")]
    ['iv', 'IV over 5', 'V65/V']
    """
    if not chord.sounds:
        return Numeral("N.C." if chord.understood else "?")
    if mode == "none":
        return Numeral("?", family=chord.family)
    chord = as_near(chord, tonic_fifths)
    following = None if following is None else as_near(following, tonic_fifths)
    beyond = None if beyond is None else as_near(beyond, tonic_fifths)
    degree = chord.root_fifths - tonic_fifths
    bass = None if chord.bass_fifths is None else chord.bass_fifths - tonic_fifths
    ahead = (following, beyond)
    role = role_of(
        Place(
            chord, degree, tonic_fifths, mode, *ahead, raised_sixth, after_its_two, coming
        )
    )
    figures, foreign_bass = figured(chord)
    over = "" if foreign_bass is None else f" over {degree_name(foreign_bass + degree)}"
    nearest = degree if chord.family in DIMINISHED else near(degree)
    shown = nearest if role.shown_degree is None else role.shown_degree
    plain = spelled(shown, chord.family, figures)
    return Numeral(
        named(role, plain, chord, figures) + over,
        plain + over,
        degree,
        chord.family,
        figures,
        bass,
        role.name,
        role.goal,
        role.goal_degree,
        role.resolves,
        role.from_mode,
    )


def as_near(chord: Chord, tonic_fifths: int) -> Chord:
    """A chord in the spelling that is nearer to a key: B in C flat is its tonic.

    Diminished chords keep the sharps that tell where they lead.
    """
    degree = chord.root_fifths - tonic_fifths
    sharpest = 9 if chord.family in DIMINISHED else 7
    shift = -12 if degree > sharpest else 12 if degree < -6 else 0
    if not shift or not chord.sounds:
        return chord
    bass = None if chord.bass_fifths is None else chord.bass_fifths + shift
    return replace(chord, root_fifths=chord.root_fifths + shift, bass_fifths=bass)


def named(role: Role, plain: str, chord: Chord, figures: str) -> str:
    """The numeral by what the chord does: applied, by a name of its own, or plain."""
    if role.name_of_chord:
        return role.name_of_chord
    if role.name in APPLIED_DEGREE and role.goal:
        return f"{spelled(APPLIED_DEGREE[role.name], chord.family, figures)}/{role.goal}"
    return plain


def numerals(
    chords: Sequence[Chord],
    keys: Sequence[LocalKey],
    raised_sixths: frozenset[int] = frozenset(),
) -> list[Numeral]:
    """Name every chord of a piece in its local key.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)
    keys : sequence of LocalKey, of shape (n,)
        The key that holds at each chord.
    raised_sixths : frozenset of int
        Indexes of the chords over which the melody has the augmented sixth.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chords
    >>> from melodex.melody import Key
    >>> row = parse_chords(["C", "A7", "Dm7", "Db7", "Cmaj7"])
    >>> [n.text for n in numerals(row, [Key(0, "major")] * 5)]
    ['I', 'V7/ii', 'ii7', 'bII7', 'Imaj7']
    """
    after = following_places(chords)
    found: list[Numeral] = []
    for place, (chord, key) in enumerate(zip(chords, keys, strict=True)):
        later = after[place]
        beyond = None if later is None else after[later]
        led = bool(place) and is_two_of(found[-1], chords[place - 1], chord)
        found.append(
            numeral(
                chord,
                key.tonic_fifths,
                key.mode,
                first_again(chords, keys, place) if later is None else chords[later],
                None if beyond is None else chords[beyond],
                raised_sixth=place in raised_sixths,
                after_its_two=led,
                coming=coming_tonic(key, keys, later),
            )
        )
    suspended = with_suspensions(found, chords)
    return with_lines(with_picardy(suspended, keys), chords, keys)


def first_again(
    chords: Sequence[Chord], keys: Sequence[LocalKey], place: int
) -> Chord | None:
    """The first chord of a piece, which its last dominant leads back to.

    Not from I7, which is at rest, nor from another key.
    """
    here, key, home = chords[place], keys[place], keys[0]
    turns = here.family == "dominant" and here.root_fifths != key.tonic_fifths
    same = (key.tonic_fifths, key.mode) == (home.tonic_fifths, home.mode)
    return chords[0] if turns and same and place and chords[0].sounds else None


def with_suspensions(found: list[Numeral], chords: Sequence[Chord]) -> list[Numeral]:
    """Name the fourth before the third of an applied dominant by that dominant."""
    for place in range(len(found) - 2, -1, -1):
        here, after = found[place], found[place + 1]
        if (
            here.family == "suspended"
            and chords[place].bass_fifths is None
            and after.role == "secondary dominant"
            and here.role in {"diatonic", "borrowed"}
            and goes_on(chords[place], chords[place + 1])
        ):
            figures = figured(chords[place])[0]
            five = spelled(APPLIED_DEGREE[after.role], here.family, figures)
            found[place] = replace(
                here,
                text=f"{five}/{after.goal}",
                role=after.role,
                goal=after.goal,
                goal_degree=after.goal_degree,
                resolves=after.resolves,
                from_mode="",
            )
    return found


def is_two_of(before: Numeral, chord: Chord, five: Chord) -> bool:
    """Whether a chord is the ii that leads to a dominant after it."""
    return before.role == "related ii" and five.root_fifths == chord.root_fifths - 1


def coming_tonic(key: LocalKey, keys: Sequence[LocalKey], later: int | None) -> int | None:
    """Tonic above that of a chord where the next chord is in another key."""
    if later is None or "none" in {key.mode, keys[later].mode}:
        return None
    return (keys[later].tonic_fifths - key.tonic_fifths) or None


def following_places(chords: Sequence[Chord]) -> list[int | None]:
    """For each chord the place of the next one that does not merely go on with it."""
    after: list[int | None] = [None] * len(chords)
    for place in range(len(chords) - 2, -1, -1):
        more = goes_on(chords[place], chords[place + 1])
        after[place] = after[place + 1] if more else place + 1
    return after


def with_picardy(found: list[Numeral], keys: Sequence[LocalKey]) -> list[Numeral]:
    """Name the major tonic on which a piece in minor ends."""
    last = len(found) - 1
    while last >= 0 and found[last].degree is None:
        last -= 1
    while last >= 0 and is_picardy(found[last], keys[last]):
        found[last] = replace(found[last], role="Picardy third", from_mode="")
        last -= 1
    return found


def is_picardy(named: Numeral, key: LocalKey) -> bool:
    """Whether a chord is a major tonic in a minor key."""
    return named.degree == 0 and named.family == "major" and is_minor_mode(key.mode)


def with_lines(
    found: list[Numeral], chords: Sequence[Chord], keys: Sequence[LocalKey]
) -> list[Numeral]:
    """Take chords that only carry a line over the tonic of minor for no borrowed ones."""
    if not any(n.from_mode in {"dorian", "major"} for n in found):
        return found
    sounding = [place for place, chord in enumerate(chords) if chord.sounds]
    row = [chords[place] for place in sounding]
    for line in [*inner_lines(row), *bass_lines(row)]:
        places = sounding[line.first : line.last + 1]
        first = places[0]
        home = found[first].degree == 0 and found[first].family == "minor"
        starts = pitch_class(line.notes[0] - keys[first].tonic_fifths) in {0, 7}
        if not (home and starts and is_minor_mode(keys[first].mode)):
            continue
        for place in places:
            if found[place].from_mode in {"dorian", "major"}:
                found[place] = replace(found[place], role="line", from_mode="")
    return found


# Writing a numeral.

QUALITY_SIGN = {"half-diminished": "ø", "diminished": "°", "augmented": "+"}
TRIAD_FIGURES = {"3": "6", "b3": "6", "5": "64", "b5": "64", "#5": "64"}
SEVENTH_FIGURES = {
    "3": "65",
    "b3": "65",
    "5": "43",
    "b5": "43",
    "#5": "43",
    "7": "42",
    "b7": "42",
    "bb7": "42",
}


def spelled(degree: int, family: str, figures: str) -> str:
    """Numeral, sign of quality and figures."""
    sign = QUALITY_SIGN.get(family, "")
    if family == "augmented" and figures.startswith("7"):
        sign = ""
    return roman(degree, small=family in LOWERED_THIRD) + sign + figures


@lru_cache(maxsize=2048)
def figured(chord: Chord) -> tuple[str, int | None]:
    """Figures of a chord, and its bass above the root where no figure says it."""
    figures = upright_figures(chord)
    if chord.bass_fifths is None:
        return figures, None
    bass = chord.bass_fifths - chord.root_fifths
    # A bass is the member that it sounds: B under A flat is its third, as C flat is.
    bass = next((d for d in chord.degrees if (d - bass) % 12 == 0), bass)
    names = dict(zip(chord.degrees, chord.degree_names, strict=True))
    if figures == "":
        inverted = TRIAD_FIGURES.get(names.get(bass, ""), "")
    elif figures in {"7", "maj7", "(maj7)"}:
        inversion = SEVENTH_FIGURES.get(names.get(bass, ""), "")
        inverted = figures.replace("7", inversion) if inversion else ""
    else:
        inverted = ""
    return (inverted, None) if inverted else (figures, bass)


def upright_figures(chord: Chord) -> str:
    """Figures of a chord over its root: seventh, extensions, suspensions, alterations."""
    names = chord.degree_names
    numbers = [n for n in chord.extensions if n in {"9", "11", "13"}]
    top = ""
    if "7" in names or "b7" in names or "bb7" in names:
        stacked = stack_top(numbers)
        top = stacked or "7"
        numbers = [] if stacked else numbers
        if "7" in names:
            top = f"(maj{top})" if chord.family == "minor" else f"maj{top}"
    suspended = [n for n in names if n in {"2", "4"}] if chord.family == "suspended" else []
    sus = "sus" + "".join(suspended) if suspended else ""
    added = [n for n in names if n in {"2", "4", "6"} and n not in suspended] + numbers
    only = "5" if chord.family == "power" else ""
    if chord.alterations == ("b9", "#9", "#11", "b13"):
        return top + "alt"
    tail = [f"add{n}" for n in added] + list(chord.alterations)
    return top + only + sus + (f"({','.join(tail)})" if tail else "")


def stack_top(numbers: list[str]) -> str:
    """The number of a stack of thirds, or nothing where a 9 is missing below."""
    return numbers[-1] if numbers[:1] == ["9"] else ""
