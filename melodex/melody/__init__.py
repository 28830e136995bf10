"""The melody: spelled pitch, time, bars, and what was printed around the notes.

Conventions: time is counted in ticks, :data:`TICKS_PER_QUARTER` to a quarter
note, so that triplets, quintuplets and septuplets add up exactly. A spelled
pitch class is a whole number on the line of fifths (F -1, C 0, G 1; B flat is
-2 and A sharp 10). Sequences hold one entry per sounding note and are tuples:
a Melody never changes.

Contents: ``pitch`` (names, degrees, modes), ``metre`` (beat strength, duration
class), ``marks`` (the small records: bars, keys, chords ...), ``record`` (Melody),
``phrase`` (what is looked for), ``cutting`` (parts of a melody), ``moving`` (the same
in another place).
"""

from melodex.melody.marks import (
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
    bars_text,
)
from melodex.melody.metre import (
    TICKS_PER_QUARTER,
    Metre,
    beat_strength,
    duration_class,
)
from melodex.melody.phrase import Phrase
from melodex.melody.pitch import (
    MODES,
    degree_fifths,
    degree_name,
    fifths_from_name,
    fifths_of,
    midi_of,
    note_name,
    octave_of,
    pitch_class,
    pitch_class_name,
    spell,
)
from melodex.melody.record import Melody, name_of

__all__ = [
    "MODES",
    "TICKS_PER_QUARTER",
    "Bar",
    "ChordSymbol",
    "Credits",
    "Dynamic",
    "Grace",
    "Key",
    "KeyChange",
    "Lyric",
    "Melody",
    "Metre",
    "MetreChange",
    "Phrase",
    "SectionMark",
    "Tuplet",
    "WorkedLine",
    "bars_text",
    "beat_strength",
    "degree_fifths",
    "degree_name",
    "duration_class",
    "fifths_from_name",
    "fifths_of",
    "midi_of",
    "name_of",
    "note_name",
    "octave_of",
    "pitch_class",
    "pitch_class_name",
    "spell",
]
