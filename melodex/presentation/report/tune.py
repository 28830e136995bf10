"""One tune or passage by itself: a sheet to play from, in every form.

Conventions: a sheet names the tune, its makers, its year and where it was read; the
title of a passage says which bars of how many it holds.

Contents: SHEET_FORMS, sheet_as, tune_page.
"""

from __future__ import annotations

from xml.etree.ElementTree import (
    Element,
    SubElement,
    fromstring,
    register_namespace,
)

from melodex.errors import PresentationError
from melodex.melody import Melody
from melodex.presentation.engraving.marks import SVG, number
from melodex.presentation.engraving.pictures import (
    UNITS_PER_PIXEL,
    EngravedSvg,
    engrave_sheet,
)
from melodex.presentation.notation.written import said_transposition, written
from melodex.presentation.report.blocks import (
    midi_link,
    remark_sections,
    rights_lines,
    shown_title,
    solo_player,
)
from melodex.presentation.report.page import Page, Picture, Section
from melodex.presentation.xml_text import xml_text
from melodex.tasks.passage import Passage

__all__ = ["SHEET_FORMS", "sheet_as", "tune_page"]

SHEET_FORMS = ("svg", "musicxml", "abc", "midi")
HEAD_UNITS = 1500
"""Room above the music for the title and two lines below it, in the picture's units."""


def sheet_as(passage: Passage, form: str, *, tempo: float | None = None) -> str | bytes:
    """A tune or passage in one of the :data:`SHEET_FORMS`; as sound at some tempo.

    Raises
    ------
    PresentationError
        If it cannot be written.
    """
    melody, cut = passage.melody, is_cut(passage)
    if form == "svg":
        return with_head(engrave_sheet(shown_melody(passage), excerpt=cut), passage) + "\n"
    if form == "midi":
        from melodex.presentation.notation.midi import midi_bytes

        names = [passage.label if cut else melody.title]
        return midi_bytes([melody], tempo_quarters_per_minute=tempo, names=names)
    if form == "musicxml":
        from melodex.presentation.notation.musicxml.document import musicxml_text

        return musicxml_text(melody, excerpt=cut, sounds_semitones=passage.sounds_semitones)
    from melodex.presentation.notation.abc import abc_text

    if passage.sounds_semitones:
        raise PresentationError(
            "there is no abc form of what sounds otherwise than it is written",
            hint="take musicxml",
        )
    return abc_text(melody, excerpt=cut)


def shown_melody(passage: Passage) -> Melody:
    """What stands on the stave: what sounds, or what the player reads."""
    return written(passage.melody, passage.sounds_semitones)


def said_pitch(passage: Passage) -> str:
    """At which pitch a line of a transposing instrument stands; empty for others."""
    moved = passage.whole.line.transposition_semitones
    if not moved:
        return ""
    if passage.as_written:
        return f"as written, {said_transposition(moved)}"
    return "at sounding pitch"


def is_cut(passage: Passage) -> bool:
    """Whether a passage is less than its tune."""
    return len(passage.melody) < len(passage.whole)


def tune_page(passage: Passage) -> Page:
    """A tune or passage as a page with its sound."""
    melody = passage.melody
    drawn = engrave_sheet(shown_melody(passage), excerpt=is_cut(passage), prefix="sheet")
    blocks = (
        Picture(drawn.svg, f"Notes: {passage.label}"),
        solo_player(melody, "player", "sheet", passage.label),
        midi_link(passage, "tune.mid"),
    )
    sections = (Section("", blocks), *remark_sections(passage))
    kicker = melody.credits.rhythm or "tune"
    return Page(
        shown_title(melody), kicker, makers(passage), sections, rights_lines(melody)
    )


def makers(passage: Passage) -> tuple[str, ...]:
    """Who made it and when, where it comes from, and which bars of it these are."""
    made = passage.melody.credits
    names = [made.composer, f"words: {made.lyricist}" if made.lyricist else ""]
    year = str(made.year or "")
    first = ", ".join(part for part in (*names, year) if part)
    places = [made.origin, made.collection]
    if is_cut(passage):
        bars = [bar.number for bar in passage.whole.bars] or [passage.whole.bar[-1]]
        low, high = passage.melody.bar[0], passage.melody.bar[-1]
        which = f"bar {low}" if low == high else f"bars {low}-{high}"
        places.append(f"{which} of {max(bars)}")
    places.append(said_pitch(passage))
    second = ", ".join(part for part in places if part)
    return tuple(line for line in (first, second) if line)


def with_head(drawn: EngravedSvg, passage: Passage) -> str:
    """A picture with the title above it, makers at the right, the source at the left."""
    width, height = drawn.width * UNITS_PER_PIXEL, drawn.height * UNITS_PER_PIXEL
    lines = makers(passage)
    made = passage.melody.credits
    has_makers = bool(made.composer or made.lyricist or made.year)
    right = lines[0] if has_makers else ""
    left = lines[-1] if len(lines) > has_makers else ""
    head = Element(
        f"{{{SVG}}}g", {"class": "head", "fill": "currentColor", "stroke": "none"}
    )
    for text, x, anchor, size, y in (
        (shown_title(passage.melody), width / 2, "middle", 640, 620 - HEAD_UNITS),
        (left, 40, "start", 360, -330),
        (right, width - 40, "end", 360, -330),
    ):
        place = {"x": number(x), "y": number(y), "text-anchor": anchor}
        if text:
            SubElement(
                head, f"{{{SVG}}}text", place | {"font-size": number(size)}
            ).text = short(text)
    root = fromstring(drawn.svg)
    root.insert(list(root).index(root.findall(f"{{{SVG}}}defs")[0]) + 1, head)
    root.set("viewBox", f"0 {-HEAD_UNITS} {number(width)} {number(height + HEAD_UNITS)}")
    root.set("height", number((height + HEAD_UNITS) / UNITS_PER_PIXEL))
    register_namespace("", SVG)
    return xml_text(root)


def short(text: str) -> str:
    """Text without control characters, short enough for a line."""
    clean = "".join(c for c in text if c.isprintable()).strip()
    return clean if len(clean) <= 70 else clean[:69] + "…"
