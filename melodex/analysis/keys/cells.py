"""Keys of chorales and of single lines: a piece in cells under the model by cells.

Conventions: a cell is a chord of a sheet in parts, or a bar of a melody alone. The model
(``local``) knows major and minor and near keys, as part writing has them. A melody alone
seldom tells more than one key, so a turn is said only where several notes leave the
scale and the other key is likely for some bars.

Contents: FEWEST_FOREIGN_NOTES, foreign_notes, spans_of_chords, spans_of_line.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from melodex.analysis.harmony.chords import Chord
from melodex.analysis.keys.closes import told_by_closes
from melodex.analysis.keys.home import MINOR_MODES, Home
from melodex.analysis.keys.local import (
    CHORDS,
    LINE,
    MARKED,
    SLOWER,
    LocalSetting,
    chord_kind,
    local_keys_from_weights,
)
from melodex.analysis.keys.spans import BarNumbers, KeySpan, merged, span_of
from melodex.melody import MODES, TICKS_PER_QUARTER, Key, Melody

__all__ = ["FEWEST_FOREIGN_NOTES", "foreign_notes", "spans_of_chords", "spans_of_line"]

FEWEST_CELLS = 2
LEAST_CERTAIN_CHORDS = 0.55
LEAST_CERTAIN_LINE = 0.8
LEAST_CERTAIN_HOME = 0.4
BRIEF_CERTAIN, BRIEF_CERTAIN_SLOWER = 0.6, 0.8
FEWEST_LINE_BARS = 4
FEWEST_FOREIGN_NOTES = 3
"""Thresholds for saying that a key turns: our choice, on the careful side. Of a turn that
lasts a bar or less more is asked, most in music that is longer or slower than chorales;
where the home key is less likely than that, the key before it holds on."""
QUICK_IN_BAR, MOST_IN_CHORALE = 2.35, 120
"""Chords in a bar from which, and chords of a piece up to which, it goes as chorales go:
2.4 to 4.7 and 36 to 100 in those with human analyses. Quartets, songs and piano pieces are
longer, or their chords slower."""
MELODY_IN_CELL = 1.0
"""The melody over a chord counts as one more chord note."""
LINE_IN_CELL = 4.0
"""A bar of a single line counts as the four notes of a chord."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A stretch that is judged as one: its place, its notes and its chord."""

    onset_ticks: int
    end_ticks: int
    weights: dict[int, float]
    chord: Chord | None = None


@dataclass(frozen=True, slots=True)
class Least:
    """What a turn must have at least: cells, certainty, and certainty in a bar or less.

    ``home`` is what the home key must have where it comes back.
    """

    cells: int
    certain: float
    brief: float = 0.0
    bar_ticks: float = 0.0
    home: float = 0.0


def foreign_notes(melody: Melody, key: Key) -> int:
    """How many notes leave the scale of a key, both forms of minor 6 and 7 counted."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode in MINOR_MODES:
        scale |= {key.tonic_fifths + 3, key.tonic_fifths + 5}
    return sum(fifths not in scale for fifths in melody.fifths)


def spans_of_chords(
    melody: Melody,
    placed: list[tuple[int, Chord]],
    start: int,
    end: int,
    whole: Home,
    numbers: BarNumbers,
) -> list[KeySpan]:
    """Spans by the chords, each a cell with the melody over it."""
    cells = chord_cells(melody, placed, start, end)
    bar_ticks = median_bar(melody)
    ends = phrase_ends(melody, cells)
    setting = setting_for(cells, bar_ticks, marked=bool(ends))
    usual = median(cell.end_ticks - cell.onset_ticks for cell in cells)
    marked = setting is MARKED
    found = local_keys_from_weights(
        [cell.weights for cell in cells],
        chords=[
            (cell.chord.root_fifths, chord_kind(cell.chord.degrees, cell.chord.family))
            if cell.chord
            else None
            for cell in cells
        ],
        # A chord held twice as long as usual says more, but not twice as much.
        counts=[math.sqrt((cell.end_ticks - cell.onset_ticks) / usual) for cell in cells],
        home=(
            whole.key.tonic_fifths,
            "minor" if whole.key.mode in MINOR_MODES else "major",
        ),
        closes=told_by_closes([cell.chord for cell in cells], ends) if marked else (),
        fresh={end + 1 for end in ends} if marked else (),
        setting=setting,
    )
    keys = [(Key(local.tonic_fifths, local.mode), local.certainty) for local in found]
    method = "melody and chords" if melody.midi else "chords"
    keys = turning(keys, whole)
    brief = BRIEF_CERTAIN_SLOWER if setting is SLOWER else BRIEF_CERTAIN
    return grouped(
        numbers,
        cells,
        keys,
        whole,
        method,
        Least(FEWEST_CELLS, LEAST_CERTAIN_CHORDS, brief, bar_ticks, LEAST_CERTAIN_HOME),
    )


def phrase_ends(melody: Melody, cells: list[Cell]) -> set[int]:
    """The cells with which phrases end that are marked."""
    starts = [cell.onset_ticks for cell in cells]
    lasts = (
        onset
        for onset, phrase, after in zip(
            melody.onset_ticks, melody.phrase, melody.phrase[1:], strict=False
        )
        if phrase != after
    )
    found = {max(bisect_right(starts, onset) - 1, 0) for onset in lasts}
    return found | {len(cells) - 1} if found else found


def setting_for(cells: list[Cell], bar_ticks: float, *, marked: bool) -> LocalSetting:
    """How hard a key is left: easily in a chorale, where each phrase may have its own.

    ``marked`` says whether its phrases are marked, so that their cadences are known.
    """
    held = cells[-1].end_ticks - cells[0].onset_ticks
    quick = bar_ticks * len(cells) >= QUICK_IN_BAR * held
    if not quick or len(cells) > MOST_IN_CHORALE:
        return SLOWER
    return MARKED if marked else CHORDS


def median_bar(melody: Melody) -> float:
    """The usual length of a bar, four quarters where there are none."""
    lengths = [bar.duration_ticks for bar in melody.bars]
    return median(lengths) if lengths else 4.0 * TICKS_PER_QUARTER


def turning(keys: list[tuple[Key, float]], whole: Home) -> list[tuple[Key, float]]:
    """The keys of cells; where nothing turns, that of the whole, which is known better."""
    if len({key for key, _ in keys}) > 1:
        return keys
    return [(whole.key, whole.certainty)] * len(keys)


def chord_cells(
    melody: Melody, placed: list[tuple[int, Chord]], start: int, end: int
) -> list[Cell]:
    """One cell for each chord that differs from the one before it."""
    changes = [placed[0]]
    for onset, chord in placed[1:]:
        if chord.text != changes[-1][1].text and onset > changes[-1][0]:
            changes.append((onset, chord))
    edges = [start, *(onset for onset, _ in changes[1:]), max(end, changes[-1][0] + 1)]
    lines = line_weights(melody, edges, MELODY_IN_CELL)
    cells = []
    for (_, chord), (onset, stop), weights in zip(
        changes, pairwise(edges), lines, strict=True
    ):
        for fifths in chord.note_fifths:
            weights[fifths] = weights.get(fifths, 0.0) + 1.0
        cells.append(Cell(onset, stop, weights, chord))
    return cells


def line_weights(melody: Melody, edges: list[int], total: float) -> list[dict[int, float]]:
    """Shares of the pitch classes that start between edges, of a given sum."""
    found: list[dict[int, float]] = [{} for _ in edges[1:]]
    for fifths, onset, ticks in zip(
        melody.fifths, melody.onset_ticks, melody.duration_ticks, strict=True
    ):
        cell = found[min(max(bisect_right(edges, onset) - 1, 0), len(found) - 1)]
        cell[fifths] = cell.get(fifths, 0.0) + ticks
    for cell in found:
        held = sum(cell.values())
        for fifths in cell:
            cell[fifths] *= total / held if held else 0.0
    return found


def spans_of_line(
    melody: Melody, start: int, end: int, whole: Home, numbers: BarNumbers
) -> list[KeySpan]:
    """Spans by the melody alone, each bar a cell; mostly the one key of the whole."""
    edges = [b.onset_ticks for b in melody.bars if start <= b.onset_ticks < end]
    if len(edges) < 2 * FEWEST_LINE_BARS:
        edges = list(range(start, end, 4 * TICKS_PER_QUARTER))
    edges = [start, *edges[1:], end]
    weights = line_weights(melody, edges, LINE_IN_CELL)
    found = local_keys_from_weights(weights, setting=LINE)
    cells = [
        Cell(on, off, w) for (on, off), w in zip(pairwise(edges), weights, strict=True)
    ]
    keys = [(Key(local.tonic_fifths, local.mode), local.certainty) for local in found]
    keys = turning(keys, whole)
    return grouped(
        numbers, cells, keys, whole, "melody", Least(FEWEST_LINE_BARS, LEAST_CERTAIN_LINE)
    )


def grouped(
    numbers: BarNumbers,
    cells: list[Cell],
    keys: list[tuple[Key, float]],
    whole: Home,
    method: str,
    least: Least,
) -> list[KeySpan]:
    """Runs of one key made spans; a run too short or too unsure joins what is around."""
    runs: list[tuple[int, int, Key, float]] = []
    for place, (key, certainty) in enumerate(keys):
        if runs and runs[-1][2] == key:
            first, _, _, total = runs[-1]
            runs[-1] = (first, place, key, total + certainty)
        else:
            runs.append((place, place, key, certainty))
    spans: list[KeySpan] = []
    for first, last, key, total in runs:
        size = last - first + 1
        certain = total / size
        coloured = whole_mode(key, whole.key)
        held = cells[last].end_ticks - cells[first].onset_ticks
        unsure = certain < (least.brief if held <= least.bar_ticks else least.certain)
        doubtful = certain < least.home and bool(spans)
        away = coloured != whole.key and (size < least.cells or unsure)
        if away or doubtful:
            coloured = spans[-1].key if spans else whole.key
        spans.append(
            span_of(
                numbers,
                cells[first].onset_ticks,
                cells[last].end_ticks,
                coloured,
                certain,
                method,
            )
        )
    return merged(spans)


def whole_mode(key: Key, whole: Key) -> Key:
    """A key with the mode of the whole piece where it is the same tonic and third."""
    alike = (key.mode == "minor") == (whole.mode in MINOR_MODES)
    return whole if key.tonic_fifths == whole.tonic_fifths and alike else key
