"""What has sounded in one voice so far, written down note by note.

Conventions: times are ticks. A line end is no bar line, but a bar that is full there is
closed, as collections leave out the bar line at line ends. Grace notes, chord symbols and
marks wait for the note that they belong to.

References
----------
The ABC music standard 2.1 (December 2011), sections 4.11 to 4.13.

Contents: VoiceNotes.
"""

from __future__ import annotations

from collections.abc import Iterable

from melodex.melody import ChordSymbol, Grace, Metre, MetreChange, SectionMark, Tuplet
from melodex.reading.abc.faults import FaultList
from melodex.reading.abc.voice.bars import BarBook
from melodex.reading.abc.voice.pitch import Pitch
from melodex.reading.abc.voice.time import Clock, OpenTuplet
from melodex.reading.abc.voice.tokens import BarSign
from melodex.reading.abc.voice.words import BAR
from melodex.reading.common.fermatas import phrases_held

__all__ = ["VoiceNotes"]

MIDI, FIFTHS, DURATION, PLACE = -6, -5, -3, -2
"""Where the last note's numbers stand in the flat list."""


class VoiceNotes:
    """The notes of one voice, with its bars and what stands above them.

    ``flat`` holds six numbers a sounding note, one after the other: midi, fifths,
    onset, duration, place among the bars, line of the source. A list of numbers alone
    is no work for the garbage collector. ``written`` is what syllables go under: the
    index of a note for each note head, and ``BAR`` for each bar line. ``beside`` holds what
    else sounds where a note is one of a chord: pitches and their onsets, by the index of
    the note that they end with. ``plain`` says that nothing waits or is open, so that the
    next note needs no more than its six numbers.
    """

    def __init__(self, clock: Clock, metre: Metre | None, *, has_words: bool) -> None:
        self.clock = clock
        self.metre = metre
        self.has_words = has_words
        self.flat: list[int] = []
        self.written: list[int] = []
        self.beside: dict[int, dict[Pitch, int]] = {}
        self.book = BarBook()
        self.metres = [MetreChange(0, metre)]
        self.chords: list[ChordSymbol] = []
        self.marks: list[SectionMark] = []
        self.graces: list[Grace] = []
        self.tuplets: list[Tuplet] = []
        self.faults = FaultList()
        self.held: set[int] = set()
        self.tie: Pitch | None = None
        self.last_is_note = False
        self.waiting_fermata = False
        self.waiting_graces: list[tuple[int, int, bool]] = []
        self.waiting_chords: list[str] = []
        self.waiting_marks: list[str] = []
        self.plain = not has_words
        self.bare = False
        self.line = 0
        self.row, self.column = 0, 0

    @property
    def count(self) -> int:
        """How many notes have sounded."""
        return len(self.flat) // 6

    @property
    def last_pitch(self) -> Pitch:
        """The pitch of the last note."""
        return self.flat[MIDI], self.flat[FIFTHS]

    def columns(self) -> list[tuple[int, ...]]:
        """The six columns of the notes, each of shape (n,)."""
        return [tuple(self.flat[column::6]) for column in range(6)]

    def phrases(self) -> tuple[int, ...]:
        """The phrase of each note, where fermatas mark phrases."""
        return phrases_held([index in self.held for index in range(self.count)])

    def fault(self, text: str, position: int) -> None:
        """Note something that was not understood, and where in its line."""
        self.faults.add(text, self.row, self.column + position + 1, len(self.book.bars))

    # What waits for the next note.

    def mark(self, text: str) -> None:
        """Put a section mark at the next note."""
        self.waiting_marks.append(text)
        self.plain = False

    def name_chord(self, text: str) -> None:
        """Put a chord symbol at the next note or rest."""
        self.waiting_chords.append(text)
        self.plain = False

    def hold_long(self) -> None:
        """Put a fermata over the next note."""
        self.waiting_fermata = True
        self.plain = False

    def hold(self, pitch: Pitch) -> None:
        """A tie starts from a note of this pitch."""
        self.tie = pitch
        self.plain = False

    # What passes.

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

    def sound_beside(self, pitches: Iterable[Pitch], onset: int) -> None:
        """Let pitches sound with the last note, but for those that it holds already."""
        held = self.beside.setdefault(self.count - 1, {})
        for pitch in pitches:
            held.setdefault(pitch, onset)

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

    def pause(self, written: int) -> None:
        """Let a rest pass."""
        self.leave_tuplet()
        if self.waiting_chords or self.waiting_marks:
            self.set_waiting(self.clock.now)
        self.clock.advance(written)
        self.tie = None
        self.last_is_note = False
        self.plain = False

    def stretch_last(self, factor: float) -> None:
        """Lengthen or shorten the note or rest that came last."""
        difference = self.clock.stretch_last(factor)
        if self.last_is_note:
            self.flat[DURATION] += difference
        self.plain = False

    # Bars and tuplets.

    def set_metre(self, metre: Metre | None) -> None:
        """Take a metre from here on."""
        self.metre = metre
        if self.metres[-1].onset_ticks == self.clock.now:
            self.metres.pop()
        self.metres.append(MetreChange(self.clock.now, metre))

    def end_line(self, *, in_overlay: bool) -> None:
        """A line of music ended without a backslash."""
        self.line += 1
        if self.metre is not None and not in_overlay:
            elapsed = self.clock.now - self.book.onset
            if elapsed == self.metre.bar_ticks:
                self.close_bar("none")

    def close_bar(self, line: str) -> None:
        """End a bar without a bar line of the source."""
        if self.book.close(self.clock.now, self.metre, line):
            self.written.append(BAR)

    def end_bar(self, sign: BarSign) -> None:
        """A bar line of the source, with repeats and an ending perhaps."""
        self.leave_tuplet()
        if self.bare:
            self.spread_chords()
        before = len(self.book.bars)
        self.book.take_line(self.clock.now, self.metre, sign)
        if len(self.book.bars) > before:
            self.written.append(BAR)

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

    def open_tuplet(self, actual: int, normal: int, count: int) -> None:
        """The next ``count`` notes go, ``actual`` in the time of ``normal``."""
        start = (self.clock.now, self.count)
        self.clock.tuplet = OpenTuplet(actual, normal, count, *start)
        self.plain = False

    def leave_tuplet(self) -> None:
        """Close the open tuplet if all its notes have come."""
        if self.clock.tuplet is not None and self.clock.tuplet.left <= 0:
            self.end_tuplet()

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
