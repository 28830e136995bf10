"""Names that musicians use for one thing, and the one that the corpus keeps.

Conventions: names are compared without case, hyphens and accents. Where British and
American words differ, both are known: a perfect cadence is an authentic one, an
interrupted one deceptive, an imperfect one a half cadence. All synonyms are common
practice, no source.

Contents: DeviceName, device_named, mode_named, degree_named, numeral_named.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

from melodex.analysis.harmony.devices.device import KINDS
from melodex.analysis.texture.lines import LINE_KINDS
from melodex.errors import AnalysisError

__all__ = ["DeviceName", "degree_named", "device_named", "mode_named", "numeral_named"]


class DeviceName(NamedTuple):
    """Kinds of devices that are meant, and words that the reason must hold."""

    kinds: tuple[str, ...]
    reason: str = ""


SYNONYMS: dict[str, DeviceName] = {
    name: DeviceName(kinds, reason)
    for names, kinds, reason in (
        ("picardy, tierce de picardie, picardy cadence", ("Picardy third",), ""),
        ("major ending in minor", ("Picardy third",), ""),
        ("neapolitan sixth, neapolitan chord, flat ii, bii", ("Neapolitan",), ""),
        ("german sixth, german", ("augmented sixth",), "German"),
        ("french sixth, french", ("augmented sixth",), "French"),
        ("italian sixth, italian", ("augmented sixth",), "Italian"),
        ("augmented 6th, aug6, augmented sixth chord", ("augmented sixth",), ""),
        ("backdoor, backdoor progression", ("backdoor", "backdoor cadence"), ""),
        ("backdoor ii v, back door", ("backdoor", "backdoor cadence"), ""),
        ("turnback, turnarounds, i vi ii v", ("turnaround",), ""),
        ("perfect cadence, full close, full cadence", ("authentic cadence",), ""),
        ("imperfect cadence, half close, semicadence", ("half cadence",), ""),
        ("interrupted cadence, false cadence", ("deceptive cadence",), ""),
        ("deceptive resolution", ("deceptive cadence",), ""),
        ("amen cadence, amen", ("plagal cadence", "minor plagal cadence"), ""),
        ("tritone sub, tritone substitution, sub v, subv", ("tritone substitute",), ""),
        ("applied dominant, applied chord", ("secondary dominant",), ""),
        ("applied leading tone", ("secondary leading tone",), ""),
        ("modal interchange, borrowing", ("borrowed chord", "modal mixture"), ""),
        ("mixture", ("modal mixture",), ""),
        ("minor iv, minor subdominant, iv minor", ("borrowed chord",), "minor iv"),
        ("line cliche, cliche, cesh", ("inner line over one root",), ""),
        ("pedal point, pedal, drone", ("pedal bass", "pedal"), ""),
        ("suspension chain, chain of suspensions", ("chained suspensions",), ""),
        ("4 3 suspension, suspension 4 3, 4 3", ("suspension",), "4-3"),
        ("7 6 suspension, suspension 7 6, 7 6", ("suspension",), "7-6"),
        ("9 8 suspension, suspension 9 8, 9 8", ("suspension",), "9-8"),
        ("2 3 suspension, suspension 2 3, 2 3", ("suspension",), "2-3"),
        ("bass suspension, suspension in the bass", ("suspension",), "2-3"),
        ("stimmtausch, exchange of voices", ("voice exchange",), ""),
        ("basso ostinato, ground bass, ground", ("ostinato",), ""),
        ("two five one, 2 5 1, 251, ii v i", ("ii V I",), ""),
        ("cycle of fifths, cycle of 5ths, circle of 5ths", ("circle of fifths",), ""),
        ("chromatic mediant, mediant", ("third relation",), ""),
        ("common tone diminished", ("common-tone diminished",), ""),
        ("chromatic bass, walking down by half step", ("bass by half step",), ""),
        ("alt, altered", ("altered dominant",), ""),
        ("lydian b7, lydian flat 7, overtone dominant", ("lydian dominant",), ""),
    )
    for name in names.split(", ")
}


def plain(text: str) -> str:
    """A name without case, hyphens, accents and articles."""
    letters = unicodedata.normalize("NFKD", text.casefold())
    kept = "".join(x for x in letters if not unicodedata.combining(x))
    words = re.sub(r"[-–_/\s]+", " ", kept).strip()
    return words.removeprefix("the ").removeprefix("a ")


def device_named(text: str) -> DeviceName:
    """Return the devices that a name means: a kind, a synonym, or a part of a kind.

    Without any, the kinds are empty and the text is looked for in the reasons.

    Examples
    --------
    >>> device_named("Interrupted cadence").kinds, device_named("german sixth").reason
    (('deceptive cadence',), 'German')
    """
    asked = plain(text)
    if asked in SYNONYMS:
        return SYNONYMS[asked]
    # Who names a kind does not mean what is only said beside another.
    known = (*KINDS, *LINE_KINDS, "a voice joins")
    exact = tuple(kind for kind in known if plain(kind) == asked)
    parts = tuple(kind for kind in known if asked and asked in plain(kind))
    return DeviceName(exact or parts, "" if exact or parts else text)


MODES = {
    "ionian": "major",
    "aeolian": "minor",
    "natural minor": "minor",
    "harmonic minor": "minor",
    "melodic minor": "minor",
    "maj": "major",
    "min": "minor",
    "mixo": "mixolydian",
    **dict.fromkeys(("moll", "mineur", "minore", "menor"), "minor"),
    **dict.fromkeys(("dur", "majeur", "maggiore", "mayor"), "major"),
}
"""Other names of modes, with those of German, French, Italian and Spanish."""


def mode_named(text: str) -> str:
    """Return the name under which a mode is kept.

    Examples
    --------
    >>> mode_named("Ionian"), mode_named("moll"), mode_named("Dorian mode")
    ('major', 'minor', 'dorian')
    """
    name = plain(text).removesuffix(" mode")
    return MODES.get(name, name)


DEGREE = re.compile(r"(bb|##|b|#)?(1[0-3]|[1-9])")
DEGREE_WORDS = {
    "root": "1",
    "third": "3",
    "fourth": "4",
    "fifth": "5",
    "sixth": "6",
    "seventh": "7",
    "ninth": "9",
    "eleventh": "11",
    "thirteenth": "13",
}
QUALITIES = {"3": "b3", "7": "b7", "6": "b6", "2": "b9", "9": "b9"}


def degree_named(text: str) -> str:
    """Return a degree above a chord as it is kept: ``7`` is a major seventh.

    Raises
    ------
    AnalysisError
        If it names no degree.

    Examples
    --------
    >>> [degree_named(t) for t in ("maj7", "m7", "sharp 11th", "minor third", "♭9")]
    ['7', 'b7', '#11', 'b3', 'b9']
    """
    words = plain(text.replace("♭", "b").replace("♯", "#"))
    for word, number in DEGREE_WORDS.items():
        words = words.replace(word, number)
    words = words.replace("sharp", "#").replace("flat", "b").replace("dominant", "minor")
    words = re.sub(r"(?<=\d)(?:st|nd|rd|th)\b", "", words).replace(" ", "")
    found = re.fullmatch(r"(maj(?:or)?|min(?:or)?|mi|m)?((?:bb|##|b|#)?\d{1,2})", words)
    if not found or not DEGREE.fullmatch(found[2]):
        raise AnalysisError(
            f"{text!r} names no degree above a chord",
            hint="write a number with its sign, such as 7, b9 or #11",
        )
    small = (found[1] or "").startswith("m") and not (found[1] or "").startswith("ma")
    return QUALITIES.get(found[2], found[2]) if small else found[2]


def numeral_named(text: str) -> str:
    """Return a Roman numeral without the words round it.

    Examples
    --------
    >>> numeral_named("the minor iv"), numeral_named("flat VII 7"), numeral_named("♭VI")
    ('iv', 'bVII7', 'bVI')
    """
    words = re.sub(r"^the\s+", "", text.strip().replace("♭", "b").replace("♯", "#"))
    words = re.sub(r"\bflat\s+", "b", re.sub(r"\bsharp\s+", "#", words))
    words = re.sub(r"^(?:minor|major)\s+(?=[b#]?[iv]+\b|[b#]?[IV]+\b)", "", words)
    return re.sub(r"(?<=[IViv])\s+(?=\d)", "", words)
