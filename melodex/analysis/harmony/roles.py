"""What a chord does in its key: at home, borrowed, on its way somewhere else.

Conventions: degrees are counted from the local tonic on the line of fifths. What a
chord does is told from the key, from the chord itself and from where it goes; the same
notes are a German sixth before V and a tritone substitute elsewhere. A dominant that
the key does not hold is always labelled by where it leads; whether it goes there is
kept beside it. Only a seventh on I or IV is left as the blues has it unless it
resolves. All rules are common practice; no source.

Contents: Role, Place, role_of, ROLES, APPLIED_DEGREE, AUGMENTED_SIXTH,
LEADING_TONE, LOWERED_THIRD, goes_on, near, is_minor_mode, scale_of_mode, roman.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from melodex.analysis.harmony.chords import DIMINISHED, Chord
from melodex.melody import MODES, degree_name, pitch_class

__all__ = [
    "APPLIED_DEGREE",
    "AUGMENTED_SIXTH",
    "LEADING_TONE",
    "LOWERED_THIRD",
    "ROLES",
    "Place",
    "Role",
    "goes_on",
    "is_minor_mode",
    "near",
    "role_of",
    "roman",
    "scale_of_mode",
]

ROLES = (
    "diatonic",
    "secondary dominant",
    "secondary leading tone",
    "related ii",
    "tritone substitute",
    "augmented sixth",
    "Neapolitan",
    "Picardy third",
    "common-tone diminished",
    "passing diminished",
    "line",
    "borrowed",
    "blues seventh",
    "altered",
    "chromatic",
)
"""What a chord does in its key; empty where there is no chord or no key."""

LEADING_TONE = 5
"""Above the tonic, in fifths."""
APPLIED_DEGREE = {
    "secondary dominant": 1,
    "secondary leading tone": LEADING_TONE,
    "related ii": 2,
}
LOWERED_THIRD = frozenset({"minor", "half-diminished", "diminished"})
ROMAN = ("", "I", "II", "III", "IV", "V", "VI", "VII")
RAISED_SIXTH, RAISED_SEVENTH, RAISED_FOURTH = 3, LEADING_TONE, 6
"""In fifths above the tonic."""
LEADING_TONE_DOWN = -LEADING_TONE
"""From a leading tone up to its goal is a minor second: five fifths down."""
FLAT_SIX, FLAT_TWO, FLAT_SEVEN, FLAT_THREE = -4, -5, -2, -3
FOURTH, THIRD = 5, 4
"""Half steps from a dominant up to its goal, and to the diminished chord that stands for
it."""
MEDIANTS = frozenset({3, 4})
"""Degrees of VI and III, in fifths."""
AUGMENTED_SIXTH = 10
"""F sharp above A flat, on the line of fifths."""
TRIAD = frozenset({"1", "b3", "3", "b5", "5", "#5"})
TENSIONS = frozenset({"9", "11", "13", "b9", "#9", "#11", "b13", "b6"})
MAJOR_TO_BORROW_FROM = ("minor", "mixolydian", "phrygian", "lydian")
MINOR_TO_BORROW_FROM = ("major", "dorian", "phrygian", "mixolydian")
"""Modes that chords of a major and of a minor key are borrowed from, the usual ones
first (common practice, no source)."""
NEAREST_TO_BORROW_FROM = {
    "mixolydian": ("major", *MAJOR_TO_BORROW_FROM),
    "dorian": ("minor", *MINOR_TO_BORROW_FROM),
    "phrygian": ("minor", *MINOR_TO_BORROW_FROM),
}
"""The same for church modes, with the plain mode that is nearest before all: flat VI beside
dorian is that of minor."""
USUAL_GOALS = frozenset({-1, 1, 2, 3, 4})
"""In fifths above the tonic: IV, V, ii, vi and iii (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Role:
    """What a chord does: fields as in Numeral.

    ``name_of_chord`` stands in place of the numeral where the trade has a name for the
    chord itself, such as ``Ger6``; ``shown_degree`` is the degree by which the chord is
    written where its spelling hides it: B over B flat is a lowered second.
    """

    name: str
    goal: str = ""
    goal_degree: int | None = None
    resolves: bool = False
    from_mode: str = ""
    shown_degree: int | None = None
    name_of_chord: str = ""


@dataclass(frozen=True)
class Place:
    """A chord in its key with the two that follow it.

    ``raised_sixth`` says that the melody over it has the augmented sixth above its root,
    ``after_its_two`` that the ii which leads to it stands before, ``coming`` the tonic
    above this one, in fifths, of a key that begins right after it.
    """

    chord: Chord
    degree: int
    tonic_fifths: int
    mode: str
    following: Chord | None = None
    beyond: Chord | None = None
    raised_sixth: bool = False
    after_its_two: bool = False
    coming: int | None = None

    @cached_property
    def next_degree(self) -> int | None:
        """Root of the next chord above the tonic."""
        return self.above_tonic(self.following)

    def above_tonic(self, chord: Chord | None) -> int | None:
        """Root of a chord above the tonic, None where it does not sound."""
        if chord is None or not chord.sounds:
            return None
        return chord.root_fifths - self.tonic_fifths

    @property
    def next_is_six_four(self) -> bool:
        """Whether I over its fifth follows, which stands for V."""
        chord = self.following
        return (
            chord is not None
            and self.next_degree == 0
            and chord.bass_fifths == self.tonic_fifths + 1
        )

    def leads_to(self, goal: int) -> bool:
        """Whether the next chord is on a degree, or is the six-four of V.

        However it is spelled: F sharp 7 leads to B and to C flat.
        """
        following = self.next_degree
        on_it = following is not None and (following - goal) % 12 == 0
        return on_it or (goal == 1 and self.next_is_six_four)

    def comes_late_to(self, goal: int) -> bool:
        """Whether only the minor chord a fifth above a goal stands before it.

        Ab7 Dm7b5 G7 goes to G by way of its own ii; D7 that becomes Dm7 has given up.
        """
        two, reached = self.next_degree, self.above_tonic(self.beyond)
        if two in {None, self.degree} or reached is None or self.following is None:
            return False
        minor = self.following.family in {"minor", "half-diminished"}
        return minor and (reached - goal) % 12 == 0 and (two - goal) % 12 == 1

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

    @property
    def minor(self) -> bool:
        """Whether the key is a minor one."""
        return is_minor_mode(self.mode)


def goes_on(chord: Chord, later: Chord) -> bool:
    """Whether a later chord is only more of this one: its root, and no other function.

    A7 that becomes Am7 is not still the dominant that it was.
    """
    if (chord.sounds, chord.root_fifths) != (later.sounds, later.root_fifths):
        return False
    # Two minor chords on one root go on, and so do V7sus4 and V7.
    both = (chord.family in LOWERED_THIRD, later.family in LOWERED_THIRD)
    diminished = (chord.family == "diminished", later.family == "diminished")
    return both[0] == both[1] and diminished[0] == diminished[1]


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


@lru_cache(maxsize=2048)
def core_degrees(chord: Chord) -> tuple[int, ...]:
    """Degrees above the root without ninths, elevenths and thirteenths."""
    return tuple(
        degree
        for degree, name in zip(chord.degrees, chord.degree_names, strict=True)
        if name not in TENSIONS
    )


# The rules, by family.


def role_of(place: Place) -> Role:
    """What a chord does in its key."""
    family = place.chord.family
    sixth = augmented_sixth(place)
    if sixth:
        return sixth
    if belongs(place):
        return applied_at_home(place) or Role("diatonic")
    if family == "dominant":
        return role_of_dominant(place)
    if family == "major":
        found = role_of_major(place)
    elif family in DIMINISHED:
        found = role_of_diminished(place)
    else:
        found = None
    if found is None and family in {"minor", "half-diminished"}:
        found = related_two(place)
    return found or borrowed(place) or role_by_default(place)


def belongs(place: Place) -> bool:
    """Whether the key holds the chord, with the raised seventh of minor.

    The tonic of a minor key may have the sixth and the seventh of melodic minor, and so
    may IV and ii that lead to V.
    """
    family = place.chord.family
    if place.degree == 1 and family in {"dominant", "major", "suspended"}:
        return True
    if place.degree == 0 and place.minor and family == "minor":
        return True
    outside = place.tones - scale_of_mode(place.mode)
    if not outside:
        return True
    if outside == {RAISED_SIXTH} and place.minor and place.degree in {-1, 2}:
        # The sixth of melodic minor goes up to the seventh, which V or vii° has.
        return place.next_degree in {1, RAISED_SEVENTH} or place.next_is_six_four
    return (
        outside == {RAISED_SEVENTH}
        and place.minor
        and place.degree in {0, 1, 5, FLAT_THREE}
    )


def applied_at_home(place: Place) -> Role | None:
    """What a chord of the key does where it leads away: bVII7 to bIII, viiø7 to V7/vi."""
    family = place.chord.family
    if (
        family == "dominant"
        and place.degree == FLAT_SEVEN
        and place.next_degree == FLAT_THREE
        and place.minor
    ):
        return applied(place, "secondary dominant", FLAT_THREE)
    if family == "half-diminished" and place.degree == RAISED_SEVENTH:
        return related_two(place)
    return None


def role_of_dominant(place: Place) -> Role:
    """A dominant seventh that the key does not hold."""
    degree, goal = place.degree, place.degree - 1
    four = place.following is not None and place.following.family in {"dominant", "power"}
    blue = degree == 0 and place.leads_to(goal) and four
    chain = place.minor and half_steps(place.following, place.beyond) == FOURTH
    if blue and not place.after_its_two and not chain:
        # I7 IV7 is the blues, not a dominant that is reached.
        return Role("blues seventh")
    coming = place.coming is not None and (goal - place.coming) % 12 == 0
    backdoor = degree == -1 and not place.minor and place.leads_to(FLAT_SEVEN)
    if backdoor and is_family(place.following, "dominant"):
        # IV7 bVII7 stands for iv7 bVII7.
        return Role("blues seventh")
    if place.leads_to(goal) or coming or (degree == 0 and place.after_its_two):
        found = applied(place, "secondary dominant", goal)
        return replace(found, resolves=True) if coming else found
    if degree == 2 and falls_by_half_step(place.chord, place.following):
        # II7 before bII, which stands for V or prepares it, is still the V of V.
        instead = is_family(place.following, "dominant")
        return replace(applied(place, "secondary dominant", goal), resolves=instead)
    if falls_by_half_step(place.chord, place.following):
        return substitute(place, int(place.next_degree or 0))
    if degree == 0 or (degree == -1 and not place.minor):
        return Role("blues seventh")
    if degree in {FLAT_SEVEN, -1}:
        return borrowed(place) or Role("borrowed", from_mode="minor")
    if near(degree) in {FLAT_TWO, FLAT_SIX}:
        return substitute(place, near(degree) - LEADING_TONE_DOWN)
    if goal in USUAL_GOALS or is_goal(place.mode, goal):
        return applied(place, "secondary dominant", goal)
    return borrowed(place) or Role("chromatic")


def role_of_major(place: Place) -> Role | None:
    """A major chord that the key does not hold: applied, or on the lowered second."""
    degree, following = place.degree, place.following
    if degree in MEDIANTS and place.next_degree == 0 and is_family(following, "major"):
        # III and VI that go back to I are a third away from it, and lead nowhere.
        return Role("chromatic")
    if degree in {2, 3, 4, 5} and "7" not in place.chord.degree_names:
        return applied(place, "secondary dominant", degree - 1)
    if degree == 0 and place.minor and place.leads_to(-1) and is_family(following, "minor"):
        return applied(place, "secondary dominant", -1)
    if degree == -1 and place.minor and leads_by_its_third(place):
        return applied(place, "secondary dominant", FLAT_SEVEN)
    if near(degree) != FLAT_TWO or (place.next_degree == 0 and not place.next_is_six_four):
        return None
    to_five = place.next_degree in {None, RAISED_SEVENTH} or place.leads_to(1)
    return Role("Neapolitan" if to_five else "chromatic", shown_degree=FLAT_TWO)


def leads_by_its_third(place: Place) -> bool:
    """Whether a major chord over its third goes to the major chord a fifth below."""
    chord = place.chord
    over_third = chord.bass_fifths == chord.root_fifths + 4
    return (
        over_third
        and place.leads_to(place.degree - 1)
        and is_family(place.following, "major")
    )


def role_of_diminished(place: Place) -> Role | None:
    """A diminished chord: a leading tone to what follows, or one that shares its notes."""
    chord, following = place.chord, place.following
    goal = place.degree + LEADING_TONE_DOWN
    if rises_by_half_step(chord, following) and place.next_degree:
        return applied(place, "secondary leading tone", place.next_degree)
    if goal == 1 and (place.next_is_six_four or goes_on_to_five_of_five(place)):
        return applied(place, "secondary leading tone", goal)
    if chord.family == "diminished" and place.next_degree is not None:
        if shares_root_of_next(place):
            return Role("common-tone diminished")
        if falls_by_half_step(chord, following):
            return passing(place)
        if leads_up_inverted(place):
            return applied(place, "secondary leading tone", int(place.next_degree))
    if chord.family == "diminished" and goal in USUAL_GOALS:
        return applied(place, "secondary leading tone", goal)
    return None


def passing(place: Place) -> Role:
    """A diminished chord that passes down: on a lowered degree, but for the fourth."""
    shown = place.degree - 12 if place.degree > RAISED_FOURTH else None
    return Role("passing diminished", shown_degree=shown)


def goes_on_to_five_of_five(place: Place) -> bool:
    """Whether the V of V follows, which a chord on the raised fourth is most of."""
    following = place.following
    return following is not None and place.next_degree == 2 and 4 in following.degrees


def leads_up_inverted(place: Place) -> bool:
    """Whether another note of a diminished seventh is the leading tone of what follows.

    G diminished before F minor is E diminished over its third.
    """
    steps = half_steps(place.chord, place.following)
    seventh = "bb7" in place.chord.degree_names
    return seventh and steps is not None and steps % 3 == 1 and place.next_degree != 0


def shares_root_of_next(place: Place) -> bool:
    """Whether a diminished seventh chord holds the root of the major chord that follows."""
    following = place.following
    return (
        following is not None
        and "bb7" in place.chord.degree_names
        and following.family in {"major", "dominant"}
        and place.next_degree in {-1, 0, 1}
        and pitch_class(following.root_fifths) in place.chord.pitch_classes
    )


def augmented_sixth(place: Place) -> Role | None:
    """German, French or Italian sixth: on the lowered sixth, before V or its six-four.

    A symbol writes its augmented sixth as a minor seventh. Before V7 it is told from a
    tritone substitute by the melody alone.
    """
    if near(place.degree) != FLAT_SIX or not place.leads_to(1):
        return None
    chord, following = place.chord, place.following
    if chord.family != "dominant" and not (chord.family == "major" and place.raised_sixth):
        return None
    plain = following is not None and not following.extensions
    if not (place.raised_sixth or place.next_is_six_four or plain):
        return None
    names = set(chord.degree_names)
    nation = "Fr6" if names & {"b5", "#11"} else "Ger6" if "5" in names else "It6"
    return Role(
        "augmented sixth", "V", 1, True, shown_degree=FLAT_SIX, name_of_chord=nation
    )


def is_family(chord: Chord | None, family: str) -> bool:
    """Whether there is a chord, and of a family."""
    return chord is not None and chord.family == family


def near(degree: int) -> int:
    """A degree by its nearer name: the raised first is the lowered second."""
    return degree - 12 if degree > 6 else degree + 12 if degree < -6 else degree


def falls_by_half_step(chord: Chord, following: Chord | None) -> bool:
    """Whether the next root is a half step lower, however it is spelled."""
    return half_steps(chord, following) == 11


def rises_by_half_step(chord: Chord, following: Chord | None) -> bool:
    """Whether the next root is a half step higher, however it is spelled."""
    return half_steps(chord, following) == 1


def half_steps(chord: Chord | None, following: Chord | None) -> int | None:
    """Half steps from a root up to the next, 0 to 11."""
    if chord is None or following is None or not following.sounds:
        return None
    return (7 * (following.root_fifths - chord.root_fifths)) % 12


def applied(place: Place, name: str, goal: int) -> Role:
    """An applied chord: its goal written as the key, or the next chord, has it."""
    resolves = place.leads_to(goal)
    reached = place.following if resolves else None
    small = is_small_goal(place.mode, goal, reached, place.beyond)
    return Role(name, roman(goal, small=small), goal, resolves or place.comes_late_to(goal))


def is_small_goal(
    mode: str, goal: int, reached: Chord | None, beyond: Chord | None = None
) -> bool:
    """Whether a goal is written small: by the chord that comes, else by the key.

    In a chain of dominants each is that of a degree of the key: E7 before A7 is V7/vi.
    V/V is written so whether the fifth turns out major or minor.
    """
    up = half_steps(reached, beyond)
    falls = up == FOURTH or (up == THIRD and is_family(beyond, "diminished"))
    leads_on = is_family(reached, "dominant") or (falls and is_family(reached, "major"))
    if reached is None or leads_on or goal == 1:
        return goal_is_minor(mode, goal)
    return reached.family in LOWERED_THIRD


def is_goal(mode: str, goal: int) -> bool:
    """Whether a key has a chord on a degree that can be led to: none that is diminished."""
    scale = scale_of_mode(mode)
    return goal in scale and goal + 1 in scale


def goal_is_minor(mode: str, goal: int) -> bool:
    """Whether the triad of the key on a degree has a minor third."""
    scale = scale_of_mode(mode)
    return goal + 4 not in scale and goal - 3 in scale and goal != 1


def substitute(place: Place, goal: int) -> Role:
    """A dominant a half step above its goal, in the place of the one a fifth above."""
    found = applied(place, "tritone substitute", goal)
    resolves = falls_by_half_step(place.chord, place.following) or found.resolves
    # Over a lowered seventh it is VII7: nobody writes a lowered first.
    shown = near(goal + LEADING_TONE_DOWN)
    return Role(found.name, found.goal, goal, resolves, shown_degree=shown)


def related_two(place: Place) -> Role | None:
    """A minor chord before a dominant a fifth below, which is not the key's own.

    Before the tritone substitute of that dominant, where it goes down to the goal, it is
    the same. Before a dominant that is itself a tritone substitute, and before one that
    neither goes to its goal nor has one in the key, it keeps the numeral of its root.
    """
    following, after = place.following, place.next_degree
    if following is None or following.family != "dominant":
        return None
    if "7" in place.chord.degree_names:
        # A minor chord with a major seventh is at rest, or on a line to the minor one.
        return None
    goal = place.degree - 2
    if falls_by_half_step(place.chord, following) and falls_by_half_step(
        following, place.beyond
    ):
        small = is_small_goal(place.mode, goal, place.beyond)
        return Role("related ii", roman(goal, small=small), goal, resolves=True)
    if after != place.degree - 1:
        return None
    beyond = place.above_tonic(place.beyond)
    if after == 1 or (after == FLAT_SEVEN and beyond != goal):
        return None
    if beyond is not None and (beyond - goal) % 12 == 0:
        beyond = goal
    if beyond != goal and falls_by_half_step(following, place.beyond):
        return Role("related ii", goal_degree=beyond, shown_degree=place.degree)
    if beyond != goal and goal not in USUAL_GOALS | scale_of_mode(place.mode):
        return Role("related ii", shown_degree=place.degree)
    small = is_small_goal(place.mode, goal, place.beyond if beyond == goal else None)
    return Role("related ii", roman(goal, small=small), goal, resolves=True)


def borrowed(place: Place) -> Role | None:
    """A chord that a parallel mode holds, or whose triad it does and the key the rest.

    So iv with the major seventh, which is the third of a major key, comes from minor.
    """
    usual = MINOR_TO_BORROW_FROM if place.minor else MAJOR_TO_BORROW_FROM
    modes = NEAREST_TO_BORROW_FROM.get(place.mode, usual)
    # Modes that hold all of it come first.
    for own in (frozenset[int](), scale_of_mode(place.mode)):
        for mode in modes:
            held = scale_of_mode(mode)
            if mode == "minor" and place.degree == RAISED_SEVENTH:
                held = held | {RAISED_SEVENTH}
            if place.triad <= held and place.tones <= held | own:
                return Role("borrowed", from_mode=mode)
    return None


def role_by_default(place: Place) -> Role:
    """Chords of a held root with an altered fifth, and the rest."""
    root_held = place.degree in scale_of_mode(place.mode)
    altered = place.chord.family == "augmented" or "b5" in place.chord.alterations
    return Role("altered" if root_held and altered else "chromatic")
