"""The music of one voice of an ABC tune, token by token.

Conventions: a tied note keeps its accidental over the bar line. A line end is no bar line:
accidentals stay. Grace notes stand apart. Times are ticks.

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
from melodex.melody import KeyChange, Metre
from melodex.reading.abc.fields import KeyField, read_text
from melodex.reading.abc.voice.notes import VoiceNotes
from melodex.reading.abc.voice.pitch import PitchReader, nearest_sign
from melodex.reading.abc.voice.signs import FERMATAS, PlayingSigns
from melodex.reading.abc.voice.time import UNCHANGED, Clock, normal_of
from melodex.reading.abc.voice.tokens import NOTE, NOTE_INDEX, TOKEN, bar_sign
from melodex.reading.bounded import refuse_longer
from melodex.reading.common.chord_text import is_signpost, may_be_chord

__all__ = ["MAX_NOTES", "VoiceReader"]

MAX_NOTES = 100_000
"""Notes, or grace notes, of one tune; more are no music. Our choice."""

MAX_REST_BARS = 500
"""Bars of one rest (Z of abc 2.1, 4.5) that are believed; our choice."""

BROKEN = {1: 1 / 2, 2: 1 / 4, 3: 1 / 8}
"""Share of its length that the shortened note keeps, by the number of signs (abc 2.1,
4.4)."""
MARKING_DECORATIONS = frozenset(
    {"segno", "coda", "dacoda", "fine", "d.c.", "d.s.", "dacapo", "d.c.alfine"}
)
MICROTONAL_NOTE = re.compile(r"([\^_=]+)([\d/]*)([A-Ga-g][,']*)([\d/]*)(-?)")
DYNAMICS = re.compile(r"[fpmsz]+|crescendo|D\.?[CS]\.?", re.I)
OLD_CHORD = re.compile(r"(?:[\^_=]{0,2}[A-Ga-g][,']*[\d/]*){2,}")


class VoiceReader:
    """Reads the lines of one voice: what sounds goes to ``notes``, how to ``signs``."""

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
        self.pitches = pitches
        self.take_field_text = take_field_text
        self.pick: Callable[..., Any] = min if lowest else max
        self.notes = VoiceNotes(clock, metre, has_words=has_words)
        self.signs = PlayingSigns()
        self.keys: list[KeyChange] = []
        self.overlay_bars = 0

    def fault(self, text: str, position: int) -> None:
        """Note something that was not understood, and where."""
        self.notes.fault(text, position)

    # What the fields say.

    def set_key(self, field: KeyField) -> None:
        """Take a key, a clef or a transposition from here on."""
        change = self.pitches.set_key(field, self.clock.now)
        if change is not None:
            if self.keys and self.keys[-1].onset_ticks == change.onset_ticks:
                self.keys.pop()
            self.keys.append(change)

    # Lines and tokens.

    def read_line(self, text: str, row: int, column: int) -> None:
        """Read one line of music; ``column`` counts what stands before it."""
        notes, clock, pitches = self.notes, self.clock, self.pitches
        notes.row, notes.column = row, column
        flat, line, bars = notes.flat, notes.line, notes.book.bars
        for token in TOKEN.finditer(text):
            if token.lastindex != NOTE_INDEX:
                name = token.lastgroup or "junk"
                if not self.overlay_bars or name == "bar":
                    HANDLERS[name](self, token[name], token.start())
                continue
            sign, name, length, tie = token.group(1, 2, 3, 4)
            pitch = None if sign else pitches.now.get(name)
            ticks = clock.lengths.get(length)
            if pitch is None or ticks is None or tie or not notes.plain:
                self.take_note(sign, name, length, tie, token.start())
                continue
            # The common case of :meth:`VoiceNotes.sound`, spelled out for speed.
            now = clock.now
            flat += (pitch[0], pitch[1], now, ticks, len(bars), line)
            clock.now = now + ticks
            clock.last_written = clock.last_base = ticks
            clock.last_factor = UNCHANGED
            notes.last_is_note = True
        if len(flat) > 6 * MAX_NOTES:
            raise HostileInputError(
                f"more than {MAX_NOTES} notes in one tune", limit=MAX_NOTES
            )
        refuse_longer(clock.now)

    def end_line(self) -> None:
        """A line of music ended without a backslash."""
        self.notes.end_line(in_overlay=bool(self.overlay_bars))

    def take_note(
        self, sign: str | None, name: str, length: str, tie: str, position: int
    ) -> None:
        """A single note."""
        if self.overlay_bars:
            return
        pitch = self.pitches.pitch(sign, name)
        self.notes.sound(pitch, self.clock.ticks(length), position)
        if tie:
            self.notes.hold(pitch)

    # Handlers: each takes the text of a token and where it stands in the line.

    def take_bar(self, text: str, position: int) -> None:
        """A bar line, with repeats and an ending perhaps."""
        if self.overlay_bars:
            self.overlay_bars -= 1
            if self.overlay_bars:
                return
        self.notes.end_bar(bar_sign(text))
        self.pitches.end_bar()

    def take_ending(self, text: str, position: int) -> None:
        """A numbered or named ending that starts here: ``[2``."""
        self.notes.close_bar("none")
        self.notes.book.ending = text.lstrip("[ ").strip('"')

    def take_broken(self, text: str, position: int) -> None:
        """Broken rhythm: the notes before and behind trade time."""
        if not self.clock.last_written or self.clock.next_factor is not None:
            self.fault(f"{text} stands behind no note", position)
            return
        short = BROKEN[len(text)]
        first, second = (2 - short, short) if text[0] == ">" else (short, 2 - short)
        self.notes.stretch_last(first)
        self.clock.next_factor = second

    def take_rest(self, text: str, position: int) -> None:
        """A rest, or one of many bars."""
        if text[0] in "zx":
            self.notes.pause(self.clock.ticks(text[1:]))
        else:
            self.rest_bars(text[1:], position)

    def rest_bars(self, count: str, position: int) -> None:
        """Rest for some bars: ``Z4``."""
        bars = int(count) if count.isdigit() and len(count) < 6 else 1 if not count else 0
        if not 1 <= bars <= MAX_REST_BARS:
            raise HostileInputError(f"a rest of {count} bars", limit=MAX_REST_BARS)
        if self.notes.metre is None:
            self.fault("a rest of bars without a metre counts as whole notes", position)
        full = (self.notes.metre or Metre(4, 4)).bar_ticks
        for left in range(bars - 1, -1, -1):
            self.notes.pause(full)
            if left:
                self.notes.close_bar("")

    def take_tie(self, text: str, position: int) -> None:
        """A tie that stands apart from its note."""
        if self.notes.last_is_note:
            self.notes.hold(self.notes.last_pitch)
        else:
            self.fault("a tie stands behind no note", position)

    def take_tuplet(self, text: str, position: int) -> None:
        """The start of a tuplet: ``(p``, ``(p:q``, ``(p:q:r``."""
        parts = [*text[1:].split(":"), "", ""]
        actual = int(parts[0])
        normal = int(parts[1]) if parts[1] else normal_of(actual, self.notes.metre)
        count = int(parts[2]) if parts[2] else actual
        if self.clock.tuplet is not None and self.clock.tuplet.left > 0:
            self.fault("a tuplet starts inside another, which ends here", position)
        self.notes.end_tuplet()
        if actual < 2 or not normal or not count:
            self.fault(f"{text} is no tuplet", position)
            return
        self.notes.open_tuplet(actual, normal, count)

    def take_quoted(self, text: str, position: int) -> None:
        """A chord symbol, or an annotation, which is no music."""
        text = read_text(text[1:-1])
        if not text or text[0] in "^_<>@":
            return
        if is_signpost(text):
            self.notes.mark(text)
        elif may_be_chord(text):
            self.notes.name_chord(text)
        else:
            self.fault("a text in quotes is no chord symbol and is left out", position)

    def take_grace(self, text: str, position: int) -> None:
        """Grace notes, which wait for the note that they decorate."""
        slashed = text.startswith("{/")
        for found in NOTE.finditer(text):
            pitch = self.pitches.pitch(found[1], found[2])
            self.notes.waiting_graces.append((*pitch, slashed))
        self.notes.plain = False
        if len(self.notes.waiting_graces) > MAX_NOTES:
            raise HostileInputError(f"more than {MAX_NOTES} grace notes", limit=MAX_NOTES)
        rest = re.sub(r"[\s/()\[\]<>.H-Wh-w~-]", "", NOTE.sub("", text[1:-1]))
        if rest:
            self.fault(f"{rest[:40]!r} among grace notes is not understood", position)

    def take_field(self, text: str, position: int) -> None:
        """An information field within the line: ``[K:D]``."""
        self.notes.column += position
        self.take_field_text(text[1], text[3:-1])
        self.notes.column -= position

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
        onset = self.clock.now
        self.notes.sound(pitch, written, position)
        self.notes.sound_beside((other for other, _, _ in notes if other != pitch), onset)
        if tie or after.endswith("-"):
            self.notes.hold(pitch)

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
            self.notes.mark(name)
        elif name.lower() in FERMATAS:
            self.notes.hold_long()
        else:
            self.signs.take(name, self.clock.now)

    def take_letter(self, text: str, position: int) -> None:
        """A decoration of one letter."""
        if text in self.signs.fermata_letters:
            self.notes.hold_long()
        elif text not in self.signs.letters:
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
        sign = bar_sign("|:" if self.clock.now == self.notes.book.onset else ":|")
        self.notes.book.take_line(self.clock.now, self.notes.metre, sign)
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


HANDLERS: dict[str, Callable[[VoiceReader, str, int], None]] = {
    name: getattr(VoiceReader, f"take_{name}") for name in TOKEN.groupindex
}
"""What to do with each kind of token."""
