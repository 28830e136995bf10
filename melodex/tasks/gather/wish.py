"""What may be asked of a gathering.

Contents: TOGETHER, Wish, singles, wish_said, topic_of_wish.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

from melodex.errors import AnalysisError

__all__ = [
    "IN_TURN",
    "NEGATED",
    "TOGETHER",
    "Wish",
    "singles",
    "topic_of_wish",
    "wish_said",
]

TOGETHER = {
    "exact_progression": "progression",
    "nearly": "phrase",
}
"""Wishes that only say how another one is meant."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for; empty and None ask for nothing.

    Parameters
    ----------
    metre : str
        Time signature such as ``6/8``, or class of metre: simple, compound, irregular,
        mixed, free.
    kind : str
        Kind of dance or song such as ``jig``, however the files write it.
    key : str
        Key of the whole tune such as ``G``, ``E minor`` or ``Bb``.
    tonic : str
        Its tonic, in whatever mode.
    range : str
        Pitches between which all notes lie, such as ``D4-B5`` or ``up to A5``.
    highest, lowest : str
        The highest or the lowest note, such as ``B5``.
    tempo : str
        Quarter notes a minute, such as ``120``, ``100-120`` or ``from 140``.
    length : str
        Bars of the whole tune, such as ``32`` or ``16-32``.
    plan : str
        Sections by their letters, such as ``AABA``.
    mode : str
        Mode of the whole tune.
    key_centres : int or None
        At least so many different tonics.
    key_change : str
        Words of a change of key, such as ``relative`` or ``whole tone``.
    mode_change : bool
        A change of mode over the same tonic.
    modal : str
        Mode that colours a passage of a tune in another one.
    section_bars : int or None
        A section of just so many bars.
    odd_sections : bool
        A section whose length is no multiple of four bars.
    device : str
        Kind of a harmonic device or part of its name; if no kind has that, of a reason.
    progression : str
        Chords in Roman numerals or chord symbols, found in every key.
    exact_progression : bool
        Whether nothing may stand for a chord of it.
    note_on_chord : str
        Degree of the melody on a chord, such as ``b9 on V`` or ``#11 on bVII7``.
    phrase : str
        A figure that the melody holds in any key.
    nearly : bool
        Whether one note of that figure may be another.
    version_of : str
        A tune of which others are versions, by their music, whatever they are called.
    returning : str
        A figure that returns inside the tune: sequence, repetition, inversion.
    title, composer, rights : str
        Words of the title, part of the composer's name or of the copyright note.
    maker : str
        Words of the names of composer or lyricist.
    lyrics : str
        Words that are sung.
    decade : str
        Ten years, such as ``1930s``.
    part : str
        Which line of a piece, by the name of its part such as ``bass`` or ``violin 2``, or
        by its place: ``top``, ``bottom``, ``main``, ``left hand``, ``right hand``.
    instrument : str
        What plays it.
    sung : bool
        A line with words.
    collection, tag : str
        Name of a collection or tag.
    after, before : int or None
        First and last year.
    """

    metre: str = ""
    kind: str = ""
    key: str = ""
    tonic: str = ""
    range: str = ""
    highest: str = ""
    lowest: str = ""
    tempo: str = ""
    length: str = ""
    plan: str = ""
    mode: str = ""
    key_centres: int | None = None
    key_change: str = ""
    mode_change: bool = False
    modal: str = ""
    section_bars: int | None = None
    odd_sections: bool = False
    device: str = ""
    progression: str = ""
    exact_progression: bool = False
    note_on_chord: str = ""
    phrase: str = ""
    nearly: bool = False
    version_of: str = ""
    returning: str = ""
    title: str = ""
    composer: str = ""
    rights: str = ""
    maker: str = ""
    lyrics: str = ""
    decade: str = ""
    part: str = ""
    instrument: str = ""
    sung: bool = False
    collection: str = ""
    tag: str = ""
    after: int | None = None
    before: int | None = None

    def told(self) -> tuple[str, ...]:
        """The wishes that are stated, in words."""
        return tuple(
            column.name.replace("_", " ")
            if getattr(self, column.name) is True
            else f"{column.name.replace('_', ' ')} {getattr(self, column.name)}"
            for column in fields(self)
            if getattr(self, column.name) not in ("", None, False)
        )


NOTHING = Wish()
NUMBERS = ("key_centres", "section_bars", "after", "before")
IN_TURN = ("metre", "kind", "key", "tonic", "mode", "plan", "decade")
"""Of these ``A or B`` and ``not A`` can be asked; a title may have such words itself."""

NEGATED = r"(?i)\s*not\s+"
AS_SAID = ("title", "composer", "rights", "maker", "lyrics", "collection", "tag", "phrase")
"""Of these the value may hold any words, also those that name another wish."""

MODE_SAID = "major|minor|ionian|dorian|phrygian|lydian|mixolydian|aeolian|locrian"
KEY_SAID = rf"[A-G](?:[b#♭♯]| flat| sharp)?(?:m| (?:{MODE_SAID}))?"
UNNAMED = {
    "metre": r"(?ai)\d{1,2}\s*/\s*\d{1,2}(?: time)?|common time|cut time",
    "decade": r"(?a)\d{3}0s",
    "key": KEY_SAID,
    "mode": rf"(?i){MODE_SAID}",
}
"""Values that say by themselves what they are of."""

KIND_IN_KEY = rf"(?P<kind>[A-Za-z]+(?: [a-z]+)?) in (?P<key>{KEY_SAID})"
"""``jigs in D``, ``slow airs in E minor``."""

FLAGS = ("mode_change", "odd_sections", "exact_progression", "nearly", "sung")


def singles(wish: Wish) -> Iterator[tuple[str, Wish]]:
    """Each stated wish by itself."""
    for name in Wish.__slots__:
        value = getattr(wish, name)
        if value in ("", None, False) or name in TOGETHER:
            continue
        manner = {flag: getattr(wish, flag) for flag, of in TOGETHER.items() if of == name}
        yield name, replace(NOTHING, **{name: value}, **manner)


def wish_said(text: str) -> Wish:
    """Read wishes as a gathering names them: ``metre 6/8; key G; before 1900``.

    Parameters
    ----------
    text : str
        Wishes parted by semicolons, each its name and what is asked for.

    Raises
    ------
    AnalysisError
        If a name is none of a wish, or nothing is asked for.

    Examples
    --------
    >>> wish_said("metre 6/8; key G").told()
    ('metre 6/8', 'key G')
    >>> wish_said("jigs in D and decade: 1930s").told()
    ('kind jigs', 'key D', 'decade 1930s')
    >>> wish_said("not kind jig; 6/8").told()
    ('metre 6/8', 'kind not jig')
    """
    values: dict[str, Any] = {}
    for part, name, asked in parts_of(text):
        if name in FLAGS:
            values[name] = True
        elif not asked:
            raise AnalysisError(
                f"{part!r} does not say what is asked for",
                hint="write a wish and its value, such as key G",
            )
        elif name not in NUMBERS:
            values[name] = asked
        elif re.fullmatch(r"(?a)\d{1,5}", asked):
            values[name] = int(asked)
        else:
            raise AnalysisError(f"{part!r} wants a whole number")
    if not values:
        raise AnalysisError("nothing is asked for", hint="write a wish such as key G")
    return Wish(**values)


def parts_of(text: str) -> Iterator[tuple[str, str, str]]:
    """Each wish as it was said, its name and its value; ``and`` parts them too."""
    names = "|".join(name.replace("_", "[ _]") for name in Wish.__slots__)
    next_wish = rf"(?i)\s*(?:,|\band\b)\s+(?=(?:{names})[ :=]+\S)"
    for whole in filter(None, (part.strip() for part in text.split(";"))):
        is_free = whole.replace("_", " ").lower().startswith(AS_SAID)
        for part in [whole] if is_free else re.split(next_wish, whole):
            if found := re.fullmatch(KIND_IN_KEY, part):
                yield part, "kind", found["kind"]
                yield part, "key", found["key"]
            else:
                yield part, *wish_parted(part)


def wish_parted(part: str) -> tuple[str, str]:
    """The name of a wish and its value; the longest name that fits is meant."""
    plain = part.replace("_", " ")
    for name in sorted(Wish.__slots__, key=len, reverse=True):
        words = name.replace("_", " ")
        if found := re.match(rf"(?i){words}(?:[ :=]+|$)", plain):
            return name, part[found.end() :].strip()
    if said := re.match(NEGATED, part):
        name, asked = wish_parted(part[said.end() :])
        if name in IN_TURN:
            return name, f"not {asked}"
    for name, pattern in UNNAMED.items():
        if re.fullmatch(pattern, part):
            return name, part
    names = ", ".join(name.replace("_", " ") for name in Wish.__slots__)
    raise AnalysisError(
        f"{part!r} does not begin with what is wished for",
        hint=f"write it so: kind jig; key D; there are {names}",
    )


TOPICS = (
    "progression",
    "note_on_chord",
    "device",
    "key_change",
    "mode_change",
    "modal",
    "phrase",
    "returning",
    "section_bars",
    "odd_sections",
    "mode",
    "metre",
    "key_centres",
)
"""What a teaching set can be about; the first that is wished for is what it is about,
as the passages of a gathering are those of the same wish."""


def topic_of_wish(wish: Wish) -> tuple[str, str] | None:
    """Say what passages that were gathered by a wish are about.

    Returns
    -------
    tuple of (str, str) or None
        Name of the wish and what was asked, empty where the name says all.
    """
    for name in TOPICS:
        asked = getattr(wish, name)
        if asked not in ("", None, False):
            return name, "" if asked is True else str(asked)
    return None
