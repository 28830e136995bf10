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

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from melodex.melody import Melody

__all__ = ["Figure", "figures", "scale_steps"]

FEWEST_NOTES = 3
FEWEST_REPEATED_BARS = 2
Group = tuple[int, int, range]
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
"""Intervals by the steps between two notes (common practice, no source)."""


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
    # The letter's own semitone lies within the alteration of the note.
    return [
        7 * ((midi - (fifths + 1) // 7) // 12 - 1) + 4 * fifths % 7
        for midi, fifths in zip(melody.midi, melody.fifths, strict=True)
    ]


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
    groups = note_groups(melody)
    plain = [unit_of(melody, heights, group) for group in groups]
    double = [joined(one, other) for one, other in pairwise(plain)]
    whole = [full_enough(unit) for unit in plain]
    half = half_units(melody, heights, groups)
    found = sequences(double[::2], 2) + sequences(double[1::2], 2)
    covered = {
        bar for figure in found for first, last in figure.bars for bar in (first, last)
    }
    for units in (whole, half):
        found += [f for f in sequences(units, 1) if not covered.issuperset(figure_bars(f))]
        covered |= {bar for figure in found for bar in figure_bars(figure)}
    notes = notes_by_number(melody)
    found += [as_it_sounds(melody, notes, f) for f in repetitions(whole)]
    found += inversions(whole)
    return tuple(sorted(found, key=lambda f: (f.bars[0][0], f.kind, f.notes)))


OTHERWISE = "otherwise inflected"
"""Said of bars that come again on the same letters with other accidentals, as a tune does
in the parallel mode."""


def notes_by_number(melody: Melody) -> dict[int, list[int]]:
    """The notes of each number of a bar; numbers may come again."""
    found: dict[int, list[int]] = {}
    for note, bar in enumerate(melody.bar):
        found.setdefault(bar, []).append(note)
    return found


def as_it_sounds(
    melody: Melody, notes: Mapping[int, Sequence[int]], figure: Figure
) -> Figure:
    """A repetition, told to be otherwise inflected where its notes sound otherwise.

    ``notes`` are those of each number of a bar.
    """
    numbers = [
        sorted(
            note
            for bar in range(first, last + 1)
            for note in notes.get(bar, ())
            if note >= start
        )
        for (first, last), start in zip(figure.bars, figure.notes, strict=True)
    ]
    one, *others = ([melody.midi[i] for i in each] for each in numbers)
    if all(other[: len(one)] == one[: len(other)] for other in others):
        return figure
    bars = figure.words.split(" come")[0]
    return replace(figure, words=f"{bars} come again on the same letters, {OTHERWISE}")


def figure_bars(figure: Figure) -> set[int]:
    """Every bar that a figure touches."""
    return {bar for pair in figure.bars for bar in pair}


def note_groups(melody: Melody) -> list[Group]:
    """Start, bar number and notes of each bar."""
    groups: list[Group] = []
    onsets = melody.onset_ticks
    edges = [
        bisect_left(onsets, bar.onset_ticks + bar.duration_ticks) for bar in melody.bars
    ]
    first = 0
    for bar, stop in zip(melody.bars, edges, strict=True):
        groups.append((bar.onset_ticks, bar.number, range(first, max(first, stop))))
        first = max(first, stop)
    return groups


def halves(melody: Melody, groups: list[Group]) -> list[Group]:
    """The halves of each bar; those of a bar too empty for two figures hold nothing."""
    found: list[Group] = []
    for bar, (start, number, inside) in zip(melody.bars, groups, strict=True):
        middle = start + bar.duration_ticks // 2
        cut = inside.start
        if len(inside) >= 2 * FEWEST_NOTES:
            cut = bisect_left(melody.onset_ticks, middle, inside.start, inside.stop)
            found += [(start, number, range(inside.start, cut))]
            found += [(middle, number, range(cut, inside.stop))]
        else:
            found += [(start, number, range(0)), (middle, number, range(0))]
    return found


def half_units(
    melody: Melody, heights: list[int], groups: list[Group]
) -> list[Unit | None]:
    """The halves of bars; only those that begin like one beside them can be in sequence."""
    parts = halves(melody, groups)
    found: list[Unit | None] = [None] * len(parts)
    opening: tuple[int, ...] = ()
    for place, (_, _, inside) in enumerate(parts):
        before, opening = opening, ()
        if len(inside) < FEWEST_NOTES:
            continue
        one, two = inside[:2]
        opening = (
            len(inside),
            heights[two] - heights[one],
            melody.onset_ticks[two] - melody.onset_ticks[one],
        )
        if opening == before:
            for beside in (place - 1, place):
                if found[beside] is None:
                    found[beside] = full_enough(unit_of(melody, heights, parts[beside]))
    return found


def unit_of(melody: Melody, heights: list[int], group: Group) -> Unit | None:
    """The shape of a group of notes; None where there are none."""
    start, bar, inside = group
    if not inside:
        return None
    first, stop = inside.start, inside.stop
    base = heights[first]
    shape = tuple(
        [
            (onset - start, height - base)
            for onset, height in zip(
                melody.onset_ticks[first:stop], heights[first:stop], strict=True
            )
        ]
    )
    return first, bar, base, shape


def full_enough(unit: Unit | None) -> Unit | None:
    """A unit with the notes that a figure needs, or None."""
    if unit is None or len(unit[3]) < FEWEST_NOTES:
        return None
    return unit if any(step for _, step in unit[3]) else None


def joined(one: Unit | None, other: Unit | None) -> Unit | None:
    """Two bars as one figure: both shapes, and how far apart they stand."""
    if one is None or other is None or one[1] == other[1]:
        return None
    if len(one[3]) + len(other[3]) < FEWEST_NOTES:
        return None
    return one[0], one[1], one[2], (*one[3], (-1, other[2] - one[2]), *other[3])


def sequences(units: Sequence[Unit | None], bars_each: int) -> list[Figure]:
    """Runs of neighbours of one shape on changing steps."""
    runs: list[list[Unit]] = []
    stop = -1
    for place, (before, here) in enumerate(pairwise(units)):
        if before and here and before[3] == here[3] and before[2] != here[2]:
            if stop != place:
                runs.append([before])
            runs[-1].append(here)
            stop = place + 1
    return [sequence_of(run, bars_each) for run in runs]


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
    last: dict[tuple[int, Shape], list[int]] = defaultdict(list)
    found, run = [], 0
    earlier = -1
    for place in range(len(units) + 1):
        unit = units[place] if place < len(units) else None
        places = last[unit[2:]] if unit else []
        source = places[-1] if places else -1
        if run and source == earlier + 1:
            run, earlier = run + 1, source
        else:
            found += repeated(units, place, earlier, run)
            run, earlier = (1, source) if source >= 0 else (0, -1)
        places.append(place)
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
        if unit is None or first.setdefault(unit[3], unit) is not unit:
            continue
        turned = tuple([(offset, -step) for offset, step in unit[3]])
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
    return found


def turns(shape: Shape) -> bool:
    """Whether a shape goes both up and down; a mere run turned over is no figure."""
    moves = {(b > a) - (b < a) for (_, a), (_, b) in pairwise(shape)}
    return {1, -1} <= moves
