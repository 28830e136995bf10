"""The pages of a description and of a gathering.

Contents: description_page, melody_svg, gathering_page.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.analysis.degrees import degrees
from melodex.melody import note_name
from melodex.melody.tune_id import leading
from melodex.presentation.engraving.pictures import engrave_melody
from melodex.presentation.map.content import numbered, piece_map
from melodex.presentation.map.drawing import drawn_map, map_caption
from melodex.presentation.map.finds import MOST_FINDS
from melodex.presentation.map.pens import signed
from melodex.presentation.report.blocks import (
    midi_link,
    numerals_of,
    remark_sections,
    rights_lines,
    shown_title,
    solo_player,
)
from melodex.presentation.report.page import (
    Block,
    Facts,
    Fold,
    Page,
    Picture,
    Section,
    Table,
    Text,
)
from melodex.tasks.describe.describe import Description
from melodex.tasks.describe.recorded import Recorded, clock
from melodex.tasks.describe.sentences import bars_words
from melodex.tasks.gather.gather import Example, Gathering
from melodex.tasks.gather.music import GatheredMusic, Shown
from melodex.tasks.passage import Passage

__all__ = ["description_page", "gathering_page", "melody_svg"]


def description_page(found: Description) -> Page:
    """What is in a piece, as a page: words, map, notes, finds.

    Parameters
    ----------
    found : Description
        Of the describe task.
    """
    melody = found.passage.melody
    sections = []
    if len(melody) or melody.chords:
        sections.append(Section("The map of the piece", (map_picture(found),)))
    if len(melody):
        sections.append(Section("The melody", notes_blocks(found)))
    if found.finds:
        sections.append(Section("Worth telling", (finds_table(found),)))
    if found.analysis.harmony.notes:
        table = Fold(
            "The melody on its chords", (chord_notes_table(found),), on_paper=False
        )
        tables = (table, foreign_table(found)) if found.foreign else (table,)
        sections.append(Section("Melody and chords", tables))
    if found.recorded is not None and found.recorded.bars:
        table = Fold(
            "The loudness of each bar", (loudness_table(found.recorded),), on_paper=False
        )
        sections.append(Section("Loudness of the recording", (table,)))
    if found.unsaid:
        sections.append(
            Section("What cannot be said", (Text(tuple(map(signed, found.unsaid))),))
        )
    sections += remark_sections(found.passage)
    return Page(
        ", ".join(filter(None, (shown_title(melody), melody.line.words))),
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
        tunes = (counted_text(find.tunes),) if counted else ()
        rows.append((str(find.number), bars, find.kind, signed(find.sentence), *tunes))
    head = ("No.", "Bars", "What", "Why") + (("Tunes that show it",) if counted else ())
    more = len(told) - MOST_FINDS
    caption = f"Finds, and {more} more that are not listed" if more > 0 else "Finds"
    anchors = tuple(f"find-{row[0]}" for row in rows)
    return Table(caption, head, tuple(rows), anchors)


def counted_text(tunes: int | None) -> str:
    """How many tunes show something, a dash where that was not counted."""
    return "–" if tunes is None else f"{tunes:,}"


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


def foreign_table(found: Description) -> Fold:
    """The notes of the other lines that their chords do not have."""
    rows = tuple(
        (
            str(note.bar),
            note.line,
            signed(note_name(note.midi, note.fifths)),
            note.figure or "–",
            signed(note.chord),
            signed(note.numeral),
        )
        for note in found.foreign
    )
    head = ("Bar", "Line", "Note", "What it is", "Chord", "Numeral")
    table = Table("Notes of the other lines beside their chords", head, rows)
    return Fold("The other lines beside the chords", (table,), on_paper=False)


def loudness_table(recorded: Recorded) -> Table:
    """Every bar that lies between the points, where it sounds, and how loud it is."""
    rows = tuple(
        (
            str(bar.bar),
            f"{clock(bar.start)}–{clock(bar.end)}",
            "nothing heard" if bar.loudness is None else f"{bar.loudness:.1f}",
        )
        for bar in recorded.bars
    )
    caption = "Loudness of each bar, ITU-R BS.1770, over the whole bar"
    return Table(caption, ("Bar", "In the recording", "LUFS"), rows)


def listed(words: Sequence[str]) -> str:
    """Words in a list: ``1, 5 and 9``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def bars_text(first: int, last: int) -> str:
    """One bar or a stretch of bars."""
    return str(first) if first == last else f"{first}–{last}"


def gathering_page(found: Gathering | GatheredMusic) -> Page:
    """What was gathered, as a page with the passages as music, or a row for each.

    Parameters
    ----------
    found : Gathering or GatheredMusic
        Of the gather task, with notes or without.
    """
    gathering = found.gathering if isinstance(found, GatheredMusic) else found
    rights = tuple(
        dict.fromkeys(
            f"{example.name}. {example.rights or 'Rights not known.'}"
            for example in gathering.examples
        )
    )
    summary = (
        f"{'At least ' if gathering.unsure else ''}{gathering.tunes:,} of "
        f"{gathering.corpus_tunes:,} tunes show it.",
        *gathering.remarks,
    )
    told = "; ".join(gathering.wish.told())
    title = told[:1].upper() + told[1:]
    if isinstance(found, GatheredMusic):
        sections = [shown_section(n, each) for n, each in enumerate(found.shown, start=1)]
        rest = gathering.examples[len(found.shown) :]
    else:
        sections, rest = [], gathering.examples
    if rest:
        heading = "Further passages" if sections else "Where"
        sections.append(Section(heading, (examples_table(rest),)))
    return Page(title, "gather", summary, tuple(sections), rights)


def examples_table(examples: Sequence[Example]) -> Table:
    """One row for each passage."""
    rows = tuple(
        (
            example.name,
            ", ".join(part for part in (example.composer, str(example.year or "")) if part),
            bars_text(example.first_bar, example.last_bar),
            signed("; ".join(example.reasons)),
        )
        for example in examples
    )
    return Table("Passages", ("Tune", "By", "Bars", "What"), rows)


def shown_section(number: int, shown: Shown) -> Section:
    """One passage as music, with what it shows and who made it."""
    example, passage = shown.example, shown.passage
    bars = bars_words(example.first_bar, example.last_bar)
    title = f"{example.name}, {bars}"
    made = ", ".join(filter(None, (example.composer, str(example.year or ""))))
    facts = [("By", made), ("What", signed("; ".join(example.reasons)))]
    blocks: list[Block] = [Facts(tuple((name, value) for name, value in facts if value))]
    if passage is not None:
        prefix = f"g{number}"
        drawn = engrave_melody(
            passage.melody,
            numerals=numerals_of(passage.melody),
            excerpt=True,
            prefix=prefix,
            title=title,
        ).svg
        caption = shown_words(shown, passage)
        blocks.append(Picture(drawn, f"Notes: {title}", caption))
        blocks.append(solo_player(passage.melody, f"l{number}", prefix, title))
    note = f"tune {leading(example.tune_id)}"
    return Section(f"{number}. {title}", tuple(blocks), note=note, whole=True)


def shown_words(shown: Shown, passage: Passage) -> str:
    """Which bars are drawn, where they are not those that were found."""
    if not shown.is_whole:
        return "The first bars of it."
    first, last = passage.melody.bar[0], passage.melody.bar[-1]
    around = (first, last) != (shown.example.first_bar, shown.example.last_bar)
    return f"With what stands around: {bars_words(first, last)}." if around else ""
