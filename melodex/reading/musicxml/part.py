"""One part of a MusicXML sheet, walked from its first measure to its last.

Conventions: the walk keeps every voice and staff; choosing the melody comes after it
(``musicxml_line``). Pitches, keys and chord symbols come out as they sound. Places and
lengths are whole ticks; a division that does not come out whole is carried exactly and
rounded once, where a note is kept. What is left out or mended is collected in
:class:`Oddities` with the bars in which it happened.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021), the partwise sheet.

Contents: ROUNDED_TICKS, Oddities, PartSheet, walk_part.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TypeVar
from xml.etree.ElementTree import Element

from melodex.errors import HostileInputError, ReadingError
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Dynamic,
    KeyChange,
    MetreChange,
    SectionMark,
    fifths_of,
    midi_of,
    pitch_class,
)
from melodex.melody.loudness import SIGNS
from melodex.reading.bounded import one_line, settle
from melodex.reading.musicxml.harmony import chord_text, whole
from melodex.reading.musicxml.note import (
    NOTE_TYPES,
    WrittenNote,
    lyrics_of,
    ratio_of,
    read_notations,
)
from melodex.reading.musicxml.signs import (
    MOST_DIVISIONS,
    is_mark,
    printed_key,
    printed_metre,
    printed_tempo,
)

__all__ = ["ROUNDED_TICKS", "Oddities", "PartSheet", "walk_part"]

MOST_NOTES = 100_000
MOST_MEASURES = 20_000
MOST_WEDGES = 16
"""Hairpins that are open at once; a file numbers six at most (MusicXML 4.0)."""
MOST_QUARTERS = 1024
"""Longest note, gap or measure: a measure of rest for every player stays far below."""

ROUNDED_TICKS = TICKS_PER_QUARTER // 64
"""A 256th note: what is shorter is no length but a slip of rounding."""

OVERFULL_TICKS = TICKS_PER_QUARTER // 4
"""How far a bar may be overfull by a slip; what is longer was meant."""

DECIMAL = re.compile(r"\s*\d{1,9}(?:\.\d{1,6})?\s*")
ENDING_ENDS = {"stop": "closed", "discontinue": "open"}
BAR_LINES = {"light-light": "double", "light-heavy": "final", "none": "none"}


@dataclass(slots=True)
class Oddities:
    """What was left out or mended, each with the bars in which it happened."""

    bars: dict[str, list[int]] = field(default_factory=dict)

    def note(self, what: str, bar: int) -> None:
        """Remember one more bar in which something happened."""
        seen = self.bars.setdefault(what, [])
        if not seen or seen[-1] != bar:
            seen.append(bar)

    def texts(self) -> list[str]:
        """One sentence each, with the first bars named."""
        sentences = []
        for what, bars in self.bars.items():
            more = f" and {len(bars) - 6} more" if len(bars) > 6 else ""
            plural = "s" if len(bars) > 1 else ""
            sentences.append(f"{what} (bar{plural} {', '.join(map(str, bars[:6]))}{more})")
        return sentences


@dataclass(slots=True)
class PartSheet:
    """Everything in one part, in written order."""

    notes: list[WrittenNote] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)
    offsets: list[int] = field(default_factory=list)
    keys: list[KeyChange] = field(default_factory=list)
    metres: list[MetreChange] = field(default_factory=list)
    chords: list[ChordSymbol] = field(default_factory=list)
    marks: list[SectionMark] = field(default_factory=list)
    dynamics: list[Dynamic] = field(default_factory=list)
    tempo: float | None = None
    unpitched: int = 0
    oddities: Oddities = field(default_factory=Oddities)

    @property
    def pitched(self) -> int:
        """How many sounding notes the part has."""
        return sum(note.midi >= 0 and not note.grace for note in self.notes)


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
    if len(measures) > MOST_MEASURES:
        raise HostileInputError(
            f"a part of more than {MOST_MEASURES} bars", limit=MOST_MEASURES
        )
    walk = PartWalk()
    walk.scale = Fraction(TICKS_PER_QUARTER) / stated_divisions(part)
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
        self.scale = Fraction(TICKS_PER_QUARTER)
        self.start = 0
        self.cursor: int | Fraction = 0
        self.furthest: int | Fraction = 0
        self.last_onset: int | Fraction = 0
        self.transposition = (0, 0)
        self.lengths: dict[str, int | Fraction] = {}
        self.pitches: dict[tuple[str, str, str], tuple[int, int]] = {}
        self.note_count = 0
        self.number = 0
        self.mended = False
        self.wedges: dict[str, tuple[str, int]] = {}

    def read_measure(self, measure: Element) -> None:
        """Read one measure and add its bar."""
        self.cursor = self.furthest = self.last_onset = 0
        first = not self.sheet.bars
        implicit = measure.get("implicit") == "yes"
        self.number = bar_number(
            measure.get("number", ""), implicit, None if first else self.number
        )
        line = BarLine()
        for child in measure:
            tag = child.tag
            if tag == "note":
                self.read_note(child)
            elif tag == "backup":
                self.move(-self.ticks_of(child))
            elif tag == "forward":
                self.skip(self.ticks_of(child))
            elif tag == "attributes":
                self.read_attributes(child)
            elif tag == "harmony":
                self.read_harmony(child)
            elif tag == "direction" or tag == "sound":
                self.read_direction(child)
            elif tag == "barline":
                line.read(child)
        self.add_bar(line, implicit)

    def add_bar(self, line: BarLine, implicit: bool) -> None:
        """Close the measure: its length, its place in the printed bar, its lines."""
        sheet = self.sheet
        metre = sheet.metres[-1].metre if sheet.metres else None
        full = metre.bar_ticks if metre else 4 * TICKS_PER_QUARTER
        duration = round(self.furthest) or full
        if metre and full < duration < full + OVERFULL_TICKS:
            # A slip of rounding in one voice must not shift all that follows.
            duration = full
            self.odd("notes stand past the end of the bar by a little")
        elif metre and full - ROUNDED_TICKS < duration < full:
            duration = full
        bring_back(sheet.chords, self.number, self.start + duration)
        bring_back(sheet.marks, self.number, self.start + duration)
        offset = 0
        if not sheet.bars:
            offset = max(0, full - duration) if metre else 0
        elif duration < full:
            last, begun = sheet.bars[-1], sheet.offsets[-1]
            reached = begun + last.duration_ticks
            completes = reached < full and begun == 0 and reached + duration == full
            if completes or (implicit and reached < full):
                offset = reached
        sheet.offsets.append(offset)
        sheet.bars.append(
            Bar(
                self.number,
                self.start,
                duration,
                line.repeat_start,
                line.repeat_times,
                line.ending,
                "" if line.repeat_times else line.style,
                line.ending_end,
            )
        )
        self.start += duration

    def place(self, ticks: int | Fraction = 0) -> int:
        """Ticks since the start of the part, of the cursor moved by some ticks."""
        return self.start + round(self.cursor + ticks)

    def move(self, ticks: int | Fraction) -> None:
        """Move the cursor; never before the bar line, never out of bounds."""
        self.cursor += ticks
        if self.cursor < 0:
            self.cursor = 0
            self.odd("a <backup> led before the bar line")
        if self.cursor > self.furthest:
            self.furthest = self.cursor
            if self.furthest > MOST_QUARTERS * TICKS_PER_QUARTER:
                raise HostileInputError(
                    f"bar {self.number} is longer than {MOST_QUARTERS} quarters",
                    limit=MOST_QUARTERS,
                )

    def skip(self, ticks: int | Fraction) -> None:
        """Move past a gap, if rounding that has been mended did not leave it."""
        if ticks >= ROUNDED_TICKS or not self.mended:
            self.move(ticks)
        self.mended = False

    def odd(self, what: str) -> None:
        """Remember something that was left out or mended in this bar."""
        self.sheet.oddities.note(what, self.number)

    def ticks_of(self, element: Element) -> int | Fraction:
        """The length of a note, backup or forward in ticks, whole where it can be."""
        text = element.findtext("duration")
        if text is None or not DECIMAL.fullmatch(text):
            return self.ticks_of_type(element, text)
        if text not in self.lengths:
            ticks = Fraction(text.strip()) * self.scale
            if ticks > MOST_QUARTERS * TICKS_PER_QUARTER:
                raise HostileInputError(
                    f"bar {self.number}: a length of more than {MOST_QUARTERS} quarters",
                    limit=MOST_QUARTERS,
                )
            self.lengths[text] = ticks.numerator if ticks.denominator == 1 else ticks
        return self.lengths[text]

    def ticks_of_type(self, element: Element, text: str | None) -> int | Fraction:
        """The length that the note's sign stands for, where no duration is given."""
        quarters = NOTE_TYPES.get((element.findtext("type") or "").strip())
        if text is not None or quarters is None:
            self.odd("a note, backup or forward without a duration that can be read")
        if quarters is None:
            return 0
        dots = len(element.findall("dot")[:4])
        ticks = quarters * (2 - Fraction(1, 2**dots)) * TICKS_PER_QUARTER
        modification = element.find("time-modification")
        ratio = None if modification is None else ratio_of(modification)
        if ratio:
            ticks = ticks * ratio[1] / ratio[0]
        return ticks.numerator if ticks.denominator == 1 else ticks

    def as_declared(self, element: Element, ticks: int | Fraction) -> int | Fraction:
        """The length of a note in a tuplet, freed of another program's rounding.

        A third of a quarter is often written in 256ths: what sign and ratio say is
        meant where the two lie closer together than any two note values.
        """
        if (element.findtext("type") or "").strip() not in NOTE_TYPES:
            return ticks
        meant = self.ticks_of_type(element, None)
        if -ROUNDED_TICKS < meant - ticks < ROUNDED_TICKS:
            self.mended |= meant != ticks
            return meant
        return ticks

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
        ticks = 0 if is_grace else self.ticks_of(element)
        if "time-modification" in children and not is_grace:
            ticks = self.as_declared(element, ticks)
        in_chord = "chord" in children
        if in_chord or is_grace:
            onset = self.last_onset if in_chord else self.cursor
        else:
            onset = self.last_onset = self.cursor
            self.move(ticks)
        if "cue" in children:
            self.odd("cue notes are left out")
        elif "unpitched" in children:
            self.sheet.unpitched += 1
        else:
            start, end = self.start + round(onset), self.start + round(onset + ticks)
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
                f"bar {self.number}: {step} is altered by {alter_text.strip()[:12]} "
                "semitones; only whole semitones are read"
            )
        if len(step) != 1 or step not in "ABCDEFG" or octave is None or alteration is None:
            raise ReadingError(f"bar {self.number}: a pitch that cannot be read")
        semitones, fifths_moved = self.transposition
        fifths = fifths_of(step, alteration)
        midi = midi_of(fifths, octave) + semitones
        if not 0 <= midi <= 127 or abs(alteration) > 3:
            raise ReadingError(f"bar {self.number}: a pitch outside the range of MIDI")
        return midi, fifths + fifths_moved

    # What stands around the notes

    def read_attributes(self, element: Element) -> None:
        """Read divisions, transposition, key and metre, wherever they change."""
        text = element.findtext("divisions")
        if text is not None:
            divisions = Fraction(text.strip()) if DECIMAL.fullmatch(text) else Fraction(0)
            if not 0 < divisions <= MOST_DIVISIONS:
                raise HostileInputError(
                    f"bar {self.number}: {text.strip()[:20]!r} is no number of divisions"
                )
            self.scale = TICKS_PER_QUARTER / divisions
            self.lengths = {}
        transpose = element.find("transpose")
        if transpose is not None:
            self.transposition = transposition_of(transpose)
            self.pitches = {}
        place = self.place()
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
        place = self.place(self.offset_of(element))
        symbol = ChordSymbol(text, self.number, max(place, self.start))
        self.sheet.chords.append(symbol)

    def offset_of(self, element: Element) -> Fraction:
        """How far a sign is moved from the cursor, in ticks."""
        text = (element.findtext("offset") or "0").strip()
        found = re.fullmatch(r"([+-]?)(\d{1,9}(?:\.\d{1,6})?)", text)
        if not found:
            return Fraction(0)
        ticks = Fraction(found[1] + found[2]) * self.scale
        limit = Fraction(MOST_QUARTERS * TICKS_PER_QUARTER)
        return max(-limit, min(limit, ticks))

    def read_direction(self, element: Element) -> None:
        """Keep rehearsal marks, signs of navigation, and the first tempo."""
        if self.sheet.tempo is None:
            self.sheet.tempo = printed_tempo(element)
        for kind in element.iterfind("direction-type/*"):
            text = ""
            if kind.tag in {"dynamics", "wedge"}:
                self.read_dynamic(
                    kind, max(self.start, self.place(self.offset_of(element)))
                )
            if kind.tag == "rehearsal" or (kind.tag == "words" and is_mark(kind.text)):
                text = one_line(kind.text)
            elif kind.tag in {"segno", "coda"}:
                text = kind.tag
            if text:
                place = max(self.start, self.place(self.offset_of(element)))
                self.sheet.marks.append(SectionMark(text, self.number, place))

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


@dataclass(slots=True)
class BarLine:
    """What the bar lines of one measure say."""

    repeat_start: bool = False
    repeat_times: int = 0
    ending: str = ""
    ending_end: str = ""
    style: str = ""

    def read(self, element: Element) -> None:
        """Add what one ``barline`` element says."""
        repeat = element.find("repeat")
        if repeat is not None and repeat.get("direction") == "forward":
            self.repeat_start = True
        elif repeat is not None:
            times = whole(repeat.get("times", "2")) or 2
            self.repeat_times = min(max(times, 2), 99)
        ending = element.find("ending")
        if ending is not None and ending.get("type") == "start":
            self.ending = one_line(ending.get("number")).replace(" ", "")[:20]
        elif ending is not None:
            self.ending_end = ENDING_ENDS.get(ending.get("type", ""), "")
        if element.get("location", "right") == "right":
            style = (element.findtext("bar-style") or "").strip()
            self.style = BAR_LINES.get(style, "")


def bar_number(text: str, implicit: bool, previous: int | None) -> int:
    """The number a measure shows: a pickup is 0, the rest of a split bar the same."""
    if implicit:
        return 0 if previous is None else previous
    digits = re.match(r"\d{1,6}", text.strip())
    if digits:
        return int(digits[0])
    return 1 if previous is None else previous + 1


def text_in(children: dict[str, Element], tag: str) -> str:
    """The number of a voice or staff; 1 where none is given."""
    child = children.get(tag)
    return "1" if child is None else (child.text or "1").strip()


Sign = TypeVar("Sign", ChordSymbol, SectionMark)


def bring_back(signs: list[Sign], bar: int, end: int) -> None:
    """Bring the signs of a bar back to its end, where an offset has carried one past."""
    for i in range(len(signs) - 1, -1, -1):
        if signs[i].bar != bar:
            break
        if signs[i].onset_ticks > end:
            signs[i] = replace(signs[i], onset_ticks=end)


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
