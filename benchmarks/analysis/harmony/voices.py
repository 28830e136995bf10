"""Pedals, creeping lines, imitation, suspensions in a chain, exchanged notes and
ostinatos: how many that are planted are found, and how many are found that nobody planted.

Run:  python -m benchmarks.analysis.harmony.voices [--keep NAME]

Pieces of four voices and sixteen bars are made by seed: a walk through chords of a key, a
chord a bar or half a bar, the voices on chord notes near their last one, in quarters and
halves of their own. Into each of 120 one thing is planted in an alto, tenor or bass: twenty
pedals of three to five bars (strange to one of the chords that sound whole), twenty lines
of five to seven half steps in halves, twenty imitations of the tune (seven to ten notes,
one or two bars later, a fourth, fifth or octave below, now and then in another metre),
twenty chains of two to four suspensions (9-8 or 4-3, over triads whose roots go down the
scale, each with a second, seventh or fourth that another line makes), twenty exchanges of
root and third with another line, and twenty ostinatos (one or two bars, four to six times).
Found: the kind, the line, and half of its bars or more. Walks of chord notes stay, climb
and cross by themselves too: what is told in another place, in the 120 and in 120 without,
is held against the notes of its line and the chords that the piece was made from. A pedal
must be one note throughout, a line by step must go one way by steps, every suspension of a
chain must be held from a chord that has it into one that has not, and go down by step to a
note of that; exchanged notes must be chord notes of one chord and change places in contrary
motion; an ostinato must come as often as is told. Else, and for every imitation, it is
false, per find told.

Contents: Planted, planted_piece, measure, main.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from benchmarks.analysis.harmony.piano_textures import AFTER
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
PLANTED = (
    "pedal",
    "line by step",
    "imitation",
    "chained suspensions",
    "voice exchange",
    "ostinato",
)
SCALES = {"major": (0, 2, 4, -1, 1, 3, 5), "minor": (0, 2, -3, -1, 1, -4, -2)}
"""Notes of the scale in fifths above the tonic; of the natural minor one."""
Q = TICKS_PER_QUARTER
Line = list[SoundingNote]
KnownChord = tuple[int, int, tuple[int, ...]]
"""Onset and length in quarters, and notes on the line of fifths."""


@dataclass(frozen=True)
class Planted:
    """A piece, and what was planted in which line from where to where."""

    melody: Melody
    texture: Texture
    kind: str
    line: str
    onset_ticks: int
    end_ticks: int
    chords: tuple[KnownChord, ...]


def chords_of(rng: random.Random, mode: str, key: int, beats: int) -> list[KnownChord]:
    """A walk through the chords of a key."""
    step = (0, "m") if mode == "minor" else (0, "")
    found, onset = [], 0
    for _ in range(BARS):
        for length in (2, 2) if beats == 4 and rng.random() < 0.5 else (beats,):
            notes = tuple(key + step[0] + degree for degree in KINDS[step[1]])
            found.append((onset, length, notes))
            onset += length
            step = rng.choice(AFTER[mode][step])
    return found


def voice(rng: random.Random, chords: list[KnownChord], number: int) -> Line:
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
    kind, number = PLANTED[seed % len(PLANTED)], rng.randint(1, 3)
    beats = rng.choice((3, 4, 4))
    mode, key = rng.choice(("major", "minor")), rng.randint(-4, 4)
    chords = chords_of(rng, mode, key, beats)
    start = rng.randint(3, 8) * beats * Q
    scale = [key + degree for degree in SCALES[mode]]
    if plant and kind == "chained suspensions":
        chords, held = chain(rng, chords, start, (number, beats), scale)
    lines = [voice(rng, chords, each) for each in range(4)]
    end = start
    if plant:
        if kind == "chained suspensions":
            put = held
            if not all(is_strained(here, after, lines) for here, after in pairwise(put)):
                # Nothing speaks against a note that is held: another of the same kind.
                return planted_piece(seed + 1000 * len(PLANTED), plant=plant)
        elif kind == "voice exchange":
            put, other = exchange(chords, start, number, scale)
            with_it = other[0].line
            lines[with_it] = cut(lines[with_it], *reach(other), other)
        elif kind == "ostinato":
            put = ground(rng, start, number, beats, scale)
        elif kind == "pedal":
            tries = (pedal(rng, start, number, beats) for _ in range(200))
            fit = next((put for put in tries if is_foreign(put, chords, lines)), None)
            if fit is None:
                # Nothing can be strange to these chords: another piece of the same kind.
                return planted_piece(seed + 1000 * len(PLANTED), plant=plant)
            put = fit
        else:
            makes = {"line by step": creeping, "imitation": answer}
            put = makes[kind](rng, start, number, beats, lines[0])
        start, end = reach(put)
        lines[number] = cut(lines[number], start, end, put)
    metre = Metre(beats, 4)
    bars = tuple(Bar(i + 1, i * beats * Q, beats * Q) for i in range(BARS))
    melody = tune_of(lines[0], bars, metre)
    texture = Texture.of((note for line in lines for note in line), VOICES)
    melody = harmonised(ReadTune(melody, texture=texture))
    return Planted(melody, texture, kind, VOICES[number], start, end, tuple(chords))


def reach(notes: Line) -> tuple[int, int]:
    """From where to where some notes go."""
    return notes[0].onset_ticks, notes[-1].end_ticks


def near(fifths: int, height: int) -> int:
    """The height of a note that lies nearest to another height."""
    return min(
        (
            midi
            for midi in range(height - 6, height + 7)
            if midi % 12 == pitch_class(fifths)
        ),
        key=lambda midi: abs(midi - height),
    )


def chain(
    rng: random.Random,
    chords: list[KnownChord],
    start: int,
    place: tuple[int, int],
    scale: list[int],
) -> tuple[list[KnownChord], Line]:
    """Chords down the scale, and a line that is held over each change of them."""
    number, beats = place
    each = 2 if beats == 4 else beats
    count, member = rng.randint(2, 4), rng.choice((0, 2))
    degree = rng.randint(0, 6)
    begin = start // Q
    roots = [(degree - step) % 7 for step in range(count + 1)]
    row: list[KnownChord] = [
        (begin + step * each, each, tuple(scale[(root + third) % 7] for third in (0, 2, 4)))
        for step, root in enumerate(roots)
    ]
    end = begin + len(row) * each
    # What is left of a chord that began before or goes on after keeps its notes.
    kept = [
        (onset, min(length, begin - onset), notes)
        for onset, length, notes in chords
        if onset < begin
    ]
    kept_after = [
        (max(onset, end), onset + length - max(onset, end), notes)
        for onset, length, notes in chords
        if onset + length > end
    ]
    height, found = CENTRES[number] + 4, []
    for step, root in enumerate(roots):
        fifths = scale[(root + member) % 7]
        height = near(fifths, height - 2 if step else height)
        onset = start + step * each * Q + (each * Q // 2 if step else 0)
        after = start + (step + 1) * each * Q + (each * Q // 2 if step < count else 0)
        found.append(SoundingNote(onset, after - onset, height, fifths, number))
    return [*kept, *row, *kept_after], found


def is_strained(held: SoundingNote, after: SoundingNote, lines: list[Line]) -> bool:
    """Whether another line makes a second, seventh, or fourth below with a held note."""
    change = after.onset_ticks - (after.onset_ticks - held.onset_ticks) // 3
    sounding = [
        note.midi
        for line in lines
        for note in line
        if note.line != held.line and note.onset_ticks <= change < note.end_ticks
    ]
    seconds = any((midi - held.midi) % 12 in {1, 2, 10, 11} for midi in sounding)
    return seconds or (held.midi - min(sounding)) % 12 in {5, 6}


def exchange(
    chords: list[KnownChord], start: int, number: int, scale: list[int]
) -> tuple[Line, Line]:
    """Root and third of the first chord from a place on that lasts, in two lines."""
    onset, length, notes = next(
        (onset, length, notes)
        for onset, length, notes in chords
        if onset * Q >= start and length >= 2
    )
    other = number - 1 if number > 1 else 3
    root, third = notes[:2]
    between = next(
        fifths
        for fifths in (*scale, *range(root - 3, root + 8))
        if 0 < (pitch_class(fifths) - pitch_class(root)) % 12 <= 2
        and 0 < (pitch_class(third) - pitch_class(fifths)) % 12 <= 2
    )
    lengths = (
        (Q, Q, Q) if length == 3 else (length * Q // 4, length * Q // 4, length * Q // 2)
    )
    lines: list[Line] = []
    for line, row in ((number, (root, between, third)), (other, (third, between, root))):
        at, height, made = onset * Q, CENTRES[line], []
        for place, (fifths, lasts) in enumerate(zip(row, lengths, strict=True)):
            height = near(fifths, height) if place else near(fifths, CENTRES[line])
            made.append(SoundingNote(at, lasts, height, fifths, line))
            at += lasts
        lines.append(made)
    return lines[0], lines[1]


def ground(
    rng: random.Random, start: int, number: int, beats: int, scale: list[int]
) -> Line:
    """A figure of one or two bars, again and again."""
    bars, times = rng.choice((1, 1, 2)), rng.randint(4, 6)
    figure, after = [], 0.0
    while after < bars * beats:
        lasts = min(rng.choice((0.5, 1, 1, 2)), bars * beats - after)
        fifths = rng.choice(scale)
        figure.append((after, lasts, near(fifths, CENTRES[number]), fifths))
        after += lasts
    if len(figure) < 3 or len({midi for _, _, midi, _ in figure}) < 2:
        return ground(rng, start, number, beats, scale)
    # Two bars alike would be a figure of one.
    times = min(times, (BARS * beats - start // Q) // (bars * beats))
    return [
        SoundingNote(
            start + round((turn * bars * beats + at) * Q),
            round(lasts * Q),
            midi,
            fifths,
            number,
        )
        for turn in range(times)
        for at, lasts, midi, fifths in figure
    ]


def is_foreign(put: Line, chords: list[KnownChord], lines: list[Line]) -> bool:
    """Whether a pedal is strange to a chord that the other lines sound whole."""
    start, end = reach(put)
    for onset, length, notes in chords:
        if onset * Q < start or (onset + length) * Q > end:
            continue
        triad = {pitch_class(fifths) for fifths in notes[:3]}
        sounding = {
            note.midi % 12
            for number, line in enumerate(lines)
            for note in line
            if number != put[0].line
            and onset * Q <= note.onset_ticks < (onset + length) * Q
        }
        known = {pitch_class(fifths) for fifths in notes}
        if triad <= sounding and put[0].midi % 12 not in known:
            return True
    return False


def pedal(rng: random.Random, start: int, number: int, beats: int) -> Line:
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
    notes = notes_in(piece, find.line, find)
    steps = [after.midi - here.midi for here, after in pairwise(notes)]
    steps = [step for step in steps if step]
    if find.kind == "pedal":
        return not steps
    if find.kind == "chained suspensions":
        return are_suspended(piece, notes)
    if find.kind == "voice exchange":
        return are_exchanged(piece, notes, notes_in(piece, find.other, find))
    if find.kind == "ostinato":
        turns: dict[int, list[tuple[int, int, int]]] = {}
        for note in notes:
            turn, after = divmod(note.onset_ticks - find.onset_ticks, find.after_ticks)
            turns.setdefault(turn, []).append((after, note.duration_ticks, note.midi))
        alike = all(turn == turns[0] for turn in turns.values())
        return alike and sorted(turns) == list(range(find.count))
    one_way = all(s > 0 for s in steps) or all(s < 0 for s in steps)
    return find.kind == "line by step" and one_way and max(map(abs, steps)) <= 2


def notes_in(piece: Planted, line: str, find: LineFind) -> Line:
    """The notes of a line that begin within a find."""
    return [
        note
        for note in piece.texture.notes
        if VOICES[note.line] == line
        and find.onset_ticks <= note.onset_ticks < find.end_ticks
    ]


def known_at(piece: Planted, ticks: int) -> frozenset[int]:
    """The notes, in semitones without octaves, of the chord that was planned at a place."""
    notes = next(
        notes for onset, _, notes in reversed(piece.chords) if onset * Q <= max(ticks, 0)
    )
    return frozenset(map(pitch_class, notes))


def are_suspended(piece: Planted, notes: Line) -> bool:
    """Whether each note, but the last, is held over from its chord into one without it."""
    held: list[tuple[SoundingNote, int]] = []
    for note in notes:
        if held and held[-1][0].midi == note.midi:
            held[-1] = held[-1][0], note.end_ticks
        else:
            held.append((note, note.end_ticks))
    return all(
        0 < here.midi - after.midi <= 2
        and here.midi % 12 in known_at(piece, here.onset_ticks)
        and here.midi % 12 not in known_at(piece, end - 1)
        and after.midi % 12 in known_at(piece, after.onset_ticks)
        for (here, end), (after, _) in pairwise(held)
    )


def are_exchanged(piece: Planted, mine: Line, theirs: Line) -> bool:
    """Whether two lines have each other's first note in the end, over one chord."""
    start, end, first, last = mine[0], mine[-1], theirs[0], theirs[-1]
    chords = {known_at(piece, note.onset_ticks) for note in (start, end, first, last)}
    ends = {note.midi % 12 for note in (start, end, first, last)}
    return (
        len(chords) == 1
        and ends <= chords.pop()
        and start.midi % 12 == last.midi % 12
        and end.midi % 12 == first.midi % 12
        and (end.midi - start.midi) * (last.midi - first.midi) < 0
    )


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
                is_it = plant and find.kind == piece.kind
                is_it = is_it and piece.line in (find.line, find.other)
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
    ask.add_argument("--pieces", type=int, default=120)
    choice = ask.parse_args()
    rows = measure(choice.pieces)
    text = [
        f"{row['kind']:19} found {row['found']} of {row['planted']} planted; "
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
