"""The lanes of a map that are words, bands and arcs: form, keys, chords, phrases.

Each takes where it may begin and returns where the next one may; a lane with nothing to
show takes no room.

Contents: form_lane, key_lane, chord_lane, phrase_lane, TINTS.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree.ElementTree import Element

from melodex.presentation.doors import doors_open
from melodex.presentation.map.content import (
    KeyStretch,
    PhraseStretch,
    PieceMap,
    Stretch,
    short_key,
)
from melodex.presentation.map.pens import SMALL, door, lane_name, put, signed, write
from melodex.presentation.map.strips import (
    CHORD_SIZE,
    LEFT,
    Ruler,
    first_that_fits,
    rows_for,
    text_width,
)

__all__ = ["TINTS", "chord_lane", "form_lane", "key_lane", "phrase_lane"]

TINTS = ("#dfe9f7", "#fbe6cf", "#dcefdc", "#efdff2", "#f9dcdc", "#dfeeee")
"""Light enough for black words; the home key has the first, and no hatching."""
STROKES = {"same": "", "varied": "5 3", "moved": "1.6 2.6"}
"""Dashes of the arcs, by how a phrase returns."""
DEEPEST_ARC, MOST_CHORD_ROWS = 34.0, 4  # units of a map; rows


# Form


def form_lane(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """Brackets with letters and lengths; what goes on over a cut stays open there."""
    here = [part for part in piece.sections if ruler.meets(part.start, part.end)]
    if not here:
        return top
    lane_name(home, top + 11, "Form")
    for part in here:
        draw_section(home, part, ruler, top)
    return top + 25


def draw_section(home: Element, part: Stretch, ruler: Ruler, top: float) -> None:
    """One bracket, its letter above the middle of it."""
    left, right = ruler.x(part.start) + 1, ruler.x(part.end) - 1
    begins, ends = part.start >= ruler.strip.start, part.end <= ruler.strip.end
    down = f"M{left:.1f} {top + 22:.1f}V{top + 15:.1f}" if begins else ""
    across = f"M{left:.1f} {top + 15:.1f}H{right:.1f}"
    close = f"V{top + 22:.1f}" if ends else ""
    put(
        home,
        "path",
        d=f"{down or across}{f'H{right:.1f}' if down else ''}{close}",
        fill="none",
        stroke="currentColor",
        stroke_width=1.1,
    )
    bars = f"{part.aside} bar{'' if part.aside == '1' else 's'}"
    words = part.words if begins else f"({part.words})"
    wide = right - left
    # Bold letters are wider, and two neighbours must not touch.
    name = first_that_fits([words, words[:6] + "…", words[:2] + "…"], wide - 3, 14.6)
    room = wide - text_width(name, 13.5, bold=True) - 10
    aside = (
        first_that_fits([bars, part.aside], room, SMALL) if begins and name == words else ""
    )
    middle = (left + right) / 2
    if not aside:
        drawn = write(home, middle, top + 11, name, size=13, anchor="middle", bold=True)
    else:
        both = text_width(name, 13, bold=True) + 4 + text_width(aside, SMALL)
        start = middle - both / 2
        drawn = write(home, start, top + 11, name, size=13, bold=True)
        write(home, start + both, top + 11, aside, size=SMALL, anchor="end", quiet=True)
    put(drawn, "title").text = f"section {part.words}, {bars}"


# Keys


def key_lane(
    home: Element, piece: PieceMap, ruler: Ruler, top: float, prefix: str
) -> float:
    """A band of key centres with their names, and under it how each is reached."""
    here = [span for span in piece.keys if ruler.meets(span.start, span.end)]
    if not here:
        return top
    lane_name(home, top + 13, "Key")
    below: list[tuple[float, str, bool]] = []
    for span in here:
        named = draw_key(home, span, ruler, top, prefix)
        begins = span.start >= ruler.strip.start
        if not named:
            below.append((ruler.x(span.start), doubted(short_key(span.key), span), True))
        elif begins and span.how:
            below.append((ruler.x(span.start) + 4, span.how, False))
    return top + 21 + words_below(home, below, ruler, top + 29)


def doubted(name: str, span: KeyStretch) -> str:
    """A name of a key, with a question mark where it is uncertain."""
    return signed(name) + ("" if span.sure else "?")


def draw_key(
    home: Element, span: KeyStretch, ruler: Ruler, top: float, prefix: str
) -> bool:
    """One key centre; whether its name had room in it."""
    left, right = ruler.x(span.start), ruler.x(span.end)
    tint = span.tint if span.tint < len(TINTS) else 1 + (span.tint - 1) % (len(TINTS) - 1)
    box = {"x": left + 0.5, "y": top, "width": max(right - left - 1, 0.6), "height": 18.0}
    put(home, "rect", class_=f"key-{tint}", fill=TINTS[tint], **box)
    frame = put(home, "rect", stroke="currentColor", stroke_opacity="0.55", **box)
    frame.set("fill", f"url(#{prefix}hatch{tint})" if tint else "none")
    if not span.sure:
        frame.set("stroke-dasharray", "3 2")
    put(
        frame, "title"
    ).text = f"{signed(str(span.key))}{', ' if span.how else ''}{span.how}"
    options = [doubted(str(span.key), span), doubted(short_key(span.key), span)]
    name = first_that_fits(options, right - left - 7, 11.5)
    if name:
        # Words on hatching need clear ground.
        wide = text_width(name, 11, bold=True)
        if tint:
            put(
                home,
                "rect",
                class_=f"key-{tint}",
                fill=TINTS[tint],
                x=left + 2.5,
                y=top + 3,
                width=min(wide + 3, right - left - 4),
                height=12.0,
            )
        write(home, left + 4, top + 13, name, size=11, bold=True)
    return bool(name)


def words_below(
    home: Element, items: Sequence[tuple[float, str, bool]], ruler: Ruler, y: float
) -> float:
    """Words in rows under a band, names before asides; how much height they take."""
    size = SMALL
    rows = rows_for(
        [(x, text_width(text, size)) for x, text, _ in items], max(ruler.right, LEFT + 200)
    )
    lowest = -1
    for (_, text, is_name), place in zip(items, rows, strict=True):
        if place and (is_name or place[0] < 2):
            lowest = max(lowest, place[0])
            write(
                home, place[1], y + 11 * place[0], text, size=size, bold=is_name, quiet=True
            )
    return 4 + 11 * (lowest + 1)


# Chords


def chord_lane(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """Numerals in as many rows as they need; beyond the last, dots that say so."""
    start, end = ruler.strip.start, ruler.strip.end
    here = [(t, signed(text)) for t, text in piece.chords if start <= t < end]
    if not here:
        return top
    lane_name(home, top + 9, "Chords")
    doors = doors_open()
    rows = rows_for(
        [(ruler.x(t) + 1, text_width(text, CHORD_SIZE)) for t, text in here],
        ruler.right + 12,
        gap=3,
        most=MOST_CHORD_ROWS,
    )
    bottom = top + 13 + 11 * max(place[0] for place in rows if place)
    for (t, text), place in zip(here, rows, strict=True):
        if place:
            leads = door(home, doors.chord(text) if doors else "")
            drawn = write(leads, place[1], top + 9 + 11 * place[0], text, size=CHORD_SIZE)
            if piece.worked_out:
                drawn.set("font-style", "italic")
        else:
            dot = put(home, "circle", cx=ruler.x(t) + 2, cy=bottom + 4, r=1.2)
            dot.set("fill", "currentColor")
            put(dot, "title").text = text
    if None not in rows:
        return bottom
    lane_name(home, bottom + 7, "one more each")
    return bottom + 9


# Phrases


def phrase_lane(home: Element, piece: PieceMap, ruler: Ruler, top: float) -> float:
    """An arc for each phrase with its letter, and arcs to the phrases that return."""
    here = [
        (place, phrase)
        for place, phrase in enumerate(piece.phrases)
        if ruler.meets(phrase.start, phrase.end)
        and phrase.end - max(phrase.start, ruler.strip.start) > 0
    ]
    if not here:
        return top
    lane_name(home, top + 11, "Phrases")
    for _, phrase in here:
        draw_phrase(home, phrase, ruler, top)
    middles = {
        place: (ruler.x(phrase.start) + ruler.x(phrase.end)) / 2
        for place, phrase in here
        if ruler.is_home(phrase.start, phrase.end)
    }
    top += elsewhere(home, piece, middles, ruler, top + 30)
    deepest = max(draw_returns(home, piece, middles, top + 21), default=0)
    return top + 25 + deepest


def draw_phrase(home: Element, phrase: PhraseStretch, ruler: Ruler, top: float) -> None:
    """A slur and a letter."""
    left, right = ruler.x(phrase.start) + 1, ruler.x(phrase.end) - 1
    if right - left < 2:
        return
    bend = min(8.0, 3 + (right - left) / 20)
    turn = min(14.0, (right - left) / 4)
    put(
        home,
        "path",
        d=f"M{left:.1f} {top + 14:.1f}C{left + turn:.1f} {top + 14 + bend:.1f} "
        f"{right - turn:.1f} {top + 14 + bend:.1f} {right:.1f} {top + 14:.1f}",
        fill="none",
        stroke="currentColor",
        stroke_width=1.3,
    )
    if ruler.is_home(phrase.start, phrase.end):
        # A phrase of a few notes has a smaller letter, so that neighbours do not touch.
        wide = text_width(phrase.letter, 10.5, bold=True)
        size = min(10.5, max(10.5 * (right - left + 1) / wide, 5.0))
        write(
            home, (left + right) / 2, top + 11, phrase.letter.replace("'", "′"), size=size,
            anchor="middle", bold=True,
        )  # fmt: skip


def draw_returns(
    home: Element, piece: PieceMap, middles: dict[int, float], y: float
) -> Iterator[float]:
    """Arcs from phrases on this strip to those they bring back; how deep each goes."""
    for place, x in middles.items():
        phrase = piece.phrases[place]
        if phrase.of is None or phrase.of not in middles:
            continue
        back = middles[phrase.of]
        depth = min(6 + (x - back) * 0.075, DEEPEST_ARC)
        reach = min(18.0, (x - back) / 3)
        drawn = put(
            home,
            "path",
            class_="return",
            d=f"M{back:.1f} {y:.1f}C{back + reach:.1f} {y + depth * 1.33:.1f} "
            f"{x - reach:.1f} {y + depth * 1.33:.1f} {x:.1f} {y:.1f}",
            fill="none",
            stroke="#1b5aa6",
            stroke_width=1.2,
        )
        if STROKES.get(phrase.how):
            drawn.set("stroke-dasharray", STROKES[phrase.how])
        yield depth


def elsewhere(
    home: Element, piece: PieceMap, middles: dict[int, float], ruler: Ruler, y: float
) -> float:
    """Where what returns stood, if that was on a strip before; how much height it takes."""
    told = []
    for place, x in middles.items():
        of = piece.phrases[place].of
        if of is not None and of not in middles:
            text = f"as bar {piece.phrases[of].first_bar}"
            told.append((x - text_width(text, SMALL) / 2, text))
    rows = rows_for([(x, text_width(text, SMALL)) for x, text in told], ruler.right + 12)
    lowest = 0
    for (_, text), row in zip(told, rows, strict=True):
        if row:
            lowest = max(lowest, row[0] + 1)
            write(home, row[1], y + 11 * row[0], text, size=SMALL, quiet=True)
    return 11.0 * lowest
