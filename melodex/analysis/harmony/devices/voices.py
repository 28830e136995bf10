"""Devices of voices over chords: basses and inner lines, colour notes of the melody.

Conventions: when a chain of half steps is a line is said in
:mod:`melodex.analysis.harmony.lines`. All rules are common practice, no source.

Contents: lines, colour_notes.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from melodex.analysis.harmony.devices.device import Device, Piece
from melodex.analysis.harmony.lines import Line, bass_lines, inner_lines, pedals
from melodex.analysis.harmony.placed import TENSION, NoteOnChord
from melodex.melody import degree_name, pitch_class, pitch_class_name

__all__ = ["colour_notes", "lines"]

LONG_NOTE_RATIO = 1.4
"""A note so many times the median length is long."""


def lines(piece: Piece) -> Iterator[Device]:
    """Pedal basses, basses and inner voices that move by half step."""
    chords = [here.chord for here in piece.row]
    for first, last, bass in pedals(chords):
        key = piece.row[first].key
        degree = "" if key.mode == "none" else degree_name(bass - key.tonic_fifths)
        on = f" (degree {degree})" if degree else ""
        texts = " ".join(chord.text for chord in chords[first : last + 1])
        reason = f"the bass stays on {pitch_class_name(bass)}{on} under {texts}"
        yield piece.device("pedal bass", first, last, reason)
    for line in bass_lines(chords):
        reason = f"the bass moves by half step: {line.names}"
        yield piece.device("bass by half step", line.first, line.last, reason)
    for line in inner_lines(chords):
        kind = "inner line over one root" if line.one_root else "inner line by half step"
        texts = " ".join(chord.text for chord in chords[line.first : line.last + 1])
        reason = f"a voice inside {texts} moves by half step: {line.names}"
        if is_cliche(piece, line):
            reason += ", the line cliche"
        yield piece.device(kind, line.first, line.last, reason)


def is_cliche(piece: Piece, line: Line) -> bool:
    """Whether a line runs from the root or the fifth of a tonic that stays."""
    here = piece.row[line.first]
    if not line.one_root or here.numeral.degree != 0:
        return False
    return pitch_class(line.notes[0] - here.chord.root_fifths) in {0, 7}


COLOURED_ROLES = frozenset({"borrowed", "tritone substitute", "secondary dominant"})
COLOURS = frozenset({"#11", "b9", "#9", "b13"})


def colour_notes(piece: Piece) -> Iterator[Device]:
    """Long or strong melody notes that are telling tensions on their chord."""
    lengths = piece.melody.duration_ticks
    long_note = LONG_NOTE_RATIO * median(lengths) if lengths else 0.0
    for row in piece.notes:
        if row.kind != TENSION or row.held:
            continue
        strong = piece.melody.beat_strength[row.note] == 1.0
        if not strong and lengths[row.note] < long_note:
            continue
        if is_telling(row, piece.placed[row.chord].numeral.role):
            bar = piece.melody.bar[row.note]
            note = pitch_class_name(piece.melody.fifths[row.note])
            reason = f"the {note} in the melody is the {row.sentence}"
            yield Device(
                "colour note", bar, bar, reason, (row.chord, row.chord), (row.note,)
            )


def is_telling(row: NoteOnChord, role: str) -> bool:
    """Whether a tension is one that a listener remembers."""
    if row.degree_name in COLOURS:
        return True
    if row.degree_name == "7" and row.family == "minor":
        return True
    return role in COLOURED_ROLES and row.degree_name in {"7", "9", "13", "11"}
