"""Melody: one line of a piece as it was written.

Conventions: one entry per *sounding* note. Ties are merged; rests are gaps
between the end of a note and the next onset; grace notes stand apart from the
note that they decorate. Bars carry the number that is printed: a pickup is 0,
and the two halves of a bar that a repeat sign splits share one number. What is
read is the written order: repeats and endings are kept as marks, not played.

Contents: Melody, name_of, NOTE_COLUMNS; the records inside a melody are in ``marks``, what
the id of a tune is made of in ``tune_id``, a phrase in ``phrase``. A melody is cut in other
ways than by its notes in ``cutting``, and moved in ``moving``.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_right
from dataclasses import field, replace
from typing import Any

from melodex.errors import PassageError
from melodex.melody.marks import (
    CREDITS_COLUMNS,
    PROVENANCE,
    RECORD_COLUMNS,
    Bar,
    ChordSymbol,
    Credits,
    Dynamic,
    Grace,
    Key,
    KeyChange,
    Lyric,
    MetreChange,
    SectionMark,
    Tuplet,
    WorkedLine,
    of_notes,
    packed,
    tuplets_over,
    unpacked,
)
from melodex.melody.metre import TICKS_PER_QUARTER, Metre
from melodex.melody.placed import from_here, held_at, onset_of
from melodex.melody.score_line import ScoreLine
from melodex.melody.shape import refuse_misshapen
from melodex.melody.tune_id import (
    DYNAMICS,
    WORKED_CHORDS,
    WORKED_LINES,
    content_id_of,
    earlier_text,
)
from melodex.records import dataclass

__all__ = ["NOTE_COLUMNS", "Melody", "name_of", "out_of_range"]


def name_of(title: str, source: str = "", number: str = "") -> str:
    """Return what a tune goes by: its title, or the name of its file with its number.

    Examples
    --------
    >>> name_of("", "songs/op48.mxl", "1"), name_of("", "book.abc", "12"), name_of("")
    ('op48', 'book 12', 'untitled')
    """
    if title.strip():
        return title
    file = re.split(r"[/\\\\]", source)[-1]
    stem = file.rpartition(".")[0] or file
    if not stem:
        return "untitled"
    return stem if number in ("", "1") else f"{stem} {number}"


@dataclass(frozen=True, slots=True)
class Melody:
    """One melodic line; every tuple of the first group is of shape (n,).

    Parameters
    ----------
    midi : tuple of int
        Sounding pitch in semitones, middle C is 60.
    fifths : tuple of int
        Spelled pitch class on the line of fifths.
    onset_ticks, duration_ticks : tuple of int
        Time in ticks from the start of the first bar (pickup included).
    bar : tuple of int
        Number of the bar in which the note starts.
    beat_strength : tuple of float
        1 for a downbeat, halved for each weaker level.
    phrase : tuple of int
        Index of the phrase, from 0, where the source marks phrases; else all 0.
    chords_worked_out : bool
        Whether ``chords`` are none that are printed but were worked out from all notes
        of the piece. Such chords are kept with the tune and are no part of it: they
        change no tune id and are written into no notation.
    line : ScoreLine
        Which line of its piece it is. It is no part of the tune either.
    centres : tuple of KeyChange
        The keys as they were worked out, where that was done: what :attr:`key`,
        :meth:`key_at` and :meth:`degrees` go by. They are no part of the tune: not
        written with it, and left out where two tunes are compared.
    dynamics : tuple of Dynamic
        How loud it is to be, as printed: by the part of the melody, else by another. As
        with chords that were worked out, they change no tune id.
    worked_lines : tuple of WorkedLine
        What other lines of the piece do, as it was worked out; no part of the tune.
    """

    midi: tuple[int, ...] = ()
    fifths: tuple[int, ...] = ()
    onset_ticks: tuple[int, ...] = ()
    duration_ticks: tuple[int, ...] = ()
    bar: tuple[int, ...] = ()
    beat_strength: tuple[float, ...] = ()
    phrase: tuple[int, ...] = ()
    bars: tuple[Bar, ...] = ()
    keys: tuple[KeyChange, ...] = ()
    metres: tuple[MetreChange, ...] = ()
    chords: tuple[ChordSymbol, ...] = ()
    marks: tuple[SectionMark, ...] = ()
    graces: tuple[Grace, ...] = ()
    tuplets: tuple[Tuplet, ...] = ()
    lyrics: tuple[Lyric, ...] = ()
    tempo_quarters_per_minute: float | None = None
    credits: Credits = field(default_factory=Credits)
    centres: tuple[KeyChange, ...] = field(default=(), compare=False)
    chords_worked_out: bool = field(default=False, compare=False)
    dynamics: tuple[Dynamic, ...] = field(default=(), compare=False)
    worked_lines: tuple[WorkedLine, ...] = field(default=(), compare=False)
    line: ScoreLine = field(default_factory=ScoreLine, compare=False)

    def __post_init__(self) -> None:
        per_note = (
            self.fifths,
            self.onset_ticks,
            self.duration_ticks,
            self.bar,
            self.beat_strength,
            self.phrase,
        )
        if any(len(column) != len(self.midi) for column in per_note):
            raise ValueError("the columns of a Melody differ in length")

    def __len__(self) -> int:
        return len(self.midi)

    def __repr__(self) -> str:
        key = "" if self.key.mode == "none" else f" in {self.key}"
        return f"<Melody {self.title!r}: {len(self)} notes{key}>"

    @property
    def title(self) -> str:
        """Title; where there is none, the name of the file; else ``untitled``."""
        by = self.credits
        return name_of(by.title, by.source, by.number)

    @property
    def printed_chords(self) -> tuple[ChordSymbol, ...]:
        """The chord symbols that the source prints."""
        return () if self.chords_worked_out else self.chords

    @property
    def onset_quarters(self) -> tuple[float, ...]:
        """Onsets in quarter notes, of shape (n,)."""
        return tuple(ticks / TICKS_PER_QUARTER for ticks in self.onset_ticks)

    @property
    def duration_quarters(self) -> tuple[float, ...]:
        """Durations in quarter notes, of shape (n,)."""
        return tuple(ticks / TICKS_PER_QUARTER for ticks in self.duration_ticks)

    @property
    def interval_semitones(self) -> tuple[int, ...]:
        """Steps between successive notes in semitones, of shape (n - 1,)."""
        return tuple(b - a for a, b in zip(self.midi, self.midi[1:], strict=False))

    @property
    def printed_key(self) -> Key:
        """The first printed key, or one of mode ``none``."""
        return self.keys[0].key if self.keys else Key(0, "none")

    @property
    def key(self) -> Key:
        """The key at the start: as it was worked out, else as it is printed."""
        return self.centres[0].key if self.centres else self.printed_key

    @property
    def metre(self) -> Metre | None:
        """The first time signature, or None for free metre."""
        return self.metres[0].metre if self.metres else None

    @property
    def end_ticks(self) -> int:
        """Where the last bar or note ends."""
        ends = [self.onset_ticks[-1] + self.duration_ticks[-1]] if self.midi else [0]
        if self.bars:
            ends.append(self.bars[-1].onset_ticks + self.bars[-1].duration_ticks)
        return max(ends)

    def key_at(self, onset_ticks: int) -> Key:
        """The key at a place, as worked out, else as printed, or one of mode ``none``."""
        change: KeyChange | None = held_at(self.centres or self.keys, onset_ticks)
        return change.key if change else Key(0, "none")

    def metre_at(self, onset_ticks: int) -> Metre | None:
        """The time signature at a place, or None."""
        change = held_at(self.metres, onset_ticks)
        return change.metre if change else None

    def chord_at(self, onset_ticks: int) -> ChordSymbol | None:
        """The chord symbol that holds at a place, or None before the first."""
        place = bisect_right(self.chords, onset_ticks, key=onset_of)
        return self.chords[place - 1] if place else None

    def degrees(self) -> tuple[int | None, ...]:
        """Distance of each note from the tonic that holds, in fifths; None without one."""
        changes, at = self.centres or self.keys, 0
        found: list[int | None] = []
        for fifths, onset in zip(self.fifths, self.onset_ticks, strict=True):
            while at + 1 < len(changes) and changes[at + 1].onset_ticks <= onset:
                at += 1
            known = bool(changes) and changes[at].key.mode != "none"
            found.append(fifths - changes[at].key.tonic_fifths if known else None)
        return tuple(found)

    def excerpt(self, first: int, last: int) -> Melody:
        """Cut out notes ``first`` to ``last`` (indexes from 0, both included).

        Times, bar numbers and credits stay as they are in the whole, so that a
        musician can turn to the page. Bars are those that the notes touch; keys,
        metres and the chord that already hold at the start are kept.

        Raises
        ------
        PassageError
            If the melody has no such notes.
        """
        if not 0 <= first <= last < len(self):
            asked = first + 1, last + 1
            raise out_of_range("notes", asked, (1, len(self)), self.title)
        start = self.onset_ticks[first]
        columns = {name: getattr(self, name)[first : last + 1] for name in NOTE_COLUMNS}
        lasting = zip(columns["onset_ticks"], columns["duration_ticks"], strict=True)
        end = max(onset + duration for onset, duration in lasting)
        held_chord = self.chord_at(start)
        return replace(
            self,
            **columns,
            bars=tuple(
                bar
                for bar in self.bars
                if bar.onset_ticks < end and bar.onset_ticks + bar.duration_ticks > start
            ),
            keys=from_here(self.keys, start, end),
            centres=from_here(self.centres, start, end),
            metres=from_here(self.metres, start, end),
            chords=tuple(
                chord
                for chord in self.chords
                if chord is held_chord or start <= chord.onset_ticks < end
            ),
            marks=tuple(m for m in self.marks if start <= m.onset_ticks < end),
            worked_lines=tuple(
                line
                for line in self.worked_lines
                if self.bar[first] <= line.first_bar and line.last_bar <= self.bar[last]
            ),
            dynamics=tuple(
                d for d in self.dynamics if d.onset_ticks < end and d.end_ticks >= start
            ),
            graces=of_notes(self.graces, first, last),
            tuplets=tuplets_over(self.tuplets, first, last),
            lyrics=of_notes(self.lyrics, first, last),
        )

    def with_centres(self, centres: tuple[KeyChange, ...]) -> Melody:
        """Return the same melody with the keys that were worked out for it."""
        return replace(self, centres=centres)

    def with_line(self, line: ScoreLine) -> Melody:
        """Return the same melody, known as a line of its piece."""
        return replace(self, line=line)

    def with_worked_chords(self, chords: tuple[ChordSymbol, ...]) -> Melody:
        """Return the same melody over chords that were worked out from all notes."""
        return replace(self, chords=chords, chords_worked_out=True)

    def with_worked_lines(self, lines: tuple[WorkedLine, ...]) -> Melody:
        """Return the same melody with what other lines of its piece do."""
        return replace(self, worked_lines=lines)

    def with_credits(self, **changes: Any) -> Melody:
        """Return the same melody with some credits replaced."""
        return replace(self, credits=replace(self.credits, **changes))

    def to_dict(self) -> dict[str, Any]:
        """Return plain data that :meth:`from_dict` and JSON can carry."""
        data: dict[str, Any] = {name: list(getattr(self, name)) for name in NOTE_COLUMNS}
        for name in RECORD_COLUMNS:
            data[name] = [packed(record) for record in getattr(self, name)]
        if self.chords_worked_out:
            data[WORKED_CHORDS], data["chords"] = data["chords"], []
        if self.worked_lines:
            data[WORKED_LINES] = [packed(line) for line in self.worked_lines]
        if self.dynamics:
            data[DYNAMICS] = [packed(sign) for sign in self.dynamics]
        data["tempo_quarters_per_minute"] = self.tempo_quarters_per_minute
        data["credits"] = {name: getattr(self.credits, name) for name in CREDITS_COLUMNS}
        return data

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Melody:
        """Rebuild a melody from :meth:`to_dict`.

        Raises
        ------
        KeyError, TypeError, ValueError
            If the data is not what ``to_dict`` makes.
        """
        refuse_misshapen(data)
        columns: dict[str, Any] = {name: tuple(data[name]) for name in NOTE_COLUMNS}
        worked = data.get(WORKED_CHORDS)
        if worked is not None:
            data = {**data, "chords": worked}
        records: dict[str, Any] = {
            name: tuple(unpacked(name, row) for row in data[name])
            for name in RECORD_COLUMNS
        }
        return cls(
            **columns,
            **records,
            chords_worked_out=worked is not None,
            dynamics=tuple(Dynamic(*row) for row in data.get(DYNAMICS, ())),
            worked_lines=tuple(WorkedLine(*row) for row in data.get(WORKED_LINES, ())),
            tempo_quarters_per_minute=data["tempo_quarters_per_minute"],
            credits=Credits(**data["credits"]),
        )

    def content_text(self) -> str:
        """Return music, title and makers as JSON with sorted names, without the place.

        :meth:`from_dict` reads it back, with the place left empty. Chords that were
        worked out, and dynamics, stand last; the id of the tune leaves them out. The name
        of the part belongs to the place: the same notes under another name are the same
        tune.
        """
        data = self.to_dict()
        for name in PROVENANCE:
            del data["credits"][name]
        data["credits"]["part"] = ""
        return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=True)

    def earlier_id(self) -> str:
        """Return the tune id that the tune had when the part's name counted.

        A corpus that was made then keeps it; it is :meth:`content_id` without a name.
        """
        return content_id_of(earlier_text(self.content_text(), self.credits.part))

    def content_id(self) -> str:
        """Return the tune id: a digest of music, title and makers, not of place.

        The same tune read from another file, or at another number, has the same
        id; any change of a note, a chord or the title gives another.
        """
        return content_id_of(self.content_text())


NOTE_COLUMNS = (
    "midi",
    "fifths",
    "onset_ticks",
    "duration_ticks",
    "bar",
    "beat_strength",
    "phrase",
)


def out_of_range(
    what: str, asked: tuple[int, int], limits: tuple[int, int], title: str
) -> PassageError:
    """The error that says which bars or notes there are."""
    error = PassageError(
        f"{what} {asked[0]}-{asked[1]} are not in this tune",
        where=title,
        hint=f"it has {what} {limits[0]} to {limits[1]}",
    )
    error.limits = limits
    return error
