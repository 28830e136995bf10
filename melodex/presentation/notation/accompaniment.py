"""Chord symbols as notes, to be heard under a melody.

Conventions: the bass lies from G2 to F sharp 3, the other notes of the chord from G3 to F
sharp 4, each once, so that they lie close and below most melodies (our choice). A chord
lasts until the next one, or to the end of the melody.

Contents: chord_notes.
"""

from __future__ import annotations

from collections.abc import Iterator

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.melody import Melody, pitch_class

__all__ = ["chord_notes"]

LOWEST_BASS, LOWEST_TONE = 43, 55
"""G2 and G3."""


def chord_notes(melody: Melody) -> Iterator[tuple[int, int, int]]:
    """Pitch, onset and length in ticks of each note of the chords of a melody.

    Chords that are not understood, and "no chord", are silence.
    """
    chords = parse_chords(symbol.text for symbol in melody.chords)
    onsets = [symbol.onset_ticks for symbol in melody.chords]
    ends = [*onsets[1:], melody.end_ticks] if onsets else []
    for chord, onset, end in zip(chords, onsets, ends, strict=True):
        if end > onset:
            for midi in voiced(chord):
                yield midi, onset, end - onset


def voiced(chord: Chord) -> list[int]:
    """The pitches of a chord from the bass up; none where it has no notes."""
    if not chord.understood or not chord.degrees:
        return []
    root = chord.root_fifths
    bass = pitch_class(root if chord.bass_fifths is None else chord.bass_fifths)
    tones = {pitch_class(root + degree) for degree in (0, *chord.degrees)} - {bass}
    low = LOWEST_BASS + (bass - LOWEST_BASS) % 12
    return [low, *sorted(LOWEST_TONE + (tone - LOWEST_TONE) % 12 for tone in tones)]
