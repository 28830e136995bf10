"""A part of a score as it is written: every note of every voice, and what stands around.

Conventions: pitches, keys and chord symbols sound; places and lengths are whole ticks from
the start of the part. A sheet keeps all voices and staves: which line is the melody is
decided later (``musicxml/line``).

Contents: Oddities, PartSheet, WrittenNote.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from melodex.melody import Bar, ChordSymbol, Dynamic, KeyChange, MetreChange, SectionMark

__all__ = ["Oddities", "PartSheet", "WrittenNote"]


@dataclass(slots=True)
class WrittenNote:
    """A note, rest or grace note as written.

    ``midi`` is -1 for a rest; ``held`` says that a fermata stands over it, ``phrase_end``
    that a phrase is marked to end with it.
    """

    onset_ticks: int
    duration_ticks: int
    midi: int
    fifths: int
    voice: str
    staff: str
    measure: int
    in_chord: bool = False
    grace: bool = False
    slashed: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    ratio: tuple[int, int] | None = None
    tuplet_start: bool = False
    tuplet_stop: bool = False
    lyrics: tuple[tuple[int, str], ...] = ()
    held: bool = False
    phrase_end: bool = False


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
