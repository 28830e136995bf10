"""The pages of a description and of a gathering.

Contents: description_page, melody_svg, gathering_page.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.analysis.degrees import degrees
from melodex.presentation.engraving.pictures import engrave_melody
from melodex.presentation.map.content import numbered, piece_map
from melodex.presentation.map.drawing import drawn_map, map_caption
from melodex.presentation.map.finds import MOST_FINDS
from melodex.presentation.map.pens import signed
from melodex.presentation.report.blocks import (
    midi_link,
    rights_lines,
    shown_title,
    solo_player,
)
from melodex.presentation.report.page import (
    Block,
    Fold,
    Page,
    Picture,
    Section,
    Table,
    Text,
)
from melodex.tasks.describe.describe import Description
from melodex.tasks.gather.gather import Gathering

__all__ = ["description_page", "gathering_page", "melody_svg"]

COUNTED_FROM = "Degrees count from the key centre."


def description_page(found: Description) -> Page:
    """What is in a piece, as a page: words, map, notes, finds.

    Parameters
    ----------
    found : Description
        Of the describe task.
    """
    melody = found.passage.melody
    sections = [Section("The melody", notes_blocks(found))]
    if len(melody):
        sections.insert(0, Section("The map of the piece", (map_picture(found),)))
    if found.finds:
        sections.append(Section("Worth telling", (finds_table(found),)))
    if found.analysis.harmony.notes:
        table = Fold(
            "The melody on its chords", (chord_notes_table(found),), on_paper=False
        )
        sections.append(Section("Melody and chords", (table,)))
    if found.unsaid:
        sections.append(
            Section("What cannot be said", (Text(tuple(map(signed, found.unsaid))),))
        )
    return Page(
        shown_title(melody),
        "describe",
        tuple(map(signed, found.summary)),
        tuple(sections),
        rights_lines(melody),
    )


def map_picture(found: Description) -> Picture:
    """The whole piece to scale, its marks leading to the rows of the finds."""
    piece = piece_map(found)
    return Picture(drawn_map(piece), "The map of the piece", map_caption(piece))


def melody_svg(found: Description) -> str:
    """The engraved melody with degrees in its key centres, and its numerals."""
    melody = found.passage.melody
    numerals = tuple(
        (here.onset_ticks, here.numeral.text)
        for here in found.analysis.harmony.chords
        if here.numeral.text
    )
    return engrave_melody(
        melody,
        degrees=degrees(melody, found.analysis.spans or None),
        numerals=numerals,
        prefix="melody",
        title=melody.title,
    ).svg


def notes_blocks(found: Description) -> tuple[Block, ...]:
    """The engraved melody, and its sound."""
    melody = found.passage.melody
    counted = any(
        degree is not None for degree in degrees(melody, found.analysis.spans or None)
    )
    caption = "Degrees count from the key centre." if counted else ""
    return (
        Picture(melody_svg(found), f"Notes: {melody.title}", caption),
        solo_player(melody, "player", "melody", melody.title),
        midi_link(found.passage, "melody.mid"),
    )


def finds_table(found: Description) -> Table:
    """The finds under their kinds, the rarest first, as the map numbers them."""
    counted = found.corpus_tunes is not None
    told = numbered(found.finds)
    rows = []
    for find in told[:MOST_FINDS]:
        places = dict.fromkeys((each.first_bar, each.last_bar) for each in find.finds)
        bars = listed([bars_text(*place) for place in places])
        tunes = (f"{find.tunes:,}",) if counted else ()
        rows.append((str(find.number), bars, find.kind, signed(find.sentence), *tunes))
    head = ("No.", "Bars", "What", "Why") + (("Tunes that show it",) if counted else ())
    more = len(told) - MOST_FINDS
    caption = f"Finds, and {more} more that are not listed" if more > 0 else "Finds"
    anchors = tuple(f"find-{row[0]}" for row in rows)
    return Table(caption, head, tuple(rows), anchors)


def chord_notes_table(found: Description) -> Table:
    """What each melody note is on its chord."""
    melody = found.passage.melody
    rows = tuple(
        (
            str(melody.bar[row.note]),
            signed(row.chord_text),
            signed(row.numeral),
            signed(row.degree_name),
            row.kind,
        )
        for row in found.analysis.harmony.notes
    )
    return Table(
        "Melody notes on chords", ("Bar", "Chord", "Numeral", "Note", "Kind"), rows
    )


def listed(words: Sequence[str]) -> str:
    """Words in a list: ``1, 5 and 9``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def bars_text(first: int, last: int) -> str:
    """One bar or a stretch of bars."""
    return str(first) if first == last else f"{first}–{last}"


def gathering_page(found: Gathering) -> Page:
    """What was gathered, as a page with one row for each passage.

    Parameters
    ----------
    found : Gathering
        Of the gather task.
    """
    rows = tuple(
        (
            example.title or "untitled",
            ", ".join(part for part in (example.composer, str(example.year or "")) if part),
            bars_text(example.first_bar, example.last_bar),
            "; ".join(example.reasons),
        )
        for example in found.examples
    )
    table = Table("Passages", ("Tune", "By", "Bars", "What"), rows)
    rights = tuple(
        dict.fromkeys(
            f"{example.title or 'untitled'}. {example.rights or 'Rights not known.'}"
            for example in found.examples
        )
    )
    summary = (
        f"{'At least ' if found.unsure else ''}{found.tunes:,} of "
        f"{found.corpus_tunes:,} tunes show it.",
        *found.remarks,
    )
    title = "; ".join(found.wish.told())
    return Page(title, "gather", summary, (Section("Where", (table,)),), rights)
