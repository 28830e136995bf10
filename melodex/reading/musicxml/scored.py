"""Every line of a MusicXML part: its voices, and what moves under the top of chords.

Conventions: a voice gives its top (or bottom) notes as one line; the second, third and
fourth notes of its chords, counted from there, are lines of their own where they move as
voices (:data:`~melodex.reading.lines.UNDER_SHARE`). Voices of a part stand in order of
staff, then from high to low. Of the signs of the sheet a line has those of its own part.

Contents: VoiceLine, part_lines, clef_of, transposition_semitones_of.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from xml.etree.ElementTree import Element

from melodex.reading.bounded import one_line
from melodex.reading.common.parts import PartSheet, WrittenNote
from melodex.reading.lines import UNDER_SHARE
from melodex.reading.musicxml.line import VoiceName, mean_height, share_signs, voices_of
from melodex.reading.musicxml.part import transposition_of

__all__ = ["VoiceLine", "clef_of", "part_lines", "transposition_semitones_of"]

MOST_UNDER = 3
"""Notes of a chord under its top that may be voices: a hand has hardly more."""


@dataclass(frozen=True, slots=True)
class VoiceLine:
    """The notes of one line of a part, with its place and name in it.

    Parameters
    ----------
    voice : tuple of (str, str)
        Number and staff of the voice.
    level : int
        0 for the voice itself, 1 for what moves under its top, and so on.
    notes : list of WrittenNote
        In written order, rests included.
    name : str
        What it is called in its part; empty where that has one line.
    """

    voice: VoiceName
    level: int
    notes: list[WrittenNote]
    name: str = ""


def part_lines(sheet: PartSheet, kept: str) -> list[VoiceLine]:
    """Every line of a part, in order of staff, then from high to low.

    Parameters
    ----------
    sheet : PartSheet
        The part.
    kept : str
        ``top`` or ``bottom``: the note of a chord that its voice keeps.
    """
    voices = voices_of(sheet.notes)
    sounding = {
        name: pitched
        for name, notes in voices.items()
        if (pitched := [n for n in notes if n.midi >= 0 and not n.grace])
    }
    ordered = sorted(
        sounding, key=lambda name: (name[1], -mean_height(sounding[name]), name)
    )
    numbers = [name[0] for name in ordered]
    found = []
    for name in ordered:
        lines = [VoiceLine(name, 0, voices[name])]
        lines += [
            VoiceLine(name, level, notes)
            for level, notes in under_top(voices[name], sounding[name], kept)
        ]
        shared = numbers.count(name[0]) > 1
        voice = f"voice {one_line(name[0])[:20]}" if len(ordered) > 1 else ""
        if shared:
            voice += f" on staff {one_line(name[1])[:20]}"
        found += [replace(line, name=line_name(voice, line.level)) for line in lines]
    return found


def line_name(voice: str, level: int) -> str:
    """What a line is called in its part."""
    under = f"note {level + 1} of chords" if level else ""
    return ", ".join(filter(None, (voice, under)))


def under_top(
    notes: Sequence[WrittenNote], pitched: Sequence[WrittenNote], kept: str
) -> Iterator[tuple[int, list[WrittenNote]]]:
    """What moves as voices beside the note of each chord that a voice keeps."""
    if not any(note.in_chord for note in pitched):
        return
    by_onset = sorted(pitched, key=lambda note: note.onset_ticks)
    chords = [list(same) for _, same in groupby(by_onset, lambda note: note.onset_ticks)]
    rests = [note for note in notes if note.midi < 0]
    for level in range(1, MOST_UNDER + 1):
        there = [chord for chord in chords if len(chord) > level]
        if not there or len(there) < UNDER_SHARE * len(chords):
            return
        voice = []
        for chord in there:
            in_order = sorted(chord, key=lambda note: note.midi, reverse=kept != "bottom")
            # Words are sung by the top; signs of time hold for the whole chord.
            note = replace(in_order[level], lyrics=())
            share_signs(note, chord)
            note.lyrics = ()
            voice.append(note)
        yield level, sorted([*voice, *rests], key=lambda note: note.onset_ticks)


def clef_of(part: Element, staff: str) -> str:
    """First printed clef of a staff, such as ``G2``; empty where none is printed."""
    for clef in in_first_measure(part, "attributes/clef"):
        if clef.get("number", "1") == staff:
            sign = one_line(clef.findtext("sign"))[:12]
            return f"{sign}{one_line(clef.findtext('line'))[:2]}"
    return ""


def transposition_semitones_of(part: Element) -> int:
    """From written to sounding pitch, as the first measure states it."""
    for transpose in in_first_measure(part, "attributes/transpose"):
        return transposition_of(transpose)[0]
    return 0


def in_first_measure(part: Element, path: str) -> Iterator[Element]:
    """Elements of the first measure of a part.

    Not by ``measure[1]``: for each measure that would list all measures.
    """
    measure = part.find("measure")
    return iter(()) if measure is None else measure.iterfind(path)
