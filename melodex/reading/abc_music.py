"""The music of one voice of an ABC tune, token by token.

Conventions: accidentals hold to the end of the bar for their letter in every
octave, the default of the standard (11.3), or as ``%%propagate-accidentals`` says;
a tied note keeps its accidental over the bar line. A line end is no bar line:
accidentals stay, but a bar that is full there is closed, as collections leave out
the bar line at line ends. Grace notes stand apart. Times are ticks.

References
----------
The ABC music standard 2.1 (December 2011), sections 4 and 7.4.

Contents: VoiceReader, MAX_NOTES.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from melodex.errors import HostileInputError
from melodex.melody import (
    ChordSymbol,
    Grace,
    Key,
    KeyChange,
    Metre,
    MetreChange,
    SectionMark,
    Tuplet,
    fifths_of,
    midi_of,
)
from melodex.reading.abc_bars import BarBook
from melodex.reading.abc_fields import KeyField, read_text
from melodex.reading.abc_time import Clock, OpenTuplet, normal_of
from melodex.reading.abc_tokens import NOTE, NOTE_INDEX, TOKEN, bar_sign
from melodex.reading.abc_words import BAR

__all__ = ["MAX_NOTES", "VoiceReader"]

MAX_NOTES = 100_000
MAX_FAULTS = 1_000
MAX_REST_BARS = 500
LONGEST_OCTAVES = 8

ALTERATIONS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
BROKEN = {1: Fraction(1, 2), 2: Fraction(1, 4), 3: Fraction(1, 8)}
STANDARD_LETTERS = frozenset(".~HLMOPSTuv")
MARKING_DECORATIONS = frozenset(
    {"segno", "coda", "dacoda", "fine", "d.c.", "d.s.", "dacapo", "d.c.alfine"}
)
DYNAMICS = re.compile(r"[fpmsz]+|crescendo|D\.?[CS]\.?", re.I)
OLD_CHORD = re.compile(r"(?:[\^_=]{0,2}[A-Ga-g][,']*[\d/]*){2,}")
CHORD_SYMBOL = re.compile(
    r"\(?[A-H][#b♯♭=]*(?:maj|min|dim|aug|sus|add|alt|omit|ma|mi|no|[mMo]|[-+°ø^ΔØ]|\d|"
    r"[#b♯♭=]|[(),/; ]|[A-Ga-g](?![a-z]))*|N\.?\s?C\.?",
)

Pitch = tuple[int, int]
"""Semitones and place on the line of fifths."""


class VoiceReader:
    """Reads the music lines of one voice and collects what a Melody is made of."""

    def __init__(self, unit: Fraction, metre: Metre | None, chord_note: str) -> None:
        self.clock = Clock(unit)
        self.metre = metre
        self.highest = chord_note != "bottom"
        self.midi: list[int] = []
        self.fifths: list[int] = []
        self.onsets: list[int] = []
        self.durations: list[int] = []
        self.places: list[int] = []
        self.lines: list[int] = []
        self.book = BarBook()
        self.keys: list[KeyChange] = []
        self.metres = [MetreChange(0, metre)]
        self.chords: list[ChordSymbol] = []
        self.marks: list[SectionMark] = []
        self.graces: list[Grace] = []
        self.tuplets: list[Tuplet] = []
        self.written: list[int] = []
        self.faults: list[tuple[str, int, int, int]] = []
        self.letters = set(STANDARD_LETTERS)
        self.propagation = "pitch"
        self.signature = dict.fromkeys("ABCDEFG", 0)
        self.altered: dict[str, int] = {}
        self.octaves = self.semitones = 0
        self.shift_midi = self.shift_fifths = 0
        self.naturals: dict[tuple[str, str], tuple[int, int, str]] = {}
        self.tie: Pitch | None = None
        self.slurred_ties: list[tuple[int, int, int]] = []
        self.last_is_note = False
        self.waiting_graces: list[tuple[int, int, bool]] = []
        self.waiting_chords: list[str] = []
        self.waiting_marks: list[str] = []
        self.overlay_bars = 0
        self.line = 0
        self.row, self.column = 0, 0
        self.handlers: dict[str, Callable[[str, int], None]] = {
            name: getattr(self, f"take_{name}") for name in TOKEN.groupindex
        }
        self.take_field_text: Callable[[str, str], None] = lambda letter, value: None

    # What was said about the music.

    def fault(self, text: str, position: int) -> None:
        """Note something that was not understood, and where."""
        self.faults.append(
            (text, self.row, self.column + position + 1, len(self.book.bars))
        )
        if len(self.faults) > MAX_FAULTS:
            raise HostileInputError(f"more than {MAX_FAULTS} faults: this is no music")

    def set_key(self, field: KeyField) -> None:
        """Take a key, a clef or a transposition from here on."""
        self.octaves = self.octaves if field.octaves is None else field.octaves
        self.semitones = self.semitones if field.semitones is None else field.semitones
        self.shift_midi = self.semitones + 12 * self.octaves
        # Seven is its own inverse modulo twelve; the simplest spelling is taken.
        self.shift_fifths = (7 * self.semitones + 5) % 12 - 5
        self.naturals = {}
        if field.key is None:
            return
        self.signature = field.alterations
        self.altered = {}
        key = field.key
        if key.mode != "none":
            key = Key(key.tonic_fifths + self.shift_fifths, key.mode)
        change = KeyChange(
            self.clock.now, key, field.printed_fifths + self.shift_fifths, field.stated
        )
        put_change(self.keys, change)

    def set_metre(self, metre: Metre | None) -> None:
        """Take a metre from here on."""
        self.metre = metre
        put_change(self.metres, MetreChange(self.clock.now, metre))

    def mark(self, text: str) -> None:
        """Put a section mark at the next note."""
        self.waiting_marks.append(text)

    # Lines and tokens.

    def read_line(self, text: str, row: int, column: int) -> None:
        """Read one line of music; ``column`` counts what stands before it."""
        self.row, self.column = row, column
        handlers = self.handlers
        take_note = self.take_note
        for token in TOKEN.finditer(text):
            if token.lastindex == NOTE_INDEX:
                take_note(token)
            else:
                name = token.lastgroup or "junk"
                if self.overlay_bars and name != "bar":
                    continue
                handlers[name](token[name], token.start())

    def end_line(self) -> None:
        """A line of music ended without a backslash."""
        self.line += 1
        if self.metre is not None and not self.overlay_bars:
            elapsed = self.clock.now - self.book.onset
            if elapsed == self.metre.bar_ticks:
                self.close_bar("none")

    def close_bar(self, line: str) -> None:
        """End a bar without a bar line of the source."""
        if self.book.close(self.clock.now, self.metre, line):
            self.written.append(BAR)

    def take_note(self, token: re.Match[str]) -> None:
        """A single note."""
        if self.overlay_bars:
            return
        sign, letter, octave, length, tie = token.group(1, 2, 3, 4, 5)
        pitch = self.pitch(sign, letter, octave)
        clock = self.clock
        self.sound(pitch, clock.lengths.get(length) or clock.ticks(length), token.start())
        if tie:
            self.tie = pitch

    def pitch(self, sign: str | None, letter: str, octave: str) -> Pitch:
        """Semitones and fifths of a written note, its accidental remembered."""
        known = self.naturals.get((letter, octave))
        if known is None:
            known = self.natural(letter, octave)
        midi, fifths, slot = known
        if sign:
            alteration = ALTERATIONS[sign]
            if self.propagation != "not":
                self.altered[slot] = alteration
        else:
            held = self.altered.get(slot)
            alteration = self.signature[letter.upper()] if held is None else held
        return midi + alteration, fifths + 7 * alteration

    def natural(self, letter: str, octave: str) -> tuple[int, int, str]:
        """A note without accidentals, and under what name its accidental is kept."""
        if len(octave) > LONGEST_OCTAVES:
            raise HostileInputError(f"{len(octave)} octave marks on one note")
        upper = letter.upper()
        number = (4 if letter == upper else 5) + octave.count("'") - octave.count(",")
        midi = midi_of(fifths_of(upper), number)
        slot = f"{upper}{number}" if self.propagation == "octave" else upper
        known = (midi + self.shift_midi, fifths_of(upper) + self.shift_fifths, slot)
        self.naturals[letter, octave] = known
        return known

    def sound(self, pitch: Pitch, written: int, position: int) -> None:
        """Let a pitch sound, or the last one go on if it is tied to it."""
        clock = self.clock
        if clock.tuplet is not None and clock.tuplet.left <= 0:
            self.end_tuplet()
        onset = clock.now
        ticks = clock.advance(written)
        if self.tie is not None and self.continue_tie(pitch, ticks, position):
            return
        index = len(self.midi)
        if index >= MAX_NOTES:
            raise HostileInputError(f"more than {MAX_NOTES} notes in one tune")
        self.midi.append(pitch[0])
        self.fifths.append(pitch[1])
        self.onsets.append(onset)
        self.durations.append(ticks)
        self.places.append(len(self.book.bars))
        self.lines.append(self.line)
        self.written.append(index)
        self.last_is_note = True
        if self.waiting_graces:
            self.graces.extend(Grace(index, *grace) for grace in self.waiting_graces)
            self.waiting_graces = []
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(onset)

    def continue_tie(self, pitch: Pitch, ticks: int, position: int) -> bool:
        """Lengthen the tied note if this one is the same; else it was a slur."""
        tied, self.tie = self.tie, None
        # A tied note keeps its accidental over the bar line, written or not.
        same_letter = tied is not None and (tied[1] - pitch[1]) % 7 == 0
        if not (tied and same_letter and abs(tied[0] - pitch[0]) <= 2):
            self.slurred_ties.append((self.row, self.column + position + 1, 0))
            return False
        if tied != pitch and self.places[-1] == len(self.book.bars):
            self.slurred_ties.append((self.row, self.column + position + 1, 0))
            return False
        if self.waiting_graces:
            self.fault("grace notes inside a tie are left out", position)
            self.waiting_graces = []
        self.durations[-1] += ticks
        self.written.append(len(self.midi) - 1)
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now - ticks)
        return True

    def set_waiting(self, onset: int) -> None:
        """Put the chord symbols and marks that waited for a note or rest."""
        place = len(self.book.bars)
        self.chords.extend(ChordSymbol(t, place, onset) for t in self.waiting_chords)
        self.marks.extend(SectionMark(t, place, onset) for t in self.waiting_marks)
        self.waiting_chords, self.waiting_marks = [], []

    def pause(self, written: int) -> None:
        """Let a rest pass."""
        if self.clock.tuplet is not None and self.clock.tuplet.left <= 0:
            self.end_tuplet()
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now)
        self.clock.advance(written)
        self.tie = None
        self.last_is_note = False

    # Handlers: each takes the text of a token and where it stands in the line.

    def take_bar(self, text: str, position: int) -> None:
        """A bar line, with repeats and an ending perhaps."""
        if self.overlay_bars:
            self.overlay_bars -= 1
            if self.overlay_bars:
                return
        if self.clock.tuplet is not None and self.clock.tuplet.left <= 0:
            self.end_tuplet()
        before = len(self.book.bars)
        self.book.take_line(self.clock.now, self.metre, bar_sign(text))
        if len(self.book.bars) > before:
            self.written.append(BAR)
        self.altered = {}

    def take_ending(self, text: str, position: int) -> None:
        """A numbered or named ending that starts here: ``[2``."""
        self.close_bar("none")
        self.book.ending = text.lstrip("[ ").strip('"')

    def take_broken(self, text: str, position: int) -> None:
        """Broken rhythm: the notes before and behind trade time."""
        if not self.clock.last_written or self.clock.next_factor is not None:
            self.fault(f"{text} stands behind no note", position)
            return
        short = BROKEN[len(text)]
        first, second = (2 - short, short) if text[0] == ">" else (short, 2 - short)
        difference = self.clock.stretch_last(first)
        if self.last_is_note:
            self.durations[-1] += difference
        self.clock.next_factor = second

    def take_rest(self, text: str, position: int) -> None:
        """A rest, or one of many bars."""
        if text[0] in "zx":
            self.pause(self.clock.ticks(text[1:]))
        else:
            self.rest_bars(text[1:], position)

    def rest_bars(self, count: str, position: int) -> None:
        """Rest for some bars: ``Z4``."""
        bars = int(count) if count.isdigit() and len(count) < 6 else 1 if not count else 0
        if not 1 <= bars <= MAX_REST_BARS:
            raise HostileInputError(f"a rest of {count} bars")
        if self.metre is None:
            self.fault("a rest of bars without a metre counts as whole notes", position)
        full = (self.metre or Metre(4, 4)).bar_ticks
        for left in range(bars - 1, -1, -1):
            self.pause(full)
            if left:
                self.close_bar("")

    def take_tie(self, text: str, position: int) -> None:
        """A tie that stands apart from its note."""
        if self.last_is_note and self.midi:
            self.tie = (self.midi[-1], self.fifths[-1])
        else:
            self.fault("a tie stands behind no note", position)

    def take_tuplet(self, text: str, position: int) -> None:
        """The start of a tuplet: ``(p``, ``(p:q``, ``(p:q:r``."""
        parts = [*text[1:].split(":"), "", ""]
        actual = int(parts[0])
        normal = int(parts[1]) if parts[1] else normal_of(actual, self.metre)
        count = int(parts[2]) if parts[2] else actual
        if self.clock.tuplet is not None and self.clock.tuplet.left > 0:
            self.fault("a tuplet starts inside another, which ends here", position)
        self.end_tuplet()
        if actual < 2 or not normal or not count:
            self.fault(f"{text} is no tuplet", position)
            return
        start = (self.clock.now, len(self.midi))
        self.clock.tuplet = OpenTuplet(actual, normal, count, *start)

    def end_tuplet(self) -> None:
        """Close the tuplet that is open, if any, and keep it."""
        tuplet = self.clock.tuplet
        self.clock.tuplet = None
        if tuplet is None or len(self.midi) <= tuplet.first_note:
            return
        self.tuplets.append(
            Tuplet(
                tuplet.first_note,
                len(self.midi) - 1,
                tuplet.actual,
                tuplet.normal,
                tuplet.onset,
                self.clock.now - tuplet.onset,
            )
        )

    def take_quoted(self, text: str, position: int) -> None:
        """A chord symbol, or an annotation, which is no music."""
        text = read_text(text.strip('"'))
        if not text or text[0] in "^_<>@":
            return
        if CHORD_SYMBOL.fullmatch(text):
            self.waiting_chords.append(text)
        else:
            self.fault(f"{text!r} is no chord symbol; it is kept as a mark", position)
            self.mark(text)

    def take_grace(self, text: str, position: int) -> None:
        """Grace notes, which wait for the note that they decorate."""
        slashed = text.startswith("{/")
        for found in NOTE.finditer(text):
            sign, letter, octave = found.group(1, 2, 3)
            self.waiting_graces.append((*self.pitch(sign, letter, octave), slashed))
        if len(self.waiting_graces) > MAX_NOTES:
            raise HostileInputError(f"more than {MAX_NOTES} grace notes")
        rest = NOTE.sub("", text[1:-1]).strip(" /()-[]~.")
        if rest:
            self.fault(f"{rest!r} among grace notes is not understood", position)

    def take_field(self, text: str, position: int) -> None:
        """An information field within the line: ``[K:D]``."""
        self.column += position
        self.take_field_text(text[1], text[3:-1])
        self.column -= position

    def take_chord(self, text: str, position: int) -> None:
        """Notes that sound together: the chosen one is the melody."""
        inside, _, after = text[1:].rpartition("]")
        for name in re.findall(r'"[^"]*"|![^!]*!', inside):
            if name[0] == '"':
                self.take_quoted(name, position)
        inside = re.sub(r'"[^"]*"|![^!]*!', "", inside)
        notes = [
            (self.pitch(*found.group(1, 2, 3)), found[4], found[5])
            for found in NOTE.finditer(inside)
        ]
        if not notes:
            self.fault(f"{text} is no chord", position)
            return
        pick = max if self.highest else min
        pitch, _, tie = pick(notes, key=lambda note: note[0][0])
        written = self.chord_ticks(notes[0][1], after.rstrip("-"))
        self.sound(pitch, written, position)
        if tie or after.endswith("-"):
            self.tie = pitch

    def chord_ticks(self, inner: str, outer: str) -> int:
        """The length of a chord: that of its first note times its own (4.17)."""
        ticks = self.clock.ticks(inner)
        if outer:
            ticks = round(Fraction(ticks * self.clock.ticks(outer), self.clock.ticks("")))
        return max(1, ticks)

    def take_decoration(self, text: str, position: int) -> None:
        """A named decoration; places to jump to are kept as marks."""
        name = text[1:-1]
        if text[0] == "+" and OLD_CHORD.fullmatch(name) and not DYNAMICS.fullmatch(name):
            self.fault("+ + around a chord is the old spelling of [ ]", position)
            self.take_chord(f"[{name}]", position)
        elif name.lower() in MARKING_DECORATIONS:
            self.mark(name)

    def take_letter(self, text: str, position: int) -> None:
        """A decoration of one letter."""
        if text not in self.letters:
            self.fault(f"the letter {text} stands for nothing here", position)

    def take_overlay(self, text: str, position: int) -> None:
        """A second layer begins; only the first is read (7.4)."""
        self.overlay_bars = len(text)

    def take_micro(self, text: str, position: int) -> None:
        """An accidental that is no semitone: the nearest one is taken."""
        found = re.match(r"([\^_=]+)([\d/]*)([A-Ga-g])([,']*)([\d/]*)(-?)", text)
        if found is None:
            raise AssertionError(text)
        signs, amount, letter, octave, length, tie = found.groups()
        size = length_factor_or_one(amount)
        nearest = int(size + Fraction(1, 2) - Fraction(1, 1000))
        sign = {"^": ("=", "^", "^^"), "_": ("=", "_", "__")}.get(signs[-1], ("=",) * 3)
        self.fault(f"{text} is no whole semitone; the nearest one is taken", position)
        pitch = self.pitch(sign[min(nearest, 2)], letter, octave)
        self.sound(pitch, self.clock.ticks(length), position)
        if tie:
            self.tie = pitch

    def take_junk(self, text: str, position: int) -> None:
        """A sign that means nothing here."""
        if text == '"':
            self.fault("a quotation mark is never closed", position)
        else:
            self.fault(f"{text!r} is not understood", position)

    def take_nothing(self, text: str, position: int) -> None:
        """Slurs, blanks, spacers and signs of layout: no melody."""

    take_slur = take_spacer = take_silent = take_space = take_nothing

    def finish(self) -> None:
        """The music is at its end."""
        if self.clock.tuplet is not None and self.clock.tuplet.left > 0:
            self.fault("a tuplet is not complete", 0)
        self.end_tuplet()
        if self.waiting_graces:
            self.fault("grace notes before no note are left out", 0)
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now)
        self.close_bar("none")
        if self.clock.inexact:
            self.fault("some lengths are no whole number of ticks and are rounded", 0)


def put_change(changes: list[KeyChange] | list[MetreChange], change: object) -> None:
    """Add a change; one at the same place is replaced."""
    listed: list[object] = changes  # type: ignore[assignment]
    if listed and changes[-1].onset_ticks == change.onset_ticks:  # type: ignore[attr-defined]
        listed[-1] = change
    else:
        listed.append(change)


def length_factor_or_one(text: str) -> Fraction:
    """The size of a microtonal accidental in semitones."""
    found = re.fullmatch(r"(\d{0,3})(?:/(\d{0,3}))?", text)
    if not found:
        return Fraction(1)
    below = found[2]
    divisor = 1 if below is None else int(below) if below else 2
    return Fraction(int(found[1]) if found[1] else 1, divisor or 1)
