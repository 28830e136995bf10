"""Time in ABC music: note lengths, broken rhythm, tuplets.

Conventions: ticks. Inside a tuplet the place is worked out from its start and the
written length so far, so that its notes add up however they are rounded.

References
----------
The ABC music standard 2.1 (December 2011), sections 4.3, 4.4 and 4.13.

Contents: Clock, OpenTuplet, MAX_NOTE_TICKS.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from melodex.errors import HostileInputError
from melodex.melody import TICKS_PER_QUARTER, Metre

__all__ = ["MAX_NOTE_TICKS", "UNCHANGED", "Clock", "OpenTuplet", "normal_of"]

UNCHANGED = 1.0
"""Factors of broken rhythm are eighths, and products of two, exact as floats."""
WHOLE_TICKS = 4 * TICKS_PER_QUARTER
MAX_NOTE_TICKS = 512 * WHOLE_TICKS
"""No written note, and no rest of many bars, is longer than this."""

LONGEST_LENGTH_TEXT = 16
"""Characters of a written length, so that its number stays small."""
LENGTH = re.compile(r"(\d+)?(?:(/+)(\d+)?)?")


@dataclass(slots=True)
class OpenTuplet:
    """A tuplet while it is read: ``left`` notes are still to come."""

    actual: int
    normal: int
    left: int
    onset: int
    first_note: int
    written: int = 0

    @property
    def played(self) -> int:
        """Ticks from the start of the tuplet to the end of what was written."""
        return (2 * self.written * self.normal + self.actual) // (2 * self.actual)


def normal_of(actual: int, metre: Metre | None) -> int:
    """In the time of how many a tuplet goes where that is not written (4.13)."""
    fixed = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
    return fixed.get(actual) or (3 if metre is not None and metre.is_compound else 2)


class Clock:
    """Where the music has come to, and how long the next note will be."""

    def __init__(self, unit: Fraction) -> None:
        self.now = 0
        self.tuplet: OpenTuplet | None = None
        self.next_factor: float | None = None
        self.last_written = self.last_base = 0
        self.last_factor = UNCHANGED
        self.set_unit(unit)

    def set_unit(self, unit: Fraction) -> None:
        """Take a new unit length, a fraction of a whole note."""
        self.unit = unit
        self.lengths: dict[str, int] = {}

    def ticks(self, text: str) -> int:
        """The written length in ticks of what stands behind a note.

        Raises
        ------
        HostileInputError
            If the length is beyond any music, or no fraction.
        """
        ticks = self.lengths.get(text)
        if ticks is None:
            ticks = ticks_of(self.unit.numerator, self.unit.denominator, text)
            if len(self.lengths) < 1024:
                self.lengths[text] = ticks
        return ticks

    def advance(self, written: int) -> int:
        """Let something of a written length pass; return the ticks that it takes."""
        self.last_base, self.last_factor = written, UNCHANGED
        if self.next_factor is not None:
            self.last_factor, self.next_factor = self.next_factor, None
            written = max(1, round(written * self.last_factor))
        self.last_written = written
        tuplet = self.tuplet
        if tuplet is None:
            self.now += written
            return written
        start = self.now
        tuplet.written += written
        tuplet.left -= 1
        self.now = tuplet.onset + max(tuplet.played, start - tuplet.onset + 1)
        return self.now - start

    def stretch_last(self, factor: float) -> int:
        """Lengthen or shorten what came last; return the difference in ticks.

        In a chain such as ``A>B>C`` the middle note loses and gains the same, so
        that the three last as long as they would without the signs.
        """
        together = self.last_factor + factor - 1
        # Shortened from both sides a note would vanish: then the factors multiply.
        self.last_factor = together if together > 0 else self.last_factor * factor
        written = max(1, round(self.last_base * self.last_factor))
        difference = written - self.last_written
        self.last_written = written
        tuplet = self.tuplet
        if tuplet is not None:
            tuplet.written += difference
            difference = tuplet.onset + tuplet.played - self.now
        self.now += difference
        return difference


@lru_cache(maxsize=4096)
def ticks_of(above: int, below: int, text: str) -> int:
    """A written length in ticks under a unit, rounded by less than one: nobody hears it."""
    exact = Fraction(above, below) * WHOLE_TICKS * length_factor(text)
    if exact > MAX_NOTE_TICKS:
        raise HostileInputError(f"a note of length {text} is too long")
    return max(1, round(exact))


def length_factor(text: str) -> Fraction:
    """How many units a written length is: ``3``, ``/``, ``3/2``, ``//``."""
    if len(text) > LONGEST_LENGTH_TEXT:
        raise HostileInputError(
            f"a note length of {len(text)} characters is too long",
            limit=LONGEST_LENGTH_TEXT,
        )
    found = LENGTH.fullmatch(text)
    if not found:
        raise HostileInputError(f"the note length {text} is no fraction")
    whole, slashes, below = found.groups()
    divisor = int(below) if below else 2 ** len(slashes or "")
    factor = Fraction(int(whole) if whole else 1, divisor) if divisor else Fraction(0)
    if not factor:
        raise HostileInputError(f"the note length {text} is nothing or endless")
    return factor
