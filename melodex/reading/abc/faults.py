"""What was not understood in a tune, gathered so that it can be read.

Conventions: the same fault found again is counted, not listed; its place is that
of the first. Lines and columns count from 1.

Contents: FaultList, MAX_FAULTS.
"""

from __future__ import annotations

from dataclasses import dataclass

from melodex.errors import HostileInputError
from melodex.reading.result import ReadWarning

__all__ = ["MAX_FAULTS", "FaultList"]

MAX_FAULTS = 2_000
"""A text with more faults than this in one tune is no music."""


@dataclass(slots=True)
class Fault:
    """One fault: where it first stood, in which place among the bars, how often."""

    line: int
    column: int
    place: int
    times: int = 1


class FaultList:
    """The faults of one tune."""

    def __init__(self) -> None:
        self.faults: dict[str, Fault] = {}
        self.count = 0

    def add(self, text: str, line: int, column: int, place: int) -> None:
        """Note a fault.

        Raises
        ------
        HostileInputError
            If there are too many for the text to be music.
        """
        self.count += 1
        if self.count > MAX_FAULTS:
            raise HostileInputError(
                f"it has more than {MAX_FAULTS} faults", limit=MAX_FAULTS
            )
        known = self.faults.get(text)
        if known is None:
            self.faults[text] = Fault(line, column, place)
        else:
            known.times += 1

    def warnings(self, bar_numbers: list[int]) -> list[ReadWarning]:
        """The faults with the numbers of their bars."""
        last = len(bar_numbers) - 1
        found = []
        for text, fault in self.faults.items():
            again = f", {fault.times} times" if fault.times > 1 else ""
            bar = f"bar {bar_numbers[min(fault.place, last)]}"
            found.append(ReadWarning(f"{text} ({bar}{again})", fault.line, fault.column))
        return found
