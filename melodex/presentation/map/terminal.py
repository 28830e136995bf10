"""The map of a piece in letters, for a terminal.

Conventions: every line fits the width of the style. Bars of usual length take the same
number of columns all through; a long piece is cut where its lines end, as on paper. Marks
carry the numbers of the sentences below the map.

Contents: map_lines.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median
from typing import TypeVar

from melodex.presentation.map.content import PieceMap, short_key
from melodex.presentation.map.levels import Curve
from melodex.presentation.map.strips import Strip, cut, rows_for
from melodex.presentation.text.style import Style
from melodex.presentation.text.words import shown

__all__ = ["map_lines"]

NAMES = 9
"""Columns for what the rows are called."""
MOST_BARS, WIDEST_BAR, NARROWEST_BAR = 32, 6, 2
MELODY_ROWS = 5
"""Rows of a terminal that the melody takes at most."""
STEPS = ("▁▂▃▄▅▆▇█", "0123456789")
"""Heights of a curve, from nothing to the most."""
SHORT = {"Rich chords": "Rich", "Recording": "Record"}
SIGNS = {"note": ("▬", "="), "peak": ("▲", "^"), "run": ("─", "-"), "mark": ("━", "=")}

Thing = TypeVar("Thing")


class Grid:
    """A strip with its columns; ``heights`` are those of the whole melody, rising."""

    def __init__(
        self, strip: Strip, columns: float, width: int, style: Style, heights: Sequence[int]
    ) -> None:
        self.strip, self.columns, self.style = strip, columns, style
        self.limit, self.heights = width, heights

    def column(self, ticks: int) -> int:
        """The column of a time on the strip."""
        inside = min(max(ticks, self.strip.start), self.strip.end)
        return round((inside - self.strip.start) * self.columns)

    def meets(self, start: int, end: int) -> bool:
        """Whether some of a stretch is on the strip."""
        return start < self.strip.end and end > self.strip.start

    def sign(self, name: str) -> str:
        """A sign that the terminal can show."""
        return SIGNS[name][0 if self.style.signs else 1]

    def row(self, name: str, pieces: Sequence[tuple[int, int, str]], fill: str) -> str:
        """Words in their columns, each followed by a run to where it ends."""
        line = [" "] * self.limit
        for start, end, words in pieces:
            room = max(end - start, 1)
            text = words[:room].ljust(room, fill)
            line[start : start + len(text)] = text
        return f"{name:<{NAMES}}{''.join(line)[: self.limit]}".rstrip()


def map_lines(
    piece: PieceMap, style: Style, told: Container[int] | None = None
) -> list[str]:
    """Write the map of a piece in lines.

    Parameters
    ----------
    piece : PieceMap
        What is laid out in time.
    style : Style
        What the terminal can show.
    told : container of int, optional
        Numbers of the sentences that are told; all by default.
    """
    if not piece.notes and not piece.chords:
        return []
    room = style.width - NAMES - 1
    usual = median(bar.duration_ticks for bar in piece.bars)
    most = min(room // NARROWEST_BAR, MOST_BARS) * usual * 1.03
    strips = cut(piece, most, usual)
    longest = max(min(strip.end - strip.start, most) for strip in strips)
    # Whole columns a bar where there is room, so that bars look alike.
    columns = min(max(room * usual // longest, 1), WIDEST_BAR) / usual
    lines: list[str] = []
    heights = sorted({midi for _, _, midi in piece.notes})
    for strip, part in zip(strips, parts_of(piece, strips), strict=True):
        scale = min(columns, room / (strip.end - strip.start))
        grid = Grid(strip, scale, room + 1, style, heights)
        lines += [*(shown(line) for line in strip_lines(part, grid, told)), ""]
    return lines[:-1]


def parts_of(piece: PieceMap, strips: Sequence[Strip]) -> Iterator[PieceMap]:
    """What of a piece may be seen on each strip, so that none looks at the whole.

    Indexes of phrases mean nothing in a part.
    """
    sections = shared_out(((p.start, p.end, p) for p in piece.sections), strips)
    keys = shared_out(((p.start, p.end, p) for p in piece.keys), strips)
    phrases = shared_out(((p.start, p.end, p) for p in piece.phrases), strips)
    finds = shared_out(
        (
            (start, end, (find, ((start, end),)))
            for find, places in piece.finds
            for start, end in places
        ),
        strips,
    )
    # A note is drawn where it begins.
    notes = shared_out(((n[0], n[0] + 1, at) for at, n in enumerate(piece.notes)), strips)
    for place, strip in enumerate(strips):
        here = notes[place]
        yield replace(
            piece,
            sections=tuple(sections[place]),
            keys=tuple(keys[place]),
            phrases=tuple(phrases[place]),
            finds=tuple(finds[place]),
            notes=tuple(piece.notes[at] for at in here),
            peak=here.index(piece.peak) if piece.peak in here else None,
            curves=tuple(curve_on(curve, strip) for curve in piece.curves),
        )


def shared_out(
    things: Iterable[tuple[int, int, Thing]], strips: Sequence[Strip]
) -> list[list[Thing]]:
    """Things that last from one time to another, for each strip that they meet."""
    starts, ends = [strip.start for strip in strips], [strip.end for strip in strips]
    found: list[list[Thing]] = [[] for _ in strips]
    for start, end, thing in things:
        for place in range(bisect_right(ends, start), bisect_left(starts, end)):
            found[place].append(thing)
    return found


def curve_on(curve: Curve, strip: Strip) -> Curve:
    """The points of a curve, in the order of time, that its part on a strip needs."""
    first = bisect_right(curve.points, strip.start, key=lambda point: point[0]) - 1
    last = bisect_left(curve.points, strip.end, key=lambda point: point[0])
    return replace(curve, points=curve.points[max(first, 0) : last + 1])


def strip_lines(piece: PieceMap, grid: Grid, told: Container[int] | None) -> Iterator[str]:
    """The rows of a strip; those with nothing to show are left out."""
    yield bars_row(piece, grid)
    parts = [
        (grid.column(p.start), grid.column(p.end), f"|{p.words} {p.aside}")
        for p in piece.sections
        if grid.meets(p.start, p.end)
    ]
    if parts:
        yield grid.row("Form", parts, grid.sign("run"))
    keys = list(key_pieces(piece, grid))
    if keys:
        yield grid.row("Key", keys, " ")
    yield from melody_rows(piece, grid)
    phrases = [
        (grid.column(p.start), max(grid.column(p.end), grid.column(p.start) + 2), p.letter)
        for p in piece.phrases
        if grid.meets(p.start, p.end)
    ]
    if phrases:
        run = grid.sign("run")
        pieces = [(a, b, f"({w}".ljust(b - a - 1, run) + ")") for a, b, w in phrases]
        yield grid.row("Phrases", pieces, run)
    yield from curve_rows(piece, grid)
    yield from find_rows(piece, grid, told)


def curve_rows(piece: PieceMap, grid: Grid) -> Iterator[str]:
    """Voices, rich chords and loudness, a sign by height in each column."""
    steps = STEPS[0 if grid.style.signs else 1]
    for curve in piece.curves:
        line = [" "] * grid.limit
        for (start, height, words), (end, later, _) in pairwise(curve.points):
            if not words or end <= start or not grid.meets(start, end):
                continue
            first, last = grid.column(start), grid.column(end)
            after = later if curve.is_line else height
            for column in range(first, min(max(last, first + 1), grid.limit)):
                ticks = grid.strip.start + (column + 0.5) / grid.columns
                share = min(max((ticks - start) / (end - start), 0.0), 1.0)
                level = height + (after - height) * share
                line[column] = steps[round(level * (len(steps) - 1))]
        if any(sign != " " for sign in line):
            yield f"{SHORT.get(curve.name, curve.name):<{NAMES}}{''.join(line)}".rstrip()


def bars_row(piece: PieceMap, grid: Grid) -> str:
    """Printed numbers, as many as have room; sections first."""
    bars = piece.bars[grid.strip.first : grid.strip.last + 1]
    each = max(1, round(4 / max(grid.columns * bars[0].duration_ticks, 0.1)))
    sections = {part.start for part in piece.sections}
    line, free = "", 0
    for place, bar in enumerate(bars):
        at = grid.column(bar.onset_ticks)
        again = place and bars[place - 1].number == bar.number
        wanted = not place or bar.onset_ticks in sections or (bar.number - 1) % each == 0
        if wanted and not again and at >= free:
            line = line.ljust(at) + str(bar.number)
            free = len(line) + 1
    return f"{'Bars':<{NAMES}}{line}".rstrip()


def key_pieces(piece: PieceMap, grid: Grid) -> Iterator[tuple[int, int, str]]:
    """Key centres, by their full names where these fit."""
    for span in piece.keys:
        if not grid.meets(span.start, span.end):
            continue
        start, end = grid.column(span.start), grid.column(span.end)
        doubt = "" if span.sure else "?"
        names = [
            f"|{grid.style.spelled_key(name)}{doubt}"
            for name in (str(span.key), short_key(span.key))
        ]
        yield start, end, next((n for n in names if len(n) < end - start), names[1])


def melody_rows(piece: PieceMap, grid: Grid) -> Iterator[str]:
    """The notes by height and time, the peak with a sign of its own."""
    if not grid.heights:
        return
    lowest, highest = grid.heights[0], grid.heights[-1]
    rows = min(MELODY_ROWS, highest - lowest + 1)
    canvas = [[" "] * grid.limit for _ in range(rows)]
    for place, (onset, length, midi) in enumerate(piece.notes):
        if not grid.strip.start <= onset < grid.strip.end:
            continue
        row = round((highest - midi) / max(highest - lowest, 1) * (rows - 1))
        start = grid.column(onset)
        end = max(grid.column(onset + length), start + 1)
        sign = grid.sign("peak" if place == piece.peak else "note")
        if canvas[row][start] != grid.sign("peak"):
            canvas[row][start:end] = sign * (end - start)
    names = {0: piece.peak_name, rows - 1: piece.lowest_name}
    for place, cells in enumerate(canvas):
        name = grid.style.spelled_key(names.get(place, "Melody" if place == 1 else ""))
        yield f"{name:<{NAMES}}{''.join(cells)[: grid.limit]}".rstrip()


def find_rows(piece: PieceMap, grid: Grid, told: Container[int] | None) -> Iterator[str]:
    """Marks with the numbers of their sentences, in as few rows as they need."""
    marks = [
        (grid.column(start), grid.column(end), str(find.number))
        for find, places in piece.finds
        if told is None or find.number in told
        for start, end in places
        if grid.meets(start, end)
    ]
    marks.sort(key=lambda mark: (mark[0], int(mark[2])))
    sized = [(a, max(b - a, len(words)), words) for a, b, words in marks]
    rows = rows_for([(a, wide) for a, wide, _ in sized], grid.limit, gap=1)
    placed: dict[int, list[tuple[int, int, str]]] = {}
    for (_, wide, words), row in zip(sized, rows, strict=True):
        if row:
            start = round(row[1])
            placed.setdefault(row[0], []).append((start, start + wide, words))
    for number in sorted(placed):
        yield grid.row("" if number else "Finds", placed[number], grid.sign("mark"))
