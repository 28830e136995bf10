"""Chord symbols of MusicXML as musicians write them.

Conventions: the text is root, kind, degrees, bass: ``Bbm7b5``, ``C7(add13)``,
``F/A``. What the sheet prints for the kind is kept where it is plain; else the usual
sign for the kind is written (common practice, no source). A chord for a transposing
instrument is moved to sounding pitch with its notes.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): the elements ``harmony``,
``kind-value`` and ``degree``; the degree 7 of an added note is the minor seventh.

Contents: KIND_SIGNS, chord_text.
"""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from melodex.melody import fifths_of, pitch_class_name
from melodex.reading.common.chord_text import may_be_chord

__all__ = ["KIND_SIGNS", "chord_text"]

KIND_SIGNS = {
    "major": "",
    "minor": "m",
    "augmented": "aug",
    "diminished": "dim",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "m7",
    "diminished-seventh": "dim7",
    "augmented-seventh": "aug7",
    "half-diminished": "m7b5",
    "major-minor": "m(maj7)",
    "major-sixth": "6",
    "minor-sixth": "m6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "m9",
    "dominant-11th": "11",
    "major-11th": "maj11",
    "minor-11th": "m11",
    "dominant-13th": "13",
    "major-13th": "maj13",
    "minor-13th": "m13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "power": "5",
}
"""Kinds of the standard that have a usual sign; the others print their own text."""

SEVENTH_OF_TRIAD = {
    "": "7",
    "m": "m7",
    "aug": "aug7",
    "dim": "m7b5",
    "sus2": "7sus2",
    "sus4": "7sus4",
}
"""What a triad becomes with a minor seventh, the seventh that the standard adds."""

LONGEST_KIND = 24
"""Characters of a printed chord kind that are believed."""
SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def chord_text(harmony: Element, transposition_fifths: int = 0) -> str | None:
    """Return the text of a chord symbol, or None where it names no root.

    Parameters
    ----------
    harmony : Element
        A ``harmony`` element without namespace.
    transposition_fifths : int
        From written to sounding pitch on the line of fifths.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> chord_text(fromstring("<harmony><root><root-step>B</root-step>"
    ...     "<root-alter>-1</root-alter></root><kind>half-diminished</kind></harmony>"))
    'Bbm7b5'
    """
    kind = harmony.find("kind")
    value = (kind.text or "").strip() if kind is not None else ""
    if value == "none":
        return "N.C."
    root = note_text(harmony.find("root"), "root", transposition_fifths)
    if root is None:
        return None
    printed = kind.get("text", "").strip() if kind is not None else ""
    bass = note_text(harmony.find("bass"), "bass", transposition_fifths)
    suffix = kind_text(value, printed, degrees_of(harmony))
    return root + suffix + (f"/{bass}" if bass else "")


def note_text(element: Element | None, name: str, transposition_fifths: int) -> str | None:
    """Name of a root or bass, at sounding pitch."""
    if element is None:
        return None
    step = (element.findtext(f"{name}-step") or "").strip().upper()
    alteration = whole(element.findtext(f"{name}-alter") or "0")
    if len(step) != 1 or step not in "ABCDEFG" or alteration not in SIGNS:
        return None
    return pitch_class_name(fifths_of(step, alteration) + transposition_fifths)


def degrees_of(harmony: Element) -> list[tuple[str, int, int]]:
    """Added, altered and left-out degrees: type, number, alteration."""
    degrees = []
    for degree in harmony.findall("degree")[:12]:
        kind = (degree.findtext("degree-type") or "add").strip()
        number = whole(degree.findtext("degree-value") or "")
        alteration = whole(degree.findtext("degree-alter") or "0")
        if number is not None and 1 <= number <= 13 and alteration in SIGNS:
            degrees.append((kind, number, alteration or 0))
    return degrees


def kind_text(value: str, printed: str, degrees: list[tuple[str, int, int]]) -> str:
    """Sign of a kind with its degrees; what was printed comes first where it is plain."""
    if printed and len(printed) <= LONGEST_KIND and may_be_chord(f"C{printed}"):
        sign = printed
        # Many exports print the degrees with the kind and list them as well.
        degrees = [degree for degree in degrees if str(degree[1]) not in printed]
    else:
        sign, degrees = with_seventh(KIND_SIGNS.get(value, ""), degrees)
    return with_degrees(sign, degrees)


def with_seventh(
    sign: str, degrees: list[tuple[str, int, int]]
) -> tuple[str, list[tuple[str, int, int]]]:
    """Turn a triad and an added seventh into the seventh chord: ``C7``, ``C9sus4``."""
    added = {number: alter for kind, number, alter in degrees if kind == "add"}
    if added.get(7) == 1 and sign in {"", "m"}:
        taken, found = {7}, {"": "maj7", "m": "m(maj7)"}[sign]
    elif added.get(7) == 0 and sign in SEVENTH_OF_TRIAD:
        natural = {number for number in (7, 9, 13) if added.get(number) == 0}
        taken = natural if sign.startswith("sus") else {7}
        found = SEVENTH_OF_TRIAD[sign].replace("7", str(max(taken)), 1)
    else:
        return sign, degrees
    return found, [d for d in degrees if d[0] != "add" or d[1] not in taken]


def with_degrees(sign: str, degrees: list[tuple[str, int, int]]) -> str:
    """Append degrees: alterations bare after a figure, else in brackets."""
    words = []
    for kind, number, alteration in degrees:
        name = SIGNS[alteration] + str(number)
        if kind == "subtract":
            words.append(f"no{number}")
        elif kind == "add" and (not alteration or sign in SEVENTH_OF_TRIAD):
            words.append(f"add{name}")
        else:
            words.append(name)
    altered = all(word[0] in "b#" for word in words)
    if altered and sign[-1:].isdigit():
        return sign + "".join(words)
    if sign == "" and len(words) == 1 and words[0].startswith("add"):
        return words[0]
    return sign + "".join(f"({word})" for word in words)


def whole(text: str) -> int | None:
    """A small whole number, also written ``1.0``; None for anything else."""
    found = re.fullmatch(r"\s*([+-]?\d{1,3})(?:\.0{1,6})?\s*", text)
    return int(found[1]) if found else None
