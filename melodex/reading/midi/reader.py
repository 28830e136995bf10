"""MIDI files become melodies: the main line, or all, put on a grid, pitches spelled.

Conventions: a *line* is one channel of one track; where it plays several notes at once,
what moves under its top is parted into lines too. The main line is the one that was
chosen, else one called voice, solo or melody, else the first that plays one note at a
time, those with words first, else the one with most notes, of which the top note of each
chord is kept. Percussion is left out. Chord symbols are texts
that have their form (common practice, no source: the standard has no event for them).
A MIDI file holds key presses, no notation: places and lengths are put on a grid,
straight or in triplets, and that is always said. Spelling follows the key that the file
states, else the key whose scale covers most of the sounding time; such a guessed key is
not kept as printed.

References
----------
MIDI Manufacturers Association (1996), Standard MIDI Files 1.0 (RP-001): meta events
for tempo, metre and key; without a time signature the metre is 4/4.

Contents: read_midi.
"""

from __future__ import annotations

from dataclasses import replace

from melodex.errors import ReadingError
from melodex.melody import (
    TICKS_PER_QUARTER,
    Melody,
    spell,
)
from melodex.melody.score_line import ScoreLine
from melodex.melody.texture import SoundingNote, Texture, names_harmony
from melodex.reading.lines import ReadLine, pieced, read_tunes
from melodex.reading.midi.file import MidiFile, MidiNote, parse_midi
from melodex.reading.midi.grid import Grid, best_grid, grid_text, placed
from melodex.reading.midi.layout import laid_out, tonic_by_content
from melodex.reading.midi.lines import (
    MidiLine,
    chosen_line,
    lines_of,
    one_at_a_time,
    parted,
    percussion,
)
from melodex.reading.midi.signs import signs_of
from melodex.reading.result import Choice, FileReading, Refusal

__all__ = ["read_midi"]

MOST_SOUNDING = 200_000
"""Notes of all lines that chords are worked out of; our choice."""


def read_midi(data: bytes, source: str, choice: Choice) -> FileReading:
    """Read the melody of a MIDI file.

    Parameters
    ----------
    data : bytes
        What the file holds.
    source : str
        What to call the file in messages and credits.
    choice : Choice
        ``part`` is the name of a track or the number of a line from 1, ``voice`` a
        channel from 1, ``chord_note`` the note of a chord.

    Returns
    -------
    FileReading
        One tune, whose first warning states the grid; or one refusal.
    """
    try:
        lines, texture = lines_of_midi(parse_midi(data), source, choice)
    except ReadingError as error:
        refusal = Refusal.of(error, source)
        return FileReading(source, refusals=(refusal,))
    return FileReading(source, tunes=read_tunes(lines, data, "midi", texture))


def lines_of_midi(
    file: MidiFile, source: str, choice: Choice
) -> tuple[list[tuple[ReadLine, ScoreLine]], Texture | None]:
    """The lines of a file, the main one first, and the notes of unnamed harmony."""
    lines = list(lines_of(file))
    line = chosen_line(lines, choice)
    notes, had_chords = one_at_a_time(line.notes, choice.chord_note)
    grid = best_grid(notes, file.ticks_per_quarter)
    places = placed(notes, grid, file.ticks_per_quarter)
    wants_all = choice.lines != "top"
    warnings = [grid_text(grid)]
    if had_chords:
        warnings.append(f"of each chord only the {choice.chord_note} note is read")
    others = [str(other) for other in lines if other is not line]
    if others and not wants_all:
        more = f" and {len(others) - 6} more" if len(others) > 6 else ""
        warnings.append(f"read {line}; left aside {', '.join(others[:6])}{more}")
    signs = signs_of(file, warnings)
    warnings += damages(file)
    number = str(line.position)
    melody = laid_out(notes, places, signs, warnings).with_credits(
        source=source, number=number, part=line.name
    )
    texture = None
    if others or had_chords:
        texture = texture_of(lines, grid, file.ticks_per_quarter, melody)
    if texture and names_harmony(len(melody.chords), len(melody.bars)):
        texture = replace(texture, named=True)
    main = ReadLine(
        melody,
        (line.position, 0),
        True,
        line.name,
        warnings=warnings,
        instrument=line.sound,
    )
    if not wants_all:
        return [(main, ScoreLine(part=line.name, instrument=line.sound))], texture
    by = {"source": source, "number": number}
    made = [made_line(file, *each, by) for each in parted(lines, line, choice)]
    found, aside = pieced([main, *made], as_written=choice.lines == "written")
    main.warnings += [*aside, *percussion(file)]
    return found, texture


def made_line(
    file: MidiFile,
    line: MidiLine,
    level: int,
    notes: list[MidiNote],
    credited: dict[str, str],
) -> ReadLine:
    """One line on a grid of its own, made into a melody."""
    grid = best_grid(notes, file.ticks_per_quarter)
    places = placed(notes, grid, file.ticks_per_quarter)
    signs = signs_of(file, [])
    # Words and chord symbols go with the main line.
    signs.words.clear()
    signs.chords.clear()
    melody = laid_out(notes, places, signs, []).with_credits(**credited, part=line.name)
    return ReadLine(
        melody,
        (line.position, level),
        part=line.name or f"line {line.position}",
        voice=f"note {level + 1} of chords" if level else "",
        instrument=line.sound,
        warnings=[] if grid.exact else [grid_text(grid)],
    )


def texture_of(
    lines: list[MidiLine], grid: Grid, ticks_per_quarter: int, melody: Melody
) -> Texture | None:
    """All notes of all lines on the grid of the melody, spelled in its keys.

    None where nothing sounds together, or more than any music holds.
    """
    if sum(len(line.notes) for line in lines) > MOST_SOUNDING:
        return None
    step = TICKS_PER_QUARTER // grid.steps
    guessed = tonic_by_content(melody)
    last = melody.end_ticks
    notes = []
    for place, line in enumerate(lines):
        for note in line.notes:
            onset, end = (
                round(tick * grid.steps / ticks_per_quarter) * step
                for tick in (note.start, note.end)
            )
            if onset >= last:
                continue
            tonic = melody.key_at(onset).tonic_fifths if melody.keys else guessed
            fifths = spell(note.midi, tonic)
            notes.append(
                SoundingNote(
                    onset, max(min(end, last) - onset, step), note.midi, fifths, place
                )
            )
    texture = Texture.of(notes, [str(line) for line in lines])
    return texture if texture.is_chordal else None


# Choosing a line


# The grid


# Keys, metres, words


def damages(file: MidiFile) -> list[str]:
    """What was broken in the file."""
    said = []
    if file.broken or any(track.broken for track in file.tracks):
        said.append("the file breaks off; what came before is read")
    hanging = sum(track.hanging for track in file.tracks)
    if hanging:
        said.append(f"notes without an end: {hanging}; they last as long as their track")
    return said


# Laying out
