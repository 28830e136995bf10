"""The bars of a piece with what starts in each: section, key, metre, chords, degrees.

Conventions: bars go by their printed numbers.

Contents: GridBar, grid_of.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from melodex.analysis.piece import Analysis
from melodex.melody import Melody

__all__ = ["GridBar", "grid_of"]


@dataclass(frozen=True, slots=True)
class GridBar:
    """One bar of the grid.

    Parameters
    ----------
    number : int
        As printed.
    section : str
        Label of the section that starts here, or empty.
    key : str
        Key that starts to hold here, or empty.
    metre : str
        Time signature that starts here, or empty.
    chords : tuple of (str, str)
        Chord symbols that start in it, as printed, and their numerals.
    degrees : tuple of str
        Degrees of the notes that start in it, in the key that holds.
    doubts : tuple of (float, str)
        Of each chord how sure it is, and the next best chord; sure and without one
        where chords are printed.
    held : tuple of (str, str)
        The chord that was worked out before and goes on where the bar begins, and its
        numeral; empty where a chord starts there, or none does in the bar.
    """

    number: int
    section: str
    key: str
    metre: str
    chords: tuple[tuple[str, str], ...]
    degrees: tuple[str, ...]
    doubts: tuple[tuple[float, str], ...] = ()
    held: tuple[str, ...] = ()


def grid_of(melody: Melody, found: Analysis) -> Iterable[GridBar]:
    """Every bar with what starts in it."""
    sections = {section.first_bar: section.label for section in found.sections}
    spans = {span.first_bar: str(span.key) for span in reversed(found.spans)}
    chords: dict[int, list[tuple[str, str]]] = defaultdict(list)
    doubts: dict[int, list[tuple[float, str]]] = defaultdict(list)
    for here, symbol in zip(found.harmony.chords, melody.chords, strict=True):
        chords[here.bar].append((here.chord.text, here.numeral.text))
        doubts[here.bar].append((symbol.certainty, symbol.other))
    notes: dict[int, list[str]] = defaultdict(list)
    for bar, degree in zip(melody.bar, local_degrees(melody, found), strict=True):
        notes[bar].append(degree)
    metres = metre_starts(melody)
    held = held_into(melody, found) if melody.chords_worked_out else {}
    for number in sorted({bar.number for bar in melody.bars} | set(melody.bar)):
        yield GridBar(
            number,
            sections.get(number, ""),
            spans.get(number, ""),
            metres.get(number, ""),
            tuple(chords[number]),
            tuple(notes[number]),
            tuple(doubts[number]),
            held.get(number, ()),
        )


def held_into(melody: Melody, found: Analysis) -> dict[int, tuple[str, str]]:
    """The chords that go on into bars in which others start later."""
    starts: dict[int, int] = {}
    for bar in melody.bars:
        starts.setdefault(bar.number, bar.onset_ticks)
    chords = found.harmony.chords
    return {
        here.bar: (before.chord.text, before.numeral.text)
        for before, here in pairwise(chords)
        if before.bar != here.bar and here.onset_ticks > starts.get(here.bar, 0)
    }


def metre_starts(melody: Melody) -> dict[int, str]:
    """Time signatures by the bar in which they start to hold."""
    starts = {}
    for change in melody.metres:
        place = bisect_right(
            melody.bars,
            change.onset_ticks,
            key=lambda bar: bar.onset_ticks + bar.duration_ticks,
        )
        bar = melody.bars[place].number if place < len(melody.bars) else 0
        starts[bar] = str(change.metre or "free")
    return starts


def local_degrees(melody: Melody, found: Analysis) -> tuple[str, ...]:
    """Names of the notes' degrees in the key centres, empty without one."""
    from melodex.analysis.degrees import degree_names, degrees

    return degree_names(degrees(melody, found.spans or None))
