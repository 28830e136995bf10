"""Words over the music: which of them name a section, and where it starts.

Conventions: a name belongs to the bar line it stands at; one that stands in the second
half of a bar belongs, with the pickup under it, to the bar after. Words that tell the
player what to do (go back, go on, how fast, how loud, how often) name nothing. Of
several signs of the coda the last one names it: those before say where to leave.
What counts as such a word is common practice, no source.

Contents: names_section, section_names.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from functools import lru_cache

from melodex.melody import Melody, SectionMark

__all__ = ["names_section", "section_names"]

GO = (
    r"(?:the )?end|fin[ei]?|fine (?:the )?\w+|seg(?:no|ue)|sign|to (?:the )?coda|da ?coda"
    r"|d\.? ?[cs]\.?(?: ?(?:al?|to|and).*)?|da ?capo.*|dal? ?(?:capo|segno).*"
    r"|repeat.*|repete.*|bis|ter|(?:play )?(?:\d+ ?x|x ?\d+|\d+ times)|simile|sim\.?"
    r"|tacet.*|attacca.*|volta.*|(?:1st|2nd|3rd|last|first|second|third) (?:time|x)\b.*"
    r"|go to .*|back to .*|on cue|v\.? ?s\.?|g\.? ?p\.?|fermata"
)
SPEED = (
    r"(?:molto |poco |piu |più |meno |assai |non troppo |un poco )*"
    r"(?:larg(?:o|hetto|amente)|lent(?:o|ement)|grave|adagi(?:o|etto)|andant(?:e|ino)"
    r"|moderat(?:o|e|ely)|allegr(?:o|etto)|vivac(?:e|issimo)|vivo|prest(?:o|issimo)"
    r"|maestoso|cantabile|dolce|con (?:brio|moto|fuoco|anima|spirito)|mosso|animato"
    r"|sostenuto|tranquillo|agitato|espress(?:ivo|\.)?|rit(?:\.|ard\.?|ardando|enuto)?"
    r"|rall(?:\.|entando)?|accel(?:\.|erando)?|string(?:\.|endo)?|a tempo|tempo.*"
    r"|rubato|freely|slow(?:ly|er)?|fast(?:er)?|quick(?:ly)?|bright(?:ly)?|lively"
    r"|(?:un)?steady|medium|easy|swing|swung|straight|shuffle|ballad|double[- ]time"
    r"|half[- ]time|up[- ]?tempo|with (?:feeling|spirit|energy|motion))"
    r"(?:[ ,-].*)?"
)
LOUDNESS = r"(?:(?-i:p{1,4}|f{1,4}|m[pf]|s?fz)|cresc.*|dim(?:\.|in.*)?|decresc.*)"
"""Loudness is printed small: a rehearsal letter may be P or F."""
NO_NAME = rf"[\s(\[\"'*]*(?:{GO}|{SPEED}|{LOUDNESS})[\s)\]\"'*.:!]*"
CODA = "coda"


@lru_cache(maxsize=1024)
def names_section(text: str) -> bool:
    """Whether words over the music name a section."""
    return bool(text.strip()) and not re.fullmatch(NO_NAME, text.strip(), re.IGNORECASE)


def section_names(melody: Melody) -> dict[int, str]:
    """Return the names of sections by the place, from 0, of the bar that they stand at.

    Where two stand at one bar the first counts; a name after the last bar names nothing.
    """
    named = [mark for mark in melody.marks if names_section(mark.text)]
    codas = [mark for mark in named if mark.text.strip().lower() == CODA]
    onsets = [bar.onset_ticks for bar in melody.bars]
    found: dict[int, str] = {}
    for mark in named:
        place = place_of(mark, melody, onsets)
        if 0 <= place < len(onsets) and mark not in codas[:-1]:
            found.setdefault(place, "Coda" if mark in codas else mark.text.strip())
    return found


def place_of(mark: SectionMark, melody: Melody, onsets: list[int]) -> int:
    """The bar that a mark stands at: its own, or the next from the second half on."""
    place = bisect_right(onsets, mark.onset_ticks) - 1
    if place < 0:
        return 0
    inside = mark.onset_ticks - onsets[place]
    return place + (2 * inside >= melody.bars[place].duration_ticks)
