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

Contents: GRIDS, read_midi.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise

from melodex.errors import ReadingError
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Credits,
    Key,
    KeyChange,
    Lyric,
    Melody,
    Metre,
    MetreChange,
    SectionMark,
    beat_strength,
    spell,
)
from melodex.melody.score_line import ScoreLine
from melodex.melody.texture import SoundingNote, Texture, names_harmony
from melodex.reading.bounded import MOST_TEXT, one_line, settle
from melodex.reading.common.chord_text import may_be_chord
from melodex.reading.lines import UNDER_SHARE, ReadLine, pieced, rank_of_line, read_tunes
from melodex.reading.midi.file import MetaEvent, MidiFile, MidiNote, parse_midi
from melodex.reading.result import Choice, FileReading, Refusal

__all__ = ["GRIDS", "read_midi"]

GRIDS = (1, 2, 3, 4, 6, 8, 12, 16, 24)
"""Steps to the quarter, straight and in triplets, from the coarsest to the finest."""

PERCUSSION_CHANNEL = 10
TEXT, RIGHTS, NAME, INSTRUMENT, WORDS, MARKER = 1, 2, 3, 4, 5, 6
TEMPO, METRE, KEY = 0x51, 0x58, 0x59
MOST_BARS = 20_000
MOST_EMPTY_BARS = 2_000
BARS_OF_A_NOTE = 50
"""A few bytes may say a rest of a day; so many bars for each note, and so many more, are
far beyond the part of any instrument."""
MOST_SOUNDING = 200_000
FEWEST_CHORDS = 2
"""A single text that looks like a chord symbol may as well be a letter of a section."""

OVERLAP = 0.5
"""A note may sound into the next one for half its length and still be one line."""

MOST_AT_ONCE = 32
"""Notes of one channel that sound together; hostile files hold more."""

MOST_UNDER = 3
"""Notes under the top of what sounds together that may be voices."""

LEGATO = 0.25
"""A gap of less than a quarter of the way to the next note is a player's, not a rest."""

MAJOR_SCALE = {0, 2, 4, 5, 7, 9, 11}
HARMONIC_MINOR_SCALE = {0, 2, 3, 5, 7, 8, 11}
LAST_NOTE_WEIGHT = 0.05
"""What ending on its tonic speaks for a key, as a share of the sounding time."""


@dataclass(slots=True)
class MidiLine:
    """The notes of one channel in one track."""

    position: int
    name: str
    channel: int
    notes: list[MidiNote]
    sound: str = ""
    is_sung: bool = False

    @property
    def rank(self) -> int:
        """How readily a listener follows it: by its name, then for its words."""
        # Words of a track are not tied to its notes.
        return rank_of_line(self.name, ["la"] if self.is_sung else [])

    def __str__(self) -> str:
        return self.name or f"line {self.position}"


@dataclass(slots=True)
class Grid:
    """Steps to the quarter, and how far the notes lay from it, in quarters."""

    steps: int
    error_quarters: float
    exact: bool


@dataclass(slots=True)
class Signs:
    """What the meta events of all tracks say, in ticks of a melody."""

    keys: list[KeyChange] = field(default_factory=list)
    metres: list[MetreChange] = field(default_factory=list)
    marks: list[tuple[int, str]] = field(default_factory=list)
    words: dict[int, str] = field(default_factory=dict)
    chords: dict[int, str] = field(default_factory=dict)
    tempo: float | None = None
    title: str = ""
    rights: str = ""


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


def percussion(file: MidiFile) -> list[str]:
    """Say that percussion is left aside, where there is any."""
    drums = sum(
        note.channel == PERCUSSION_CHANNEL for track in file.tracks for note in track.notes
    )
    return [f"left aside percussion: {drums} strokes"] if drums else []


def parted(
    lines: list[MidiLine], main: MidiLine, choice: Choice
) -> Iterator[tuple[MidiLine, int, list[MidiNote]]]:
    """Every line but the main one, with its level under the top of its channel."""
    for line in lines:
        kept = choice.chord_note if line is main else "top"
        if line is not main:
            yield line, 0, one_at_a_time(line.notes, "top")[0]
        if not is_single(line.notes):
            for level, notes in under_top(line.notes, kept):
                yield line, level, notes


def under_top(notes: list[MidiNote], kept: str) -> Iterator[tuple[int, list[MidiNote]]]:
    """What moves as voices beside the note of each chord that a line keeps.

    A note is on the level of how many sound above it when it starts (below it where the
    bottom is kept): so a voice under a note that is held has its place too.
    """
    sign = 1 if kept == "bottom" else -1
    ordered = sorted(notes, key=lambda note: (note.start, sign * note.midi))
    onsets = len({note.start for note in notes})
    levels: dict[int, list[MidiNote]] = {}
    sounding: list[MidiNote] = []
    for note in ordered:
        # What ends within a player's legato has made room.
        sounding = [
            held
            for held in sounding[-MOST_AT_ONCE:]
            if held.end - note.start > OVERLAP * (held.end - held.start)
        ]
        level = sum(sign * (n.midi - note.midi) < 0 for n in sounding)
        sounding.append(note)
        if 0 < level <= MOST_UNDER:
            levels.setdefault(level, []).append(note)
    for level, found in sorted(levels.items()):
        single, _ = one_at_a_time(found, kept)
        if len(single) < UNDER_SHARE * onsets:
            return
        yield level, single


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


def lines_of(file: MidiFile) -> Iterator[MidiLine]:
    """Every channel of every track that plays pitches, in order."""
    position = 0
    for track in file.tracks:
        name = next((text_of(e.data) for e in track.meta if e.kind == NAME), "")
        sound = next((text_of(e.data) for e in track.meta if e.kind == INSTRUMENT), "")
        is_sung = any(event.kind == WORDS for event in track.meta)
        channels: dict[int, list[MidiNote]] = {}
        for note in track.notes:
            channels.setdefault(note.channel, []).append(note)
        channels.pop(PERCUSSION_CHANNEL, None)
        for channel, notes in sorted(channels.items()):
            position += 1
            shown = f"{name}, channel {channel}" if len(channels) > 1 else name
            yield MidiLine(
                position, shown.removeprefix(", "), channel, notes, sound, is_sung
            )


def chosen_line(lines: list[MidiLine], choice: Choice) -> MidiLine:
    """The line that was asked for, else one that a listener follows.

    That is one called voice, solo or melody, else a single one, those with words first,
    then those called soprano or the like, else the fullest.
    """
    if not lines:
        raise ReadingError("the file has no notes with a pitch")
    listed = ", ".join(f"{line.position} {line.name}".strip() for line in lines)[:300]
    found = lines
    if choice.part:
        wanted = choice.part.strip().casefold()
        found = [line for line in lines if line.name.casefold() == wanted]
        found = found or [line for line in lines if str(line.position) == wanted]
    if choice.voice:
        found = [line for line in found if str(line.channel) == choice.voice.strip()]
    if not found:
        raise ReadingError(
            "no line of that name or channel has notes", hint=f"lines: {listed}"
        )
    for line in sorted(found, key=lambda line: line.rank):
        if line.rank == 0 or is_single(line.notes):
            return line
    return max(found, key=lambda line: len(line.notes))


def is_single(notes: list[MidiNote]) -> bool:
    """Whether a line plays one note at a time, legato allowed."""
    ordered = sorted(notes, key=lambda note: note.start)
    return all(
        first.end - second.start
        <= OVERLAP * min(first.end - first.start, second.end - second.start)
        and first.start < second.start
        for first, second in pairwise(ordered)
    )


def one_at_a_time(notes: list[MidiNote], kept: str) -> tuple[list[MidiNote], bool]:
    """Keep one note of each chord; a note ends where the next one starts."""
    ordered = sorted(notes, key=lambda note: (note.start, note.midi))
    pick = 0 if kept == "bottom" else -1
    groups = [list(group) for _, group in groupby(ordered, key=lambda note: note.start)]
    single = [replace(group[pick]) for group in groups]
    had_chords = len(single) < len(notes) or not is_single(single)
    for first, second in pairwise(single):
        first.end = min(first.end, second.start)
    return single, had_chords


# The grid


def best_grid(notes: list[MidiNote], ticks_per_quarter: int) -> Grid:
    """The coarsest grid that holds every note; else the one that fits best.

    Where nothing fits exactly, the root mean square distance of the starts from each
    grid is divided by what chance would give on a grid so fine, and the least such
    ratio wins: a finer grid must earn its fineness.
    """
    places = [note.start / ticks_per_quarter for note in notes]
    ends = [note.end / ticks_per_quarter for note in notes]
    one_tick = 1.01 / ticks_per_quarter
    ratios = []
    for steps in GRIDS:
        worst = max(off_grid(place, steps) for place in [*places, *ends])
        # A triplet is a fraction of a tick off in files of, say, 100 ticks.
        if worst <= min(one_tick, 0.1 / steps):
            return Grid(steps, worst, exact=True)
        squares = sum(off_grid(place, steps) ** 2 for place in places) / len(places)
        ratios.append((math.sqrt(squares) * steps * math.sqrt(12), steps, squares))
    _, steps, squares = min(ratios)
    return Grid(steps, math.sqrt(squares), exact=False)


def off_grid(place_quarters: float, steps: int) -> float:
    """Distance in quarters from the nearest point of a grid."""
    return abs(place_quarters - round(place_quarters * steps) / steps)


def placed(
    notes: list[MidiNote], grid: Grid, ticks_per_quarter: int
) -> list[tuple[int, int]]:
    """Onset and duration of each note in ticks of a melody, on the grid."""
    step = TICKS_PER_QUARTER // grid.steps

    def nearest(tick: int) -> int:
        return round(tick * grid.steps / ticks_per_quarter) * step

    onsets = [nearest(note.start) for note in notes]
    for i in range(1, len(onsets)):
        # Two notes never share a place: a slide of quick notes keeps its order.
        onsets[i] = max(onsets[i], onsets[i - 1] + step)
    result = []
    for i, note in enumerate(notes):
        end = max(nearest(note.end), onsets[i] + step)
        if i + 1 < len(notes):
            gap = notes[i + 1].start - note.end
            legato = gap <= LEGATO * (notes[i + 1].start - note.start)
            if end > onsets[i + 1] or (legato and not grid.exact):
                end = onsets[i + 1]
        result.append((onsets[i], end - onsets[i]))
    return result


def grid_text(grid: Grid) -> str:
    """What is said about the grid."""
    said = f"places and lengths are put on a grid of {grid.steps} to the quarter"
    if grid.exact:
        return f"{said}, which they fit"
    return (
        f"{said}; notes lay {grid.error_quarters:.3f} quarters from it (root mean square)"
    )


# Keys, metres, words


def signs_of(file: MidiFile, warnings: list[str]) -> Signs:
    """Gather the meta events of all tracks."""
    signs = Signs()
    events = sorted(
        (event for track in file.tracks for event in track.meta),
        key=lambda event: event.start,
    )
    for event in events:
        ticks = round(event.start * TICKS_PER_QUARTER / file.ticks_per_quarter)
        take_sign(signs, event, ticks, warnings)
    if len(signs.chords) < FEWEST_CHORDS:
        signs.chords.clear()
    first = file.tracks[0].meta if file.tracks else []
    signs.title = next((text_of(e.data) for e in first if e.kind == NAME), "")
    return signs


def take_sign(signs: Signs, event: MetaEvent, ticks: int, warnings: list[str]) -> None:
    """Add what one meta event says."""
    data = event.data
    if event.kind == TEMPO and len(data) == 3 and signs.tempo is None and any(data):
        signs.tempo = round(60_000_000 / int.from_bytes(data, "big"), 3)
    elif event.kind == METRE and len(data) >= 2:
        if 1 <= data[0] <= 128 and data[1] <= 7:
            settle(signs.metres, MetreChange(ticks, Metre(data[0], 1 << data[1])))
        else:
            warnings.append(f"a time signature of {data[0]}/2^{data[1]} is left out")
    elif event.kind == KEY and len(data) >= 2:
        signature = data[0] - 256 if data[0] > 127 else data[0]
        if abs(signature) <= 7 and data[1] <= 1:
            mode = "minor" if data[1] else "major"
            key = Key(signature + 3 * data[1], mode)
            settle(signs.keys, KeyChange(ticks, key, signature))
        else:
            warnings.append("a key signature that no key has is left out")
    elif event.kind == MARKER and text_of(data):
        signs.marks.append((ticks, text_of(data)))
    elif event.kind == WORDS and text_of(data):
        signs.words.setdefault(ticks, text_of(data))
    elif event.kind == TEXT and may_be_chord(text_of(data)):
        signs.chords[ticks] = text_of(data)
    elif event.kind == RIGHTS and not signs.rights:
        signs.rights = text_of(data)


def text_of(data: bytes) -> str:
    """A text of a meta event; UTF-8 where it is that, else Latin-1."""
    data = data[: 4 * MOST_TEXT]
    try:
        return one_line(data.decode("utf-8"))
    except UnicodeDecodeError:
        return one_line(data.decode("latin-1"))


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
            if len(bars) > MOST_BARS:
                raise ReadingError(f"more than {MOST_BARS} bars")
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
