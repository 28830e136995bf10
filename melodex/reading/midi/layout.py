"""A melody laid out: notes on a grid and signs become bars, beats and spelled pitches.

Conventions: spelling follows the key that the file states, else the key whose scale covers
most of the sounding time.

Contents: laid_out, tonic_by_content.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import replace

from melodex.errors import ReadingError
from melodex.melody import (
    Bar,
    ChordSymbol,
    Credits,
    Lyric,
    Melody,
    Metre,
    MetreChange,
    SectionMark,
    beat_strength,
    spell,
)
from melodex.reading.bounded import refuse_more_bars
from melodex.reading.midi.file import MidiNote
from melodex.reading.midi.signs import Signs

__all__ = ["laid_out", "tonic_by_content"]

MOST_EMPTY_BARS = 2_000
BARS_OF_A_NOTE = 50
"""A few bytes may say a rest of a day; so many bars for each note, and so many more, are
far beyond the part of any instrument."""

MAJOR_SCALE = {0, 2, 4, 5, 7, 9, 11}
HARMONIC_MINOR_SCALE = {0, 2, 3, 5, 7, 8, 11}
"""Semitones above the tonic (common practice, no source)."""

LAST_NOTE_WEIGHT = 0.05
"""What ending on its tonic speaks for a key, as a share of the sounding time."""


def laid_out(
    notes: list[MidiNote], places: list[tuple[int, int]], signs: Signs, warnings: list[str]
) -> Melody:
    """A melody from places, pitches and signs."""
    if not signs.metres or signs.metres[0].onset_ticks > 0:
        warnings.append("no time signature at the start: read as 4/4")
        signs.metres.insert(0, MetreChange(0, Metre(4, 4)))
    end = places[-1][0] + places[-1][1]
    signs.metres, pickup = without_pickup_metre(signs.metres)
    bars, offsets = bars_of(signs.metres, pickup, end)
    if len(bars) > MOST_EMPTY_BARS + BARS_OF_A_NOTE * len(places):
        raise ReadingError(f"{len(places)} notes in {len(bars)} bars are mostly silence")
    starts = [bar.onset_ticks for bar in bars]
    of_note = [bisect_right(starts, onset) - 1 for onset, _ in places]
    midi = tuple(note.midi for note in notes)
    melody = Melody(
        midi=midi,
        fifths=(0,) * len(notes),
        onset_ticks=tuple(onset for onset, _ in places),
        duration_ticks=tuple(duration for _, duration in places),
        bar=tuple(bars[i].number for i in of_note),
        beat_strength=(0.0,) * len(notes),
        phrase=(0,) * len(notes),
        bars=tuple(bars),
        keys=tuple(signs.keys),
        metres=tuple(signs.metres),
        tempo_quarters_per_minute=signs.tempo,
        credits=Credits(title=signs.title, rights=signs.rights),
    )
    guessed = tonic_by_content(melody)
    index_at = {onset: i for i, onset in enumerate(melody.onset_ticks)}
    return replace(
        melody,
        fifths=tuple(
            spell(pitch, melody.key_at(onset).tonic_fifths if signs.keys else guessed)
            for pitch, (onset, _) in zip(midi, places, strict=True)
        ),
        beat_strength=tuple(
            beat_strength(
                onset - bars[i].onset_ticks + offsets[i],
                melody.metre_at(bars[i].onset_ticks),
            )
            for i, (onset, _) in zip(of_note, places, strict=True)
        ),
        chords=tuple(
            ChordSymbol(text, bars[bisect_right(starts, ticks) - 1].number, ticks)
            for ticks, text in sorted(signs.chords.items())
            if ticks < end
        ),
        marks=tuple(
            SectionMark(text, bars[bisect_right(starts, ticks) - 1].number, ticks)
            for ticks, text in signs.marks
            if ticks <= end
        ),
        lyrics=tuple(
            Lyric(index_at[ticks], text)
            for ticks, text in sorted(signs.words.items())
            if ticks in index_at
        ),
    )


def without_pickup_metre(metres: list[MetreChange]) -> tuple[list[MetreChange], int]:
    """The metres as they would be printed, and the length of a pickup.

    A first metre that lasts for one bar and is shorter than the next one is how a
    pickup is written in MIDI files (common practice, no source).
    """
    if len(metres) < 2 or metres[0].metre is None or metres[1].metre is None:
        return metres, 0
    first, second = metres[0].metre.bar_ticks, metres[1].metre.bar_ticks
    if not metres[1].onset_ticks == first < second:
        return metres, 0
    return [replace(metres[1], onset_ticks=0), *metres[2:]], first


def bars_of(
    metres: list[MetreChange], pickup: int, end: int
) -> tuple[list[Bar], list[int]]:
    """Bars up to an end, and where in its printed bar each one starts."""
    bars: list[Bar] = []
    offsets: list[int] = []
    place = 0
    limits = [change.onset_ticks for change in metres[1:]] + [math.inf]
    for change, limit in zip(metres, limits, strict=True):
        assert change.metre is not None
        length = change.metre.bar_ticks
        while place < min(limit, end):
            duration = pickup if pickup and not bars else length
            # A metre that changes within a bar cuts that bar short.
            duration = int(min(duration, limit - place))
            bars.append(Bar(len(bars) + (not pickup), place, duration))
            offsets.append(length - duration if pickup and len(bars) == 1 else 0)
            place += duration
            refuse_more_bars(len(bars))
    return bars, offsets


def tonic_by_content(melody: Melody) -> int:
    """The tonic whose major or harmonic minor scale covers most of the sounding time."""
    weights = [0.0] * 12
    for pitch, duration in zip(melody.midi, melody.duration_ticks, strict=True):
        weights[pitch % 12] += duration
    total = sum(weights)
    best = (-1.0, 0, 0)
    for tonic in range(-5, 7):
        tonic_class = 7 * tonic % 12
        for relative, scale in ((0, MAJOR_SCALE), (3, HARMONIC_MINOR_SCALE)):
            inside = sum(weights[(tonic_class + step) % 12] for step in scale) / total
            inside += LAST_NOTE_WEIGHT * (melody.midi[-1] % 12 == tonic_class)
            # Of equal fits, the signature with the fewest signs.
            best = max(best, (round(inside, 9), -abs(tonic - relative), tonic))
    return best[2]
