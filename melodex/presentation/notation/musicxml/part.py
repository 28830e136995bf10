"""One part of a MusicXML document: its measures, notes and what stands above them.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): order of elements in ``note``.

Contents: PartWriter.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from operator import itemgetter
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from melodex.melody import (
    TICKS_PER_QUARTER,
    KeyChange,
    degree_name,
)
from melodex.melody.placed import between, onset_of, within
from melodex.presentation.engraving.layout import Measure, StaffPart
from melodex.presentation.engraving.marks import RELATION_SHAPES
from melodex.presentation.notation.pitch import Inflections, clef_for
from melodex.presentation.notation.values import DOTTED, UNVALUED, Written
from melodex.presentation.notation.writing import (
    WrittenBar,
    by_note,
)

if TYPE_CHECKING:
    pass
from melodex.presentation.notation.musicxml.elements import (
    clean,
    ending_numbers,
    harmony,
    write_clef,
    write_key,
    write_pitch,
    write_time,
    write_transpose,
)

__all__ = ["PartWriter"]

TYPES = {0: "breve", 1: "whole", 2: "half", 4: "quarter", 8: "eighth"}
TYPES |= {16: "16th", 32: "32nd", 64: "64th", 128: "128th"}
"""Names of note values by their part of a whole note."""

ACCIDENTALS = {
    0: "natural",
    1: "sharp",
    2: "double-sharp",
    3: "triple-sharp",
    -1: "flat",
    -2: "flat-flat",
    -3: "triple-flat",
}

LINES = {"double": "light-light", "final": "light-heavy", "none": "none"}


class PartWriter:
    """Writes one part measure by measure; remembers accidentals and open endings."""

    def __init__(self, part: StaffPart, index: int) -> None:
        self.part = part
        self.melody = part.melody
        self.index = index
        self.inflections = Inflections(self.signature(None))
        self.started = False
        self.measures = 0
        self.number = 0
        self.ending = ""
        self.open_words: set[int] = set()
        self.graces_of = by_note(self.melody.graces)
        self.words_of = by_note(self.melody.lyrics)
        first = self.melody.onset_ticks[0] if part.excerpt and len(self.melody) else None
        self.marks = sorted(self.melody.marks, key=onset_of)
        self.numerals = sorted(part.numerals, key=itemgetter(0))
        self.chords = sorted(
            (
                (c.onset_ticks if first is None else max(c.onset_ticks, first), c)
                for c in self.melody.printed_chords
            ),
            key=itemgetter(0),
        )

    def signature(self, change: KeyChange | None) -> int:
        """The signature to print."""
        return self.part.signature_at(change)

    def write(self, home: Element, measure: Measure, ending_end: str) -> None:
        """One measure; how a numbered ending ends in it, if one does."""
        bar = measure.bars[self.index]
        shown = bar or next(other for other in measure.bars if other is not None)
        element = SubElement(home, "measure", {"number": str(shown.bar.number)})
        # A pickup and the second half of a split bar are not counted.
        if bar is None or shown.bar.number in {0, self.number}:
            element.set("implicit", "yes")
        self.number = shown.bar.number
        self.attributes(element, bar)
        if bar is None:
            note = SubElement(element, "note")
            SubElement(note, "rest", {"measure": "yes"})
            SubElement(note, "duration").text = str(shown.bar.duration_ticks)
            return
        self.measures += 1
        self.left_line(element, bar)
        self.inflections.new_bar()
        self.beams = edges(bar, lambda event: event.beam)
        self.tuplets = edges(bar, lambda event: event.tuplet)
        waiting = deque(sorted(self.texts(bar), key=itemgetter(0)))
        for event in rests_apart(bar):
            end = event.onset_ticks + event.duration_ticks
            while waiting and waiting[0][0] < end:
                onset, text = waiting.popleft()
                if onset > event.onset_ticks and text.tag != "sound":
                    SubElement(text, "offset").text = str(onset - event.onset_ticks)
                element.append(text)
            self.event(element, bar, event)
        self.right_line(element, bar, ending_end)

    def attributes(self, element: Element, bar: WrittenBar | None) -> None:
        """Divisions and clef once; key and time where they change."""
        first = not self.started
        key = bar.key_change if bar else None
        change = bar.metre_change if bar else None
        if first and change is None and self.melody.metres:
            change = self.melody.metres[0]
        if not first and not key and not change:
            return
        home = SubElement(element, "attributes")
        if first:
            SubElement(home, "divisions").text = str(TICKS_PER_QUARTER)
        if first or key:
            signature = self.signature(key)
            self.inflections.new_signature(signature)
            write_key(home, signature, key)
        if change:
            write_time(home, change.metre)
        if first:
            write_clef(home, *(self.part.clef or clef_for(self.melody)))
            write_transpose(home, self.part.sounds_semitones)
        self.started = True

    def texts(self, bar: WrittenBar) -> list[tuple[int, Element]]:
        """Section marks and chord symbols of a bar with their onsets."""
        low, high = bar.bar.onset_ticks, bar.bar.onset_ticks + bar.bar.duration_ticks
        out: list[tuple[int, Element]] = []
        for mark in within(self.marks, low, high):
            if clean(mark.text):
                direction = Element("direction", {"placement": "above"})
                kind = SubElement(direction, "direction-type")
                SubElement(kind, "rehearsal").text = clean(mark.text)
                out.append((mark.onset_ticks, direction))
        tempo = self.melody.tempo_quarters_per_minute
        if tempo and self.measures == 1:
            sound = Element("sound", {"tempo": f"{tempo:.6g}"})
            out.append((low, sound))
        if bar.fault:
            direction = Element("direction", {"placement": "above"})
            kind = SubElement(direction, "direction-type")
            SubElement(kind, "words").text = f"without note values: {bar.fault}"
            out.append((low, direction))
        for onset, numeral in between(self.numerals, low, high):
            if clean(numeral):
                direction = Element("direction", {"placement": "below"})
                kind = SubElement(direction, "direction-type")
                SubElement(kind, "words").text = clean(numeral)
                out.append((onset, direction))
        for onset, chord in between(self.chords, low, high):
            if (element := harmony(chord)) is not None:
                out.append((onset, element))
        return out

    def left_line(self, element: Element, bar: WrittenBar) -> None:
        """A repeat that begins, an ending that starts."""
        if not bar.bar.repeat_start and not bar.bar.ending:
            return
        line = SubElement(element, "barline", {"location": "left"})
        if bar.bar.ending:
            self.ending = ending_numbers(bar.bar.ending)
            SubElement(line, "ending", {"number": self.ending, "type": "start"})
        if bar.bar.repeat_start:
            SubElement(line, "repeat", {"direction": "forward"})

    def right_line(self, element: Element, bar: WrittenBar, ending_end: str) -> None:
        """The right bar line where it is not a plain one."""
        closes = self.ending and ending_end
        style = "light-heavy" if bar.bar.repeat_times else LINES.get(bar.bar.line)
        if not closes and not style:
            return
        line = SubElement(element, "barline", {"location": "right"})
        if style:
            SubElement(line, "bar-style").text = style
        if closes:
            kind = "stop" if ending_end == "closed" else "discontinue"
            SubElement(line, "ending", {"number": self.ending, "type": kind})
            self.ending = ""
        if bar.bar.repeat_times:
            repeat = SubElement(line, "repeat", {"direction": "backward"})
            if bar.bar.repeat_times > 2:
                repeat.set("times", str(bar.bar.repeat_times))

    # Notes

    def event(self, element: Element, bar: WrittenBar, event: Written) -> None:
        """A note, rest or blank, after its grace notes."""
        if event.blank:
            forward = SubElement(element, "forward")
            SubElement(forward, "duration").text = str(event.duration_ticks)
            return
        if event.note is not None and not event.tied_from:
            self.graces(element, event.note)
        note = SubElement(element, "note")
        alteration = None
        if event.note is None:
            SubElement(note, "rest")
        else:
            self.paint(note, event.note)
            alteration = self.pitch(note, event)
        SubElement(note, "duration").text = str(event.duration_ticks)
        for kind, wanted in (("stop", event.tied_from), ("start", event.tied_to)):
            if wanted:
                SubElement(note, "tie", {"type": kind})
        self.value(note, bar, event, alteration)
        self.notations(note, bar, event)
        if event.note is not None and not event.tied_from:
            self.words(note, event.note)

    def paint(self, note: Element, index: int) -> None:
        """The colour of the relation to the partner."""
        if self.part.relations:
            shape = RELATION_SHAPES.get(self.part.relations[index])
            if shape and shape.form not in {"cross", "dash"}:
                note.set("color", shape.colour.upper())

    def pitch(self, note: Element, event: Written) -> int | None:
        """Pitch; returns the accidental to print."""
        assert event.note is not None
        midi, fifths = self.melody.midi[event.note], self.melody.fifths[event.note]
        write_pitch(note, midi, fifths)
        return self.inflections.printed(midi, fifths, tied_from=event.tied_from)

    def graces(self, element: Element, index: int) -> None:
        """The grace notes before a note."""
        for grace in self.graces_of.get(index, ()):
            note = SubElement(element, "note")
            SubElement(note, "grace", {"slash": "yes"} if grace.slashed else {})
            write_pitch(note, grace.midi, grace.fifths)
            SubElement(note, "voice").text = "1"
            SubElement(note, "type").text = "eighth"
            printed = self.inflections.printed(grace.midi, grace.fifths)
            if printed is not None:
                SubElement(note, "accidental").text = ACCIDENTALS[printed]

    def value(
        self, note: Element, bar: WrittenBar, event: Written, alteration: int | None
    ) -> None:
        """Voice, written value, accidental, tuplet ratio and beams."""
        SubElement(note, "voice").text = "1"
        if event.value != UNVALUED:
            SubElement(note, "type").text = TYPES[event.value]
        for _ in range(event.dots):
            SubElement(note, "dot")
        if alteration is not None:
            SubElement(note, "accidental").text = ACCIDENTALS[alteration]
        if event.tuplet is not None:
            tuplet = bar.tuplets[event.tuplet]
            ratio = SubElement(note, "time-modification")
            SubElement(ratio, "actual-notes").text = str(tuplet.actual)
            SubElement(ratio, "normal-notes").text = str(tuplet.normal)
        if event.beam is not None:
            first, last = self.beams[event.beam]
            word = "end" if event is last else "begin" if event is first else "continue"
            SubElement(note, "beam", {"number": "1"}).text = word

    def notations(self, note: Element, bar: WrittenBar, event: Written) -> None:
        """Ties and tuplet brackets."""
        home = Element("notations")
        for kind, wanted in (("stop", event.tied_from), ("start", event.tied_to)):
            if wanted:
                SubElement(home, "tied", {"type": kind})
        if event.tuplet is not None:
            first, last = self.tuplets[event.tuplet]
            for kind, edge in (("start", first), ("stop", last)):
                if event is edge:
                    SubElement(home, "tuplet", {"type": kind})
        if len(home):
            note.append(home)

    def words(self, note: Element, index: int) -> None:
        """Syllables, and the degree below them in a comparison."""
        texts = [(w.verse, w.text) for w in self.words_of.get(index, ())]
        if self.part.degrees and (degree := self.part.degrees[index]) is not None:
            texts.append((max([v for v, _ in texts], default=0) + 1, degree_name(degree)))
        for verse, text in sorted(texts):
            if not clean(text):
                continue
            lyric = SubElement(note, "lyric", {"number": str(verse)})
            goes_on = len(text) > 1 and text.endswith("-")
            came = verse in self.open_words
            kinds = {(False, True): "begin", (True, True): "middle", (True, False): "end"}
            SubElement(lyric, "syllabic").text = kinds.get((came, goes_on), "single")
            self.open_words = (self.open_words - {verse}) | ({verse} if goes_on else set())
            SubElement(lyric, "text").text = clean(text[:-1] if goes_on else text)


def edges(
    bar: WrittenBar, group_of: Callable[[Written], int | None]
) -> dict[int, tuple[Written, Written]]:
    """First and last event of each group in a bar."""
    found: dict[int, tuple[Written, Written]] = {}
    for event in bar.events:
        group = group_of(event)
        if group is not None:
            found[group] = found.get(group, (event, event))[0], event
    return found


def rests_apart(bar: WrittenBar) -> Iterator[Written]:
    """The events of a bar; a silent bar longer than its metre has a rest for each length
    of it, since readers take one rest alone for a bar of the printed metre."""
    for event in bar.events:
        whole = bar.metre.bar_ticks if bar.metre else event.duration_ticks
        alone = event.note is None and not event.blank and len(bar.events) == 1
        if not alone or whole not in DOTTED or event.duration_ticks % whole:
            yield event
            continue
        value, dots = DOTTED[whole]
        for onset in range(0, event.duration_ticks, whole):
            yield replace(
                event,
                onset_ticks=event.onset_ticks + onset,
                duration_ticks=whole,
                value=value,
                dots=dots,
            )
