"""The music of one voice of an ABC tune, token by token.

Conventions: a tied note keeps its accidental over the bar line. A line end is no bar line:
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
from typing import Any

from melodex.errors import HostileInputError
from melodex.melody import (
    ChordSymbol,
    Dynamic,
    Grace,
    KeyChange,
    Metre,
    MetreChange,
    SectionMark,
    Tuplet,
)
from melodex.melody.loudness import SIGNS
from melodex.reading.abc.bars import BarBook
from melodex.reading.abc.faults import FaultList
from melodex.reading.abc.fields import KeyField, read_text
from melodex.reading.abc.pitch import Pitch, PitchReader, nearest_sign
from melodex.reading.abc.time import UNCHANGED, Clock, OpenTuplet, normal_of
from melodex.reading.abc.tokens import NOTE, NOTE_INDEX, TOKEN, bar_sign
from melodex.reading.abc.words import BAR
from melodex.reading.common.chord_text import is_signpost, may_be_chord
from melodex.reading.common.fermatas import phrases_held

__all__ = ["MAX_NOTES", "VoiceReader"]

MAX_NOTES = 100_000
MIDI, FIFTHS, DURATION, PLACE = -6, -5, -3, -2
"""Where the last note's numbers stand in the flat list."""

MAX_REST_BARS = 500
"""Bars of one rest (Z of abc 2.1, 4.5) that are believed; our choice."""

BROKEN = {1: 1 / 2, 2: 1 / 4, 3: 1 / 8}
"""Share of its length that the shortened note keeps, by the number of signs (abc 2.1,
4.4)."""
STANDARD_LETTERS = frozenset(".~HLMOPSTuv")
MARKING_DECORATIONS = frozenset(
    {"segno", "coda", "dacoda", "fine", "d.c.", "d.s.", "dacapo", "d.c.alfine"}
)
HAIRPINS = {
    "crescendo": "crescendo",
    "<": "crescendo",
    "diminuendo": "diminuendo",
    ">": "diminuendo",
}
"""What opens with ``(`` and closes with ``)`` (ABC 2.1, 4.14)."""
FERMATAS = frozenset({"fermata", "invertedfermata"})
MICROTONAL_NOTE = re.compile(r"([\^_=]+)([\d/]*)([A-Ga-g][,']*)([\d/]*)(-?)")
DYNAMICS = re.compile(r"[fpmsz]+|crescendo|D\.?[CS]\.?", re.I)
OLD_CHORD = re.compile(r"(?:[\^_=]{0,2}[A-Ga-g][,']*[\d/]*){2,}")


class VoiceReader:
    """Reads the music lines of one voice and collects what a Melody is made of.

    ``flat`` holds six numbers a sounding note, one after the other: midi, fifths,
    onset, duration, place among the bars, line of the source. A list of numbers alone
    is no work for the garbage collector.
    """

    def __init__(
        self,
        clock: Clock,
        metre: Metre | None,
        pitches: PitchReader,
        take_field_text: Callable[[str, str], None],
        *,
        lowest: bool = False,
        has_words: bool = False,
    ) -> None:
        self.clock = clock
        self.metre = metre
        self.pitches = pitches
        self.take_field_text = take_field_text
        self.pick: Callable[..., Any] = min if lowest else max
        self.has_words = has_words
        self.flat: list[int] = []
        self.written: list[int] = []
        self.book = BarBook()
        self.keys: list[KeyChange] = []
        self.metres = [MetreChange(0, metre)]
        self.chords: list[ChordSymbol] = []
        self.marks: list[SectionMark] = []
        self.dynamics: list[Dynamic] = []
        self.hairpins: dict[str, int] = {}
        self.graces: list[Grace] = []
        self.tuplets: list[Tuplet] = []
        self.faults = FaultList()
        self.letters = STANDARD_LETTERS
        self.fermata_letters = frozenset("H")
        self.held: set[int] = set()
        self.waiting_fermata = False
        self.tie: Pitch | None = None
        self.last_is_note = False
        self.waiting_graces: list[tuple[int, int, bool]] = []
        self.waiting_chords: list[str] = []
        self.waiting_marks: list[str] = []
        self.plain = not has_words
        self.overlay_bars = 0
        self.bare = False
        self.line = 0
        self.row, self.column = 0, 0

    @property
    def count(self) -> int:
        """How many notes have sounded."""
        return len(self.flat) // 6

    def columns(self) -> list[tuple[int, ...]]:
        """The six columns of the notes, each of shape (n,)."""
        return [tuple(self.flat[column::6]) for column in range(6)]

    def phrases(self) -> tuple[int, ...]:
        """The phrase of each note, where fermatas mark phrases."""
        return phrases_held([index in self.held for index in range(self.count)])

    # What the fields say.

    def fault(self, text: str, position: int) -> None:
        """Note something that was not understood, and where."""
        self.faults.add(text, self.row, self.column + position + 1, len(self.book.bars))

    def set_key(self, field: KeyField) -> None:
        """Take a key, a clef or a transposition from here on."""
        change = self.pitches.set_key(field, self.clock.now)
        if change is not None:
            if self.keys and self.keys[-1].onset_ticks == change.onset_ticks:
                self.keys.pop()
            self.keys.append(change)

    def set_metre(self, metre: Metre | None) -> None:
        """Take a metre from here on."""
        self.metre = metre
        if self.metres[-1].onset_ticks == self.clock.now:
            self.metres.pop()
        self.metres.append(MetreChange(self.clock.now, metre))

    def mark(self, text: str) -> None:
        """Put a section mark at the next note."""
        self.waiting_marks.append(text)
        self.plain = False

    def hold_long(self) -> None:
        """Put a fermata over the next note."""
        self.waiting_fermata = True
        self.plain = False

    def define_letter(self, letter: str, meaning: str) -> None:
        """Let a letter stand for a decoration from here on."""
        self.letters |= {letter}
        says_fermata = meaning.strip(" =!+").lower() in FERMATAS
        self.fermata_letters -= {letter}
        self.fermata_letters |= {letter} if says_fermata else set()

    # Lines and tokens.

    def read_line(self, text: str, row: int, column: int) -> None:
        """Read one line of music; ``column`` counts what stands before it."""
        self.row, self.column = row, column
        clock, pitches, flat = self.clock, self.pitches, self.flat
        line, bars = self.line, self.book.bars
        for token in TOKEN.finditer(text):
            if token.lastindex != NOTE_INDEX:
                name = token.lastgroup or "junk"
                if not self.overlay_bars or name == "bar":
                    HANDLERS[name](self, token[name], token.start())
                continue
            sign, name, length, tie = token.group(1, 2, 3, 4)
            pitch = None if sign else pitches.now.get(name)
            ticks = clock.lengths.get(length)
            if pitch is None or ticks is None or tie or not self.plain:
                self.take_note(sign, name, length, tie, token.start())
                continue
            # The common case of :meth:`sound`, spelled out for speed.
            now = clock.now
            flat += (pitch[0], pitch[1], now, ticks, len(bars), line)
            clock.now = now + ticks
            clock.last_written = clock.last_base = ticks
            clock.last_factor = UNCHANGED
            self.last_is_note = True
        if len(flat) > 6 * MAX_NOTES:
            raise HostileInputError(
                f"more than {MAX_NOTES} notes in one tune", limit=MAX_NOTES
            )

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

    def take_note(
        self, sign: str | None, name: str, length: str, tie: str, position: int
    ) -> None:
        """A single note."""
        if self.overlay_bars:
            return
        pitch = self.pitches.pitch(sign, name)
        self.sound(pitch, self.clock.ticks(length), position)
        if tie:
            self.hold(pitch)

    def hold(self, pitch: Pitch) -> None:
        """A tie starts from a note of this pitch."""
        self.tie = pitch
        self.plain = False

    def sound(self, pitch: Pitch, written: int, position: int) -> None:
        """Let a pitch sound, or the last one go on if it is tied to it."""
        clock = self.clock
        self.leave_tuplet()
        onset = clock.now
        ticks = clock.advance(written)
        tied = self.tie is not None and self.continue_tie(pitch, ticks, position)
        if not tied:
            self.flat += (*pitch, onset, ticks, len(self.book.bars), self.line)
        index = self.count - 1
        self.last_is_note = True
        if self.has_words:
            self.written.append(index)
        if self.waiting_graces:
            if tied:
                self.fault("grace notes inside a tie are left out", position)
            else:
                self.graces.extend(Grace(index, *grace) for grace in self.waiting_graces)
            self.waiting_graces = []
        if self.waiting_fermata:
            self.held.add(index)
            self.waiting_fermata = False
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(onset)
        self.plain = clock.tuplet is None and not self.has_words

    def continue_tie(self, pitch: Pitch, ticks: int, position: int) -> bool:
        """Lengthen the tied note if this one is the same; else it was a slur."""
        tied, self.tie = self.tie, None
        # Over a bar line a tied note keeps its accidental without writing it again.
        over_bar = self.flat[PLACE] != len(self.book.bars)
        alike = tied is not None and (
            tied == pitch
            or (over_bar and (tied[1] - pitch[1]) % 7 == 0 and abs(tied[0] - pitch[0]) <= 2)
        )
        if alike:
            self.flat[DURATION] += ticks
        else:
            self.fault("a tie between different notes is read as a slur", position)
        return alike

    def set_waiting(self, onset: int) -> None:
        """Put the chord symbols and marks that waited for a note or rest."""
        place = len(self.book.bars)
        self.chords.extend(ChordSymbol(t, place, onset) for t in self.waiting_chords)
        self.marks.extend(SectionMark(t, place, onset) for t in self.waiting_marks)
        self.waiting_chords, self.waiting_marks = [], []

    def leave_tuplet(self) -> None:
        """Close the open tuplet if all its notes have come."""
        if self.clock.tuplet is not None and self.clock.tuplet.left <= 0:
            self.end_tuplet()

    def pause(self, written: int) -> None:
        """Let a rest pass."""
        self.leave_tuplet()
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now)
        self.clock.advance(written)
        self.tie = None
        self.last_is_note = False
        self.plain = False

    def spread_chords(self) -> None:
        """Share a bar of chord symbols with neither notes nor rests out among them."""
        texts, full = self.waiting_chords, (self.metre or Metre(4, 4)).bar_ticks
        if not texts or self.clock.now != self.book.onset:
            return
        self.waiting_chords = []
        for place, text in enumerate(texts):
            self.waiting_chords.append(text)
            start, stop = (full * k // len(texts) for k in (place, place + 1))
            self.set_waiting(self.clock.now)
            self.clock.now += stop - start

    # Handlers: each takes the text of a token and where it stands in the line.

    def take_bar(self, text: str, position: int) -> None:
        """A bar line, with repeats and an ending perhaps."""
        if self.overlay_bars:
            self.overlay_bars -= 1
            if self.overlay_bars:
                return
        self.leave_tuplet()
        if self.bare:
            self.spread_chords()
        before = len(self.book.bars)
        self.book.take_line(self.clock.now, self.metre, bar_sign(text))
        if len(self.book.bars) > before:
            self.written.append(BAR)
        self.pitches.end_bar()

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
            self.flat[DURATION] += difference
        self.clock.next_factor = second
        self.plain = False

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
            raise HostileInputError(f"a rest of {count} bars", limit=MAX_REST_BARS)
        if self.metre is None:
            self.fault("a rest of bars without a metre counts as whole notes", position)
        full = (self.metre or Metre(4, 4)).bar_ticks
        for left in range(bars - 1, -1, -1):
            self.pause(full)
            if left:
                self.close_bar("")

    def take_tie(self, text: str, position: int) -> None:
        """A tie that stands apart from its note."""
        if self.last_is_note:
            self.hold((self.flat[MIDI], self.flat[FIFTHS]))
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
        start = (self.clock.now, self.count)
        self.clock.tuplet = OpenTuplet(actual, normal, count, *start)
        self.plain = False

    def end_tuplet(self) -> None:
        """Close the tuplet that is open, if any, and keep it."""
        tuplet = self.clock.tuplet
        self.clock.tuplet = None
        if tuplet is None or self.count <= tuplet.first_note:
            return
        self.tuplets.append(
            Tuplet(
                tuplet.first_note,
                self.count - 1,
                tuplet.actual,
                tuplet.normal,
                tuplet.onset,
                self.clock.now - tuplet.onset,
            )
        )

    def take_quoted(self, text: str, position: int) -> None:
        """A chord symbol, or an annotation, which is no music."""
        text = read_text(text[1:-1])
        if not text or text[0] in "^_<>@":
            return
        if is_signpost(text):
            self.mark(text)
        elif may_be_chord(text):
            self.waiting_chords.append(text)
            self.plain = False
        else:
            self.fault("a text in quotes is no chord symbol and is left out", position)

    def take_grace(self, text: str, position: int) -> None:
        """Grace notes, which wait for the note that they decorate."""
        slashed = text.startswith("{/")
        for found in NOTE.finditer(text):
            pitch = self.pitches.pitch(found[1], found[2])
            self.waiting_graces.append((*pitch, slashed))
        self.plain = False
        if len(self.waiting_graces) > MAX_NOTES:
            raise HostileInputError(f"more than {MAX_NOTES} grace notes", limit=MAX_NOTES)
        rest = re.sub(r"[\s/()\[\]<>.H-Wh-w~-]", "", NOTE.sub("", text[1:-1]))
        if rest:
            self.fault(f"{rest[:40]!r} among grace notes is not understood", position)

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
            (self.pitches.pitch(found[1], found[2]), found[3], found[4])
            for found in NOTE.finditer(inside)
        ]
        if not notes:
            self.fault(f"{text[:40]} is no chord", position)
            return
        pitch, _, tie = self.pick(notes, key=lambda note: note[0][0])
        written = self.chord_ticks(notes[0][1], after.rstrip("-"))
        self.sound(pitch, written, position)
        if tie or after.endswith("-"):
            self.hold(pitch)

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
        elif name.lower() in FERMATAS:
            self.hold_long()
        elif name in SIGNS:
            self.dynamics.append(Dynamic(name, self.clock.now, self.clock.now))
        elif name[:-1] in HAIRPINS:
            self.take_hairpin(HAIRPINS[name[:-1]], name[-1])

    def take_hairpin(self, sign: str, bracket: str) -> None:
        """Open or close a hairpin (4.14)."""
        if bracket == "(":
            self.hairpins[sign] = self.clock.now
        elif bracket == ")" and sign in self.hairpins:
            begun = self.hairpins.pop(sign)
            if self.clock.now > begun:
                self.dynamics.append(Dynamic(sign, begun, self.clock.now))

    def take_letter(self, text: str, position: int) -> None:
        """A decoration of one letter."""
        if text in self.fermata_letters:
            self.hold_long()
        elif text not in self.letters:
            self.fault(f"the letter {text} stands for nothing here", position)

    def take_overlay(self, text: str, position: int) -> None:
        """A second layer begins; only the first is read (7.4)."""
        self.overlay_bars = len(text)

    def take_micro(self, text: str, position: int) -> None:
        """An accidental that is no semitone: the nearest one is taken."""
        found = MICROTONAL_NOTE.fullmatch(text)
        if found is None:
            self.fault(f"{text[:40]!r} is not understood", position)
            return
        signs, amount, name, length, tie = found.groups()
        self.fault(f"{text[:40]} is no whole semitone; the nearest one is taken", position)
        self.take_note(nearest_sign(signs, amount), name, length, tie, position)

    def take_colon(self, text: str, position: int) -> None:
        """A colon apart from its bar line: the repeat ends or starts there."""
        self.fault("a colon apart from a bar line is read as a repeat", position)
        sign = bar_sign("|:" if self.clock.now == self.book.onset else ":|")
        self.book.take_line(self.clock.now, self.metre, sign)
        self.pitches.end_bar()

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
        if self.bare:
            self.spread_chords()
        if self.clock.tuplet is not None and self.clock.tuplet.left > 0:
            self.fault("a tuplet is not complete", 0)
        self.end_tuplet()
        if self.waiting_graces:
            self.fault("grace notes before no note are left out", 0)
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now)
        self.close_bar("none")


HANDLERS: dict[str, Callable[[VoiceReader, str, int], None]] = {
    name: getattr(VoiceReader, f"take_{name}") for name in TOKEN.groupindex
}
"""What to do with each kind of token."""
