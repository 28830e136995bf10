"""Standard MIDI files, taken apart within stated limits.

Conventions: times are ticks of the file since its start; channels count from 1, and
channel 10 is percussion. Only what a melody can use is kept: notes, and the meta events
for names, texts, tempo, metre and key. A track that breaks off gives what came before.

References
----------
MIDI Manufacturers Association (1996), Standard MIDI Files 1.0 (RP-001): chunks,
variable-length quantities, running status, meta events.
General MIDI 1: channel 10 holds percussion.

Contents: MidiNote, MetaEvent, MidiTrack, MidiFile, parse_midi.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.bounded import MOST_QUARTERS

__all__ = ["MetaEvent", "MidiFile", "MidiNote", "MidiTrack", "parse_midi"]

MOST_EVENTS = 400_000
MOST_TRACKS = 256

DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
"""Bytes after the status byte of a channel message (MIDI 1.0)."""
END_OF_TRACK = 0x2F
"""Type of the meta event that ends a track (Standard MIDI Files 1.0)."""
KEPT_META = {0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x51, 0x58, 0x59}
"""Types of meta events that are read: texts, tempo, metre, key."""


@dataclass(slots=True)
class MidiNote:
    """A note with its start and end in ticks of the file."""

    start: int
    end: int
    midi: int
    channel: int


@dataclass(frozen=True, slots=True)
class MetaEvent:
    """A meta event: when, which type, and its bytes."""

    start: int
    kind: int
    data: bytes


@dataclass(slots=True)
class MidiTrack:
    """The notes and meta events of one track, in order of time."""

    notes: list[MidiNote] = field(default_factory=list)
    meta: list[MetaEvent] = field(default_factory=list)
    broken: bool = False
    hanging: int = 0


@dataclass(slots=True)
class MidiFile:
    """A file: how many of its ticks make a quarter, and its tracks."""

    ticks_per_quarter: int
    tracks: list[MidiTrack]
    broken: bool = False


class BrokenOffError(Exception):
    """The bytes end, or make no sense, in the middle of a track."""


def parse_midi(data: bytes) -> MidiFile:
    """Take a Standard MIDI File of type 0 or 1 apart.

    Raises
    ------
    ReadingError
        If it is no such file, or counts time in frames.
    HostileInputError
        If it holds more tracks or events than any piece needs, or lasts for days.

    Examples
    --------
    >>> head = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
    >>> body = bytes((0, 0x90, 60, 64, 96, 0x80, 60, 0, 0, 0xFF, 0x2F, 0))
    >>> track = b"MTrk" + len(body).to_bytes(4, "big") + body
    >>> parse_midi(head + track).tracks[0].notes
    [MidiNote(start=0, end=96, midi=60, channel=1)]
    """
    if data[:4] != b"MThd" or len(data) < 14:
        raise ReadingError("this is no MIDI file, or it is cut short")
    length = int.from_bytes(data[4:8], "big")
    kind = int.from_bytes(data[8:10], "big")
    division = int.from_bytes(data[12:14], "big")
    if kind > 1:
        raise ReadingError(
            f"a MIDI file of type {kind} holds separate patterns, not one piece",
            hint="save it as type 0 or 1",
        )
    if division & 0x8000 or division == 0:
        raise ReadingError(
            "this MIDI file counts time in film frames, not in beats",
            hint="save it with ticks per quarter note",
        )
    file = MidiFile(division, [])
    read_chunks(data, 8 + max(length, 6), file)
    return file


def read_chunks(data: bytes, place: int, file: MidiFile) -> None:
    """Read every track chunk; other chunks are passed over, as the standard asks."""
    budget = MOST_EVENTS
    while place + 8 <= len(data):
        name = data[place : place + 4]
        length = int.from_bytes(data[place + 4 : place + 8], "big")
        body = data[place + 8 : place + 8 + length]
        place += 8 + length
        if name != b"MTrk":
            continue
        if len(file.tracks) >= MOST_TRACKS:
            raise HostileInputError(f"more than {MOST_TRACKS} tracks", limit=MOST_TRACKS)
        walk = TrackWalk(body, MOST_QUARTERS * file.ticks_per_quarter)
        budget -= walk.run(budget)
        walk.track.broken |= len(body) < length
        file.tracks.append(walk.track)
    file.broken = place > len(data) or place < len(data) - 7 or not file.tracks


class TrackWalk:
    """Where the walk through one track stands."""

    def __init__(self, data: bytes, last_tick: int) -> None:
        self.data = data
        self.last_tick = last_tick
        self.place = 0
        self.now = 0
        self.status = 0
        self.sounding: dict[tuple[int, int], list[MidiNote]] = {}
        self.track = MidiTrack()

    def run(self, budget: int) -> int:
        """Read events to the end of the track; return how many."""
        count = 0
        try:
            while self.place < len(self.data):
                count += 1
                if count > budget:
                    raise HostileInputError(
                        f"more than {MOST_EVENTS} events", limit=MOST_EVENTS
                    )
                if not self.read_event():
                    break
        except BrokenOffError:
            self.track.broken = True
        for notes in self.sounding.values():
            for note in notes:
                note.end = self.now
                self.track.hanging += 1
        self.track.notes = [note for note in self.track.notes if note.end > note.start]
        return count

    def byte(self) -> int:
        """The next byte."""
        if self.place >= len(self.data):
            raise BrokenOffError
        self.place += 1
        return self.data[self.place - 1]

    def quantity(self) -> int:
        """A variable-length quantity of at most four bytes."""
        value = 0
        for _ in range(4):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise BrokenOffError

    def block(self) -> bytes:
        """Bytes that are preceded by their number."""
        length = self.quantity()
        if self.place + length > len(self.data):
            raise BrokenOffError
        self.place += length
        return self.data[self.place - length : self.place]

    def read_event(self) -> bool:
        """Read one event; False at the end of the track."""
        self.now += self.quantity()
        if self.now > self.last_tick:
            raise HostileInputError(
                f"it lasts more than {MOST_QUARTERS} quarters", limit=MOST_QUARTERS
            )
        first = self.byte()
        if first == 0xFF:
            kind, held = self.byte(), self.block()
            if kind in KEPT_META:
                self.track.meta.append(MetaEvent(self.now, kind, held))
            return kind != END_OF_TRACK
        if first in {0xF0, 0xF7}:
            self.block()
            return True
        if first >= 0xF0:
            raise BrokenOffError
        if first >= 0x80:
            self.status = first
            first = self.byte()
        self.channel_event(first)
        return True

    def channel_event(self, first: int) -> None:
        """Read the rest of a channel event, and keep what starts or ends a note."""
        kind = self.status & 0xF0
        if kind not in DATA_BYTES or first > 0x7F:
            raise BrokenOffError
        second = self.byte() if DATA_BYTES[kind] == 2 else 0
        if kind not in {0x80, 0x90}:
            return
        channel = (self.status & 0x0F) + 1
        if kind == 0x90 and second:
            note = MidiNote(self.now, self.now, first, channel)
            self.track.notes.append(note)
            self.sounding.setdefault((channel, first), []).append(note)
            return
        waiting = self.sounding.get((channel, first))
        if waiting:
            # The oldest note of this pitch ends first.
            waiting.pop(0).end = self.now
