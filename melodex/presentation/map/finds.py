"""The lane of finds: a row for each kind, a numbered mark for each place.

Conventions: a kind has its name left of its row, so that no word lies over a mark. Marks
that would overlap lie below one another. Each mark leads to the row of its sentence.

Contents: find_lane, kinds_of, MOST_KINDS, MOST_FINDS.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from melodex.presentation.map.content import NumberedFind, PieceMap
from melodex.presentation.map.pens import SMALL, put, signed, write
from melodex.presentation.map.strips import LEFT, Ruler, rows_for, text_width

__all__ = ["MOST_FINDS", "MOST_KINDS", "find_lane", "kinds_of"]

MOST_KINDS = 12
"""Rows that a map has for finds, those of the rarest kinds."""
MOST_FINDS = 60
"""Sentences that are told; a mark needs one to lead to."""
MOST_PLACES, LONGEST_TOLD = 40, 600
"""Places that a mark names, and characters that it shows: it leads to the rest."""
MARK_HEIGHT, ROW, NAMES_LEFT = 10.0, 12.0, 4.0  # units of a map

Mark = tuple[NumberedFind, int, int]
"""A find, and from when to when it sounds at one place."""


def kinds_of(piece: PieceMap) -> list[str]:
    """The kinds of the finds that are told, in their order."""
    return list(dict.fromkeys(f.kind for f, _ in piece.finds if f.number <= MOST_FINDS))


def find_lane(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """The finds of a strip; without any no room is taken."""
    rows = [
        (kind, marks)
        for kind in kinds_of(piece)[:MOST_KINDS]
        if (marks := marks_of(piece, kind, ruler))
    ]
    if not rows:
        return top
    words = put(home, "g", aria_hidden="true")
    if piece.corpus_tunes:
        head = f"Finds, in how many of {piece.corpus_tunes:,} tunes"
        write(words, NAMES_LEFT, top + 9, head, size=SMALL, quiet=True)
    else:
        write(words, NAMES_LEFT, top + 9, "Finds", size=SMALL, quiet=True)
    top += 13
    for kind, marks in rows:
        top = draw_kind(home, kind, marks, ruler, top)
    return top


def marks_of(piece: PieceMap, kind: str, ruler: Ruler) -> list[Mark]:
    """The places of one kind on a strip, in the order of time."""
    marks = [
        (find, start, end)
        for find, places in piece.finds
        if find.kind == kind and find.number <= MOST_FINDS
        for start, end in places
        if ruler.meets(start, end)
    ]
    return sorted(marks, key=lambda mark: (mark[1], mark[2], mark[0].number))


def draw_kind(
    home: Element, kind: str, marks: Sequence[Mark], ruler: Ruler, top: float
) -> float:
    """One kind: its name, how many tunes show it, and its marks beside them."""
    words = put(home, "g", aria_hidden="true")
    tunes = marks[0][0].tunes
    count = "" if tunes is None else f"{tunes:,}"
    room = LEFT - 12 - NAMES_LEFT - text_width(count, SMALL)
    size = min(SMALL, SMALL * room / text_width(kind, SMALL))
    write(words, NAMES_LEFT, top + 9, kind, size=size)
    write(words, LEFT - 7, top + 9, count, size=SMALL, anchor="end", quiet=True)
    widths = [mark_width(ruler, *mark) for mark in marks]
    starts = [ruler.x(start) for _, start, _ in marks]
    rows = rows_for(zip(starts, widths, strict=True), ruler.right + 10, gap=1)
    # Each mark tells all places of its find: they are put together once.
    told = {find.number: told_of(find) for find, *_ in marks}
    for mark, wide, row in zip(marks, widths, rows, strict=True):
        if row:
            number = mark[0].number
            draw_mark(home, number, told[number], row[1], wide, top + 1 + ROW * row[0])
    return top + ROW * (1 + max(row[0] for row in rows if row)) + 1


def mark_width(ruler: Ruler, find: NumberedFind, start: int, end: int) -> float:
    """As long as it sounds, and at least as wide as its number."""
    return max(ruler.x(end) - ruler.x(start) - 1.5, text_width(str(find.number), 8.5) + 5.0)


def told_of(find: NumberedFind) -> tuple[str, str]:
    """What is read out at a mark, and what is shown where the pointer rests on it."""
    places = dict.fromkeys(
        str(a) if a == b else f"{a}–{b}" for each in find.finds for a, b in each.passages
    )
    listed = ", ".join(list(places)[:MOST_PLACES])
    more = f" and {len(places) - MOST_PLACES} more" if len(places) > MOST_PLACES else ""
    sentence = shortened(signed(find.sentence[: 2 * LONGEST_TOLD]), LONGEST_TOLD)
    return (
        f"{find.number}: {find.kind}, bars {listed}{more}",
        f"{find.number}. {sentence}",
    )


def shortened(text: str, longest: int) -> str:
    """A text cut where it is longer than helps."""
    return text if len(text) <= longest else f"{text[:longest].rstrip()} …"


def draw_mark(
    home: Element, number: int, told: tuple[str, str], x: float, wide: float, y: float
) -> None:
    """A mark that leads to its sentence."""
    link = put(home, "a", href=f"#find-{number}", class_="mark", aria_label=told[0])
    put(link, "title").text = told[1]
    put(
        link, "rect", x=x, y=y, width=wide, height=MARK_HEIGHT, rx=2.5, fill="#c98a1b",
        fill_opacity="0.3", stroke="currentColor", stroke_width=0.8,
    )  # fmt: skip
    write(link, x + 2.5, y + 8, str(number), size=8.5, bold=True)
