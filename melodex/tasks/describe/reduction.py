"""A piece reduced to two staves: the tune, and the bass of its chords with numerals.

Conventions: the bass has one note for each chord, as long as the chord holds, at the
height at which the lowest line plays it, or, where no notes are known, near the C below
middle C. A chord that goes on is one note. Nothing is added and no voice is written out.

Contents: Reduction, reduced, reduction_of.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.harmony.placed import PlacedChord
from melodex.errors import EmptyMelodyError
from melodex.melody import Melody, beat_strength, pitch_class
from melodex.melody.texture import Texture
from melodex.tasks.describe.describe import Description, described_whole

__all__ = ["Reduction", "reduced", "reduction_of"]

LOWEST, NEAR = 36, 48
"""The lowest bass that is written without a score, and what it lies above; common
practice, no source."""


@dataclass(frozen=True, slots=True)
class Reduction:
    """Two staves.

    Parameters
    ----------
    tune, bass : Melody
        The tune with its chord symbols, and the bass under it.
    numerals : tuple of (int, str)
        Onset and numeral of each chord.
    worked_out : bool
        Whether the chords are not printed but worked out from the notes.
    """

    tune: Melody
    bass: Melody
    numerals: tuple[tuple[int, str], ...]
    worked_out: bool


def reduced(name: str, corpus_path: Path) -> Reduction:
    """Reduce a piece by name.

    Parameters
    ----------
    name : str
        A file, a tune id or a title.
    corpus_path : Path
        The corpus file, where there is one.

    Raises
    ------
    UnknownTuneError, ReadingError
        If there is no such tune.
    EmptyMelodyError
        If it has no tune, or no chords printed or worked out.
    """
    return reduction_of(*described_whole(name, corpus_path, alone=True))


def reduction_of(found: Description, texture: Texture | None) -> Reduction:
    """Reduce a piece that was described; ``texture`` are all its notes, if known."""
    melody = found.passage.whole
    chords = [here for here in found.analysis.harmony.chords if here.chord.sounds]
    if not len(melody) or not chords:
        raise EmptyMelodyError(
            "there are no chords to reduce it to" if len(melody) else "there is no tune",
            where=melody.title,
            hint="a score of several lines, or chord symbols, would show its harmony",
        )
    symbols = tuple(replace(symbol, certainty=1.0, other="") for symbol in melody.chords)
    return Reduction(
        replace(melody, chords=symbols, chords_worked_out=False),
        bass_of(melody, chords, texture),
        tuple((here.onset_ticks, here.numeral.text) for here in chords),
        melody.chords_worked_out,
    )


def bass_of(
    melody: Melody, chords: Sequence[PlacedChord], texture: Texture | None
) -> Melody:
    """One note for each chord."""
    rows: list[tuple[int, int, int, int]] = []
    heights = BassHeights(texture)
    for here in chords:
        chord = parse_chord(here.chord.text)
        end = min(here.end_ticks, melody.end_ticks)
        if end <= here.onset_ticks:
            continue
        midi = heights.of(chord.lowest_fifths, here.onset_ticks, end)
        if rows and rows[-1][1] == here.onset_ticks and rows[-1][2] == midi:
            rows[-1] = (rows[-1][0], end, midi, chord.lowest_fifths)
        else:
            rows.append((here.onset_ticks, end, midi, chord.lowest_fifths))
    starts = [bar.onset_ticks for bar in melody.bars]
    places = [max(bisect_right(starts, row[0]) - 1, 0) for row in rows]
    bars = melody.bars
    return replace(
        Melody(),
        midi=tuple(row[2] for row in rows),
        fifths=tuple(row[3] for row in rows),
        onset_ticks=tuple(row[0] for row in rows),
        duration_ticks=tuple(row[1] - row[0] for row in rows),
        bar=tuple(bars[place].number if bars else 1 for place in places),
        beat_strength=tuple(
            beat_strength(
                row[0] - (bars[place].onset_ticks if bars else 0), melody.metre_at(row[0])
            )
            for row, place in zip(rows, places, strict=True)
        ),
        phrase=(0,) * len(rows),
        bars=bars,
        keys=melody.keys,
        metres=melody.metres,
    )


class BassHeights:
    """At which height the lowest notes of a piece lie."""

    def __init__(self, texture: Texture | None) -> None:
        self.notes = texture.notes if texture else ()
        self.onsets = [note.onset_ticks for note in self.notes]

    def of(self, fifths: int, start: int, end: int) -> int:
        """The lowest note of a name that begins in a stretch, else one near by."""
        wanted = pitch_class(fifths)
        inside = self.notes[bisect_left(self.onsets, start) : bisect_left(self.onsets, end)]
        heights = [note.midi for note in inside if note.midi % 12 == wanted]
        if heights:
            return min(heights)
        near = NEAR + wanted
        return near - 12 if near - 12 >= LOWEST and wanted > 7 else near
