"""MEI from our own notes: what the engraver is given, and nothing else.

A user's file never reaches the engraver; a Melody does, written out by
:mod:`melodex.presentation.notation.writing` and turned into MEI 5 here; the texts above
and below the notes in :mod:`melodex.presentation.engraving.mei_texts`.

Conventions: ids are ``<prefix>p<part>n<note>`` for the first piece of a note,
with ``c<piece>`` after it for pieces tied on, and ``<prefix>p<part>d<note>`` for
its degree. Parts and notes count from 0.

Contents: mei_of.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement

from melodex.melody import Bar, Metre
from melodex.presentation.engraving.layout import Measure, StaffPart
from melodex.presentation.engraving.mei_texts import Line, bar_texts, note_texts
from melodex.presentation.engraving.words import readable_text
from melodex.presentation.notation.pitch import spelled
from melodex.presentation.notation.values import DOTTED, Written, largest_values
from melodex.presentation.notation.writing import WrittenBar, ending_ends
from melodex.presentation.xml_text import xml_text

__all__ = ["mei_of"]

MEI = "http://www.music-encoding.org/ns/mei"
SIGNS = {0: "n", 1: "s", 2: "x", 3: "xs", -1: "f", -2: "ff", -3: "tf"}
"""Alteration -> MEI data.ACCIDENTAL.WRITTEN."""


def mei_of(parts: Sequence[StaffPart], measures: Sequence[Measure], prefix: str) -> str:
    """Return MEI text for parts laid out in measures."""
    root = Element("mei", {"xmlns": MEI, "meiversion": "5.0"})
    head = SubElement(SubElement(root, "meiHead"), "fileDesc")
    SubElement(SubElement(head, "titleStmt"), "title")
    SubElement(head, "pubStmt")
    music = SubElement(root, "music")
    sheet = SubElement(SubElement(SubElement(music, "body"), "mdiv"), "score")
    lines = [Line(index, part, prefix) for index, part in enumerate(parts)]
    score_def(sheet, lines, measures[0])
    section: Element = SubElement(sheet, "section")
    bars = [shared_bar(measure) for measure in measures]
    ends = ending_ends(bars)
    ending: Element | None = None
    place = -1
    for index, (measure, bar, end) in enumerate(zip(measures, bars, ends, strict=True)):
        place += not measure.begun
        if bar.ending:
            ending = ending_element(section, bar, ends[index:])
        home = section if ending is None else ending
        if index:
            change_def(home, lines, measure)
        for line, written in zip(lines, measure.bars, strict=True):
            line.started |= written is not None
            breaks = index and not measure.begun and place in line.part.breaks
            if not measure.has_bar_lines or breaks:
                SubElement(home, "sb")
        write_measure(home, lines, measure, index, is_last=index + 1 == len(measures))
        if end:
            ending = None
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + xml_text(root)


def ending_element(section: Element, bar: Bar, ends: Sequence[str]) -> Element:
    """The numbered ending that starts in a bar, closed by a stroke down or open."""
    text = readable_text(bar.ending)
    element = SubElement(section, "ending", {"n": text, "label": text})
    if next((end for end in ends if end), "open") == "open":
        element.set("lendsym", "none")
    return element


def shared_bar(measure: Measure) -> Bar:
    """What the bars of all parts agree on: repeats, endings, lines."""
    bars = [bar.bar for bar in measure.bars if bar is not None]
    first = bars[0]
    if len(measure.bars) == 1:
        return first
    if len(set(bars)) == 1 and len(bars) == len(measure.bars):
        # Lines of one score: repeats, endings and double lines are those of all.
        return first
    same = len(bars) == len(measure.bars)
    return Bar(
        first.number,
        0,
        0,
        repeat_start=same and all(bar.repeat_start for bar in bars),
        repeat_times=min(bar.repeat_times for bar in bars) if same else 0,
    )


def score_def(sheet: Element, lines: Sequence[Line], measure: Measure) -> None:
    """The staves, their clefs, and the first keys and metres."""
    definition = SubElement(sheet, "scoreDef")
    group = SubElement(definition, "staffGrp")
    if len(lines) > 1:
        group.set("symbol", "line")
    for line in lines:
        staff = SubElement(group, "staffDef", {"n": line.n, "lines": "5"})
        if line.part.label:
            SubElement(staff, "label").text = readable_text(line.part.label)
            SubElement(staff, "labelAbbr").text = readable_text(line.part.label)
        shape, place, octaves = line.clef
        clef = SubElement(staff, "clef", {"shape": shape, "line": str(place)})
        if octaves:
            clef.set("dis", "8")
            clef.set("dis.place", "above" if octaves > 0 else "below")
        key_sig(staff, line.signature(None))
        bar = measure.bars[line.index]
        if measure.has_bar_lines:
            meter_sig(staff, bar.metre if bar else line.part.melody.metre)


def key_sig(staff: Element, signature: int) -> None:
    """A key signature."""
    kind = "s" if signature > 0 else "f"
    SubElement(staff, "keySig", {"sig": f"{abs(signature)}{kind}" if signature else "0"})


def meter_sig(staff: Element, metre: Metre | None) -> None:
    """A time signature; free metre prints none."""
    if metre is None:
        return
    count = "+".join(map(str, metre.groups)) if metre.groups else str(metre.numerator)
    element = SubElement(
        staff, "meterSig", {"count": count, "unit": str(metre.denominator)}
    )
    if metre.symbol in {"C", "C|"}:
        element.set("sym", "common" if metre.symbol == "C" else "cut")


def change_def(home: Element, lines: Sequence[Line], measure: Measure) -> None:
    """Keys and metres that change at a measure."""
    changed = [
        (line, bar)
        for line in lines
        if line.started
        and (bar := measure.bars[line.index])
        and (bar.key_change or bar.metre_change)
    ]
    if not changed:
        return
    definition = SubElement(home, "scoreDef")
    group = SubElement(definition, "staffGrp")
    for line, bar in changed:
        staff = SubElement(group, "staffDef", {"n": line.n})
        if bar.key_change:
            signature = line.signature(bar.key_change)
            line.inflections.new_signature(signature)
            key_sig(staff, signature)
        if bar.metre_change:
            meter_sig(staff, bar.metre_change.metre)


def write_measure(
    home: Element, lines: Sequence[Line], measure: Measure, index: int, *, is_last: bool
) -> None:
    """One measure: its staves, then the texts that hang on them."""
    bar = shared_bar(measure)
    element = SubElement(home, "measure", {"n": str(bar.number), "metcon": "false"})
    if not measure.has_bar_lines or measure.goes_on:
        element.set("right", "invis")
    elif bar.repeat_times:
        element.set("right", "rptend")
    elif bar.line in {"double", "final", "none"}:
        element.set("right", {"double": "dbl", "final": "end", "none": "invis"}[bar.line])
    elif is_last:
        element.set("right", "single")
    if bar.repeat_start:
        element.set("left", "rptstart")
    texts: list[Element] = []
    for line in lines:
        staff = SubElement(element, "staff", {"n": line.n})
        layer = SubElement(staff, "layer", {"n": "1"})
        written = measure.bars[line.index]
        if not measure.begun:
            line.inflections.new_bar()
        if written is None:
            SubElement(layer, "mSpace")
            continue
        ids = write_layer(layer, line, written, stemless=not measure.has_bar_lines)
        make_room(staff, line, written)
        if measure.has_bar_lines:
            texts += bar_texts(line, written, ids)
        texts += note_texts(line, ids)
    element.extend(texts)


# Notes


def write_layer(
    layer: Element, line: Line, bar: WrittenBar, *, stemless: bool
) -> dict[int, str]:
    """Notes and rests of one bar; returns note index -> id for notes that begin here."""
    ids: dict[int, str] = {}
    if bar.fault:
        SubElement(layer, "mSpace")
        return ids
    if bar.is_empty and not bar.events[0].blank:
        SubElement(layer, "mRest")
        return ids
    open_tuplet: tuple[int, Element] | None = None
    open_beam: tuple[int, Element] | None = None
    for event in bar.events:
        home = layer
        if event.tuplet is not None:
            if open_tuplet is None or open_tuplet[0] != event.tuplet:
                open_tuplet = (event.tuplet, tuplet_element(layer, bar, event.tuplet))
            home = open_tuplet[1]
        else:
            open_tuplet = None
        if event.beam is not None:
            if open_beam is None or open_beam[0] != event.beam:
                open_beam = (event.beam, SubElement(home, "beam"))
            home = open_beam[1]
        else:
            open_beam = None
        write_event(home, line, event, ids, stemless=stemless)
    return ids


def make_room(staff: Element, line: Line, bar: WrittenBar) -> None:
    """Let the chords of an empty bar stand apart: a rest alone has one place for all."""
    melody = line.part.melody
    if not (bar.is_empty and line.part.chords and bar.metre):
        return
    start, end = bar.bar.onset_ticks, bar.bar.onset_ticks + bar.bar.duration_ticks
    onsets = sorted({c.onset_ticks for c in melody.chords if start < c.onset_ticks < end})
    if not onsets:
        return
    layer = SubElement(staff, "layer", {"n": "2"})
    for at, after in pairwise([start, *onsets, end]):
        for ticks in largest_values(after - at):
            value, dots = DOTTED[ticks]
            length = {"dur": str(value) if value else "breve"}
            SubElement(layer, "space", length | ({"dots": str(dots)} if dots else {}))


def tuplet_element(layer: Element, bar: WrittenBar, number: int) -> Element:
    """A tuplet; its bracket goes where one beam holds it together."""
    tuplet = bar.tuplets[number]
    inside = [event for event in bar.events if event.tuplet == number]
    beams = {event.beam for event in inside}
    return SubElement(
        layer,
        "tuplet",
        {
            "num": str(tuplet.actual),
            "numbase": str(tuplet.normal),
            "bracket.visible": "false" if len(beams) == 1 and None not in beams else "true",
        },
    )


def write_event(
    home: Element, line: Line, event: Written, ids: dict[int, str], *, stemless: bool
) -> None:
    """One note, rest or blank, with its grace notes before it."""
    length = {"dur": str(event.value) if event.value else "breve"}
    if event.dots:
        length["dots"] = str(event.dots)
    if event.note is None:
        SubElement(home, "space" if event.blank else "rest", length)
        return
    if not event.tied_from and not stemless:
        write_graces(home, line, event.note)
    note_id = line.note_id(event.note)
    if not event.tied_from:
        ids[event.note] = note_id
    note = SubElement(home, "note", {"xml:id": note_id, **length})
    if event.tied_from or event.tied_to:
        ends = {(True, True): "m", (True, False): "t", (False, True): "i"}
        note.set("tie", ends[event.tied_from, event.tied_to])
    if stemless:
        note.set("stem.visible", "false")
        # Without bar lines nothing ends an accidental: each note shows its own.
        line.inflections.new_bar()
    melody = line.part.melody
    pitch(
        note,
        line,
        melody.midi[event.note],
        melody.fifths[event.note],
        tied_from=event.tied_from,
    )
    if line.part.lyrics and not event.tied_from:
        write_lyrics(note, line, event.note)


def pitch(note: Element, line: Line, midi: int, fifths: int, *, tied_from: bool) -> None:
    """Letter, octave and accidental, printed or only sounding."""
    letter, alteration, octave = spelled(midi, fifths)
    note.set("pname", letter.lower())
    note.set("oct", str(octave))
    printed = line.inflections.printed(midi, fifths, tied_from=tied_from)
    if printed is not None:
        note.set("accid", SIGNS[printed])
    elif alteration:
        note.set("accid.ges", SIGNS[alteration])


def write_lyrics(note: Element, line: Line, index: int) -> None:
    """The syllables under a note, a line for each verse."""
    for verse, text in sorted(line.lyrics.get(index, ())):
        joined = text.endswith("-") and len(text) > 1
        syllable = SubElement(SubElement(note, "verse", {"n": str(verse)}), "syl")
        syllable.text = readable_text(text.removesuffix("-") if joined else text)
        was_joined, line.joined[verse] = line.joined.get(verse, False), joined
        if joined:
            # Only what is said to begin or go on a word gets its hyphens drawn.
            syllable.set("con", "d")
            syllable.set("wordpos", "m" if was_joined else "i")
        elif was_joined:
            syllable.set("wordpos", "t")


def write_graces(home: Element, line: Line, note: int) -> None:
    """The grace notes before a note, beamed where there are several."""
    places = line.graces.get(note, [])
    graces = [line.part.melody.graces[place] for place in places]
    if len(graces) > 1:
        home = SubElement(SubElement(home, "graceGrp"), "beam")
    for place, grace in zip(places, graces, strict=True):
        element = SubElement(
            home,
            "note",
            {
                "xml:id": f"{line.prefix}g{place}",
                "dur": "16" if len(graces) > 1 else "8",
                "grace": "unacc" if grace.slashed else "acc",
            },
        )
        if grace.slashed and len(graces) == 1:
            element.set("stem.mod", "1slash")
        pitch(element, line, grace.midi, grace.fifths, tied_from=False)
