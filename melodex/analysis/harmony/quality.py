"""The quality of a chord symbol: what stands between its root and its bass.

Conventions: the text comes with plain signs (``b``, ``#``, ``^`` for the triangle,
``°`` and ``ø``). It is cut into tokens, each of which changes a draft; the draft
is then made into degrees above the root. What could mean two chords is refused
with a reason. How divided practice is settled stands in
:data:`melodex.analysis.harmony.chords.CONVENTIONS`.

Contents: Quality, NotUnderstoodError, read_quality.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

from melodex.melody import degree_fifths

__all__ = ["NotUnderstoodError", "Quality", "read_quality"]


class NotUnderstoodError(Exception):
    """A reason why a text is no chord symbol; it becomes the reason of a Chord."""


@dataclass(frozen=True, slots=True)
class Quality:
    """Degrees above a root and what they are called; fields as in a Chord."""

    degrees: tuple[int, ...]
    degree_names: tuple[str, ...]
    family: str
    extensions: tuple[str, ...]
    alterations: tuple[str, ...]


TOKEN = re.compile(
    r"""(?P<gap>[(),\s]+)
    | (?P<major>[Mm][Aa][Jj](?:[Oo][Rr])?|[Mm][Aa](?!dd|lt|ug)|M(?![Ii])|[Jj]|\^)
    | (?P<minor>[Mm][Ii][Nn](?:[Oo][Rr])?|[Mm][Ii]|m|\A-)
    | (?P<half>ø|[Hh]alf-?\s?dim(?:inished)?)
    | (?P<diminished>[Dd][Ii][Mm](?:inished)?|°|o(?!m))
    | (?P<added>[Aa][Dd][Dd]\s?(?P<added_sign>[b\#+-]?)(?P<added_number>2|4|6|9|11|13))
    | (?P<omitted>(?:[Nn][Oo]|[Oo][Mm][Ii][Tt])\s?(?P<omitted_number>3|5|7|9|11)(?:rd|th)?)
    | (?P<suspended>[Ss][Uu][Ss](?P<suspended_number>2/?(?:sus)?4|2|4)?)
    | (?P<altered>(?P<sign>[b\#+-])(?P<altered_number>5|6|(?<=[b\#])7|9|11|13)(?!\d))
    | (?P<augmented>[Aa][Uu][Gg](?:mented)?|\+)
    | (?P<dominant>[Dd]om(?:inant)?\s?(?=7|9|1))
    | (?P<alt>alt\.?)
    | (?P<six_nine>6/?9(?!\d))
    | (?P<number>/?(?:13|11|7|9|6|5|4|2)(?!\d))
    | (?P<slash>/)
    """,
    re.VERBOSE,
)
AMBIGUOUS = (
    (re.compile(r"-\(?5"), "minor or a flat fifth: write Cm or C(b5)"),
    (
        re.compile(r"\+\(?9"),
        "a raised fifth or a raised ninth: write C9#5 or C7#9",
    ),
    (re.compile(r"\+\(?1[13]"), "a raised fifth or a raised number: write it with #"),
)
ALTERED_SCALE = ("b9", "#9", "#11", "b13")


def read_quality(rest: str) -> Quality:
    """Read everything between root and bass.

    Parameters
    ----------
    rest : str
        Such as ``m7(b5)``; empty for a major triad.

    Raises
    ------
    NotUnderstoodError
        If some of it is no part of a chord symbol, or could mean two chords.

    Examples
    --------
    >>> read_quality("m7(b5)").degree_names
    ('1', 'b3', 'b5', 'b7')
    """
    for pattern, reason in AMBIGUOUS:
        if pattern.match(rest):
            raise NotUnderstoodError(reason)
    draft = Draft()
    place = 0
    while place < len(rest):
        found = TOKEN.match(rest, place)
        if not found:
            raise NotUnderstoodError(leftover(rest[place:]))
        kind = found.lastgroup or ""
        place = found.end()
        ACTIONS[ROLE.get(kind, kind)](draft, found)
        draft.gap = rest[place - 1] if kind in {"gap", "slash"} else ""
        if draft.gap == "/" and (place == len(rest) or rest[place] in "/(), "):
            raise NotUnderstoodError("nothing follows the slash")
    return draft.quality_of_chord()


def leftover(tail: str) -> str:
    """Say what is wrong with a rest that is no part of a chord symbol."""
    if re.search(r"[A-G]", tail):
        return f"{tail[:12]!r} looks like a second chord: one symbol, one chord"
    return f"{tail[:12]!r} is no part of a chord symbol"


@dataclass
class Draft:
    """A chord while its symbol is being read."""

    third: str = "3"
    fifths: list[str] = field(default_factory=list)
    seventh: str = ""
    number: int = 0
    quality: str = ""
    major_seventh: bool = False
    triangle: bool = False
    suspended: tuple[str, ...] = ()
    added: list[str] = field(default_factory=list)
    tensions: list[str] = field(default_factory=list)
    omitted: set[str] = field(default_factory=set)
    gap: str = ""

    def quality_of_chord(self) -> Quality:
        """The finished quality."""
        if (self.triangle or self.quality == "half-diminished") and not self.number:
            self.take_stack(7)
        if self.major_seventh and not self.number and self.quality:
            raise NotUnderstoodError("major and another quality: is the seventh meant?")
        self.refuse_loose_tensions()
        names = sorted(set(self.names()), key=by_number)
        family = self.family(names)
        return Quality(
            degrees=tuple(fifths_of_degree(name) for name in names),
            degree_names=tuple(names),
            family=family,
            extensions=tuple(n for n in names if is_extension(n)),
            alterations=tuple(n for n in names if is_alteration(n, family)),
        )

    def refuse_loose_tensions(self) -> None:
        """Refuse a triad with an altered ninth: the seventh may be meant or not."""
        loose = [t for t in self.tensions if t != "b6"]
        if loose and not self.number:
            raise NotUnderstoodError(
                f"is a seventh meant? write 7{loose[0]} or add{loose[0]}"
            )

    def names(self) -> list[str]:
        """Degrees as names, in no order."""
        stack = self.stack()
        third_taken = self.third_taken()
        names = ["1", *self.suspended, *(self.fifths or ["5"]), *self.added]
        if not self.suspended and not third_taken:
            names.append(self.third)
        if self.seventh:
            names.append(self.seventh)
        altered = {t.lstrip("b#") for t in self.tensions}
        names += [name for name in stack if name not in altered]
        names += self.tensions
        return [name for name in names if name.lstrip("b#") not in self.omitted]

    def stack(self) -> list[str]:
        """Unaltered ninths, elevenths and thirteenths that the number implies."""
        if self.number < 9:
            return []
        keeps_eleventh = self.number == 11 or (self.number == 13 and self.third == "b3")
        if self.suspended:
            keeps_eleventh = False
        elevenths = ["11"] if keeps_eleventh else []
        return ["9", *elevenths, *(["13"] if self.number == 13 else [])]

    def third_taken(self) -> bool:
        """Whether a natural eleventh stands where a major third would."""
        return self.third == "3" and "11" in self.stack() and "#11" not in self.tensions

    def family(self, names: list[str]) -> str:
        """The family that third, fifth and seventh make."""
        if self.suspended or self.third_taken():
            return "suspended"
        if set(names) <= {"1", "5"}:
            return "power"
        if self.third == "b3":
            return self.minor_family()
        if self.seventh == "b7":
            return "dominant"
        return "augmented" if self.fifths == ["#5"] else "major"

    def minor_family(self) -> str:
        """The family of a chord with a minor third."""
        if "b5" not in self.fifths:
            return "minor"
        return "half-diminished" if self.seventh == "b7" else "diminished"

    def take_quality(self, quality: str) -> None:
        """Note a quality; two of them, or one after a number, is no chord symbol."""
        if self.quality or self.number:
            raise NotUnderstoodError(f"{quality} after {self.quality or self.number}")
        self.quality = quality

    def take_stack(self, number: int) -> None:
        """Take 7, 9, 11 or 13 as the top of a stack of thirds."""
        if self.quality == "diminished" and not self.major_seventh and number > 7:
            raise NotUnderstoodError("which seventh? write dim7 and the added note")
        self.number = number
        self.seventh = "7" if self.major_seventh else "b7"
        if self.quality == "diminished" and not self.major_seventh:
            self.seventh = "bb7"

    def take_fifth(self, name: str) -> None:
        """Replace the fifth, or add a second altered one."""
        if name not in self.fifths:
            self.fifths.append(name)


def take_major(draft: Draft, found: re.Match[str]) -> None:
    """Major: of the triad, or of the seventh that follows or has just been read."""
    if draft.number == 7 and not draft.gap and draft.seventh == "b7":
        if found[0] != "M":
            raise NotUnderstoodError("major after 7: write maj7")
        draft.seventh = "7"
        return
    if draft.major_seventh or draft.number or draft.suspended:
        raise NotUnderstoodError(f"{found[0]} does not belong there")
    draft.major_seventh = True
    draft.triangle = found[0] == "^"


def take_minor(draft: Draft, found: re.Match[str]) -> None:
    """Minor third."""
    if draft.major_seventh:
        raise NotUnderstoodError("minor after major")
    draft.take_quality("minor")
    draft.third = "b3"


def take_diminished(draft: Draft, found: re.Match[str]) -> None:
    """Minor third and lowered fifth."""
    if draft.major_seventh:
        raise NotUnderstoodError("diminished after major")
    draft.take_quality("diminished")
    draft.third, draft.fifths = "b3", ["b5"]


def take_half(draft: Draft, found: re.Match[str]) -> None:
    """Half-diminished: its seventh is there without a number."""
    draft.take_quality("half-diminished")
    draft.third, draft.fifths = "b3", ["b5"]


def take_augmented(draft: Draft, found: re.Match[str]) -> None:
    """Raised fifth, written before or after the number."""
    if draft.quality or draft.fifths or draft.number in {5, 6, 11, 13}:
        raise NotUnderstoodError(f"{found[0]} does not belong there")
    draft.fifths = ["#5"]
    if not draft.number:
        draft.quality = "augmented"


def take_added(draft: Draft, found: re.Match[str]) -> None:
    """A note added to what is there."""
    sign = SIGN[found["added_sign"]]
    draft.added.append(sign + found["added_number"])


def take_omitted(draft: Draft, found: re.Match[str]) -> None:
    """A note left out."""
    draft.omitted.add(found["omitted_number"])


def take_suspended(draft: Draft, found: re.Match[str]) -> None:
    """Fourth or second in place of the third."""
    if draft.suspended:
        raise NotUnderstoodError("suspended twice")
    which = found["suspended_number"] or "4"
    draft.suspended = ("2", "4") if len(which) > 1 else (which,)


def take_altered(draft: Draft, found: re.Match[str]) -> None:
    """A raised or lowered fifth, sixth, seventh or tension."""
    name = SIGN[found["sign"]] + found["altered_number"]
    if name in {"b5", "#5"}:
        if draft.quality in {"diminished", "half-diminished", "augmented"}:
            raise NotUnderstoodError(f"{name} in a chord that has an altered fifth")
        draft.take_fifth(name)
    elif name == "#7" and draft.third == "b3" and not draft.number:
        draft.major_seventh = True
        draft.take_stack(7)
    elif name in {"b9", "#9", "#11", "b13", "b6"}:
        draft.tensions.append(name)
    else:
        raise NotUnderstoodError(f"{name} is no alteration of a chord")


def take_alt(draft: Draft, found: re.Match[str]) -> None:
    """The altered scale over a dominant seventh."""
    if draft.quality or draft.major_seventh or draft.number not in {0, 7} or draft.tensions:
        raise NotUnderstoodError("alt belongs to a plain seventh chord")
    draft.number, draft.seventh = 7, "b7"
    draft.tensions.extend(ALTERED_SCALE)
    draft.omitted.add("5")


def take_six_nine(draft: Draft, found: re.Match[str]) -> None:
    """Sixth and ninth."""
    if draft.number:
        raise NotUnderstoodError("two numbers")
    draft.number = 6
    draft.added += ["6", "9"]


def take_number(draft: Draft, found: re.Match[str]) -> None:
    """The number of the chord, or after a slash or bracket an added note."""
    slashed, number = found[0].startswith("/"), int(found[0].lstrip("/"))
    if draft.major_seventh and not draft.number and number in {7, 9, 11, 13}:
        draft.take_stack(number)
    elif slashed or (draft.number and draft.gap):
        take_extra(draft, number)
    elif draft.number:
        raise NotUnderstoodError(f"{number} straight after {draft.number}")
    elif draft.gap in {"(", ","} and number != 6:
        raise NotUnderstoodError(f"is a seventh meant? write 7({number}) or add{number}")
    else:
        take_first_number(draft, number)


def take_extra(draft: Draft, number: int) -> None:
    """A number that adds a note to a chord which has one, or to a triad after a slash."""
    if number not in {2, 4, 6, 9, 11, 13}:
        raise NotUnderstoodError(f"{number} cannot be added")
    draft.added.append(str(number))


def take_first_number(draft: Draft, number: int) -> None:
    """The number that says what kind of chord it is."""
    bare = not (draft.quality or draft.major_seventh or draft.suspended)
    if number >= 7:
        draft.take_stack(number)
    elif number == 6 and draft.quality in {"", "minor"}:
        draft.number = 6
        draft.added.append("6")
    elif bare and number == 5:
        draft.number = 5
        draft.omitted.add("3")
    elif bare:
        draft.suspended = (str(number),)
    else:
        raise NotUnderstoodError(f"{number} after {draft.quality or 'that'}")


def take_nothing(draft: Draft, found: re.Match[str]) -> None:
    """Brackets, commas, spaces, and a word that changes nothing."""


SIGN = {"": "", "b": "b", "-": "b", "#": "#", "+": "#"}
ROLE = {
    "added_number": "added",
    "added_sign": "added",
    "omitted_number": "omitted",
    "suspended_number": "suspended",
    "altered_number": "altered",
    "sign": "altered",
    "gap": "nothing",
    "slash": "nothing",
    "dominant": "nothing",
}
ACTIONS: dict[str, Callable[[Draft, re.Match[str]], None]] = {
    "major": take_major,
    "minor": take_minor,
    "half": take_half,
    "diminished": take_diminished,
    "added": take_added,
    "omitted": take_omitted,
    "suspended": take_suspended,
    "altered": take_altered,
    "augmented": take_augmented,
    "alt": take_alt,
    "six_nine": take_six_nine,
    "number": take_number,
    "nothing": take_nothing,
}


# Degrees as names.


def by_number(name: str) -> tuple[int, int]:
    """Sort degrees by number, then from flat to sharp."""
    return int(name.lstrip("b#")), name.count("#") - name.count("b")


@lru_cache(maxsize=64)
def fifths_of_degree(name: str) -> int:
    """A degree name such as ``#11`` as a distance in fifths."""
    number, alteration = by_number(name)
    return degree_fifths((number - 1) % 7 + 1, alteration)


def is_extension(name: str) -> bool:
    """Whether a degree goes beyond the triad and is not altered."""
    return name in {"2", "4", "6", "7", "b7", "bb7", "9", "11", "13"}


def is_alteration(name: str, family: str) -> bool:
    """Whether a degree is altered and the family does not already say so."""
    if name in {"1", "3", "b3", "5"} or is_extension(name):
        return False
    if name == "b5":
        return family not in {"diminished", "half-diminished"}
    return not (name == "#5" and family == "augmented")
