"""One note of MusicXML: what hangs on it.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): ``note`` and its children.

Contents: NOTE_TYPES, ratio_of, read_notations, lyrics_of.
"""

from __future__ import annotations

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from melodex.reading.bounded import one_line
from melodex.reading.common.parts import WrittenNote
from melodex.reading.musicxml.harmony import whole

__all__ = ["NOTE_TYPES", "lyrics_of", "ratio_of", "read_notations"]

NOTE_TYPES = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
    "128th": Fraction(1, 32),
    "256th": Fraction(1, 64),
    "512th": Fraction(1, 128),
    "1024th": Fraction(1, 256),
}
"""Quarters that the sign of a note stands for."""


def ratio_of(modification: Element) -> tuple[int, int] | None:
    """Actual and normal number of notes that a ``time-modification`` states, or None."""
    actual = whole(modification.findtext("actual-notes") or "")
    normal = whole(modification.findtext("normal-notes") or "")
    if not actual or not normal or actual == normal or not 0 < actual < 100 > normal > 0:
        return None
    return actual, normal


def read_notations(element: Element, note: WrittenNote) -> None:
    """Set whether a note is tied or held, and where a tuplet starts and stops."""
    for tie in element.iterfind("tie"):
        note.tie_start |= tie.get("type") == "start"
        note.tie_stop |= tie.get("type") == "stop"
    for notations in element.iterfind("notations"):
        for sign in notations:
            if sign.tag == "tied":
                note.tie_start |= sign.get("type") in {"start", "continue"}
                note.tie_stop |= sign.get("type") in {"stop", "continue"}
            elif sign.tag == "tuplet":
                note.tuplet_start |= sign.get("type") == "start"
                note.tuplet_stop |= sign.get("type") == "stop"
            elif sign.tag == "fermata":
                note.held = True


def lyrics_of(element: Element) -> tuple[tuple[int, str], ...]:
    """Verse and syllable of each line of words under a note; a hyphen joins words."""
    found = []
    for place, lyric in enumerate(element.findall("lyric")[:20], 1):
        text = one_line(" ".join(t.text or "" for t in lyric.findall("text")))
        if not text:
            continue
        if (lyric.findtext("syllabic") or "").strip() in {"begin", "middle"}:
            text += "-"
        digits = re.search(r"\d{1,2}", lyric.get("number", ""))
        found.append((int(digits[0]) if digits else place, text))
    return tuple(found)
