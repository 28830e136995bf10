"""The bars of a piece: their numbers, their lines, and where in a printed bar each starts.

Conventions: a bar without a number counts on from the one before; a short first bar is a
pickup, number 0; a short bar that completes the one before has its number.

Contents: BarBook.
"""

from __future__ import annotations

from melodex.melody import Bar
from melodex.reading.bounded import refuse_longer, refuse_more_bars
from melodex.reading.humdrum.signs import BarSign

__all__ = ["BarBook"]


class BarBook:
    """The bars that are closed, and the one that is open."""

    def __init__(self) -> None:
        self.records: list[Bar] = []
        self.offsets: list[int] = []
        self.start = 0
        self.number = -1
        self.is_numbered = False
        self.opens_repeat = False
        self.ending = ""

    @property
    def shown_number(self) -> int:
        """The number of the open bar; 0 before any is known."""
        return max(self.number, 0)

    def open(self, sign: BarSign) -> None:
        """Open the bar behind a bar line."""
        if sign.number >= 0:
            self.number, self.is_numbered = sign.number, True
        self.opens_repeat = sign.repeat_start

    def close(self, end: int, full: int, sign: BarSign) -> None:
        """Keep the open bar, which ends at ``end``, where a full one has ``full`` ticks.

        Raises
        ------
        HostileInputError
            If there are too many, or they are too long.
        """
        refuse_more_bars(len(self.records) + 1)
        refuse_longer(end)
        duration = end - self.start
        offset = 0
        if not self.records:
            offset = max(0, full - duration)
            if self.number < 0:
                # Unnumbered until now: a pickup, or the first bar.
                self.number = (
                    max(sign.number - 1, 0) if sign.number > 0 else int(not offset)
                )
        else:
            offset = self.offset_of(duration, full)
            if not self.is_numbered and not offset:
                self.number += 1
        self.offsets.append(offset)
        self.records.append(
            Bar(
                self.number,
                self.start,
                duration,
                self.opens_repeat,
                2 * sign.repeat_end,
                self.ending,
                "" if sign.repeat_end else sign.style,
            )
        )
        self.start, self.ending = end, ""

    def offset_of(self, duration: int, full: int) -> int:
        """Where in the printed bar a short one starts that completes the one before."""
        begun, last = self.offsets[-1], self.records[-1]
        reached = begun + last.duration_ticks
        if duration < full and reached < full and begun == 0 and reached + duration <= full:
            same = self.is_numbered and last.number == self.number
            return reached if same or reached + duration == full else 0
        return 0
