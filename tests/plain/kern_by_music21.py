"""Humdrum spines as music21 reads them: the outside witness of our own reader.

Conventions: of each ``**kern`` spine every written note that is no grace note, the notes
of chords each for itself and tied ones apart: onset and length in quarters, MIDI number,
spelled name. Spines come from the top of the score.

Source: the reader and the corpus of the installed music21 package.
"""

import warnings
from pathlib import Path

import music21

from melodex.melody import TICKS_PER_QUARTER, pitch_class_name
from melodex.reading.decoding import decode
from melodex.reading.humdrum.reader import pieces_of
from melodex.reading.humdrum.walk import walk_piece

CLOSE_QUARTERS = 1e-3
"""music21 rounds places that are no simple fractions."""


def corpus_root() -> Path:
    """The folder of music21's own corpus."""
    return Path(music21.__file__).parent / "corpus"


def corpus_files() -> list[Path]:
    """Every Humdrum file of music21's corpus, in order of its path."""
    return sorted(corpus_root().rglob("*.krn"))


def rows_by_melodex(path: Path) -> list[list[tuple]]:
    """The notes of each spine, in order."""
    (lines,) = pieces_of(decode(path.read_bytes()))
    return [
        sorted(
            (
                note.onset_ticks / TICKS_PER_QUARTER,
                note.duration_ticks / TICKS_PER_QUARTER,
                note.midi,
                pitch_class_name(note.fifths),
            )
            for note in part.sheet.notes
            if note.midi >= 0 and not note.grace
        )
        for part in walk_piece(lines).parts
    ]


def parsed_by_music21(path: Path) -> music21.stream.Score:
    """The piece as music21 reads it, without its pickled cache."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, format="humdrum", forceSource=True)
    assert isinstance(score, music21.stream.Score)
    return score


def rows_by_music21(score: music21.stream.Score) -> list[list[tuple]]:
    """The notes of each spine, in order."""
    return [
        sorted(
            (
                float(element.getOffsetInHierarchy(part)),
                float(element.duration.quarterLength),
                int(pitch.ps),
                pitch.name.replace("-", "b"),
            )
            for element in part.recurse().notes
            if not element.duration.isGrace
            for pitch in element.pitches
        )
        for part in score.parts
    ]


def difference(ours: list[tuple], theirs: list[tuple]) -> str:
    """Where two readings of a spine part for the first time; empty where they agree."""
    for at, (mine, other) in enumerate(zip(ours, theirs, strict=False)):
        near = all(abs(mine[k] - other[k]) < CLOSE_QUARTERS for k in (0, 1))
        if not near or mine[2:] != other[2:]:
            return f"note {at}: melodex {mine}, music21 {other}"
    if len(ours) != len(theirs):
        return f"melodex {len(ours)} notes, music21 {len(theirs)}"
    return ""
