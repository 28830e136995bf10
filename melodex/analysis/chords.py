"""Chord symbols: what is written over a lead sheet, read into root, bass and degrees.

Conventions: a root and a bass are places on the line of fifths. Degrees stand
above the root, also in fifths (0 is 1, 1 is 5, 4 is 3, -3 is flat 3, -2 is flat
7), in the order of their numbers; ``degree_names`` keeps the number that was
meant, since 9 and 2 are one place. Practice is divided on some spellings; how
each is settled stands in :data:`CONVENTIONS`. What may mean two things is not
guessed: it comes back with ``understood`` False, its text and the reason.

References
----------
W3C Music Notation Community Group (2021), MusicXML 4.0, data type kind-value:
interval contents of the plain kinds. Brandt and Roemer (1976), Standardized Chord
Symbol Notation: spellings (from memory). The rest is common practice, no source.

Contents: Chord, parse_chord, parse_chords, transposed_text, CONVENTIONS, FAMILIES.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache

from melodex.melody import degree_fifths, fifths_from_name, pitch_class, pitch_class_name

__all__ = [
    "CONVENTIONS",
    "FAMILIES",
    "Chord",
    "parse_chord",
    "parse_chords",
    "transposed_text",
]

FAMILIES = (
    "major",
    "minor",
    "dominant",
    "half-diminished",
    "diminished",
    "augmented",
    "suspended",
    "power",
)
"""What a chord can be; ``none`` stands for no chord, ``""`` for not understood."""

CONVENTIONS = (
    ("C#5, Cb5, Eb9", "a sign after the letter belongs to the root"),
    ("C-7", "the dash after the root is minor; before a later number it is flat"),
    ("C7+5, C7-9", "plus and minus before a later number raise and lower it"),
    ("CΔ, C^", "major seventh chord, not the plain triad"),
    ("Cdim, C°, Co", "the triad; the seventh chord is Cdim7"),
    ("C2, Csus2", "2 in place of the third; Cadd2 keeps the third"),
    ("C4, Csus", "4 in place of the third; Cadd4 keeps the third"),
    ("C9, C13", "the 7 and 9 below are understood; 13 leaves the natural 11 out"),
    ("C11, Cmaj11", "over a major third the 11 takes its place: C11 is C9sus4"),
    ("Cm11, Cm13", "a minor third stays, and so does the 11"),
    ("C7#11, C7b13", "raised 11 and lowered 13 leave the fifth; b5 and #5 replace it"),
    ("C7b9, C7#9", "replace the natural 9, also in C13b9"),
    ("C7alt, Calt", "1 3 b7 b9 #9 #11 b13, no natural fifth"),
    ("Cm6", "the sixth is major; the lowered one is Cm(b6)"),
    ("Cm7sus4", "the 4 stands in for the third whether it was minor or not"),
    ("C/9, C7/6", "a number after a slash is an added note, a letter is a bass"),
    ("C7(9)", "a number in brackets after a seventh or sixth chord is added"),
    ("(C), (Dm7, G7)", "brackets round a chord do not change it"),
    ("am, dmin7", "a small root is read only with an explicit minor or diminished"),
    ("c, c7", "not read: minor for some writers, a slip for others"),
    ("C-5, C+9, C(9), C(b9), Cdim9", "not read: each may mean two chords"),
    ("Ebb9", "not read: a doubly flat root, or E flat with a flat ninth"),
    ("C|D, D/C7, Dm7 G7", "not read: two chords"),
    ("H, and B beside it", "German names are read only when asked for"),
)
"""How divided practice is settled: spellings and what they are taken to mean."""

LONGEST_TEXT = 48
"""Characters; the longest spelling met in print has about 20."""


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord symbol and what it says.

    Parameters
    ----------
    text : str
        As written.
    root_fifths : int
        Root on the line of fifths; without meaning unless ``sounds``.
    bass_fifths : int or None
        The bass where it is another note than the root.
    degrees : tuple of int
        Distances from the root in fifths, in the order of their numbers.
    degree_names : tuple of str
        The same with the numbers that are meant, such as ``b3`` and ``#11``.
    family : str
        One of :data:`FAMILIES`; ``none`` for no chord; empty if not understood.
    extensions : tuple of str
        Degrees beyond the triad that are not altered, sevenths among them.
    alterations : tuple of str
        Altered fifths, sixths and tensions, unless the family already says so.
    quality_text : str
        What was written between root and bass.
    understood : bool
        Whether the whole text was read.
    reason : str
        Why it was not.
    """

    text: str
    root_fifths: int = 0
    bass_fifths: int | None = None
    degrees: tuple[int, ...] = ()
    degree_names: tuple[str, ...] = ()
    family: str = ""
    extensions: tuple[str, ...] = ()
    alterations: tuple[str, ...] = ()
    quality_text: str = ""
    understood: bool = True
    reason: str = ""

    @property
    def sounds(self) -> bool:
        """Whether there is a chord, and it was understood."""
        return bool(self.degrees)

    @property
    def lowest_fifths(self) -> int:
        """The note in the bass: the one written after a slash, else the root."""
        return self.root_fifths if self.bass_fifths is None else self.bass_fifths

    @property
    def note_fifths(self) -> tuple[int, ...]:
        """Spelled pitch classes of the chord, root first, a foreign bass last."""
        notes = tuple(self.root_fifths + degree for degree in self.degrees)
        if self.bass_fifths is None or self.bass_fifths in notes:
            return notes
        return (*notes, self.bass_fifths)

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Semitones above C, 0 to 11, of the notes of the chord."""
        return frozenset(pitch_class(fifths) for fifths in self.note_fifths)


class NotUnderstoodError(Exception):
    """Inside this module: a reason why a text cannot be read."""


@lru_cache(maxsize=8192)
def parse_chord(text: str, *, german: bool = False) -> Chord:
    """Read one chord symbol.

    Parameters
    ----------
    text : str
        As printed, with ASCII or musical signs.
    german : bool
        Read German note names: H is B natural, B is B flat, Fis, Es, As.

    Returns
    -------
    Chord
        With ``understood`` False and a ``reason`` where the text cannot be read
        or could mean two chords; it is never guessed.

    Examples
    --------
    >>> parse_chord("F#m7(b5)/E").degree_names
    ('1', 'b3', 'b5', 'b7')
    >>> parse_chord("C-7").family, parse_chord("Eb7").root_fifths
    ('minor', -3)
    >>> parse_chord("C+9").reason
    'a raised fifth or a raised ninth: write C9#5 or C7#9'
    """
    try:
        return read(text, german)
    except NotUnderstoodError as problem:
        return Chord(text, understood=False, reason=str(problem))


def parse_chords(texts: Iterable[str]) -> list[Chord]:
    """Read the chord symbols of one piece, of shape (n,).

    A root H anywhere settles that the whole piece uses German note names, in
    which B means B flat: the names of one piece are never mixed.

    Examples
    --------
    >>> [pitch_class_name(c.root_fifths) for c in parse_chords(["H7", "Em", "B"])]
    ['B', 'E', 'Bb']
    """
    kept = list(texts)
    german = any(
        text.lstrip("([ ").startswith("H") and parse_chord(text, german=True).understood
        for text in kept
    )
    return [parse_chord(text, german=german) for text in kept]


def transposed_text(chord: Chord, fifths: int) -> str:
    """Write a chord symbol in another key, its quality as it was written.

    Parameters
    ----------
    chord : Chord
        What is moved; where it does not sound its text comes back as it was.
    fifths : int
        How far, on the line of fifths: 2 is up a whole tone.

    Examples
    --------
    >>> transposed_text(parse_chord("Am7/G"), -2)
    'Gm7/F'
    """
    if not chord.sounds:
        return chord.text
    bass = ""
    if chord.bass_fifths is not None:
        bass = f"/{pitch_class_name(chord.bass_fifths + fifths)}"
    return f"{pitch_class_name(chord.root_fifths + fifths)}{chord.quality_text}{bass}"


# From text to root, quality and bass.

SIGNS = str.maketrans(
    {
        "♭": "b",
        "♯": "#",
        "𝄫": "bb",
        "𝄪": "##",
        "Δ": "^",
        "∆": "^",
        "△": "^",
        "Ø": "ø",
        "∅": "ø",
        "⌀": "ø",
        "º": "°",
        "˚": "°",
        "−": "-",
        "–": "-",
        "[": "(",
        "]": ")",
    }
)
SILENCE = re.compile(r"\(?\s*(?:n\.?\s?c\.?|no chord)\s*\)?", re.IGNORECASE)
ROOT = re.compile(r"[A-G](?:bb|b|##|#)?")
SMALL_ROOT = re.compile(r"([a-g](?:b|#)?)(?=mi|m(?!a)|dim)")
BASS = re.compile(r"/\s*([A-Ga-g](?:bb|b|##|#)?)(?:\s*bass)?$")
GERMAN_ROOT = re.compile(r"(?:As(?!us)|Es(?!us)|Des|Ges|Ces|[CDFGAEH]is|[A-H])(?:b|#)?")
GERMAN_BASS = re.compile(r"/\s*(As|Es|Des|Ges|Ces|[CDFGAEH]is|[A-H])(?:\s*bass)?$")


def read(text: str, german: bool) -> Chord:
    """The chord that a text means; raises the reason where it means none."""
    signed = text.translate(SIGNS)
    plain = without_brackets(signed.strip())
    if SILENCE.fullmatch(plain):
        return Chord(text, family="none")
    if not plain or len(plain) > LONGEST_TEXT:
        raise NotUnderstoodError("no text" if not plain else "too long for a chord symbol")
    bass_found = (GERMAN_BASS if german else BASS).search(plain)
    stem = plain[: bass_found.start()] if bass_found else plain
    root_text, rest = split_root(stem, german)
    draft = read_quality(rest.strip())
    root = note_of(root_text, german)
    bass = note_of(bass_found[1], german) if bass_found else root
    return replace(
        draft.chord(),
        text=text,
        root_fifths=root,
        bass_fifths=None if bass == root else bass,
        quality_text=as_written(text, signed, plain, len(root_text), len(stem)),
    )


def as_written(text: str, signed: str, plain: str, start: int, end: int) -> str:
    """A stretch of the plain text in the signs that the writer used."""
    if len(signed) != len(text):
        return plain[start:end]
    shift = signed.index(plain)
    return text[shift + start : shift + end]


def without_brackets(plain: str) -> str:
    """The text without brackets that surround it or that only open or close."""
    opened, closed = plain.count("("), plain.count(")")
    if plain.startswith("(") and (opened > closed or plain.find(")") == len(plain) - 1):
        return plain.strip("() ") if opened == 1 else plain[1:].strip()
    if closed > opened and plain.endswith(")"):
        return plain[:-1].strip()
    return plain


def split_root(stem: str, german: bool) -> tuple[str, str]:
    """Root and what follows it."""
    found = (GERMAN_ROOT if german else ROOT).match(stem) or SMALL_ROOT.match(stem)
    if found:
        refuse_double_sign(found[0], stem[found.end() :])
        return found[0], stem[found.end() :]
    if not stem:
        raise NotUnderstoodError("a bass without a chord")
    if stem[0] in "%𝄎":
        raise NotUnderstoodError("a repeat sign: write the chord out")
    if stem[0] == "H":
        raise NotUnderstoodError(
            "H is German for B natural, and B is then B flat: ask for German names"
        )
    if re.match(r"[a-g](?:b|#)?(?:$|\d|maj|sus|add|\+|°|-)", stem):
        raise NotUnderstoodError(
            "a small letter may mean minor or be a slip: write C or Cm"
        )
    raise NotUnderstoodError(f"{stem[:12]!r} does not start with a note name")


def refuse_double_sign(root_text: str, rest: str) -> None:
    """Refuse ``Ebb9``: a doubly flat root, or a flat ninth over E flat."""
    if root_text[1:] in {"bb", "##"} and re.match(r"5|6|9|1[13]", rest):
        raise NotUnderstoodError(
            f"two signs before {rest[:2]}: put the alteration in brackets"
        )


def note_of(name: str, german: bool) -> int:
    """A note name on the line of fifths, German or not."""
    if not german:
        return fifths_from_name(name[0].upper() + name[1:])
    if name.startswith("B"):
        return fifths_from_name("Bb")
    letter = name[0].upper().replace("H", "B")
    tail = name[1:].replace("is", "#").replace("es", "b").replace("s", "b")
    return fifths_from_name(letter + tail)


# The quality: a row of tokens, each of which changes a draft.

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


def read_quality(rest: str) -> Draft:
    """Read everything between root and bass into a draft."""
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
    return draft


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

    def chord(self) -> Chord:
        """The finished chord, without root and text."""
        if (self.triangle or self.quality == "half-diminished") and not self.number:
            self.take_stack(7)
        if self.major_seventh and not self.number and self.quality:
            raise NotUnderstoodError("major and another quality: is the seventh meant?")
        self.refuse_loose_tensions()
        names = sorted(set(self.names()), key=by_number)
        family = self.family(names)
        return Chord(
            "",
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
