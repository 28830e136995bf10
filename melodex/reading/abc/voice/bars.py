"""Bars of an ABC tune: where they are closed, how they are counted, what is strong.

Conventions: a bar that holds nothing is no bar, so that the signs at a line end
and the next line start count once. A pickup is 0. Where a repeat or a double line
splits a bar, both halves carry one number; every other bar counts, endings
included (common practice, no source).

Contents: BarBook, OpenBar.
"""

from __future__ import annotations

from dataclasses import dataclass

from melodex.melody import Bar, Metre, beat_strength
from melodex.reading.abc.voice.tokens import BarSign
from melodex.reading.bounded import refuse_longer, refuse_more_bars

__all__ = ["BarBook", "OpenBar"]


@dataclass(slots=True)
class OpenBar:
    """A bar while it is read; ``offset`` is how late in a full bar it starts."""

    onset: int
    metre: Metre | None
    duration: int = 0
    repeat_start: bool = False
    repeat_times: int = 0
    ending: str = ""
    line: str = "none"
    number: int = 0
    offset: int = 0


class BarBook:
    """Collects the bars of one voice in the order of writing."""

    def __init__(self) -> None:
        self.bars: list[OpenBar] = []
        self.onset = 0
        self.repeat_start = False
        self.ending = ""

    def close(self, now: int, metre: Metre | None, line: str) -> bool:
        """End the bar at a place; False if there was nothing in it.

        Raises
        ------
        HostileInputError
            If there are too many bars, or they are too long.
        """
        if now == self.onset:
            return False
        refuse_more_bars(len(self.bars) + 1)
        refuse_longer(now)
        self.bars.append(
            OpenBar(
                self.onset,
                metre,
                now - self.onset,
                self.repeat_start,
                0,
                self.ending,
                line,
            )
        )
        self.onset, self.repeat_start, self.ending = now, False, ""
        return True

    def take_line(self, now: int, metre: Metre | None, sign: BarSign) -> None:
        """A bar line was read."""
        if not self.close(now, metre, sign.line) and self.bars:
            last = self.bars[-1]
            if last.line in {"none", ""}:
                last.line = sign.line
        if sign.ends_repeat and self.bars:
            last = self.bars[-1]
            last.repeat_times = max(last.repeat_times, sign.ends_repeat)
        if sign.starts_repeat:
            self.repeat_start = True
        if sign.ending:
            self.ending = sign.ending

    def number(self) -> None:
        """Count the bars, and find how late in a full bar each one starts."""
        count = 0
        held = 0
        for place, bar in enumerate(self.bars):
            full = bar.metre.bar_ticks if bar.metre else bar.duration
            if place == 0:
                if self.starts_with_pickup(full):
                    bar.offset = full - bar.duration
                    held = full
                else:
                    count, held = 1, bar.duration
            elif self.completes(place, held, full):
                bar.offset, held = held, held + bar.duration
            else:
                count += 1
                held = bar.duration
                if bar.duration < full and self.after_section(place):
                    bar.offset, held = full - bar.duration, full
            bar.number = count

    def starts_with_pickup(self, full: int) -> bool:
        """Whether the first bar is short, and not merely like the second."""
        if len(self.bars) < 2 or self.bars[0].duration >= full:
            return False
        return self.bars[0].duration != self.bars[1].duration

    def completes(self, place: int, held: int, full: int) -> bool:
        """Whether a bar is the other half of one that a section line splits."""
        return (
            self.bars[place].metre is not None
            and held < full
            and held + self.bars[place].duration == full
            and self.after_section(place)
        )

    def after_section(self, place: int) -> bool:
        """Whether a repeat or a double line stands before a bar."""
        before, bar = self.bars[place - 1], self.bars[place]
        return bool(
            bar.repeat_start
            or before.repeat_times
            or before.line in {"double", "final"}
            or (bar.ending and not before.ending)
        )

    def records(self) -> tuple[Bar, ...]:
        """The bars as a Melody keeps them."""
        return tuple(
            Bar(
                bar.number,
                bar.onset,
                bar.duration,
                bar.repeat_start,
                bar.repeat_times,
                bar.ending,
                bar.line,
            )
            for bar in self.bars
        )

    def strengths(
        self, onsets: tuple[int, ...], places: tuple[int, ...]
    ) -> tuple[float, ...]:
        """The beat strength of notes from their onsets and places among the bars."""
        tables: list[StrengthTable] = []
        for bar in self.bars:
            # Most tunes keep one metre: a new table only where it changes.
            same = tables and tables[-1].metre is bar.metre
            tables.append(tables[-1] if same else StrengthTable(bar.metre))
        shifts = [bar.offset - bar.onset for bar in self.bars]
        return tuple(
            [
                tables[place][onset + shifts[place]]
                for onset, place in zip(onsets, places, strict=True)
            ]
        )


class StrengthTable(dict[int, float]):
    """The beat strength at each offset in a full bar, worked out when first asked for."""

    def __init__(self, metre: Metre | None) -> None:
        super().__init__()
        self.metre = metre

    def __missing__(self, offset: int) -> float:
        strength = self[offset] = beat_strength(offset, self.metre)
        return strength
