"""One part of a MusicXML sheet, walked from its first measure to its last.

Conventions: the walk keeps every voice and staff; choosing the melody comes after it
(``line``). Pitches, keys and chord symbols come out as they sound. Places and
lengths are whole ticks. What is left out or mended is collected with the bars in which it
happened.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021), the partwise sheet.

Contents: transposition_of, walk_part.
"""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element

from melodex.errors import HostileInputError, ReadingError
from melodex.melody import (
    TICKS_PER_QUARTER,
    ChordSymbol,
    Dynamic,
    SectionMark,
    fifths_of,
    midi_of,
    pitch_class,
)
from melodex.melody.loudness import SIGNS
from melodex.reading.bounded import one_line, refuse_more_bars, settle
from melodex.reading.common.parts import PartSheet, WrittenNote
from melodex.reading.musicxml.bars import BarLine, bar_number, close_bar
from melodex.reading.musicxml.clock import DECIMAL, PartClock
from melodex.reading.musicxml.harmony import chord_text, whole
from melodex.reading.musicxml.note import (
    NOTE_TYPES,
    lyrics_of,
    ratio_of,
    read_notations,
)
from melodex.reading.musicxml.signs import (
    is_mark,
    printed_key,
    printed_metre,
    printed_tempo,
)

__all__ = ["transposition_of", "walk_part"]

MOST_NOTES = 100_000
MOST_WEDGES = 16
"""Hairpins that are open at once; a file numbers six at most (MusicXML 4.0)."""


def walk_part(part: Element) -> PartSheet:
    """Read every measure of a part.

    Raises
    ------
    ReadingError
        If a pitch cannot be kept, such as a quarter tone; the bar is named.
    HostileInputError
        If a limit on numbers, notes or measures is passed.
    """
    measures = part.findall("measure")
    refuse_more_bars(len(measures))
    walk = PartWalk()
    walk.clock.scale = Fraction(TICKS_PER_QUARTER) / stated_divisions(part)
    for measure in measures:
        walk.read_measure(measure)
    return walk.sheet


def stated_divisions(part: Element) -> int:
    """Divisions before the first note; missing, they follow from its type and length."""
    for element in part.iter():
        if element.tag == "divisions":
            return 1  # Read in its place.
        if element.tag == "note" and element.find("grace") is None:
            quarters = NOTE_TYPES.get((element.findtext("type") or "").strip())
            length = whole(element.findtext("duration") or "")
            if quarters and length and element.find("time-modification") is None:
                dotted = quarters * (2 - Fraction(1, 2 ** len(element.findall("dot")[:4])))
                return max(1, round(length / dotted))
            return 1
    return 1


class PartWalk:
    """Where the walk through one part stands."""

    def __init__(self) -> None:
        self.sheet = PartSheet()
        self.clock = PartClock(self.odd)
        self.transposition = (0, 0)
        self.pitches: dict[tuple[str, str, str], tuple[int, int]] = {}
        self.note_count = 0
        self.wedges: dict[str, tuple[str, int]] = {}

    def read_measure(self, measure: Element) -> None:
        """Read one measure and add its bar."""
        clock, implicit = self.clock, measure.get("implicit") == "yes"
        previous = clock.number if self.sheet.bars else None
        clock.begin(bar_number(measure.get("number", ""), implicit, previous))
        line = BarLine()
        for child in measure:
            tag = child.tag
            if tag == "note":
                self.read_note(child)
            elif tag == "backup":
                clock.move(-clock.ticks_of(child))
            elif tag == "forward":
                clock.skip(clock.ticks_of(child))
            elif tag == "attributes":
                self.read_attributes(child)
            elif tag == "harmony":
                self.read_harmony(child)
            elif tag == "direction" or tag == "sound":
                self.read_direction(child)
            elif tag == "barline":
                line.read(child)
        close_bar(self.sheet, clock, line, implicit)

    def odd(self, what: str) -> None:
        """Remember something that was left out or mended in this bar."""
        self.sheet.oddities.note(what, self.clock.number)

    # Notes

    def read_note(self, element: Element) -> None:
        """Keep one note, rest or grace note and move on."""
        self.note_count += 1
        if self.note_count > MOST_NOTES:
            raise HostileInputError(
                f"a part of more than {MOST_NOTES} notes", limit=MOST_NOTES
            )
        children = {child.tag: child for child in element}
        is_grace = "grace" in children
        ticks = 0 if is_grace else self.clock.ticks_of(element)
        if "time-modification" in children and not is_grace:
            ticks = self.clock.as_declared(element, ticks)
        in_chord = "chord" in children
        if in_chord or is_grace:
            onset = self.clock.last_onset if in_chord else self.clock.cursor
        else:
            onset = self.clock.last_onset = self.clock.cursor
            self.clock.move(ticks)
        if "cue" in children:
            self.odd("cue notes are left out")
        elif "unpitched" in children:
            self.sheet.unpitched += 1
        else:
            start, end = (
                self.clock.start + round(onset),
                self.clock.start + round(onset + ticks),
            )
            if end > start or is_grace:
                self.keep(element, children, start, end - start)

    def keep(
        self, element: Element, children: dict[str, Element], onset: int, ticks: int
    ) -> None:
        """Add a note, rest or grace note with all that hangs on it."""
        pitch, grace = children.get("pitch"), children.get("grace")
        if grace is not None and pitch is None:
            return
        midi, fifths = (-1, 0) if pitch is None else self.sounding(pitch)
        note = WrittenNote(
            onset,
            ticks,
            midi,
            fifths,
            text_in(children, "voice"),
            text_in(children, "staff"),
            len(self.sheet.bars),
            "chord" in children,
            grace=grace is not None,
            slashed=grace is not None and grace.get("slash") == "yes",
        )
        if "time-modification" in children:
            note.ratio = ratio_of(children["time-modification"])
        if grace is None and ("tie" in children or "notations" in children):
            read_notations(element, note)
        if "lyric" in children and midi >= 0:
            note.lyrics = lyrics_of(element)
        self.sheet.notes.append(note)

    def sounding(self, pitch: Element) -> tuple[int, int]:
        """Sounding pitch and spelling of a written pitch."""
        written = (
            pitch.findtext("step") or "",
            pitch.findtext("octave") or "",
            pitch.findtext("alter") or "0",
        )
        if written not in self.pitches:
            self.pitches[written] = self.new_pitch(*written)
        return self.pitches[written]

    def new_pitch(self, step: str, octave_text: str, alter_text: str) -> tuple[int, int]:
        """Sounding pitch and spelling of a pitch that this part had not yet."""
        step = step.strip().upper()
        octave, alteration = whole(octave_text), whole(alter_text)
        if alteration is None and DECIMAL.fullmatch(alter_text.lstrip(" +-")):
            raise ReadingError(
                f"bar {self.clock.number}: {step} is altered by {alter_text.strip()[:12]} "
                "semitones; only whole semitones are read"
            )
        if len(step) != 1 or step not in "ABCDEFG" or octave is None or alteration is None:
            raise ReadingError(f"bar {self.clock.number}: a pitch that cannot be read")
        semitones, fifths_moved = self.transposition
        fifths = fifths_of(step, alteration)
        midi = midi_of(fifths, octave) + semitones
        if not 0 <= midi <= 127 or abs(alteration) > 3:
            raise ReadingError(
                f"bar {self.clock.number}: a pitch outside the range of MIDI"
            )
        return midi, fifths + fifths_moved

    # What stands around the notes

    def read_attributes(self, element: Element) -> None:
        """Read divisions, transposition, key and metre, wherever they change."""
        text = element.findtext("divisions")
        if text is not None:
            self.clock.set_divisions(text)
        transpose = element.find("transpose")
        if transpose is not None:
            self.transposition = transposition_of(transpose)
            self.pitches = {}
        place = self.clock.place()
        key = element.find("key")
        if key is not None:
            change, odd = printed_key(key, place, self.transposition[1])
            settle(self.sheet.keys, change)
            if odd:
                self.odd(odd)
        time = element.find("time")
        if time is not None:
            metre_change, odd = printed_metre(time, place)
            settle(self.sheet.metres, metre_change)
            if odd:
                self.odd(odd)

    def read_harmony(self, element: Element) -> None:
        """Keep a chord symbol at its place."""
        text = chord_text(element, self.transposition[1])
        if text is None:
            self.odd("a chord without a root name is left out")
            return
        symbol = ChordSymbol(text, self.clock.number, self.clock.place_of(element))
        self.sheet.chords.append(symbol)

    def read_direction(self, element: Element) -> None:
        """Keep rehearsal marks, signs of navigation, and the first tempo."""
        if self.sheet.tempo is None:
            self.sheet.tempo = printed_tempo(element)
        for kind in element.iterfind("direction-type/*"):
            text = ""
            if kind.tag in {"dynamics", "wedge"}:
                self.read_dynamic(
                    kind,
                    self.clock.place_of(element),
                )
            if kind.tag == "rehearsal" or (kind.tag == "words" and is_mark(kind.text)):
                text = one_line(kind.text)
            elif kind.tag in {"segno", "coda"}:
                text = kind.tag
            if text:
                place = self.clock.place_of(element)
                self.sheet.marks.append(SectionMark(text, self.clock.number, place))

    def read_dynamic(self, element: Element, place: int) -> None:
        """Keep a mark of loudness, or open or close a hairpin."""
        dynamics = self.sheet.dynamics
        if element.tag == "dynamics":
            for mark in element:
                if mark.tag in SIGNS and len(dynamics) < MOST_NOTES:
                    dynamics.append(Dynamic(mark.tag, place, place))
            return
        number, kind = element.get("number", "1"), element.get("type", "")
        if kind in {"crescendo", "diminuendo"} and len(self.wedges) < MOST_WEDGES:
            self.wedges[number] = (kind, place)
        elif kind == "stop" and number in self.wedges:
            sign, begun = self.wedges.pop(number)
            if place > begun and len(dynamics) < MOST_NOTES:
                dynamics.append(Dynamic(sign, begun, place))


def text_in(children: dict[str, Element], tag: str) -> str:
    """The number of a voice or staff; 1 where none is given."""
    child = children.get(tag)
    return "1" if child is None else (child.text or "1").strip()


def transposition_of(element: Element) -> tuple[int, int]:
    """From written to sounding pitch: semitones, and places on the line of fifths."""
    chromatic = whole(element.findtext("chromatic") or "0") or 0
    octaves = whole(element.findtext("octave-change") or "0") or 0
    diatonic = whole(element.findtext("diatonic") or "")
    if abs(chromatic) > 48 or abs(octaves) > 4:
        raise HostileInputError("a transposition of more than four octaves")
    # An interval of s staff steps and c semitones is 7c - 12s fifths.
    fifths = 99 if diatonic is None else 7 * chromatic - 12 * diatonic
    if abs(fifths) > 7:
        fifths = (7 * chromatic + 5) % 12 - 5
    assert pitch_class(fifths) == chromatic % 12
    return chromatic + 12 * octaves, fifths
