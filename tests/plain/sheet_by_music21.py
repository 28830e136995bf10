"""A MusicXML melody as music21 reads it: the outside witness of our own reader.

Conventions: one row for each sounding note: onset and duration in quarters, MIDI
number, spelled name, bar. Ties are merged where both ends are written, of a chord the
top note counts, grace notes and chord symbols are left out, pitches sound. The part
and the voice are those that our reader chose.

Contents: EXPLAINED, corpus_sheets, rows_by_music21, rows_by_melodex, compared,
lines_by_music21, sounding_by_music21, in_bars_by_music21, lines_by_melodex.
"""

import re
import warnings
from bisect import bisect_right
from pathlib import Path

import music21

from melodex.melody import TICKS_PER_QUARTER, pitch_class_name
from melodex.reading import Choice, read_path

CLOSE_QUARTERS = 1e-3
"""music21 rounds places that are no simple fractions."""

FORWARD = "music21 reads a <forward> of no length as a quarter, so the bar grows"
OFFSET = "music21 counts a direction's <offset> past the bar line as length of the bar"
EXPLAINED = {
    "beethoven/opus59no1/movement2.mxl": OFFSET,
    "beethoven/opus59no1/movement4.mxl": OFFSET,
    "beethoven/opus59no3/movement1.mxl": OFFSET,
    "beethoven/opus59no3/movement2.mxl": OFFSET,
    "haydn/opus1no1/movement3.mxl": FORWARD,
    "haydn/opus1no1/movement4.mxl": FORWARD,
    "haydn/opus1no1/movement5.mxl": FORWARD,
    "mozart/k155/movement3.mxl": OFFSET,
    "mozart/k458/movement4.mxl": OFFSET,
    "mozart/k80/movement4.mxl": OFFSET,
    "schumann_robert/opus41no1/movement5.mxl": FORWARD,
}
"""Sheets on which the two differ, and how music21 departs from what the file says."""


def corpus_root() -> Path:
    """The folder of music21's own corpus."""
    return Path(music21.__file__).parent / "corpus"


def corpus_sheets() -> list[Path]:
    """Every MusicXML file of music21's corpus, in order of its path."""
    suffixes = {".mxl", ".xml", ".musicxml"}
    return sorted(path for path in corpus_root().rglob("*") if path.suffix in suffixes)


def name_of(path: Path) -> str:
    """Path of a sheet within the corpus."""
    return path.relative_to(corpus_root()).as_posix()


def parsed_by_music21(path: Path) -> music21.stream.Score:
    """The sheet as music21 reads it, at sounding pitch, without its pickled cache."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return music21.converter.parse(path, forceSource=True).toSoundingPitch()


def rows_by_music21(score: music21.stream.Score, part_index: int, voice: str) -> list[list]:
    """The notes of one voice of one part."""
    rows = []
    for measure in score.parts[part_index].getElementsByClass("Measure"):
        voices = list(measure.voices)
        streams = [v for v in voices if str(v.id) == voice] if voices else [measure]
        for stream in streams:
            shift = measure.offset + (stream.offset if voices else 0)
            rows += [row_of(n, shift, measure.number) for n in stream.notes if counts(n)]
    rows.sort(key=lambda row: row[0])
    return [row[:5] for row in tied(rows)]


def counts(element: music21.note.GeneralNote) -> bool:
    """Whether an element is a note or chord that sounds with a pitch."""
    is_chord_symbol = isinstance(element, music21.harmony.Harmony)
    return bool(element.pitches) and not is_chord_symbol and not element.duration.isGrace


def row_of(
    element: music21.note.GeneralNote, shift: float, bar: int, level: int = 0
) -> list:
    """Onset, duration, MIDI number, name, bar, and which end of a tie it is.

    Of a chord the note of that level counts, from the top.
    """
    assert isinstance(element, music21.note.Note | music21.chord.Chord)
    notes = element.notes if isinstance(element, music21.chord.Chord) else [element]
    top = sorted(notes, key=lambda note: -note.pitch.ps)[level]
    return [
        float(shift + element.offset),
        float(element.duration.quarterLength),
        int(top.pitch.ps),
        top.pitch.name.replace("-", "b"),
        bar,
        top.tie.type if top.tie else "",
    ]


def tied(rows: list[list]) -> list[list]:
    """Merge the notes between the two ends of a tie."""
    merged: list[list] = []
    for row in rows:
        last = merged[-1] if merged else None
        if (
            last
            and row[5] in {"stop", "continue"}
            and last[5] in {"start", "continue"}
            and last[2] == row[2]
            and abs(last[0] + last[1] - row[0]) < CLOSE_QUARTERS
        ):
            last[1] += row[1]
            last[5] = row[5]
        else:
            merged.append(row)
    return merged


def rows_by_melodex(path: Path) -> tuple[list[list], int, str]:
    """Our rows, the index of the part and the number of the voice that we chose."""
    (tune,) = read_path(path).tunes
    melody = tune.melody
    said = " ".join(warning.text for warning in tune.warnings)
    voice = re.search(r"read voice ([^;]+);", said)
    rows = [
        [onset / TICKS_PER_QUARTER, duration / TICKS_PER_QUARTER, midi, name, bar]
        for onset, duration, midi, name, bar in zip(
            melody.onset_ticks,
            melody.duration_ticks,
            melody.midi,
            map(pitch_class_name, melody.fifths),
            melody.bar,
            strict=True,
        )
    ]
    return rows, int(melody.credits.number) - 1, voice[1] if voice else "1"


def first_difference(ours: list[list], theirs: list[list]) -> str:
    """Where two readings part for the first time; empty where they agree."""
    for i, (mine, other) in enumerate(zip(ours, theirs, strict=False)):
        near = all(abs(mine[k] - other[k]) < CLOSE_QUARTERS for k in (0, 1))
        if not near or mine[2:] != other[2:]:
            return f"note {i}: melodex {mine}, music21 {other}"
    if len(ours) != len(theirs):
        return f"melodex {len(ours)} notes, music21 {len(theirs)}"
    return ""


def compared(path: Path) -> str:
    """The first difference between the two readings of a sheet, or an empty text."""
    ours, part_index, voice = rows_by_melodex(path)
    return first_difference(
        ours, rows_by_music21(parsed_by_music21(path), part_index, voice)
    )


def lines_by_music21(score: music21.stream.Score) -> list[tuple[int, list[list]]]:
    """Every line that music21 tells apart: the part's place, and the rows of the line.

    A measure with one voice has no voices in music21, whatever their numbers: of each
    voice there are rows with such measures and rows without. The second, third and fourth
    notes of chords from the top are lines too.
    """
    found = []
    for place, part in enumerate(score.parts):
        measures = list(part.getElementsByClass("Measure"))
        ids = sorted({str(voice.id) for m in measures for voice in m.voices})
        for level in range(4):
            streams = [[]] if ids else [streams_of(measures, "", with_plain=True)]
            for voice in ids:
                streams += [
                    streams_of(measures, voice, with_plain=plain) for plain in (True, False)
                ]
            for some in streams:
                rows = [
                    row_of(note, shift, bar, level)
                    for stream, shift, bar in some
                    for note in stream.notes
                    if counts(note) and len(note.pitches) > level
                ]
                rows.sort(key=lambda row: row[0])
                if rows:
                    found.append((place, [row[:4] for row in tied(rows)]))
    return found


def streams_of(
    measures: list[music21.stream.Measure], voice: str, *, with_plain: bool
) -> list[tuple]:
    """Where the notes of a voice stand: a stream, when it begins, and its bar."""
    found = []
    for measure in measures:
        if measure.voices:
            found += [
                (stream, measure.offset + stream.offset, measure.number)
                for stream in measure.voices
                if str(stream.id) == voice
            ]
        elif with_plain:
            found.append((measure, measure.offset, measure.number))
    return found


def sounding_by_music21(score: music21.stream.Score) -> list[set[tuple]]:
    """For each part every note that sounds in it, ties merged: onset, length, number."""
    found = []
    for part in score.parts:
        notes = []
        for measure in part.getElementsByClass("Measure"):
            for stream in [measure, *measure.voices]:
                shift = measure.offset + (stream.offset if stream is not measure else 0)
                notes += [
                    row_of(note, shift, measure.number, level)
                    for note in stream.notes
                    if counts(note)
                    for level in range(len(note.pitches))
                ]
        held: dict[int, list] = {}
        rows: list[list] = []
        for row in sorted(notes, key=lambda row: (row[0], row[2])):
            last = held.get(row[2])
            goes_on = last and abs(last[0] + last[1] - row[0]) < CLOSE_QUARTERS
            if last and goes_on and row[5] in {"stop", "continue"}:
                last[1] += row[1]
            else:
                rows.append(row)
                held[row[2]] = row
        found.append({rounded(row) for row in rows})
    return found


def in_bars_by_music21(score: music21.stream.Score) -> list[set[tuple]]:
    """For each part every written note: its bar, its place in that, its number.

    Where music21 makes a bar longer than it is, all after it comes later, but no note
    stands elsewhere in its bar.
    """
    return [
        {
            (measure.number, round(100 * float(shift + note.offset)), int(pitch.ps))
            for measure in part.getElementsByClass("Measure")
            for stream in [measure, *measure.voices]
            for shift in [stream.offset if stream is not measure else 0]
            for note in stream.notes
            if counts(note)
            for pitch in note.pitches
        }
        for part in score.parts
    ]


def rounded(row: list) -> tuple:
    """Onset and length in hundredths of a quarter, and the MIDI number."""
    return round(row[0] * 100), round(row[1] * 100), row[2]


def lines_by_melodex(path: Path) -> list[tuple[str, list[list], list[tuple]]]:
    """Name of each of our lines, its rows, and the place of each note in its bar."""
    found = []
    for tune in read_path(path, Choice(lines="all")).tunes:
        melody = tune.melody
        rows = [
            [onset / TICKS_PER_QUARTER, duration / TICKS_PER_QUARTER, midi, name]
            for onset, duration, midi, name in zip(
                melody.onset_ticks,
                melody.duration_ticks,
                melody.midi,
                map(pitch_class_name, melody.fifths),
                strict=True,
            )
        ]
        starts = [bar.onset_ticks for bar in melody.bars]
        in_bars = []
        for onset, midi in zip(melody.onset_ticks, melody.midi, strict=True):
            bar = melody.bars[bisect_right(starts, onset) - 1]
            place = 100 * (onset - bar.onset_ticks) / TICKS_PER_QUARTER
            in_bars.append((bar.number, round(place), midi))
        found.append((tune.line.words or "the only line", rows, in_bars))
    return found
