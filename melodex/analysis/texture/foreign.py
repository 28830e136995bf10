"""Notes of the other lines that their chords do not have, each by its name.

Conventions: a note is named over the chord in which it begins, as those of the tune are
(passing note, neighbour note, appoggiatura, anticipation, escape note); one that is held
into a chord that lacks it is named there if it is a suspension. What lies in a pedal of its
line is a pedal. A note that none of these names fits has no figure. All are common
practice, no source.

Contents: ForeignNote, foreign_notes.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from melodex.analysis.harmony.heard.slices import offsets_at
from melodex.analysis.harmony.placed import PlacedChord, melody_on_chords
from melodex.analysis.texture.lines import LineFind, TextureLine, lines_of
from melodex.melody import Melody, beat_strength
from melodex.melody.texture import Texture

__all__ = ["ForeignNote", "foreign_notes"]

CHORD_TONE = "chord tone"
SUSPENSION, PEDAL = "suspension", "pedal"


@dataclass(frozen=True, slots=True)
class ForeignNote:
    """A note and the chord that does not have it.

    Parameters
    ----------
    line : str
        Which line has it.
    bar : int
        As printed, in which it begins.
    onset_ticks : int
    midi, fifths : int
        Its pitch.
    degree : str
        Above the root, such as ``4`` or ``#11``.
    figure : str
        Its name; empty where none fits.
    chord, numeral : str
        As a symbol, and in its key.
    """

    line: str
    bar: int
    onset_ticks: int
    midi: int
    fifths: int
    degree: str
    figure: str
    chord: str
    numeral: str


def foreign_notes(
    texture: Texture,
    melody: Melody,
    placed: Sequence[PlacedChord],
    finds: Iterable[LineFind] = (),
) -> tuple[ForeignNote, ...]:
    """Name every note of the lines beside the tune that its chord does not have.

    Parameters
    ----------
    texture : Texture
        All notes of the piece.
    melody : Melody
        The tune among them, with bars.
    placed : sequence of PlacedChord
        The chords in their keys.
    finds : iterable of LineFind
        Of which the pedals are told.

    Returns
    -------
    tuple of ForeignNote
        In the order of time, then of the lines.
    """
    if not placed or not melody.bars:
        return ()
    pedals: dict[str, list[LineFind]] = {}
    for find in finds:
        if find.kind == PEDAL:
            pedals.setdefault(find.line, []).append(find)
    found = [
        note
        for line in lines_of(texture, melody)
        if not line.is_tune
        for note in of_line(line, melody, placed, pedals.get(line.name, ()))
    ]
    return tuple(sorted(found, key=lambda note: note.onset_ticks))


def of_line(
    line: TextureLine,
    melody: Melody,
    placed: Sequence[PlacedChord],
    pedals: Sequence[LineFind],
) -> Iterable[ForeignNote]:
    """The foreign notes of one line."""
    alone = as_melody(line, melody)
    for row in melody_on_chords(alone, placed):
        note = line.notes[row.note]
        figure = row.figure
        if any(find.onset_ticks <= note.onset_ticks < find.end_ticks for find in pedals):
            figure = PEDAL
        held_on = row.held and figure not in {SUSPENSION, PEDAL}
        if row.kind == CHORD_TONE or held_on:
            continue
        yield ForeignNote(
            line.name,
            alone.bar[row.note],
            note.onset_ticks,
            note.midi,
            note.fifths,
            row.degree_name,
            figure,
            row.chord_text,
            row.numeral,
        )


def as_melody(line: TextureLine, melody: Melody) -> Melody:
    """A line as a melody under the bars of the tune."""
    onsets = tuple(note.onset_ticks for note in line.notes)
    starts = [bar.onset_ticks for bar in melody.bars]
    places = [max(bisect_right(starts, onset) - 1, 0) for onset in onsets]
    return Melody(
        midi=tuple(note.midi for note in line.notes),
        fifths=tuple(note.fifths for note in line.notes),
        onset_ticks=onsets,
        duration_ticks=tuple(note.duration_ticks for note in line.notes),
        bar=tuple(melody.bars[place].number for place in places),
        beat_strength=tuple(beat_strength(*place) for place in offsets_at(onsets, melody)),
        phrase=(0,) * len(onsets),
    )
