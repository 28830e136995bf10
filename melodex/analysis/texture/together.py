"""What two lines do together: one doubles the tune, one takes up another's figure.

Conventions: two notes double each other if they start together; a doubling has eight
notes with four moves or more, at one interval throughout. An imitation repeats six notes
or more of another line, step for step and length for length, within four bars and some
half beats later, while the line that it follows does not itself repeat them (then it is
accompaniment). It is told where lines of such moves and lengths as the piece has would
hardly do so by chance: the bits of its figure, each move and length by how common it is in
all lines, outweigh those of all places that are compared by :data:`SURE_BITS`; of figures
that both begin after a rest only such beginnings are compared. There a tonal answer is
heard too: of a subject that goes between tonic and dominant the first or second note is
answered a step nearer, all others a fourth or fifth away. The numbers are our choice,
tried in ``benchmarks/analysis/harmony/voices.py``.

References
----------
The bits of what is seen: Shannon (1948), Bell System Technical Journal 27, 379-423; that a
likeness counts beyond the places it was looked for in: Karlin and Altschul (1990), PNAS 87,
2264-2268.

Contents: doubling_finds, imitation_finds.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import islice
from math import log2

from melodex.analysis.texture.lines import LineFind, TextureLine
from melodex.analysis.texture.motion import bar_ticks, beat_ticks
from melodex.melody import Melody

__all__ = ["doubling_finds", "imitation_finds"]

DOUBLED_NOTES = 8
DOUBLED_MOVES = 4
FIGURE_NOTES = 6
FIGURE_PITCHES = 4
"""Different staff steps that a figure has at least."""

SURE_BITS = 5.0
"""Beyond the bits of all places: one piece in 32 tells one by chance."""

IMITATED_WITHIN_BARS = 4
MOST_FINDS = 200
"""Of one kind in one piece: a fugue has fewer."""

INTERVALS = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh")
DOUBLED_INTERVALS = frozenset({"unison", "octave", "third", "sixth", "tenth"})

Statement = tuple[int, int, int]
"""Where a figure is stated: its onset in ticks, the number of its line, and its note."""


def interval_name(steps: int) -> str:
    """What so many staff steps are called; beyond a tenth without the octaves."""
    steps = abs(steps)
    if steps == 9:
        return "tenth"
    if steps and steps % 7 == 0:
        return "octave" if steps == 7 else f"{number_word(steps // 7)} octaves"
    return INTERVALS[steps % 7]


def number_word(number: int) -> str:
    """Small numbers in words."""
    return ("no", "one", "two", "three", "four", "five")[min(number, 5)]


def doubling_finds(lines: Sequence[TextureLine]) -> Iterator[LineFind]:
    """Where another line goes with the tune at one interval."""
    tune = next((line for line in lines if line.is_tune), None)
    if tune is None:
        return
    place_at = {note.onset_ticks: i for i, note in enumerate(tune.notes)}
    for line in lines:
        if line.is_tune:
            continue
        row: list[tuple[int, int]] = []
        meets = [place_at.get(note.onset_ticks) for note in line.notes]
        for place, above in enumerate([*meets, None]):
            if above is not None and goes_on(row, place, above, line, tune):
                row.append((place, above))
                continue
            if found := doubling(row, line, tune):
                yield found
            row = [] if above is None else [(place, above)]


def goes_on(
    row: list[tuple[int, int]],
    place: int,
    above: int,
    line: TextureLine,
    tune: TextureLine,
) -> bool:
    """Whether two notes stand as far apart as those before, with none between."""
    if not row:
        return True
    last, last_above = row[-1]
    return (place, above) == (last + 1, last_above + 1) and line.steps[place] - tune.steps[
        above
    ] == line.steps[last] - tune.steps[last_above]


def doubling(
    row: list[tuple[int, int]], line: TextureLine, tune: TextureLine
) -> LineFind | None:
    """The find of a row of notes at one interval, if it is a doubling."""
    if len(row) < DOUBLED_NOTES:
        return None
    (first, above), (last, _) = row[0], row[-1]
    apart = line.steps[first] - tune.steps[above]
    name = interval_name(apart)
    moves = sum(move != 0 for move in line.moves[first:last])
    plain = name in DOUBLED_INTERVALS or name.endswith("octaves")
    if moves < DOUBLED_MOVES or not plain:
        return None
    return LineFind(
        "doubling",
        line.name,
        line.notes[first].onset_ticks,
        line.notes[last].end_ticks,
        other=tune.name,
        interval=name,
        below=apart < 0,
        count=len(row),
    )


def imitation_finds(lines: Sequence[TextureLine], melody: Melody) -> list[LineFind]:
    """Where a line takes up the figure of another."""
    found: list[LineFind] = []
    taken: dict[int, int] = {}
    chance = Chance(lines, melody)
    for number, place, onset, statements in stated_again(lines):
        if taken.get(number, -1) > place:
            continue
        leader = leader_of(statements, number, onset, melody)
        if leader is None:
            continue
        length = shared_length(lines[leader[0]], leader[1], lines[number], place)
        if not chance.is_telling(leader, (number, place), length):
            continue
        taken[number] = place + length
        found.append(imitation(lines[leader[0]], leader[1], lines[number], place, length))
        if len(found) == MOST_FINDS:
            return found
    return [*found, *islice(tonal_answers(found, chance), MOST_FINDS - len(found))]


def stated_again(
    lines: Sequence[TextureLine],
) -> list[tuple[int, int, int, list[Statement]]]:
    """Line, note and onset of each figure that is stated twice or more, and all of these.

    Lines one after the other; statements by their onsets.
    """
    figures: dict[tuple[tuple[int, ...], ...], list[Statement]] = {}
    for number, line in enumerate(lines):
        for place in range(len(line) - FIGURE_NOTES + 1):
            if figure := figure_at(line, place):
                statement = line.notes[place].onset_ticks, number, place
                figures.setdefault(figure, []).append(statement)
    # Most figures stand nowhere else: only the others are looked at.
    several = [sorted(stated) for stated in figures.values() if len(stated) > 1]
    return sorted(
        (number, place, onset, stated)
        for stated in several
        for onset, number, place in stated
    )


class Chance:
    """How hardly a figure would be heard in two lines of a piece by chance."""

    def __init__(self, lines: Sequence[TextureLine], melody: Melody) -> None:
        self.lines = lines
        self.melody = melody

    @cached_property
    def move_bits(self) -> dict[int, float]:
        """Of each move how little common it is in all lines."""
        return bits_of(Counter(move for line in self.lines for move in line.moves))

    @cached_property
    def gap_bits(self) -> dict[int, float]:
        """Of each length from onset to onset how little common it is in all lines."""
        return bits_of(Counter(gap for line in self.lines for gap in line.gaps))

    @cached_property
    def within(self) -> float:
        """The share of a piece in which a place is compared with others."""
        bars = sum(bar.duration_ticks > 0 for bar in self.melody.bars)
        return min(1.0, IMITATED_WITHIN_BARS / max(bars, 1))

    @cached_property
    def place_bits(self) -> float:
        """The bits of all pairs of places that are compared."""
        return self.bits_of_pairs(list(map(len, self.lines)))

    @cached_property
    def entry_bits(self) -> float:
        """The bits of all pairs of beginnings after a rest that are compared."""
        return self.bits_of_pairs(list(map(len, self.entries)))

    @cached_property
    def entries(self) -> list[set[int]]:
        """Of each line the notes with which it begins, at first or after a rest."""
        return list(map(entries_of, self.lines))

    def bits_of_pairs(self, sizes: Sequence[int]) -> float:
        """The bits of all pairs of places in two lines, as near as they are compared."""
        whole = sum(sizes)
        pairs = sum(size * (whole - size) for size in sizes) / 2
        return log2(max(pairs * self.within, 1.0))

    def is_telling(
        self,
        leader: tuple[int, int],
        follower: tuple[int, int],
        length: int,
        *,
        alike_from: int = 0,
    ) -> bool:
        """Whether a figure of so many notes says more than chance would.

        ``leader`` and ``follower`` are numbers of lines and of their notes, which move
        alike from the note ``alike_from`` on.
        """
        number, place = follower
        line = self.lines[number]
        moves = line.moves[place + alike_from : place + length - 1]
        gaps = line.gaps[place : place + length - 1]
        bits = sum(map(self.move_bits.__getitem__, moves))
        bits += sum(map(self.gap_bits.__getitem__, gaps))
        entries = all(note in self.entries[n] for n, note in (leader, follower))
        return bits >= SURE_BITS + (self.entry_bits if entries else self.place_bits)


MUTATED = 2
"""Steps at the head of a subject that a tonal answer may change."""
MOST_STATEMENTS = 32
"""Entries before one that it may answer, the nearest first; our choice."""
TONAL = frozenset({3, 4})
"""Staff steps of the fourth or fifth at which the rest of it stands, without octaves."""


def tonal_answers(told: Sequence[LineFind], chance: Chance) -> Iterator[LineFind]:
    """Entries that answer a subject within its key, where nothing plainer is told."""
    lines = chance.lines
    begun = {(find.line, find.onset_ticks) for find in told}
    entries = sorted(
        (lines[number].notes[place].onset_ticks, number, place)
        for number, places in enumerate(chance.entries)
        for place in places
    )
    onsets = [onset for onset, _, _ in entries]
    for onset, number, place in entries:
        if (lines[number].name, onset) in begun:
            continue
        bars = IMITATED_WITHIN_BARS * bar_ticks(chance.melody, onset)
        at = bisect_left(onsets, onset)
        first = max(bisect_left(onsets, onset - bars), at - MOST_STATEMENTS)
        before = [entry[1:] for entry in reversed(entries[first:at])]
        if found := tonal_answer(before, (number, place), chance):
            yield found


def tonal_answer(
    before: Sequence[tuple[int, int]], follower: tuple[int, int], chance: Chance
) -> LineFind | None:
    """The find of an entry that answers one of those before it, the nearest first."""
    number, place = follower
    line = chance.lines[number]
    for other, start in before:
        if other == number:
            continue
        leader = chance.lines[other]
        length = answered(leader, start, line, place)
        if length and chance.is_telling(
            (other, start), follower, length, alike_from=MUTATED
        ):
            return imitation(leader, start, line, place, length, tonal=True)
    return None


def answered(leader: TextureLine, start: int, follower: TextureLine, place: int) -> int:
    """How many notes of a subject a tonal answer has, 0 where it is none."""
    least = FIGURE_NOTES + 1
    if start + least > len(leader) or place + least > len(follower):
        return 0
    # Most are left out by their first two steps.
    head = follower.moves[place] - leader.moves[start]
    if head not in {-1, 1}:
        return 0
    if follower.moves[place + 1] - leader.moves[start + 1] not in {0, -head}:
        return 0
    last, theirs = start + least - 1, place + least - 1
    if leader.gaps[start:last] != follower.gaps[place:theirs]:
        return 0
    if leader.moves[start + MUTATED : last] != follower.moves[place + MUTATED : theirs]:
        return 0
    apart = follower.steps[place + MUTATED] - leader.steps[start + MUTATED]
    if abs(apart) % 7 not in TONAL:
        return 0
    return shared_length(leader, start, follower, place, length=least)


def bits_of(counts: Counter[int]) -> dict[int, float]:
    """Of each thing that is counted the bits that it has, by its share of all."""
    whole = sum(counts.values())
    return {each: log2(whole / count) for each, count in counts.items()}


def entries_of(line: TextureLine) -> set[int]:
    """The notes with which a line begins, at first or after a rest."""
    ends = [note.end_ticks for note in line.notes]
    return {
        place
        for place, note in enumerate(line.notes)
        if not place or note.onset_ticks > ends[place - 1]
    }


def figure_at(line: TextureLine, place: int) -> tuple[tuple[int, ...], ...]:
    """Moves and lengths from a place on, empty where they are no figure."""
    last = place + FIGURE_NOTES - 1
    if len(set(line.steps[place : last + 1])) < FIGURE_PITCHES:
        return ()
    return line.moves[place:last], line.gaps[place:last]


def leader_of(
    statements: Sequence[Statement], number: int, here: int, melody: Melody
) -> tuple[int, int] | None:
    """The nearest earlier statement of a figure in another line, if there is one.

    ``statements`` are in order of their onsets; the one that may follow begins ``here``.
    """
    earliest = here - IMITATED_WITHIN_BARS * bar_ticks(melody, here)
    half_beat = beat_ticks(melody, here) // 2
    nearest, latest = None, -1
    for place in range(bisect_left(statements, (earliest,)), len(statements)):
        onset, other, start = statements[place]
        if onset > here:
            break
        if (here - onset) % half_beat:
            continue
        if other == number:
            # What a line says again and again is accompaniment, not an answer.
            if onset < here:
                return None
        elif onset == here:
            # What begins together is a doubling.
            return None
        elif nearest is None or onset > latest:
            nearest, latest = (other, start), onset
    return nearest


def shared_length(
    leader: TextureLine,
    start: int,
    follower: TextureLine,
    place: int,
    *,
    length: int = FIGURE_NOTES,
) -> int:
    """How many notes two lines have alike from two places on, ``length`` at least."""
    while (
        start + length < len(leader)
        and place + length < len(follower)
        and leader.moves[start + length - 1] == follower.moves[place + length - 1]
        and leader.gaps[start + length - 1] == follower.gaps[place + length - 1]
    ):
        length += 1
    return length


def imitation(
    leader: TextureLine,
    start: int,
    follower: TextureLine,
    place: int,
    length: int,
    *,
    tonal: bool = False,
) -> LineFind:
    """The find of one line that takes up another's figure."""
    head = MUTATED if tonal else 0
    apart = follower.steps[place + head] - leader.steps[start + head]
    onset = follower.notes[place].onset_ticks
    return LineFind(
        "imitation",
        follower.name,
        onset,
        follower.notes[place + length - 1].end_ticks,
        other=leader.name,
        interval=interval_name(apart),
        below=apart < 0,
        after_ticks=onset - leader.notes[start].onset_ticks,
        count=length,
        tonal=tonal,
    )
