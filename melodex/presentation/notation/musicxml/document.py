"""MusicXML: a passage or a comparison, to be opened in a notation editor.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): partwise documents, order
of elements in ``note``, ``kind-value``.

Contents: musicxml_text, comparison_musicxml, score_musicxml.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, indent

from melodex.melody import (
    Melody,
)
from melodex.presentation.engraving.layout import Measure, StaffPart, in_score, in_time
from melodex.presentation.notation.musicxml.elements import clean
from melodex.presentation.notation.musicxml.part import PartWriter
from melodex.presentation.notation.writing import (
    ending_ends,
    from_first_bar,
)
from melodex.presentation.notation.written import written
from melodex.presentation.xml_text import xml_text
from melodex.reading.common.carried import FIELD, kept_beside

if TYPE_CHECKING:
    from melodex.tasks.compare.compare import Comparison

__all__ = ["comparison_musicxml", "musicxml_text", "score_musicxml"]

DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)


def musicxml_text(
    melody: Melody, *, excerpt: bool = False, sounds_semitones: int = 0
) -> str:
    """Return a melody as a MusicXML document.

    Parameters
    ----------
    melody : Melody
        At least one note.
    excerpt : bool
        Whether it was cut from a longer one.
    sounds_semitones : int
        From what is to be written to what sounds, for a transposing instrument.

    Raises
    ------
    PresentationError
        If it cannot be written (see
        :func:`melodex.presentation.notation.writing.write_out`).
    """
    name = melody.credits.part or melody.credits.title or "untitled"
    parts = [
        StaffPart(
            written(melody, sounds_semitones),
            name,
            excerpt=excerpt,
            sounds_semitones=sounds_semitones,
        )
    ]
    title = melody.credits.title
    text = document(parts, (), title)
    lost = lost_in(text, from_first_bar(melody, excerpt=excerpt))
    return document(parts, (), title, lost=lost) if lost else text


def lost_in(text: str, melody: Melody) -> str:
    """What reading the document again would not give of a melody."""
    from melodex.reading import read_bytes

    tunes = read_bytes(text.encode(), "musicxml", "").tunes
    return kept_beside(melody, tunes[0].melody) if tunes else ""


def comparison_musicxml(comparison: Comparison, *, key: str = "common") -> str:
    """Return two compared passages as one MusicXML document of two parts.

    Degrees stand below the notes as text; colour tells the relations apart where an
    editor shows it.

    Parameters
    ----------
    comparison : Comparison
        From :func:`melodex.tasks.compare.compare.compare`.
    key : str
        ``common`` or ``own``.

    Raises
    ------
    PresentationError
        As :func:`musicxml_text`.
    """
    from melodex.presentation.engraving.sides import moved_words, parts_of

    a, b = comparison.a, comparison.b
    onto = "b" if a.melody.key.mode == "none" else "a"
    parts, pairs = parts_of(a.melody, b.melody, comparison.likeness, key=key, onto=onto)
    names = []
    for part, passage in zip(parts, (a, b), strict=True):
        words = moved_words(part.melody, passage.melody)
        said = f" ({words})" if words else ""
        names.append(f"{part.label}: {passage.label}{said}")
    return document(parts, pairs, f"{a.label} and {b.label}", names)


def score_musicxml(parts: Sequence[StaffPart], names: Sequence[str], title: str) -> str:
    """Return the lines of one piece as one MusicXML document, a part for each.

    Parameters
    ----------
    parts : sequence of StaffPart
        From the top of the score, each with the same bars.
    names : sequence of str
        What each is called.
    title : str
        Of the whole.

    Raises
    ------
    PresentationError
        As :func:`musicxml_text`.
    """
    return document(parts, (), title, names, measures=in_score(parts))


def document(
    parts: Sequence[StaffPart],
    pairs: Sequence[tuple[int, int]],
    title: str,
    names: Sequence[str] = (),
    lost: str = "",
    measures: Sequence[Measure] = (),
) -> str:
    """A whole document; with what the notation loses, in a field of its own."""
    root = Element("score-partwise", {"version": "4.0"})
    if clean(title):
        SubElement(SubElement(root, "work"), "work-title").text = clean(title)
    identify(root, parts, lost)
    measures = measures or in_time(parts, pairs)
    listed = SubElement(root, "part-list")
    for index, part in enumerate(parts):
        entry = SubElement(listed, "score-part", {"id": f"P{index + 1}"})
        name = names[index] if names else part.label
        SubElement(entry, "part-name").text = clean(name)
    for index, part in enumerate(parts):
        home = SubElement(root, "part", {"id": f"P{index + 1}"})
        writer = PartWriter(part, index)
        own = [measure.bars[index] for measure in measures]
        ends = iter(ending_ends([bar.bar for bar in own if bar]))
        for measure, bar in zip(measures, own, strict=True):
            writer.write(home, measure, next(ends) if bar else "")
    indent(root, " ")
    body = xml_text(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{DOCTYPE}{body}\n'


def identify(root: Element, parts: Sequence[StaffPart], lost: str) -> None:
    """Makers, rights and source, as far as they are known."""
    about = SubElement(root, "identification")
    makers = [part.melody.credits for part in parts]

    def each(name: str) -> list[str]:
        said = dict.fromkeys(str(getattr(made, name) or "") for made in makers)
        return [clean(text) for text in said if clean(text)]

    for kind in ("composer", "lyricist"):
        for name in each(kind):
            SubElement(about, "creator", {"type": kind}).text = name
    for rights in each("rights"):
        SubElement(about, "rights").text = rights
    SubElement(SubElement(about, "encoding"), "software").text = "melodex"
    if years := each("year"):
        SubElement(about, "source").text = ", ".join(years)
    for whole in each("collection"):
        SubElement(about, "relation", {"type": "isPartOf"}).text = whole
    fields = [(name, text) for name in ("rhythm", "origin") for text in each(name)]
    if lost:
        fields.append((FIELD, lost))
    if fields:
        home = SubElement(about, "miscellaneous")
        for name, text in fields:
            SubElement(home, "miscellaneous-field", {"name": name}).text = text
