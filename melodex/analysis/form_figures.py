"""Figures that return inside a piece: repeated, moved to other steps, turned over.

Conventions: a figure is what one bar, two bars or half a bar holds: where its notes
start, and how many steps of the scale each lies from the first, so that a sequence
within the key is one although its semitones differ. It needs three notes and two
pitches. Sequence: at once, on another step. Repetition: the same notes again, at once
or later, as long as the return lasts. Inversion: every step of
a figure that goes up and down in the other direction.
Common practice, no source.

Contents: Figure, figures, scale_steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.melody import Melody

__all__ = ["Figure", "figures", "scale_steps"]

FEWEST_NOTES = 3
FEWEST_REPEATED_BARS = 2
Shape = tuple[tuple[int, int], ...]
Unit = tuple[int, int, int, Shape]
"""First note, bar, height of the first note in steps, and shape."""

ORDINALS = {
    1: "step",
    2: "third",
    3: "fourth",
    4: "fifth",
    5: "sixth",
    6: "seventh",
    7: "octave",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that returns.

    Parameters
    ----------
    kind : str
        ``sequence``, ``repetition`` or ``inversion``.
    bars : tuple of (int, int)
        First and last bar of each statement, as printed.
    notes : tuple of int
        Index of the first note of each statement.
    steps : tuple of int
        Scale steps of each statement above the first one; zeros in a repetition.
    words : str
        What happens, in words.
    """

    kind: str
    bars: tuple[tuple[int, int], ...]
    notes: tuple[int, ...]
    steps: tuple[int, ...]
    words: str


def scale_steps(melody: Melody) -> list[int]:
    """Return the height of each note in letters: C4 is 28, D4 29, C sharp 4 is 28.

    Examples
    --------
    >>> scale_steps(Melody((60, 61, 62), (0, 7, 2), (0, 1, 2), (1, 1, 1), (1, 1, 1),
    ...                    (1.0, 0.5, 0.5), (0, 0, 0)))
    [28, 28, 29]
    """
    found = []
    for midi, fifths in zip(melody.midi, melody.fifths, strict=True):
        # The letter's own semitone lies within the alteration of the note.
        natural = midi - (fifths + 1) // 7
        found.append(7 * (natural // 12 - 1) + 4 * fifths % 7)
    return found


def figures(melody: Melody) -> tuple[Figure, ...]:
    """Find figures that return in a melody.

    Parameters
    ----------
    melody : Melody
        With bars; without any nothing is found.

    Returns
    -------
    tuple of Figure
        In the order of their first bars; sequences, then repetitions and inversions.
    """
    if not melody.bars or len(melody) < 2 * FEWEST_NOTES:
        return ()
    heights = scale_steps(melody)
    groups = note_groups(melody, 1)
    whole = [unit_of(melody, heights, group) for group in groups]
    double = [
        unit_of(melody, heights, (start, bar, inside + after))
        if inside and after and bar != other
        else None
        for (start, bar, inside), (_, other, after) in pairwise(groups)
    ]
    half = [unit_of(melody, heights, part) for part in note_groups(melody, 2)]
    found = sequences(double[::2], 2) + sequences(double[1::2], 2)
    covered = {
        bar for figure in found for first, last in figure.bars for bar in (first, last)
    }
    for units in (whole, half):
        found += [f for f in sequences(units, 1) if not covered.issuperset(figure_bars(f))]
        covered |= {bar for figure in found for bar in figure_bars(figure)}
    found += repetitions(whole) + inversions(whole)
    return tuple(sorted(found, key=lambda f: (f.bars[0][0], f.kind, f.notes)))


def figure_bars(figure: Figure) -> set[int]:
    """Every bar that a figure touches."""
    return {bar for pair in figure.bars for bar in pair}


def note_groups(melody: Melody, parts: int) -> list[tuple[int, int, list[int]]]:
    """Start, bar number and notes of each bar, or of each of its equal parts."""
    groups: list[tuple[int, int, list[int]]] = []
    place, count = 0, len(melody)
    for bar in melody.bars:
        size = bar.duration_ticks // parts
        for part in range(parts):
            start = bar.onset_ticks + part * size
            end = start + size if part + 1 < parts else bar.onset_ticks + bar.duration_ticks
            inside = []
            while place < count and melody.onset_ticks[place] < end:
                inside.append(place)
                place += 1
            groups.append((start, bar.number, inside))
    return groups


def unit_of(
    melody: Melody, heights: list[int], group: tuple[int, int, list[int]]
) -> Unit | None:
    """The shape of a group of notes; None where there are too few."""
    start, bar, inside = group
    if len(inside) < FEWEST_NOTES:
        return None
    base = heights[inside[0]]
    onsets = melody.onset_ticks
    shape = tuple((onsets[i] - start, heights[i] - base) for i in inside)
    if not any(step for _, step in shape):
        return None
    return inside[0], bar, base, shape


def sequences(units: Sequence[Unit | None], bars_each: int) -> list[Figure]:
    """Runs of neighbours of one shape on changing steps."""
    found = []
    start = 0
    for place in range(1, len(units) + 1):
        before, here = units[place - 1], units[place] if place < len(units) else None
        if before and here and before[3] == here[3] and before[2] != here[2]:
            continue
        run = [unit for unit in units[start:place] if unit]
        if len(run) > 1:
            found.append(sequence_of(run, bars_each))
        start = place
    return found


def sequence_of(run: list[Unit], bars_each: int) -> Figure:
    """A run of one shape, said in words."""
    steps = tuple(unit[2] - run[0][2] for unit in run)
    moves = {b - a for a, b in pairwise(steps)}
    each = f"{direction(moves.pop())} each time" if len(moves) == 1 else "on changing steps"
    if len(run) == 2:
        each = direction(steps[1])
    return Figure(
        "sequence",
        tuple((unit[1], unit[1] + bars_each - 1) for unit in run),
        tuple(unit[0] for unit in run),
        steps,
        f"stated {len(run)} times in sequence, {each}",
    )


def direction(steps: int) -> str:
    """How far a statement lies from the one before."""
    size = ORDINALS.get(abs(steps), f"{abs(steps) + 1}th")
    return f"a {size} {'higher' if steps > 0 else 'lower'}".replace("a octave", "an octave")


def repetitions(units: Sequence[Unit | None]) -> list[Figure]:
    """Passages of two bars or more that come again note for note."""
    last: dict[tuple[int, Shape], int] = {}
    found, run = [], 0
    earlier = -1
    for place in range(len(units) + 1):
        unit = units[place] if place < len(units) else None
        source = last.get(unit[2:], -1) if unit else -1
        if run and source == earlier + 1:
            run, earlier = run + 1, source
        else:
            found += repeated(units, place, earlier, run)
            run, earlier = (1, source) if source >= 0 else (0, -1)
        if unit:
            last[unit[2:]] = place
    return found


def repeated(
    units: Sequence[Unit | None], stop: int, earlier: int, run: int
) -> list[Figure]:
    """The repetition that ends before a place, if it is long enough."""
    if run < FEWEST_REPEATED_BARS:
        return []
    ends = [(earlier - run + 1, earlier), (stop - run, stop - 1)]
    pairs = [(units[a], units[b]) for a, b in ends]
    bars = tuple((a[1], b[1]) for a, b in pairs if a and b)
    notes = tuple(a[0] for a, _ in pairs if a)
    words = f"{run} bars come again note for note"
    return [Figure("repetition", bars, notes, (0, 0), words)]


def inversions(units: Sequence[Unit | None]) -> list[Figure]:
    """Bars that turn the shape of an earlier bar over; the first pair of each shape."""
    first: dict[Shape, Unit] = {}
    found = []
    for unit in units:
        if unit is None or unit[3] in first:
            continue
        turned = tuple((offset, -step) for offset, step in unit[3])
        model = first.get(turned)
        if model is not None and turns(unit[3]):
            found.append(
                Figure(
                    "inversion",
                    ((model[1], model[1]), (unit[1], unit[1])),
                    (model[0], unit[0]),
                    (0, unit[2] - model[2]),
                    "the figure turned over",
                )
            )
        first[unit[3]] = unit
    return found


def turns(shape: Shape) -> bool:
    """Whether a shape goes both up and down; a mere run turned over is no figure."""
    moves = {(b > a) - (b < a) for (_, a), (_, b) in pairwise(shape)}
    return {1, -1} <= moves
