"""Key presses put on a grid: the coarsest that holds them, else the one that fits best.

Conventions: ``steps`` are parts of a quarter, straight or in triplets.

Contents: GRIDS, Grid, best_grid, grid_text, placed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from melodex.melody import (
    TICKS_PER_QUARTER,
)
from melodex.reading.midi.file import MidiNote

__all__ = ["GRIDS", "Grid", "best_grid", "grid_text", "placed"]

GRIDS = (1, 2, 3, 4, 6, 8, 12, 16, 24)
"""Steps to the quarter, straight and in triplets, from the coarsest to the finest."""

LEGATO = 0.25
"""A gap of less than a quarter of the way to the next note is a player's, not a rest."""


@dataclass(slots=True)
class Grid:
    """Steps to the quarter, and how far the notes lay from it, in quarters."""

    steps: int
    error_quarters: float
    exact: bool


def best_grid(notes: list[MidiNote], ticks_per_quarter: int) -> Grid:
    """The coarsest grid that holds every note; else the one that fits best.

    Where nothing fits exactly, the root mean square distance of the starts from each
    grid is divided by what chance would give on a grid so fine, and the least such
    ratio wins: a finer grid must earn its fineness.
    """
    places = [note.start / ticks_per_quarter for note in notes]
    ends = [note.end / ticks_per_quarter for note in notes]
    one_tick = 1.01 / ticks_per_quarter
    ratios = []
    for steps in GRIDS:
        worst = max(off_grid(place, steps) for place in [*places, *ends])
        # A triplet is a fraction of a tick off in files of, say, 100 ticks.
        if worst <= min(one_tick, 0.1 / steps):
            return Grid(steps, worst, exact=True)
        squares = sum(off_grid(place, steps) ** 2 for place in places) / len(places)
        ratios.append((math.sqrt(squares) * steps * math.sqrt(12), steps, squares))
    _, steps, squares = min(ratios)
    return Grid(steps, math.sqrt(squares), exact=False)


def off_grid(place_quarters: float, steps: int) -> float:
    """Distance in quarters from the nearest point of a grid."""
    return abs(place_quarters - round(place_quarters * steps) / steps)


def placed(
    notes: list[MidiNote], grid: Grid, ticks_per_quarter: int
) -> list[tuple[int, int]]:
    """Onset and duration of each note in ticks of a melody, on the grid."""
    step = TICKS_PER_QUARTER // grid.steps

    def nearest(tick: int) -> int:
        return round(tick * grid.steps / ticks_per_quarter) * step

    onsets = [nearest(note.start) for note in notes]
    for i in range(1, len(onsets)):
        # Two notes never share a place: a slide of quick notes keeps its order.
        onsets[i] = max(onsets[i], onsets[i - 1] + step)
    result = []
    for i, note in enumerate(notes):
        end = max(nearest(note.end), onsets[i] + step)
        if i + 1 < len(notes):
            gap = notes[i + 1].start - note.end
            legato = gap <= LEGATO * (notes[i + 1].start - note.start)
            if end > onsets[i + 1] or (legato and not grid.exact):
                end = onsets[i + 1]
        result.append((onsets[i], end - onsets[i]))
    return result


def grid_text(grid: Grid) -> str:
    """What is said about the grid."""
    said = f"places and lengths are put on a grid of {grid.steps} to the quarter"
    if grid.exact:
        return f"{said}, which they fit"
    return (
        f"{said}; notes lay {grid.error_quarters:.3f} quarters from it (root mean square)"
    )
