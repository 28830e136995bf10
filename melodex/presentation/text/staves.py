"""Notes of one or two melodies as aligned columns: names, degrees, marks, chords, bars.

Conventions: what is too long for a line is broken into systems, as on a page of music.

Contents: columns, aligned_lines, marked_rows, legend, and a row of each kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from melodex.analysis.degrees import INFLECTED_SHAPE, OTHER_SHAPE, SAME_SHAPE
from melodex.melody import Melody, degree_name, note_name
from melodex.presentation.text.style import PAINTS, Style
from melodex.presentation.text.words import shown
from melodex.tasks.compare.likeness import (
    ALONE,
    AS_ASKED,
    DIFFERENT,
    INFLECTED,
    NOT_ASKED,
    OTHER_LENGTH,
    OTHER_RHYTHM,
    OTHER_WAY,
    SAME,
    SAME_IN_TIME,
    SAME_LENGTH,
    SAME_WAY,
    SHAPE_IN_TIME,
    SHAPE_OTHER_RHYTHM,
    Likeness,
    Pair,
)

__all__ = [
    "MEANINGS",
    "aligned_lines",
    "bar_row",
    "chord_row",
    "columns",
    "degree_row",
    "legend",
    "marked_rows",
    "note_row",
    "systems",
]


MEANINGS = {
    SAME_IN_TIME: "same degree and time",
    SAME: "same degree",
    OTHER_RHYTHM: "same degree, other rhythm",
    INFLECTED: "other inflection",
    DIFFERENT: "different",
    SHAPE_IN_TIME: "same shape and length, on another degree",
    SAME_SHAPE: "same shape, on another degree",
    SHAPE_OTHER_RHYTHM: "same shape, other length",
    INFLECTED_SHAPE: "other inflection",
    OTHER_SHAPE: "different",
    ALONE: "no partner",
    **{name: name for name in (SAME_WAY, OTHER_WAY, SAME_LENGTH, OTHER_LENGTH)},
    **{name: name for name in (AS_ASKED, NOT_ASKED)},
}


def columns(
    names: Sequence[str],
    rows: Sequence[Sequence[str]],
    style: Style,
    paints: Sequence[str] = (),
    painted: frozenset[int] = frozenset(),
) -> list[str]:
    """Lay rows of short texts out in columns, broken into systems to fit the width.

    Parameters
    ----------
    names : sequence of str
        What stands before each row.
    rows : sequence of (sequence of str)
        All of one length k.
    style : Style
        For the width.
    paints : sequence of str, of shape (k,)
        A colour code per column, or nothing.
    painted : frozenset of int
        Which rows the colours are for.

    Returns
    -------
    list of str
        Lines; an empty one between systems. A row that is empty in a system is left out
        of it.
    """
    margin = max(map(len, names)) + 2
    widths = [max(map(len, cells)) + 1 for cells in zip(*rows, strict=True)]
    lines: list[str] = []
    for first, last in systems(widths, style.width - margin - 2):
        if lines:
            lines.append("")
        for place, (name, row) in enumerate(zip(names, rows, strict=True)):
            if not any(row[first:last]):
                continue
            cells = [
                style.paint(
                    row[i].rjust(widths[i]),
                    paints[i] if paints and place in painted else "",
                )
                for i in range(first, last)
            ]
            lines.append(f"  {name.ljust(margin - 2)}{''.join(cells)}".rstrip())
    return lines


def systems(widths: Sequence[int], room: int) -> Iterable[tuple[int, int]]:
    """Where to break columns so that each stretch fits the room."""
    first, used = 0, 0
    for place, width in enumerate(widths):
        if used + width > room and place > first:
            yield first, place
            first, used = place, 0
        used += width
    if first < len(widths):
        yield first, len(widths)


def aligned_lines(
    a: Melody, b: Melody, likeness: Likeness, names: tuple[str, str], style: Style
) -> list[str]:
    """Both passages note against note, each with its degrees, marks between them."""
    pairs = likeness.pairs
    a_places = [pair.query for pair in pairs]
    b_places = [pair.tune for pair in pairs]
    rows = [
        bar_row(a, a_places),
        chord_row(a, a_places, style),
        note_row(a, a_places, style),
        degree_row(a, a_places, style),
        [style.mark(pair.relation) for pair in pairs],
        degree_row(b, b_places, style),
        note_row(b, b_places, style),
        chord_row(b, b_places, style),
        bar_row(b, b_places),
    ]
    titles = ["bar", "chord", names[0], "degree", "", "degree", names[1], "chord", "bar"]
    if not any(cell.isdigit() and cell != "1" for cell in rows[0]):
        rows[0] = []
    return marked_rows(titles, rows, pairs, style)


def marked_rows(
    titles: Sequence[str],
    rows: Sequence[Sequence[str]],
    pairs: Sequence[Pair],
    style: Style,
) -> list[str]:
    """Rows of cells, one for each pair, empty ones left out; that of marks has no title."""
    kept = [place for place, row in enumerate(rows) if any(row)]
    return columns(
        [titles[place] for place in kept],
        [rows[place] for place in kept],
        style,
        [PAINTS.get(pair.relation, "") for pair in pairs],
        frozenset({kept.index(titles.index(""))}),
    )


def note_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """Names of notes with their octave, empty where there is none."""
    return [
        ""
        if place is None
        else style.spelled(note_name(melody.midi[place], melody.fifths[place]))
        for place in places
    ]


def degree_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """Names of degrees in the printed key."""
    degrees = melody.degrees()
    found = [None if place is None else degrees[place] for place in places]
    return [
        "" if degree is None else style.spelled(degree_name(degree)) for degree in found
    ]


def chord_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """The chord symbol over the first note that stands on it."""
    cells, last = [], None
    for place in places:
        chord = None if place is None else melody.chord_at(melody.onset_ticks[place])
        fresh = chord is not None and chord != last
        cells.append(shown(style.spelled_key(chord.text)) if chord and fresh else "")
        last = chord or last
    return cells


def bar_row(melody: Melody, places: Sequence[int | None]) -> list[str]:
    """The number of a bar over its first note."""
    cells, last = [], None
    for place in places:
        bar = None if place is None else melody.bar[place]
        cells.append("" if bar is None or bar == last else str(bar))
        last = last if bar is None else bar
    return cells


def legend(pairs: Iterable[str], style: Style) -> list[str]:
    """What the marks that were used mean."""
    used = set(pairs)
    meanings: dict[str, str] = {}
    for relation, meaning in MEANINGS.items():
        if relation in used:
            # One mark has one meaning: of relations that share it, the first is told.
            meanings.setdefault(style.mark(relation), meaning)
    lines = [""]
    for meaning in map(" ".join, meanings.items()):
        if lines[-1] and len(lines[-1]) + len(meaning) + 3 > style.width:
            lines.append("")
        lines[-1] += ("   " if lines[-1] else "") + meaning
    return lines
