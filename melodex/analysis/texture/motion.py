"""What one line does beside the tune: it stays on a note, or it creeps by step.

Conventions: repeated notes count as one that lasts. A pedal stays for two bars under or
over three chords of two roots or more, of which one does not have it, or for four bars
(a note that chords share for a while is no pedal). A chromatic line has four notes, a line
by step of the scale six, each as long as a beat. All are common practice, no source.

Contents: pedal_finds, stepwise_finds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise

from melodex.analysis.harmony.chords import parse_chords
from melodex.analysis.texture.lines import LineFind, Stretch, TextureLine
from melodex.melody import TICKS_PER_QUARTER, Melody, pitch_class

__all__ = ["pedal_finds", "stepwise_finds"]

PEDAL_BARS = 2
PEDAL_CHORDS = 3
LONG_PEDAL_BARS = 4
CHROMATIC_NOTES = 4
SCALE_NOTES = 6


def pedal_finds(lines: Sequence[TextureLine], melody: Melody) -> Iterator[LineFind]:
    """Notes that stay while the harmony moves, in any line but the tune."""
    starts = [symbol.onset_ticks for symbol in melody.chords]
    chords = parse_chords(symbol.text for symbol in melody.chords)
    bars_there = [bar_ticks(melody, change.onset_ticks) for change in melody.metres]
    least = PEDAL_BARS * min(bars_there, default=4 * TICKS_PER_QUARTER)
    for line in lines:
        if line.is_tune:
            continue
        for first, last in line.stretches:
            onset, end = first.onset_ticks, last.end_ticks
            if end - onset < least:
                continue
            bars = (end - onset) / bar_ticks(melody, onset)
            first_chord = max(bisect_right(starts, onset) - 1, 0)
            under = chords[first_chord : bisect_left(starts, end)]
            moves = len({chord.root_fifths for chord in under if chord.sounds}) > 1
            if bars < PEDAL_BARS or len(under) < PEDAL_CHORDS or not moves:
                continue
            foreign = any(
                chord.sounds and pitch_class(first.fifths) not in chord.pitch_classes
                for chord in under
            )
            if foreign or bars >= LONG_PEDAL_BARS:
                yield LineFind("pedal", line.name, onset, end, (first.fifths,))


def stepwise_finds(lines: Sequence[TextureLine], melody: Melody) -> Iterator[LineFind]:
    """Lines that go on by step in one direction, in any line but the tune."""
    for line in lines:
        if line.is_tune:
            continue
        held = [
            (first, last)
            for first, last in line.stretches
            if last.end_ticks - first.onset_ticks >= beat_ticks(melody, first.onset_ticks)
        ]
        row: list[Stretch] = []
        for here in [*held, None]:
            if here and (not row or follows(row, here)):
                row.append(here)
                continue
            if is_worth_telling(row):
                notes = tuple(first.fifths for first, _ in row)
                start, end = row[0][0].onset_ticks, row[-1][1].end_ticks
                falls = row[-1][0].midi < row[0][0].midi
                yield LineFind(
                    "line by step",
                    line.name,
                    start,
                    end,
                    notes,
                    below=falls,
                    count=len(row),
                )
            row = [row[-1], here] if here and row and adjoin(row[-1], here) else []
            row = row or ([here] if here else [])


def follows(row: Sequence[Stretch], here: Stretch) -> bool:
    """Whether a note goes on by step in the direction of a row."""
    if not adjoin(row[-1], here):
        return False
    move = here[0].midi - row[-1][0].midi
    return len(row) < 2 or (row[-1][0].midi - row[-2][0].midi) * move > 0


def adjoin(before: Stretch, here: Stretch) -> bool:
    """Whether a note follows another without a rest and by a half or whole step."""
    move = abs(here[0].midi - before[0].midi)
    return here[0].onset_ticks <= before[1].end_ticks and 1 <= move <= 2


def is_worth_telling(row: Sequence[Stretch]) -> bool:
    """Whether a row is long enough: by half steps, or by steps of the scale."""
    moves = [abs(b[0].midi - a[0].midi) for a, b in pairwise(row)]
    if len(row) >= SCALE_NOTES:
        return True
    return len(row) >= CHROMATIC_NOTES and set(moves) == {1}


def bar_ticks(melody: Melody, onset: int) -> int:
    """Length of a full bar at a place; a whole note where there is no metre."""
    metre = melody.metre_at(onset)
    return metre.bar_ticks if metre else 4 * TICKS_PER_QUARTER


def beat_ticks(melody: Melody, onset: int) -> int:
    """Length of a beat at a place; a quarter where there is no metre."""
    metre = melody.metre_at(onset)
    return metre.beat_ticks if metre else TICKS_PER_QUARTER
