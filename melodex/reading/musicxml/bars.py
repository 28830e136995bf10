"""The bars of a part: their numbers, their lines, and where in a printed bar each starts.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): ``measure``, ``barline``.

Contents: BarLine, bar_number, close_bar.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TypeVar
from xml.etree.ElementTree import Element

from melodex.melody import TICKS_PER_QUARTER, Bar, ChordSymbol, SectionMark
from melodex.reading.bounded import one_line, refuse_longer
from melodex.reading.common.parts import PartSheet
from melodex.reading.musicxml.clock import ROUNDED_TICKS, PartClock
from melodex.reading.musicxml.harmony import whole

__all__ = ["BarLine", "bar_number", "close_bar"]

OVERFULL_TICKS = TICKS_PER_QUARTER // 4
"""How far a bar may be overfull by a slip; what is longer was meant."""

ENDING_ENDS = {"stop": "closed", "discontinue": "open"}
BAR_LINES = {"light-light": "double", "light-heavy": "final", "none": "none"}


@dataclass(slots=True)
class BarLine:
    """What the bar lines of one measure say."""

    repeat_start: bool = False
    repeat_times: int = 0
    ending: str = ""
    ending_end: str = ""
    style: str = ""

    def read(self, element: Element) -> None:
        """Add what one ``barline`` element says."""
        repeat = element.find("repeat")
        if repeat is not None and repeat.get("direction") == "forward":
            self.repeat_start = True
        elif repeat is not None:
            times = whole(repeat.get("times", "2")) or 2
            self.repeat_times = min(max(times, 2), 99)
        ending = element.find("ending")
        if ending is not None and ending.get("type") == "start":
            self.ending = one_line(ending.get("number")).replace(" ", "")[:20]
        elif ending is not None:
            self.ending_end = ENDING_ENDS.get(ending.get("type", ""), "")
        if element.get("location", "right") == "right":
            style = (element.findtext("bar-style") or "").strip()
            self.style = BAR_LINES.get(style, "")


def bar_number(text: str, implicit: bool, previous: int | None) -> int:
    """The number a measure shows: a pickup is 0, the rest of a split bar the same."""
    if implicit:
        return 0 if previous is None else previous
    digits = re.match(r"\d{1,6}", text.strip())
    if digits:
        return int(digits[0])
    return 1 if previous is None else previous + 1


def close_bar(sheet: PartSheet, clock: PartClock, line: BarLine, implicit: bool) -> None:
    """Close a measure: its length, its place in the printed bar, its lines.

    Parameters
    ----------
    sheet : PartSheet
        The part, which gains the bar.
    clock : PartClock
        Where the walk stands; it is moved to the start of the next measure.
    line : BarLine
        What the bar lines of the measure say.
    implicit : bool
        Whether the measure is not to be counted.
    """
    metre = sheet.metres[-1].metre if sheet.metres else None
    full = metre.bar_ticks if metre else 4 * TICKS_PER_QUARTER
    duration = round(clock.furthest) or full
    refuse_longer(clock.start + duration)
    if metre and full < duration < full + OVERFULL_TICKS:
        # A slip of rounding in one voice must not shift all that follows.
        duration = full
        clock.odd("notes stand past the end of the bar by a little")
    elif metre and full - ROUNDED_TICKS < duration < full:
        duration = full
    bring_back(sheet.chords, clock.number, clock.start + duration)
    bring_back(sheet.marks, clock.number, clock.start + duration)
    offset = 0
    if not sheet.bars:
        offset = max(0, full - duration) if metre else 0
    elif duration < full:
        last, begun = sheet.bars[-1], sheet.offsets[-1]
        reached = begun + last.duration_ticks
        completes = reached < full and begun == 0 and reached + duration == full
        if completes or (implicit and reached < full):
            offset = reached
    sheet.offsets.append(offset)
    sheet.bars.append(
        Bar(
            clock.number,
            clock.start,
            duration,
            line.repeat_start,
            line.repeat_times,
            line.ending,
            "" if line.repeat_times else line.style,
            line.ending_end,
        )
    )
    clock.start += duration


Sign = TypeVar("Sign", ChordSymbol, SectionMark)


def bring_back(signs: list[Sign], bar: int, end: int) -> None:
    """Bring the signs of a bar back to its end, where an offset has carried one past."""
    for i in range(len(signs) - 1, -1, -1):
        if signs[i].bar != bar:
            break
        if signs[i].onset_ticks > end:
            signs[i] = replace(signs[i], onset_ticks=end)
