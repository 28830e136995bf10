"""Texts of the MEI that the engraver is given: degrees, chords, numerals, keys, sections.

Conventions: text rows are ``harm`` elements, each row of each part with its own number,
since the engraver aligns what shares one. Ids are as in
:mod:`melodex.presentation.engraving.mei`.

Contents: Line, bar_texts, note_texts; BLANK and EMPTY_BOX, which stand for what the reader
is to write, and SIGNED.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement

from melodex.melody import TICKS_PER_QUARTER, KeyChange, Melody, SectionMark
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.words import (
    SIGNPOST,
    chord_runs,
    degree_text,
    key_text,
    numeral_runs,
    readable_text,
)
from melodex.presentation.notation.pitch import Inflections, clef_for
from melodex.presentation.notation.writing import WrittenBar

__all__ = ["BLANK", "EMPTY_BOX", "SIGNED", "Line", "bar_texts", "note_texts"]

BLANK = "____"
"""Stands below a note whose degree the reader is to write: as wide as the line there."""

EMPTY_BOX = "______"
"""Stands for a numeral that the reader is to write: as wide as the box there."""

ROWS = ("chord", "numeral", "key", "section", "degree", "sign")
"""Rows of text; of those above and of those below, the nearer the stave the sooner."""

BELOW = {"degree", "sign"}
SIGNED = {"different degree", "other shape", "no partner"}
"""Relations that have a sign below the degree in place of a shape around the head."""

ROOM = "\u00a0"
"""Beside a chord symbol."""


class Line:
    """One part while it is written: what accidentals hold, what was printed."""

    def __init__(self, index: int, part: StaffPart, prefix: str) -> None:
        self.index = index
        self.part = part
        self.n = str(index + 1)
        self.prefix = f"{prefix}p{index}"
        self.started = False
        self.pieces: Counter[int] = Counter()
        self.clef = part.clef or clef_for(part.melody)
        self.inflections = Inflections(self.signature(None))
        self.lyrics: dict[int, list[tuple[int, str]]] = {}
        self.joined: dict[int, bool] = {}
        for word in part.melody.lyrics:
            self.lyrics.setdefault(word.note, []).append((word.verse, word.text))
        self.graces: dict[int, list[int]] = {}
        for place, grace in enumerate(part.melody.graces):
            self.graces.setdefault(grace.note, []).append(place)

    def signature(self, change: KeyChange | None) -> int:
        """The signature to print at a change."""
        return self.part.signature_at(change)

    def note_id(self, note: int) -> str:
        """Id of the next piece of a note."""
        piece = self.pieces[note]
        self.pieces[note] += 1
        return f"{self.prefix}n{note}" + (f"c{piece}" if piece else "")

    def row(self, name: str) -> str:
        """Number of a text row, one for each row and part."""
        return str(1 + ROWS.index(name) + len(ROWS) * self.index)


def harm(
    line: Line, row: str, place: dict[str, str], runs: list[tuple[str, bool]]
) -> Element:
    """One text of a row."""
    element = Element(
        "harm",
        {
            "staff": line.n,
            "n": line.row(row),
            "type": row,
            "place": "below" if row in BELOW else "above",
            **place,
        },
    )
    runs = [(text, raised) for text, raised in runs if text]
    if row == "chord" and runs:
        # Neighbours are set so that they touch; what is drawn leaves the room out again.
        runs[0] = (ROOM + runs[0][0], runs[0][1])
        runs[-1] = (runs[-1][0] + ROOM, runs[-1][1])
    for text, raised in runs:
        if text:
            run = SubElement(element, "rend")
            run.text = text
            if raised:
                run.set("rend", "sup")
    return element


def note_texts(line: Line, ids: dict[int, str]) -> list[Element]:
    """Degree below each note that begins in a bar."""
    out = []
    for note, note_id in ids.items():
        if line.part.degrees and (degree := line.part.degrees[note]) is not None:
            place = {"startid": f"#{note_id}", "xml:id": f"{line.prefix}d{note}"}
            text = BLANK if note in line.part.hidden else degree_text(degree)
            out.append(harm(line, "degree", place, [(text, False)]))
        if line.part.relations and line.part.relations[note] in SIGNED:
            # Only its place is wanted: the sign is drawn there, the text dropped.
            place = {"startid": f"#{note_id}", "xml:id": f"{line.prefix}s{note}"}
            out.append(harm(line, "sign", place, [("0", False)]))
    return out


def bar_texts(line: Line, bar: WrittenBar, ids: dict[int, str]) -> list[Element]:
    """Chord symbols and numerals above a bar, section marks at its start."""
    out = []
    part, melody = line.part, line.part.melody
    chords = [(c.onset_ticks, c.text) for c in melody.chords] if part.chords else []
    first = melody.onset_ticks[0] if len(melody) else bar.bar.onset_ticks
    for row, texts, runs in (
        ("chord", chords, chord_runs),
        ("numeral", part.numerals, numeral_runs),
    ):
        for onset, text in in_bar(texts, bar, first, excerpt=part.excerpt):
            out.append(harm(line, row, place_of(onset, bar, melody, ids), runs(text)))
            if row == "chord" and melody.chords_worked_out:
                out[-1].set("type", "worked")
            if row == "chord" and onset in part.boxed_chords:
                out[-1].set("type", "boxed")
    if bar.fault:
        element = Element("dir", {"staff": line.n, "tstamp": "1", "place": "above"})
        SubElement(element, "rend", {"fontstyle": "italic"}).text = (
            "not drawn: " + bar.fault
        )
        out.append(element)
    for onset, name in part.key_names:
        onset = max(onset, first) if part.excerpt else onset
        if 0 <= onset - bar.bar.onset_ticks < bar.bar.duration_ticks:
            place = place_of(onset, bar, melody, ids)
            out.append(harm(line, "key", place, [(key_text(name), False)]))
    # In a comparison a mark of one tune would read as one of both.
    for mark in () if part.relations else melody.marks:
        if 0 <= mark.onset_ticks - bar.bar.onset_ticks < bar.bar.duration_ticks:
            out.append(mark_text(line, mark, place_of(mark.onset_ticks, bar, melody, ids)))
    return out


def mark_text(line: Line, mark: SectionMark, place: dict[str, str]) -> Element:
    """The name of a section, to be boxed, or words that send the player elsewhere."""
    element = harm(line, "section", place, [(readable_text(mark.text) or "–", False)])
    if SIGNPOST.fullmatch(mark.text.strip()):
        element.set("type", "signpost")
    return element


def in_bar(
    texts: Sequence[tuple[int, str]], bar: WrittenBar, first: int, *, excerpt: bool
) -> list[tuple[int, str]]:
    """The texts of one bar; what already holds at an excerpt's first note stands there."""
    start, end = bar.bar.onset_ticks, bar.bar.onset_ticks + bar.bar.duration_ticks
    held: dict[int, str] = {}
    for onset, text in texts:
        if excerpt:
            onset = max(onset, first)
        if start <= onset < end:
            held[onset] = text
    return sorted(held.items())


def place_of(
    onset: int, bar: WrittenBar, melody: Melody, ids: dict[int, str]
) -> dict[str, str]:
    """Where a text hangs: on the note that begins there, else on the time."""
    for note, note_id in ids.items():
        if melody.onset_ticks[note] == onset:
            return {"startid": f"#{note_id}"}
    unit = bar.metre.unit_ticks if bar.metre else TICKS_PER_QUARTER
    return {"tstamp": f"{1 + (onset - bar.bar.onset_ticks) / unit:.4f}"}
