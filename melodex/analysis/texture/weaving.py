"""What voices weave: suspensions in a chain, notes that two voices exchange, an ostinato.

Conventions: a suspension is a note that stays, or is struck again, as the chord under it
changes to one that does not have it, and then goes down by step to a note that the chord
does have; or one that another line comes to rub against, a second or seventh away, to stay
there as it goes down, on a beat no stronger, as in 7-6 (which is read as a seventh chord).
In a chain each note of resolution is held over in its turn; one alone is told where it is a
second or seventh away from another line, or a fourth above the bass, no weaker than what
follows. Two voices exchange notes
where, over one root, each goes by two steps to the note that the other had, in contrary
motion. An ostinato is a figure of some bars that comes again and again at once, note for
note. All three are common practice, no source; how many make one is our choice.

Contents: Under, ostinato_finds, suspension_finds, exchange_finds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.harmony.heard.slices import offsets_at
from melodex.analysis.texture.lines import (
    LineFind,
    Stretch,
    TextureLine,
    staff_step,
)
from melodex.melody import Melody, beat_strength
from melodex.melody.texture import SoundingNote

__all__ = ["Under", "exchange_finds", "ostinato_finds", "suspension_finds"]

CHAIN = 2
"""Suspensions, one out of the other, from which they are called a chain."""
PERIODS = (1, 2, 4)
"""Bars that a figure of an ostinato may take."""
FEWEST_TIMES, FEWEST_NOTES, FEWEST_PITCHES = 4, 3, 2
"""What makes an ostinato: times in a row, notes of the figure, pitches among them."""
THIRD = frozenset({3, 4})
STEPS = frozenset({1, 2})
FIGURES = {1: "9-8", 3: "4-3", 5: "6-5", 6: "7-6"}
"""What a suspension is called by its staff steps above the bass, without octaves."""
SIXTH = 5
"""Staff steps that are no dissonance by themselves."""
DISSONANT = frozenset({1, 2, 10, 11})
"""Seconds and sevenths in semitones, without octaves."""


class Under:
    """The chords of a piece by place."""

    def __init__(self, melody: Melody) -> None:
        self.starts = [symbol.onset_ticks for symbol in melody.chords]
        self.chords = parse_chords(symbol.text for symbol in melody.chords)
        nothing = frozenset[int]()
        notes = {
            chord: chord.pitch_classes if chord.sounds else nothing
            for chord in set(self.chords)
        }
        self.pitch_classes = [notes[chord] for chord in self.chords]

    def at(self, onset: int) -> Chord | None:
        """The chord that sounds at a place."""
        place = bisect_right(self.starts, onset) - 1
        return self.chords[place] if place >= 0 and self.chords[place].sounds else None

    def one_root(self, start: int, end: int) -> bool:
        """Whether the chords at two places stand on one root."""
        one, other = self.at(start), self.at(end)
        return (
            one is not None and other is not None and one.root_fifths == other.root_fifths
        )

    def has(self, onset: int, midi: int) -> bool:
        """Whether the chord at a place has a note, in whatever octave."""
        place = bisect_right(self.starts, onset) - 1
        return place >= 0 and midi % 12 in self.pitch_classes[place]

    def moves_off(self, after: int, before: int, midi: int) -> int | None:
        """Where a chord begins between two places that does not have a note."""
        between = range(bisect_right(self.starts, after), bisect_left(self.starts, before))
        return next(
            (
                self.starts[place]
                for place in between
                if self.chords[place].sounds and midi % 12 not in self.pitch_classes[place]
            ),
            None,
        )


class Beside:
    """The notes that other lines come to, by place."""

    def __init__(self, lines: Sequence[TextureLine], melody: Melody) -> None:
        self.melody = melody
        self.begun: dict[int, list[Stretch]] = {}
        for line in lines:
            for stretch in line.stretches:
                self.begun.setdefault(stretch[0].onset_ticks, []).append(stretch)
        self.onsets = sorted(self.begun)
        self.lines = [
            ([first.onset_ticks for first, _ in line.stretches], line.stretches)
            for line in lines
        ]

    def strength(self, onset: int) -> float:
        """How strong a place is in its bar."""
        ((offset, metre),) = offsets_at([onset], self.melody)
        return beat_strength(offset, metre)

    def at(self, place: int, line: int) -> list[SoundingNote]:
        """What other lines sound at a place."""
        found = []
        for onsets, stretches in self.lines:
            last = bisect_right(onsets, place) - 1
            if last >= 0 and stretches[last][1].end_ticks > place:
                found.append(stretches[last][0])
        return [note for note in found if note.line != line]

    def rub(self, held: SoundingNote, end: int) -> int | None:
        """Where one came to be dissonant with a note, to stay at its end."""
        places = self.onsets[
            bisect_right(self.onsets, held.onset_ticks) : bisect_left(self.onsets, end)
        ]
        return next(
            (
                place
                for place in places
                for first, last in self.begun[place]
                if (first.midi - held.midi) % 12 in DISSONANT
                and first.line != held.line
                and last.end_ticks > end
                and self.strength(place) >= self.strength(end)
            ),
            None,
        )

    def figure(self, held: SoundingNote, place: int, end: int) -> str | None:
        """The figure that a held note makes with the bass, None if nothing is strained."""
        others = self.at(place, held.line)
        if not others or self.strength(place) < self.strength(end):
            return None
        step = staff_step(held.midi, held.fifths)
        bass = min(others, key=lambda note: note.midi)
        apart = step - staff_step(bass.midi, bass.fifths)
        rubs = any((note.midi - held.midi) % 12 in DISSONANT for note in others)
        if bass.midi < held.midi and (held.midi - bass.midi) % 12 == 0:
            # What goes down from the octave only passes, to the seventh say.
            return None
        if bass.midi > held.midi:
            return "2-3" if rubs else None
        figure = FIGURES.get(apart % 7, "")
        return figure if rubs or (figure and apart % 7 != SIXTH) else None


def suspension_finds(
    lines: Sequence[TextureLine], under: Under, melody: Melody
) -> Iterator[LineFind]:
    """Suspensions in any line: those in a chain together, and each that stands alone."""
    beside = Beside(lines, melody)
    for line in lines:
        held = line.stretches
        chain: list[tuple[Stretch, int]] = []
        for here, after in pairwise([*held, *held[-1:]]):
            place = suspended(here, after, under, beside)
            if place is not None:
                chain.append((here, place))
                continue
            if chain and (found := suspension(line.name, chain, here[0], beside)):
                yield found
            chain = []


def suspension(
    line: str,
    chain: Sequence[tuple[Stretch, int]],
    resolved: SoundingNote,
    beside: Beside,
) -> LineFind | None:
    """What is told of notes held over one out of the other, with their dissonances."""
    notes = (*(first.fifths for (first, _), _ in chain), resolved.fifths)
    (first, _), place = chain[0]
    where = line, first.onset_ticks, resolved.end_ticks, notes
    if len(chain) >= CHAIN:
        return LineFind("chained suspensions", *where, count=len(chain))
    figure = beside.figure(first, place, resolved.onset_ticks)
    return None if figure is None else LineFind("suspension", *where, interval=figure)


def suspended(here: Stretch, after: Stretch, under: Under, beside: Beside) -> int | None:
    """Where a note becomes dissonant that is held over and resolves down; else None."""
    start, end = here[0].onset_ticks, here[1].end_ticks
    follows = after[0]
    if follows.onset_ticks != end or here[0].midi - follows.midi not in STEPS:
        return None
    midi = here[0].midi
    if not (under.has(end, follows.midi) and under.has(start, midi)):
        return None
    place = under.moves_off(start, end, midi)
    return beside.rub(here[0], end) if place is None else place


def exchange_finds(lines: Sequence[TextureLine], under: Under) -> Iterator[LineFind]:
    """Two notes that two lines exchange over one root, both by step."""
    thirds = [thirds_of(line) for line in lines]
    for (one, mine), (other, theirs) in combinations(zip(lines, thirds, strict=True), 2):
        done = -1
        for place in sorted(mine.keys() & theirs.keys()):
            (start, end), (first, last) = mine[place], theirs[place]
            crossed = pitches(start, end) == pitches(last, first)
            contrary = (end.midi - start.midi) * (last.midi - first.midi) < 0
            if place[0] < done or not (crossed and contrary and under.one_root(*place)):
                continue
            done = max(end.end_ticks, last.end_ticks)
            yield LineFind(
                "voice exchange",
                one.name,
                place[0],
                done,
                (start.fifths, end.fifths),
                other=other.name,
            )


def thirds_of(
    line: TextureLine,
) -> dict[tuple[int, int], tuple[SoundingNote, SoundingNote]]:
    """First and last notes where a line goes a third by two steps, by their onsets."""
    found = {}
    for start, middle, end in zip(line.notes, line.notes[1:], line.notes[2:], strict=False):
        moves = middle.midi - start.midi, end.midi - middle.midi
        one_way = moves[0] * moves[1] > 0 and {abs(move) for move in moves} <= STEPS
        if one_way and abs(sum(moves)) in THIRD:
            found[start.onset_ticks, end.onset_ticks] = (start, end)
    return found


def pitches(one: SoundingNote, other: SoundingNote) -> tuple[int, int]:
    """Two notes without their octaves."""
    return one.midi % 12, other.midi % 12


def ostinato_finds(lines: Sequence[TextureLine], melody: Melody) -> Iterator[LineFind]:
    """Figures that a line plays over and over, in any line but the tune."""
    for line in lines:
        if line.is_tune:
            continue
        cells = cells_of(line, melody)
        alike = {bars: alike_after(cells, bars) for bars in PERIODS}
        done = 0
        for first in range(len(cells)):
            if first < done:
                continue
            for bars in PERIODS:
                times = 1 + alike[bars][first] // bars
                figure = [note for cell in cells[first : first + bars] for note in cell]
                if times < FEWEST_TIMES or not is_figure(figure):
                    continue
                done = first + bars * times
                start, end = melody.bars[first], melody.bars[done - 1]
                yield LineFind(
                    "ostinato",
                    line.name,
                    start.onset_ticks,
                    end.onset_ticks + end.duration_ticks,
                    after_ticks=sum(
                        bar.duration_ticks for bar in melody.bars[first : first + bars]
                    ),
                    count=times,
                )
                break


Cell = tuple[tuple[int, int, int], ...]
"""The notes that start in a bar: how far into it, how long, and how high."""


def cells_of(line: TextureLine, melody: Melody) -> list[Cell]:
    """The notes of a line by bar."""
    starts = [bar.onset_ticks for bar in melody.bars]
    found: list[list[tuple[int, int, int]]] = [[] for _ in starts]
    for note in line.notes:
        place = bisect_right(starts, note.onset_ticks) - 1
        if place >= 0:
            after = note.onset_ticks - starts[place]
            found[place].append((after, note.duration_ticks, note.midi))
    return [tuple(cell) for cell in found]


def alike_after(cells: Sequence[Cell], bars: int) -> list[int]:
    """From each bar on how many in a row come again as they are, so many bars later."""
    found = [0] * len(cells)
    # Backwards, as a line may rest, or hold one note, for thousands of bars.
    for place in reversed(range(len(cells) - bars)):
        if cells[place] == cells[place + bars]:
            found[place] = found[place + 1] + 1
    return found


def is_figure(notes: Sequence[tuple[int, int, int]]) -> bool:
    """Whether notes are enough to be a figure, and not one note struck again."""
    pitches_used = {midi for _, _, midi in notes}
    return len(notes) >= FEWEST_NOTES and len(pitches_used) >= FEWEST_PITCHES
