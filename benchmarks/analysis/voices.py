"""Pedals, creeping lines and imitation: how many that are planted are found, and how
many are found that nobody planted.

Run:  python -m benchmarks.analysis.voices [--keep NAME]

Pieces of four voices and sixteen bars are made by seed: a walk through chords of a key, a
chord a bar or half a bar, the voices on chord notes near their last one, in quarters and
halves of their own. Into each of sixty one thing is planted in an alto, tenor or bass:
twenty pedals of three to five bars, twenty lines of five to seven half steps in halves,
twenty imitations of the tune (seven to ten notes, one or two bars later, a fourth, fifth
or octave below, now and then in another metre). Found: the kind, the line, and half of
its bars or more. Walks of chord notes stay and climb by themselves too: what is told in
another place, in the sixty and in sixty without, is held against the notes of its line. A
pedal must be one note throughout, a line by step must go one way by steps; else, and for
every imitation, it is false, per find told.

Contents: Planted, planted_piece, measure, main.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from benchmarks.analysis.piano_textures import AFTER
from benchmarks.keeping import about, asker, keep
from melodex.analysis.harmony.heard.sounding import KINDS, harmonised
from melodex.analysis.texture import LineFind, line_finds
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    Melody,
    Metre,
    MetreChange,
    beat_strength,
    pitch_class,
    spell,
)
from melodex.melody.texture import SoundingNote, Texture
from melodex.reading.result import ReadTune

VOICES = ("Soprano", "Alto", "Tenor", "Bass")
CENTRES = (74, 66, 58, 48)
BARS = 16
PLANTED = ("pedal", "line by step", "imitation")
Q = TICKS_PER_QUARTER
Line = list[SoundingNote]


@dataclass(frozen=True)
class Planted:
    """A piece, and what was planted in which line from where to where."""

    melody: Melody
    texture: Texture
    kind: str
    line: str
    onset_ticks: int
    end_ticks: int


def chords_of(rng: random.Random, beats: int) -> list[tuple[int, int, tuple[int, ...]]]:
    """Onset and length in quarters, and notes on the line of fifths."""
    mode, key = rng.choice(("major", "minor")), rng.randint(-4, 4)
    step = (0, "m") if mode == "minor" else (0, "")
    found, onset = [], 0
    for _ in range(BARS):
        for length in (2, 2) if beats == 4 and rng.random() < 0.5 else (beats,):
            notes = tuple(key + step[0] + degree for degree in KINDS[step[1]])
            found.append((onset, length, notes))
            onset += length
            step = rng.choice(AFTER[mode][step])
    return found


def voice(
    rng: random.Random, chords: list[tuple[int, int, tuple[int, ...]]], number: int
) -> Line:
    """A line of chord notes near its last one."""
    height, notes = CENTRES[number], []
    for onset, length, chord in chords:
        after = 0.0
        while after < length:
            lasts = min(rng.choice((1, 1, 2, 0.5)), length - after)
            near = [
                (
                    abs(midi - height) + rng.random() * (12 if number == 0 else 5),
                    midi,
                    fifths,
                )
                for fifths in chord
                for midi in range(CENTRES[number] - 8, CENTRES[number] + 9)
                if midi % 12 == pitch_class(fifths)
            ]
            _, height, fifths = min(near)
            start = round((onset + after) * Q)
            notes.append(SoundingNote(start, round(lasts * Q), height, fifths, number))
            after += lasts
    return notes


def cut(line: Line, start: int, end: int, put: Line) -> Line:
    """A line with a stretch of it replaced."""
    before = [
        replace(n, duration_ticks=min(n.duration_ticks, start - n.onset_ticks))
        for n in line
        if n.onset_ticks < start
    ]
    return [*before, *put, *(n for n in line if n.onset_ticks >= end)]


def planted_piece(seed: int, *, plant: bool) -> Planted:
    """A piece of four voices with or without something planted."""
    rng = random.Random(seed)
    kind, number = PLANTED[seed % 3], rng.randint(1, 3)
    beats = rng.choice((3, 4, 4))
    chords = chords_of(rng, beats)
    lines = [voice(rng, chords, each) for each in range(4)]
    start = rng.randint(3, 8) * beats * Q
    end = start
    if plant:
        put = {"pedal": pedal, "line by step": creeping, "imitation": answer}[kind](
            rng, start, number, beats, lines[0]
        )
        start, end = put[0].onset_ticks, put[-1].end_ticks
        lines[number] = cut(lines[number], start, end, put)
    metre = Metre(beats, 4)
    bars = tuple(Bar(i + 1, i * beats * Q, beats * Q) for i in range(BARS))
    melody = tune_of(lines[0], bars, metre)
    texture = Texture.of((note for line in lines for note in line), VOICES)
    melody = harmonised(ReadTune(melody, texture=texture))
    return Planted(melody, texture, kind, VOICES[number], start, end)


def pedal(rng: random.Random, start: int, number: int, beats: int, _: Line) -> Line:
    """One note, held or struck again."""
    midi = CENTRES[number] + rng.randint(-5, 5)
    length = rng.randint(3, 5) * beats * Q
    each = rng.choice((length, Q, 2 * Q))
    return [
        SoundingNote(start + at, min(each, length - at), midi, spell(midi, 0), number)
        for at in range(0, length, each)
    ]


def creeping(rng: random.Random, start: int, number: int, beats: int, _: Line) -> Line:
    """Half steps in one direction."""
    direction, count = rng.choice((-1, 1)), rng.randint(5, 7)
    first = CENTRES[number] - direction * 3
    return [
        SoundingNote(
            start + place * 2 * Q,
            2 * Q,
            first + direction * place,
            spell(first + direction * place, 0),
            number,
        )
        for place in range(count)
    ]


def answer(rng: random.Random, start: int, number: int, beats: int, tune: Line) -> Line:
    """Notes of the tune one or two bars later, lower."""
    count = rng.randint(7, 10)
    first = next(
        place
        for place, note in enumerate(tune)
        if note.onset_ticks >= start and len({n.midi for n in tune[place : place + 6]}) >= 4
    )
    semitones, fifths = rng.choice(((-5, 1), (-7, -1), (-12, 0)))
    later = rng.choice((1, 2)) * beats * Q
    return [
        replace(
            note,
            onset_ticks=note.onset_ticks + later,
            midi=note.midi + semitones,
            fifths=note.fifths + fifths,
            line=number,
        )
        for note in tune[first : first + count]
    ]


def tune_of(line: Line, bars: tuple[Bar, ...], metre: Metre) -> Melody:
    """The top line as a melody."""
    starts = [bar.onset_ticks for bar in bars]
    return Melody(
        midi=tuple(n.midi for n in line),
        fifths=tuple(n.fifths for n in line),
        onset_ticks=tuple(n.onset_ticks for n in line),
        duration_ticks=tuple(n.duration_ticks for n in line),
        bar=tuple(bisect_right(starts, n.onset_ticks) for n in line),
        beat_strength=tuple(
            beat_strength(n.onset_ticks % metre.bar_ticks, metre) for n in line
        ),
        phrase=(0,) * len(line),
        bars=bars,
        metres=(MetreChange(0, metre),),
    )


def is_there(piece: Planted, find: LineFind) -> bool:
    """Whether the notes of its line are what a find says, nobody having planted it."""
    number = VOICES.index(find.line)
    heights = [
        note.midi
        for note in piece.texture.notes
        if note.line == number and find.onset_ticks <= note.onset_ticks < find.end_ticks
    ]
    steps = [after - here for here, after in pairwise(heights) if after != here]
    if find.kind == "pedal":
        return not steps
    one_way = all(s > 0 for s in steps) or all(s < 0 for s in steps)
    return find.kind == "line by step" and one_way and max(map(abs, steps)) <= 2


def measure(pieces: int) -> list[dict[str, Any]]:
    """Found, planted and false by kind."""
    names = ("planted", "found", "by itself", "false")
    counts = {kind: dict.fromkeys(names, 0) for kind in PLANTED}
    for seed in range(pieces):
        for plant in (True, False):
            piece = planted_piece(seed, plant=plant)
            hit = False
            for find in line_finds(piece.texture, piece.melody):
                shared = min(find.end_ticks, piece.end_ticks)
                shared -= max(find.onset_ticks, piece.onset_ticks)
                is_it = plant and (find.kind, find.line) == (piece.kind, piece.line)
                if is_it and 2 * shared >= piece.end_ticks - piece.onset_ticks:
                    hit = True
                elif find.kind in counts and not (plant and shared > 0):
                    by_itself = is_there(piece, find)
                    counts[find.kind]["by itself" if by_itself else "false"] += 1
            counts[piece.kind]["planted"] += plant
            counts[piece.kind]["found"] += hit
    return [{"kind": kind, **figures} for kind, figures in counts.items()]


def main() -> None:
    """Measure; keep the figures if a name is given."""
    ask = asker(__doc__)
    ask.add_argument("--pieces", type=int, default=60)
    choice = ask.parse_args()
    rows = measure(choice.pieces)
    text = [
        f"{row['kind']:14} found {row['found']} of {row['planted']} planted; "
        f"{row['by itself']} told that stand there by themselves and {row['false']} "
        f"that do not, in {2 * choice.pieces} pieces"
        for row in rows
    ]
    print("\n".join(text))
    keep(
        choice.keep,
        {"voices.json": about() | {"rows": rows}, "voices.txt": "\n".join(text) + "\n"},
    )


if __name__ == "__main__":
    main()
