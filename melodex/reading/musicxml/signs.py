"""Single signs of MusicXML: keys, metres, tempo.

Conventions: each function takes one element and gives back a small record, and, where
the sign says more than the record holds, a clause that tells what was left out.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): ``key``, ``time``,
``metronome``, ``sound``.

Contents: MOST_DIVISIONS, printed_key, printed_metre, printed_tempo, is_mark.
"""

from __future__ import annotations

import math
import re
from xml.etree.ElementTree import Element

from melodex.melody import MODES, Key, KeyChange, Metre, MetreChange
from melodex.reading.musicxml.harmony import whole

__all__ = [
    "MOST_DIVISIONS",
    "is_mark",
    "printed_key",
    "printed_metre",
    "printed_tempo",
]

MOST_DIVISIONS = 1_000_000
"""Divisions of a quarter that are believed."""
MOST_FIFTHS = 14
"""Signs of a key: all letters altered twice."""
MOST_BEATS = 128
"""Beats of a bar that are believed."""
BEAT_TYPES = {1, 2, 4, 8, 16, 32, 64, 128}
"""Note values that a metre counts in."""
TIME_SYMBOLS = {"common": ("C", 4, 4), "cut": ("C|", 2, 2)}
"""Signs of metre, with the beats and the note value that they stand for."""

BEAT_UNITS = {
    "breve": 8.0,
    "whole": 4.0,
    "half": 2.0,
    "quarter": 1.0,
    "eighth": 0.5,
    "16th": 0.25,
}
"""Quarters of a beat unit (MusicXML 4.0, note-type-value)."""

MARK_WORDS = re.compile(
    r"\s*(?:(?:to )?coda|segno|fine|d\.? ?[cs]\.?(?: al .*)?|da capo.*|dal segno.*"
    r"|intro(?:duction)?|verse|(?:pre-?)?chorus|refrain|bridge|interlude|solo|outro"
    r"|instrumental|ending|tag|vamp|head|theme|trio|strain|middle (?:eight|8)|break)"
    r"\s*\d{0,2}\.?:?\s*",
    re.IGNORECASE,
)
"""Words that name a section or send the player elsewhere (common practice, no source)."""


def printed_key(
    element: Element, onset_ticks: int, transposition_fifths: int
) -> tuple[KeyChange, str]:
    """The sounding key that a signature stands for, and what it could not say."""
    signature = whole(element.findtext("fifths") or "")
    if signature is None or abs(signature) > MOST_FIFTHS:
        return (
            KeyChange(onset_ticks, Key(0, "none"), 0),
            "a key signature that is none of the usual ones is read as no key",
        )
    mode = (element.findtext("mode") or "").strip().lower()
    signature += transposition_fifths
    if mode == "none":
        return KeyChange(onset_ticks, Key(0, "none"), signature), ""
    odd = f"the mode {mode[:20]!r} is read as major" if mode and mode not in MODES else ""
    stated = mode in MODES
    mode = mode if stated else "major"
    return KeyChange(
        onset_ticks, Key(signature + MODES[mode], mode), signature, stated
    ), odd


def printed_metre(element: Element, onset_ticks: int) -> tuple[MetreChange, str]:
    """The metre that a time signature stands for, and what it could not say."""
    if element.find("senza-misura") is not None:
        return MetreChange(onset_ticks, None), "from here there is no metre"
    beats = [(text.text or "").strip() for text in element.findall("beats")]
    types = [whole(text.text or "") for text in element.findall("beat-type")]
    metre = metre_of(beats, types, element.get("symbol", ""))
    if metre is None:
        return MetreChange(onset_ticks, None), "a time signature is read as no metre"
    return MetreChange(onset_ticks, metre), ""


def metre_of(beats: list[str], types: list[int | None], symbol: str) -> Metre | None:
    """A metre from its figures: ``3+2`` over 8, or 2/4 + 3/8; None out of bounds."""
    if not beats or len(beats) != len(types) or len(beats) > 8:
        return None
    units = [unit for unit in types if unit in BEAT_TYPES]
    if len(units) < len(types):
        return None
    unit = max(u for u in units if u)
    groups: list[int] = []
    for text, own in zip(beats, units, strict=True):
        if not own or not re.fullmatch(r"\d{1,3}(?:\s*\+\s*\d{1,3}){0,16}", text):
            return None
        groups += [int(figure) * (unit // own) for figure in re.findall(r"\d+", text)]
    total = sum(groups)
    if not 0 < total <= MOST_BEATS or min(groups) < 1:
        return None
    sign, *usual = TIME_SYMBOLS.get(symbol, ("", 0, 0))
    shown = sign if usual == [total, unit] else ""
    return Metre(total, unit, shown, tuple(groups) if len(groups) > 1 else ())


def printed_tempo(element: Element) -> float | None:
    """Quarters a minute that a direction or a ``sound`` element asks for, or None."""
    sound = element if element.tag == "sound" else element.find("sound")
    if sound is not None and sound.get("tempo"):
        return sensible(sound.get("tempo", ""), 1.0)
    metronome = element.find("direction-type/metronome")
    if metronome is None:
        return None
    unit = BEAT_UNITS.get((metronome.findtext("beat-unit") or "").strip())
    if unit is None or len(metronome.findall("beat-unit")) > 1:
        return None
    dots = min(len(metronome.findall("beat-unit-dot")), 2)
    return sensible(metronome.findtext("per-minute") or "", unit * (2 - 0.5**dots))


def sensible(text: str, quarters: float) -> float | None:
    """A tempo in the range of a metronome, in quarters a minute."""
    found = re.search(r"\d{1,4}(?:\.\d{1,6})?", text)
    tempo = float(found[0]) * quarters if found else math.nan
    return tempo if 1 <= tempo <= 2000 else None


def is_mark(text: str | None) -> bool:
    """Whether words over the staff name a section or send the player elsewhere."""
    return bool(text) and len(text or "") <= 60 and bool(MARK_WORDS.fullmatch(text or ""))
