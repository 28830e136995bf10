"""Where the walk through a part stands, and how long what it meets is.

Conventions: ticks. A length that does not come out whole is carried exactly and rounded
once, where it is used.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): ``duration``, ``divisions``,
``backup``, ``forward``, ``offset``.

Contents: DECIMAL, ROUNDED_TICKS, PartClock.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from xml.etree.ElementTree import Element

from melodex.errors import HostileInputError
from melodex.melody import TICKS_PER_QUARTER
from melodex.reading.musicxml.note import NOTE_TYPES, ratio_of
from melodex.reading.musicxml.signs import MOST_DIVISIONS

__all__ = ["DECIMAL", "ROUNDED_TICKS", "PartClock"]

MOST_QUARTERS = 1024
"""Longest note, gap or measure: a measure of rest for every player stays far below."""

ROUNDED_TICKS = TICKS_PER_QUARTER // 64
"""A 256th note: what is shorter is no length but a slip of rounding."""

DECIMAL = re.compile(r"\s*\d{1,9}(?:\.\d{1,6})?\s*")


class PartClock:
    """Places inside the measure that is read, and lengths by the divisions that hold.

    Parameters
    ----------
    odd : callable
        Told what was mended.
    """

    def __init__(self, odd: Callable[[str], None]) -> None:
        self.odd = odd
        self.scale = Fraction(TICKS_PER_QUARTER)
        self.number = 0
        self.start = 0
        self.cursor: int | Fraction = 0
        self.furthest: int | Fraction = 0
        self.last_onset: int | Fraction = 0
        self.mended = False
        self.lengths: dict[str, int | Fraction] = {}

    def begin(self, number: int) -> None:
        """Begin a measure."""
        self.number = number
        self.cursor = self.furthest = self.last_onset = 0

    def set_divisions(self, text: str) -> None:
        """Take a new number of divisions of a quarter.

        Raises
        ------
        HostileInputError
            If it is none.
        """
        divisions = Fraction(text.strip()) if DECIMAL.fullmatch(text) else Fraction(0)
        if not 0 < divisions <= MOST_DIVISIONS:
            raise HostileInputError(
                f"bar {self.number}: {text.strip()[:20]!r} is no number of divisions"
            )
        self.scale = TICKS_PER_QUARTER / divisions
        self.lengths = {}

    def place(self, ticks: int | Fraction = 0) -> int:
        """Ticks since the start of the part, of the cursor moved by some ticks."""
        return self.start + round(self.cursor + ticks)

    def move(self, ticks: int | Fraction) -> None:
        """Move the cursor; never before the bar line, never out of bounds."""
        self.cursor += ticks
        if self.cursor < 0:
            self.cursor = 0
            self.odd("a <backup> led before the bar line")
        if self.cursor > self.furthest:
            self.furthest = self.cursor
            if self.furthest > MOST_QUARTERS * TICKS_PER_QUARTER:
                raise HostileInputError(
                    f"bar {self.number} is longer than {MOST_QUARTERS} quarters",
                    limit=MOST_QUARTERS,
                )

    def skip(self, ticks: int | Fraction) -> None:
        """Move past a gap, if rounding that has been mended did not leave it."""
        if ticks >= ROUNDED_TICKS or not self.mended:
            self.move(ticks)
        self.mended = False

    def ticks_of(self, element: Element) -> int | Fraction:
        """The length of a note, backup or forward in ticks, whole where it can be."""
        text = element.findtext("duration")
        if text is None or not DECIMAL.fullmatch(text):
            return self.ticks_of_type(element, text)
        if text not in self.lengths:
            ticks = Fraction(text.strip()) * self.scale
            if ticks > MOST_QUARTERS * TICKS_PER_QUARTER:
                raise HostileInputError(
                    f"bar {self.number}: a length of more than {MOST_QUARTERS} quarters",
                    limit=MOST_QUARTERS,
                )
            self.lengths[text] = ticks.numerator if ticks.denominator == 1 else ticks
        return self.lengths[text]

    def ticks_of_type(self, element: Element, text: str | None) -> int | Fraction:
        """The length that the note's sign stands for, where no duration is given."""
        quarters = NOTE_TYPES.get((element.findtext("type") or "").strip())
        if text is not None or quarters is None:
            self.odd("a note, backup or forward without a duration that can be read")
        if quarters is None:
            return 0
        dots = len(element.findall("dot")[:4])
        ticks = quarters * (2 - Fraction(1, 2**dots)) * TICKS_PER_QUARTER
        modification = element.find("time-modification")
        ratio = None if modification is None else ratio_of(modification)
        if ratio:
            ticks = ticks * ratio[1] / ratio[0]
        return ticks.numerator if ticks.denominator == 1 else ticks

    def as_declared(self, element: Element, ticks: int | Fraction) -> int | Fraction:
        """The length of a note in a tuplet, freed of another program's rounding.

        A third of a quarter is often written in 256ths: what sign and ratio say is
        meant where the two lie closer together than any two note values.
        """
        if (element.findtext("type") or "").strip() not in NOTE_TYPES:
            return ticks
        meant = self.ticks_of_type(element, None)
        if -ROUNDED_TICKS < meant - ticks < ROUNDED_TICKS:
            self.mended |= meant != ticks
            return meant
        return ticks

    def place_of(self, sign: Element) -> int:
        """Where a sign stands that may be moved from the cursor; not before its bar."""
        return max(self.start, self.place(self.offset_of(sign)))

    def offset_of(self, element: Element) -> Fraction:
        """How far a sign is moved from the cursor, in ticks."""
        text = (element.findtext("offset") or "0").strip()
        found = re.fullmatch(r"([+-]?)(\d{1,9}(?:\.\d{1,6})?)", text)
        if not found:
            return Fraction(0)
        ticks = Fraction(found[1] + found[2]) * self.scale
        limit = Fraction(MOST_QUARTERS * TICKS_PER_QUARTER)
        return max(-limit, min(limit, ticks))
