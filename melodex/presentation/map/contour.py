"""The lane of the melody: notes, contour and peak, bar lines and numbers, metre and tempo.

Conventions: as in ``lanes``. All strips of a piece have the same scale of pitch.

Contents: melody_lane.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from melodex.melody import Bar
from melodex.melody.placed import between
from melodex.presentation.doors import doors_open
from melodex.presentation.map.content import PieceMap
from melodex.presentation.map.pens import (
    SMALL,
    door,
    lane_name,
    put,
    rect_path,
    signed,
    write,
)
from melodex.presentation.map.strips import LEFT, Ruler, rows_for, text_width

__all__ = ["melody_lane"]

SEMITONE, LOWEST_LANE, HIGHEST_LANE = 3.6, 50.0, 118.0  # units of a map


def melody_lane(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """The notes as long as they last, their contour by phrases, the peak, bar numbers.

    Of chords alone the bars are drawn, so that the rest has its scale.
    """
    if not piece.notes:
        top = metre_words(home, piece, ruler, top)
        bar_lines(home, piece, ruler, top, top + 10)
        bar_doors(home, piece, ruler, top, 22.0)
        return bar_numbers(home, piece, ruler, top + 20)
    lowest, highest = (pick(note[2] for note in piece.notes) for pick in (min, max))
    tall = min(max((highest - lowest) * SEMITONE, LOWEST_LANE), HIGHEST_LANE)
    top = metre_words(home, piece, ruler, top)
    top += 13 if peak_here(piece, ruler) else 2
    step = tall / max(highest - lowest, 1)

    def height_of(midi: int) -> float:
        middle = 0.0 if highest > lowest else tall / 2
        return top + 3 + (highest - midi) * step + middle

    lane_name(home, top + 7 + tall / 2, "Melody")
    write(
        home,
        LEFT - 7,
        height_of(highest) + 3,
        signed(piece.peak_name),
        size=SMALL,
        anchor="end",
    )
    if lowest < highest:
        low = signed(piece.lowest_name)
        write(home, LEFT - 7, height_of(lowest) + 3, low, size=SMALL, anchor="end")
    bar_lines(home, piece, ruler, top, top + tall + 6)
    bar_doors(home, piece, ruler, top, tall + 18)
    here = [
        (
            place,
            ruler.x(onset),
            max(ruler.x(onset + length) - ruler.x(onset), 1.6),
            height_of(midi),
        )
        for place, (onset, length, midi) in enumerate(piece.notes)
        if ruler.strip.start <= onset < ruler.strip.end
    ]
    contour(home, piece, ruler, here)
    notes = "".join(rect_path(x, y - 2, max(w - 0.7, 1.2), 4) for _, x, w, y in here)
    put(home, "path", d=notes, fill="currentColor")
    mark_peak(home, piece, ruler, here)
    return bar_numbers(home, piece, ruler, top + tall + 16)


def peak_here(piece: PieceMap, ruler: Ruler) -> bool:
    """Whether the melody peaks on this strip."""
    if piece.peak is None:
        return False
    return ruler.strip.start <= piece.notes[piece.peak][0] < ruler.strip.end


def metre_words(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """Time signatures where they start to hold, and the tempo that is printed."""
    start, end = ruler.strip.start, ruler.strip.end
    said = between(piece.metres, start, end)
    tempo = piece.tempo if start == piece.bars[0].onset_ticks else None
    if not said and tempo is None:
        return top
    items = [
        (ruler.x(onset) + 1, text_width(text, SMALL, bold=True)) for onset, text in said
    ]
    if tempo:
        first = items[0][1] + 6 if items and items[0][0] < LEFT + 4 else 0.0
        draw_tempo(home, LEFT + 1 + first, top + 10, tempo)
    for (_, text), place in zip(
        said, rows_for(items, ruler.right + 12, most=1), strict=True
    ):
        if place and not (tempo and LEFT + 4 < place[1] < LEFT + 70):
            write(home, place[1], top + 10, text, size=SMALL, bold=True)
    return top + 12


def draw_tempo(home: Element, x: float, y: float, tempo: float) -> None:
    """A quarter note and its number."""
    head = put(home, "ellipse", cx=x + 3, cy=y - 1.6, rx=2.6, ry=1.9, fill="currentColor")
    head.set("transform", f"rotate(-20 {x + 3:.1f} {y - 1.6:.1f})")
    put(
        home, "path", d=f"M{x + 5.4:.1f} {y - 2:.1f}v-7.5", stroke="currentColor",
        stroke_width=0.9,
    )  # fmt: skip
    write(home, x + 8.5, y, f"= {tempo:.0f}", size=SMALL)


def bar_lines(
    home: Element, piece: PieceMap, ruler: Ruler, top: float, bottom: float
) -> None:
    """Where bars begin, sections stronger."""
    strong = {part.start for part in piece.sections} | {ruler.strip.start, ruler.strip.end}
    places = [b.onset_ticks for b in strip_bars(piece, ruler)] + [ruler.strip.end]
    for kind, opacity in ((False, "0.18"), (True, "0.6")):
        path = "".join(
            f"M{ruler.x(t):.1f} {top:.1f}V{bottom:.1f}"
            for t in places
            if (t in strong) is kind
        )
        if path:
            put(home, "path", d=path, stroke="currentColor", stroke_opacity=opacity)


def bar_doors(
    home: Element, piece: PieceMap, ruler: Ruler, top: float, tall: float
) -> None:
    """Where bars lead to their music, ground that can be met behind each of them."""
    doors = doors_open()
    for bar in strip_bars(piece, ruler) if doors else ():
        left = ruler.x(bar.onset_ticks)
        link = door(home, doors.bar(bar.number) if doors else "")
        put(link, "title").text = f"bar {bar.number}: its music"
        put(
            link, "rect", x=left, y=top, height=tall, fill="currentColor", fill_opacity="0",
            width=max(ruler.x(bar.onset_ticks + bar.duration_ticks) - left, 1.0),
        )  # fmt: skip


def strip_bars(piece: PieceMap, ruler: Ruler) -> Sequence[Bar]:
    """The bars of a strip."""
    return piece.bars[ruler.strip.first : ruler.strip.last + 1]


Laid = tuple[int, float, float, float]
"""Index of a note, where it begins, how wide and how high it is."""


def contour(home: Element, piece: PieceMap, ruler: Ruler, here: Sequence[Laid]) -> None:
    """A line through the notes of each phrase."""
    starts = {phrase.start for phrase in piece.phrases}
    path, pen = "", "M"
    for place, x, wide, y in here:
        if piece.notes[place][0] in starts:
            pen = "M"
        path += f"{pen}{x:.1f} {y:.1f}L{x + wide:.1f} {y:.1f}"
        pen = "L"
    if path:
        put(
            home, "path", d=path, fill="none", stroke="currentColor",
            stroke_opacity="0.32", stroke_width=0.9,
        )  # fmt: skip


def mark_peak(home: Element, piece: PieceMap, ruler: Ruler, here: Sequence[Laid]) -> None:
    """A ring around the highest note where it is strongest, and its name."""
    found = next((row for row in here if row[0] == piece.peak), None)
    if not found:
        return
    _, x, wide, y = found
    put(
        home, "rect", class_="peak", x=x - 2.5, y=y - 4.6, width=wide + 4.4, height=9.2,
        rx=4.6, fill="none", stroke="#b01b2e", stroke_width=1.5,
    )  # fmt: skip
    words = f"{signed(piece.peak_name)}, the peak"
    place = min(x - 2, ruler.right - text_width(words, 9.5) + 8)
    write(home, max(place, LEFT), y - 7, words, size=9.5, bold=True)


def bar_numbers(home: Element, piece: PieceMap, ruler: Ruler, y: float) -> float:
    """Printed numbers, at the start, at sections and every so many bars."""
    sections = {part.start for part in piece.sections}
    bars = strip_bars(piece, ruler)
    each = next(
        n for n in (1, 2, 4, 8, 16, 32, 10_000)
        if n * (ruler.right - LEFT) / len(bars) >= 22 or n == 10_000
    )  # fmt: skip
    free = 0.0
    for place, bar in enumerate(bars):
        again = place and bars[place - 1].number == bar.number
        wanted = not place or bar.onset_ticks in sections or (bar.number - 1) % each == 0
        x = ruler.x(bar.onset_ticks) + 1
        if wanted and not again and x >= free:
            write(home, x, y, str(bar.number), size=SMALL, quiet=True)
            free = x + text_width(str(bar.number), SMALL) + 4
    return y + 6
