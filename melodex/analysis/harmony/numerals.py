"""Roman numerals: what a chord is in the key that holds where it stands.

Conventions: a degree is the distance of the root from the local tonic in fifths.
Signs before a numeral are counted from the major scale on the tonic in both
modes: A flat in C major and in C minor is bVI. Large numerals have a major third,
small ones a minor third. An Arabic number after a slash is a scale degree in the
bass (``IV/5``), a Roman one the chord that is tonicised (``V7/V``). Inversions of
triads and plain seventh chords are figured (6, 64, 65, 43, 42).

A dominant that the key does not hold is always labelled by where it leads; whether
it goes there is kept beside it in ``resolves``. Only a seventh on I or IV is left
as the blues has it unless it resolves. All rules are common practice; no source.

Contents: Numeral, numeral, numerals, roman, scale_of_mode, is_minor_mode, ROLES.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

from melodex.analysis.harmony.chords import Chord
from melodex.melody import MODES, degree_name

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

ROLES = (
    "diatonic",
    "secondary dominant",
    "secondary leading tone",
    "related ii",
    "tritone substitute",
    "borrowed",
    "blues seventh",
    "altered",
    "chromatic",
)
"""What a chord does in its key; empty where there is no chord or no key."""

ROMAN = ("", "I", "II", "III", "IV", "V", "VI", "VII")
LOWERED_THIRD = frozenset({"minor", "half-diminished", "diminished"})
FLAT_ROOTS = frozenset(range(-5, -1))
RAISED_SEVENTH = 5
LEADING_TONE_DOWN = -5
"""From a leading tone up to its goal is a minor second: five fifths down."""


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


def is_minor_mode(mode: str) -> bool:
    """Whether the third of a mode is minor.

    Examples
    --------
    >>> is_minor_mode("dorian"), is_minor_mode("mixolydian")
    (True, False)
    """
    return MODES.get(mode, 0) >= MODES["dorian"]


@lru_cache(maxsize=32)
def scale_of_mode(mode: str) -> frozenset[int]:
    """Return the degrees of a mode in fifths above its tonic.

    Examples
    --------
    >>> sorted(scale_of_mode("dorian"))
    [-3, -2, -1, 0, 1, 2, 3]
    """
    lowest = -1 - MODES.get(mode, 0)
    return frozenset(range(lowest, lowest + 7))


@lru_cache(maxsize=256)
def roman(degree: int, *, small: bool = False) -> str:
    """Write a degree as a Roman numeral with its sign.

    Examples
    --------
    >>> roman(-4), roman(2, small=True), roman(6)
    ('bVI', 'ii', '#IV')
    """
    name = degree_name(degree)
    letters = ROMAN[int(name[-1])]
    return name[:-1] + (letters.lower() if small else letters)


@lru_cache(maxsize=16384)
def numeral(
    chord: Chord, tonic_fifths: int, mode: str, following: Chord | None = None
) -> Numeral:
    """Name a chord in a key.

    Parameters
    ----------
    chord : Chord
        As parsed.
    tonic_fifths, mode : int and str
        The key that holds there; mode ``none`` gives an empty numeral.
    following : Chord, optional
        The next chord with another root: it settles what an applied chord leads
        to, and whether it goes there.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> [numeral(parse_chord(t), 0, "major").text for t in ("Fm", "Ab", "D7/F#")]
    ['iv', 'bVI', 'V65/V']
    """
    if not chord.sounds:
        return Numeral("N.C." if chord.understood else "?")
    if mode == "none":
        return Numeral("?", family=chord.family)
    degree = chord.root_fifths - tonic_fifths
    bass = None if chord.bass_fifths is None else chord.bass_fifths - tonic_fifths
    figures, foreign_bass = figured(chord)
    over = f"/{degree_name(foreign_bass + degree)}" if foreign_bass is not None else ""
    plain = spelled(degree, chord.family, figures) + over
    place = Place(chord, degree, tonic_fifths, mode, next_degree(following, tonic_fifths))
    role = role_of(place, following)
    text = plain
    if role.name in APPLIED_DEGREE:
        text = spelled(APPLIED_DEGREE[role.name], chord.family, figures) + over
        text = f"{text}/{role.goal}"
    return Numeral(
        text,
        plain,
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


def numerals(chords: Sequence[Chord], keys: Sequence[LocalKey]) -> list[Numeral]:
    """Name every chord of a piece in its local key.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)
    keys : sequence of LocalKey, of shape (n,)
        The key that holds at each chord.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chords
    >>> from melodex.melody import Key
    >>> row = parse_chords(["C", "A7", "Dm7", "Db7", "Cmaj7"])
    >>> [n.text for n in numerals(row, [Key(0, "major")] * 5)]
    ['I', 'V7/ii', 'ii7', 'bII7', 'Imaj7']
    """
    named: list[Numeral] = []
    following: Chord | None = None
    for place in range(len(chords) - 1, -1, -1):
        chord, later = chords[place], chords[place + 1] if place + 1 < len(chords) else None
        if later is not None and moves_on(chord, later):
            following = later
        named.append(numeral(chord, keys[place].tonic_fifths, keys[place].mode, following))
    return named[::-1]


def moves_on(chord: Chord, later: Chord) -> bool:
    """Whether another root follows, or silence, which has none."""
    return (chord.sounds, chord.root_fifths) != (later.sounds, later.root_fifths)


# Writing a numeral.

QUALITY_SIGN = {"half-diminished": "ø", "diminished": "°", "augmented": "+"}
TRIAD_FIGURES = {"3": "6", "b3": "6", "5": "64", "b5": "64", "#5": "64"}
SEVENTH_FIGURES = {
    "3": "65",
    "b3": "65",
    "5": "43",
    "b5": "43",
    "#5": "43",
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
    names = dict(zip(chord.degrees, chord.degree_names, strict=True))
    table = {"": TRIAD_FIGURES, "7": SEVENTH_FIGURES}.get(figures, {})
    inverted = table.get(names.get(bass, ""))
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


# What a chord does.


@dataclass(frozen=True, slots=True)
class Role:
    """What a chord does: fields as in Numeral."""

    name: str
    goal: str = ""
    goal_degree: int | None = None
    resolves: bool = False
    from_mode: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """A chord in its key, and the degree of the next root."""

    chord: Chord
    degree: int
    tonic_fifths: int
    mode: str
    next_degree: int | None

    @property
    def triad(self) -> frozenset[int]:
        """Root, third and fifth above the tonic."""
        chord = self.chord
        return frozenset(
            self.degree + fifths
            for fifths, name in zip(chord.degrees, chord.degree_names, strict=True)
            if name in TRIAD
        )

    @property
    def tones(self) -> frozenset[int]:
        """Triad and seventh above the tonic, without tensions."""
        return frozenset(self.degree + fifths for fifths in core_degrees(self.chord))


APPLIED_DEGREE = {"secondary dominant": 1, "secondary leading tone": 5, "related ii": 2}
TRIAD = frozenset({"1", "b3", "3", "b5", "5", "#5"})
TENSIONS = frozenset({"9", "11", "13", "b9", "#9", "#11", "b13", "b6"})
MODES_TO_BORROW_FROM = {
    False: ("minor", "mixolydian", "phrygian", "lydian"),
    True: ("major", "dorian", "phrygian", "mixolydian"),
}
USUAL_GOALS = frozenset({-1, 1, 2, 3, 4})


@lru_cache(maxsize=2048)
def core_degrees(chord: Chord) -> tuple[int, ...]:
    """Degrees above the root without ninths, elevenths and thirteenths."""
    return tuple(
        degree
        for degree, name in zip(chord.degrees, chord.degree_names, strict=True)
        if name not in TENSIONS
    )


def next_degree(following: Chord | None, tonic_fifths: int) -> int | None:
    """Root of the next chord above the tonic."""
    if following is None or not following.sounds:
        return None
    return following.root_fifths - tonic_fifths


def role_of(place: Place, following: Chord | None) -> Role:
    """What a chord does in its key."""
    if belongs(place):
        return applied_in_minor(place, following) or Role("diatonic")
    family = place.chord.family
    if family == "dominant":
        return role_of_dominant(place, following)
    if family == "major" and place.degree in {2, 3, 4, 5}:
        return applied(place, following, "secondary dominant", place.degree - 1)
    if family in {"diminished", "half-diminished"}:
        found = role_of_leading_tone(place, following)
        if found:
            return found
    if family in {"minor", "half-diminished"} and starts_applied_cadence(place, following):
        goal = place.degree - 2
        small = goal_is_minor(place.mode, goal)
        return Role("related ii", roman(goal, small=small), goal, resolves=True)
    return borrowed(place) or role_by_default(place, following)


def belongs(place: Place) -> bool:
    """Whether the key holds the chord, with the raised seventh of minor."""
    if place.degree == 1 and place.chord.family in {"dominant", "major", "suspended"}:
        return True
    scale = scale_of_mode(place.mode)
    outside = place.tones - scale
    if not outside:
        return True
    return (
        outside == {RAISED_SEVENTH}
        and is_minor_mode(place.mode)
        and place.degree in {0, 1, 5, -3}
    )


def applied_in_minor(place: Place, following: Chord | None) -> Role | None:
    """In minor bVII7 belongs to the key, and is V7/bIII where it goes there."""
    if (
        place.chord.family == "dominant"
        and place.degree == -2
        and place.next_degree == -3
        and is_minor_mode(place.mode)
    ):
        return applied(place, following, "secondary dominant", -3)
    return None


def role_of_dominant(place: Place, following: Chord | None) -> Role:
    """A dominant seventh that the key does not hold."""
    degree, goal = place.degree, place.degree - 1
    if place.next_degree == goal:
        return applied(place, following, "secondary dominant", goal)
    if falls_by_half_step(place):
        return substitute(place, following, int(place.next_degree or 0))
    if degree in {0, -1}:
        return Role("blues seventh")
    if degree == -2:
        return borrowed(place) or Role("borrowed", from_mode="minor")
    if degree in {-5, -4}:
        return substitute(place, following, degree - LEADING_TONE_DOWN)
    if goal in USUAL_GOALS or goal in scale_of_mode(place.mode):
        return applied(place, following, "secondary dominant", goal)
    return borrowed(place) or Role("chromatic")


def falls_by_half_step(place: Place) -> bool:
    """Whether the next root is a half step lower, however it is spelled."""
    if place.next_degree is None:
        return False
    return (7 * (place.next_degree - place.degree)) % 12 == 11


def applied(place: Place, following: Chord | None, name: str, goal: int) -> Role:
    """An applied chord: its goal written as the key, or the next chord, has it."""
    resolves = place.next_degree == goal
    small = goal_is_minor(place.mode, goal)
    if resolves and following is not None:
        small = following.family in LOWERED_THIRD
    return Role(name, roman(goal, small=small), goal, resolves)


def goal_is_minor(mode: str, goal: int) -> bool:
    """Whether the triad of the key on a degree has a minor third."""
    scale = scale_of_mode(mode)
    return goal + 4 not in scale and goal - 3 in scale and goal != 1


def substitute(place: Place, following: Chord | None, goal: int) -> Role:
    """A dominant a half step above its goal, in the place of the one a fifth above."""
    found = applied(place, following, "tritone substitute", goal)
    resolves = falls_by_half_step(place)
    return Role(found.name, found.goal, goal, resolves)


def role_of_leading_tone(place: Place, following: Chord | None) -> Role | None:
    """A diminished chord a half step below its goal."""
    goal = place.degree + LEADING_TONE_DOWN
    if goal == 0:
        return None
    resolves = place.next_degree == goal
    usual = place.chord.family == "diminished" and goal in USUAL_GOALS
    if resolves or usual:
        return applied(place, following, "secondary leading tone", goal)
    return None


def starts_applied_cadence(place: Place, following: Chord | None) -> bool:
    """Whether a dominant a fifth below follows, which itself is not the key's own."""
    return (
        following is not None
        and following.family == "dominant"
        and place.next_degree == place.degree - 1
        and place.next_degree not in {1, -2}
    )


def borrowed(place: Place) -> Role | None:
    """A chord that a parallel mode holds, or whose triad it does and the key the rest.

    So iv with the major seventh, which is the third of a major key, comes from minor.
    """
    # Modes that hold all of it come first.
    for own in (frozenset[int](), scale_of_mode(place.mode)):
        for mode in MODES_TO_BORROW_FROM[is_minor_mode(place.mode)]:
            held = scale_of_mode(mode)
            if mode == "minor" and place.degree == RAISED_SEVENTH:
                held = held | {RAISED_SEVENTH}
            if place.triad <= held and place.tones <= held | own:
                return Role("borrowed", from_mode=mode)
    return None


def role_by_default(place: Place, following: Chord | None) -> Role:
    """Chords of a held root with an altered fifth, and the rest."""
    root_held = place.degree in scale_of_mode(place.mode)
    altered = place.chord.family == "augmented" or "b5" in place.chord.alterations
    return Role("altered" if root_held and altered else "chromatic")
