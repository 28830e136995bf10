"""How thick a piece is, bar by bar: voices, spacing, rhythm together, doublings, chords.

Conventions: a voice is a note that sounds, unisons counted once; averages are over the
time in which something sounds. Lines are together as far as their notes begin together:
of the places where some line but the lowest-numbered begins a note, the share where two
lines or more do. A chord is rich if it has four different notes or more. The tune is alone
where no other line sounds.

Contents: BarTexture, bar_textures, Joint, joints, section_texture.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from melodex.analysis.harmony.chords import parse_chords
from melodex.analysis.texture.lines import LineFind, tune_line
from melodex.melody import Bar, Melody
from melodex.melody.texture import SoundingNote, Texture

__all__ = ["BarTexture", "Joint", "bar_textures", "joints", "section_texture"]

RICH_NOTES = 4
SURE = 0.5
"""Chords that are less sure say nothing of a bar."""
JOINED_BARS = 2
"""For so many bars lines are alone, and then not, where a voice is said to join."""


@dataclass(frozen=True, slots=True)
class BarTexture:
    """One bar.

    Parameters
    ----------
    number : int
        As printed.
    onset_ticks, end_ticks : int
    voices : float
        How many different notes sound at once, on average; 0 in silence.
    span : float
        Semitones from the lowest to the highest of them, on average.
    lines : int
        How many lines begin a note or hold one.
    together : float or None
        Share of beginnings that two lines or more have; None of one line.
    doubled : tuple of str
        At which intervals another line goes with the tune.
    alone : bool
        Whether the tune sounds without another line.
    rich : float or None
        Share of the time over chords of four notes or more; None without chords.
    chords : int
        How many times the root changes in it.
    """

    number: int
    onset_ticks: int
    end_ticks: int
    voices: float
    span: float
    lines: int
    together: float | None
    doubled: tuple[str, ...]
    alone: bool
    rich: float | None
    chords: int


@dataclass(frozen=True, slots=True)
class Joint:
    """A bar in which another line joins the one that sounded alone, and its name."""

    bar: int
    onset_ticks: int
    line: str


def bar_textures(
    texture: Texture, melody: Melody, finds: Iterable[LineFind] = ()
) -> tuple[BarTexture, ...]:
    """What sounds in each bar of a piece.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        The tune among them, with bars and chords.
    finds : iterable of LineFind
        Of which the doublings are told.
    """
    bars = [bar for bar in melody.bars if bar.duration_ticks > 0]
    if not bars:
        return ()
    starts = [bar.onset_ticks for bar in bars]
    last_bar = len(bars) - 1
    notes: list[list[SoundingNote]] = [[] for _ in bars]
    place = 0
    for note in texture.notes:
        while place < last_bar and starts[place + 1] <= note.onset_ticks:
            place += 1
        notes[place].append(note)
        after = place + 1
        while after <= last_bar and starts[after] < note.end_ticks:
            notes[after].append(note)
            after += 1
    tune = tune_line(texture, melody)
    doublings = [find for find in finds if find.kind == "doubling"]
    richness = rich_shares(melody, bars)
    thick = thickness(texture.notes, bars)
    return tuple(
        bar_texture(bar, notes[place], tune, doublings, (*thick[place], *richness[place]))
        for place, bar in enumerate(bars)
    )


def bar_texture(
    bar: Bar,
    notes: Sequence[SoundingNote],
    tune: int | None,
    doublings: Sequence[LineFind],
    measured: tuple[float, float, float | None, int],
) -> BarTexture:
    """One bar, given the notes that sound in it and what was measured of it."""
    start, end = bar.onset_ticks, bar.onset_ticks + bar.duration_ticks
    voices, span, rich, chords = measured
    lines = {note.line for note in notes}
    # Of each beginning the line that has it; -1 where more than one does.
    begun: dict[int, int] = {}
    for note in notes:
        onset = note.onset_ticks
        if onset >= start and begun.setdefault(onset, note.line) != note.line:
            begun[onset] = -1
    shared = sum([line < 0 for line in begun.values()])
    doubled = dict.fromkeys(
        find.interval
        for find in doublings
        if find.onset_ticks < end and find.end_ticks > start
    )
    return BarTexture(
        bar.number,
        start,
        end,
        voices,
        span,
        len(lines),
        shared / len(begun) if len(lines) > 1 and begun else None,
        tuple(doubled),
        tune is not None and lines == {tune},
        rich,
        chords,
    )


def thickness(
    notes: Sequence[SoundingNote], bars: Sequence[Bar]
) -> list[tuple[float, float]]:
    """Different notes at once and semitones between the outer ones, on average, by bar."""
    begin = sorted([(note.onset_ticks, note.midi) for note in notes], reverse=True)
    stop = sorted([(note.end_ticks, note.midi) for note in notes], reverse=True)
    lines = {bar.onset_ticks for bar in bars}
    lines |= {bar.onset_ticks + bar.duration_ticks for bar in bars}
    cuts = sorted({place for place, _ in begin} | {place for place, _ in stop} | lines)
    sounding: Counter[int] = Counter()
    found: list[tuple[float, float]] = []
    place = 0
    heard = voices = span = 0
    for here, after in pairwise(cuts):
        while stop and stop[-1][0] <= here:
            midi = stop.pop()[1]
            sounding[midi] -= 1
            if not sounding[midi]:
                del sounding[midi]
        while begin and begin[-1][0] <= here:
            sounding[begin.pop()[1]] += 1
        bar = bars[place]
        if here >= bar.onset_ticks and sounding:
            length = after - here
            heard += length
            voices += len(sounding) * length
            span += (max(sounding) - min(sounding)) * length
        if after >= bar.onset_ticks + bar.duration_ticks:
            found.append((voices / heard, span / heard) if heard else (0.0, 0.0))
            heard = voices = span = 0
            place += 1
            if place == len(bars):
                break
    return found + [(0.0, 0.0)] * (len(bars) - len(found))


def rich_shares(melody: Melody, bars: Sequence[Bar]) -> list[tuple[float | None, int]]:
    """Of each bar the share of rich chords, and how many times the root changes."""
    symbols = melody.chords
    chords = list(parse_chords(symbol.text for symbol in symbols))
    ends = [symbol.onset_ticks for symbol in symbols[1:]] + [melody.end_ticks]
    found: list[tuple[float | None, int]] = []
    first = 0
    for bar in bars:
        start, end = bar.onset_ticks, bar.onset_ticks + bar.duration_ticks
        while first < len(symbols) and ends[first] <= start:
            first += 1
        rich = whole = begun = 0
        for place in range(first, len(symbols)):
            if symbols[place].onset_ticks >= end:
                break
            if symbols[place].certainty < SURE:
                continue
            moves = not place or chords[place].root_fifths != chords[place - 1].root_fifths
            begun += moves and symbols[place].onset_ticks >= start
            if chords[place].sounds:
                shared = min(ends[place], end) - max(symbols[place].onset_ticks, start)
                whole += shared
                rich += shared * (len(chords[place].pitch_classes) >= RICH_NOTES)
        found.append((rich / whole if whole else None, begun))
    return found


def joints(
    bars: Sequence[BarTexture], texture: Texture, melody: Melody
) -> tuple[Joint, ...]:
    """Where a line joins the tune that sounded alone for a while, to stay for a while."""
    found = []
    tune = tune_line(texture, melody)
    for place in range(JOINED_BARS, len(bars) - JOINED_BARS + 1):
        before = bars[place - JOINED_BARS : place]
        after = bars[place : place + JOINED_BARS]
        if all(bar.alone for bar in before) and all(bar.lines > 1 for bar in after):
            here = bars[place]
            others = [
                note
                for note in texture.notes
                if note.line != tune
                and here.onset_ticks <= note.onset_ticks < here.end_ticks
            ]
            if others:
                name = texture.lines[others[0].line]
                found.append(Joint(here.number, others[0].onset_ticks, name))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class SectionTexture:
    """Averages over the bars of a stretch; None where no bar says anything."""

    voices: float
    span: float
    together: float | None
    rich: float | None
    doubled_bars: int
    alone_bars: int
    bars: int


def section_texture(bars: Sequence[BarTexture]) -> SectionTexture | None:
    """The averages of some bars; None where all are silent."""
    sounding = [bar for bar in bars if bar.voices]
    if not sounding:
        return None
    return SectionTexture(
        fmean(bar.voices for bar in sounding),
        fmean(bar.span for bar in sounding),
        mean_said(bar.together for bar in sounding),
        mean_said(bar.rich for bar in sounding),
        sum(bool(bar.doubled) for bar in sounding),
        sum(bar.alone for bar in sounding),
        len(bars),
    )


def mean_said(values: Iterable[float | None]) -> float | None:
    """The average of what is said, None where nothing is."""
    said = [value for value in values if value is not None]
    return fmean(said) if said else None
