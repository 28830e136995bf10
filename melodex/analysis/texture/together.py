"""What two lines do together: one doubles the tune, one takes up another's figure.

Conventions: two notes double each other if they start together; a doubling has eight
notes with four moves or more, at one interval throughout. An imitation repeats six notes
or more of another line, step for step and length for length, within four bars and some
half beats later, while the line that it follows does not itself repeat them (then it is
accompaniment). The numbers
are our choice, tried in ``benchmarks/analysis/harmony/voices.py``.

Contents: doubling_finds, imitation_finds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from melodex.analysis.texture.lines import LineFind, TextureLine
from melodex.analysis.texture.motion import bar_ticks, beat_ticks
from melodex.melody import Melody

__all__ = ["doubling_finds", "imitation_finds"]

DOUBLED_NOTES = 8
DOUBLED_MOVES = 4
FIGURE_NOTES = 6
FIGURE_PITCHES = 4
"""Different staff steps that a figure has at least."""

IMITATED_WITHIN_BARS = 4
MOST_FINDS = 200
"""Of one kind in one piece: a fugue has fewer."""

INTERVALS = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh")
DOUBLED_INTERVALS = frozenset({"unison", "octave", "third", "sixth", "tenth"})


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
    figures: dict[tuple[tuple[int, ...], ...], list[tuple[int, int]]] = {}
    for number, line in enumerate(lines):
        for place in range(len(line) - FIGURE_NOTES + 1):
            if figure := figure_at(line, place):
                figures.setdefault(figure, []).append((number, place))
    # Most figures stand nowhere else: only the others are looked at.
    stated = sorted(
        (place, places)
        for places in figures.values()
        if len(places) > 1
        for place in places
    )
    found: list[LineFind] = []
    taken: dict[int, int] = {}
    for (number, place), places in stated:
        if taken.get(number, -1) > place:
            continue
        leader = leader_of(places, lines, number, place, melody)
        if leader is None or len(found) == MOST_FINDS:
            continue
        length = shared_length(lines[leader[0]], leader[1], lines[number], place)
        taken[number] = place + length
        found.append(imitation(lines[leader[0]], leader[1], lines[number], place, length))
    return found


def figure_at(line: TextureLine, place: int) -> tuple[tuple[int, ...], ...]:
    """Moves and lengths from a place on, empty where they are no figure."""
    last = place + FIGURE_NOTES - 1
    if len(set(line.steps[place : last + 1])) < FIGURE_PITCHES:
        return ()
    return line.moves[place:last], line.gaps[place:last]


def leader_of(
    places: Sequence[tuple[int, int]],
    lines: Sequence[TextureLine],
    number: int,
    place: int,
    melody: Melody,
) -> tuple[int, int] | None:
    """The nearest earlier statement of a figure in another line, if there is one."""
    here = lines[number].notes[place].onset_ticks
    within = IMITATED_WITHIN_BARS * bar_ticks(melody, here)
    half_beat = beat_ticks(melody, here) // 2
    nearest = None
    for other, start in places:
        onset = lines[other].notes[start].onset_ticks
        if not here - within <= onset <= here or (here - onset) % half_beat:
            continue
        if other == number:
            # What a line says again and again is accompaniment, not an answer.
            if onset < here:
                return None
        elif onset == here:
            # What begins together is a doubling.
            return None
        elif nearest is None or onset > lines[nearest[0]].notes[nearest[1]].onset_ticks:
            nearest = (other, start)
    return nearest


def shared_length(
    leader: TextureLine, start: int, follower: TextureLine, place: int
) -> int:
    """How many notes two lines have alike from two places on."""
    length = FIGURE_NOTES
    while (
        start + length < len(leader)
        and place + length < len(follower)
        and leader.moves[start + length - 1] == follower.moves[place + length - 1]
        and leader.gaps[start + length - 1] == follower.gaps[place + length - 1]
    ):
        length += 1
    return length


def imitation(
    leader: TextureLine, start: int, follower: TextureLine, place: int, length: int
) -> LineFind:
    """The find of one line that takes up another's figure."""
    apart = follower.steps[place] - leader.steps[start]
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
    )
