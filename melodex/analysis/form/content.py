"""Where sections start by what the bars hold, where no sign says it.

Conventions: bars are counted from 0; the start of the first section is not named. A piece
with chords in most of its bars is divided as songs are, by its chords (``songs``), with a
word for what the melody does there: it comes in or stops, a passage of it that is heard
elsewhere begins, or it runs on across the line; one chorus is counted in its usual eights
or twelves (``segments``). A melody by itself is divided as tunes
are, at the best bar line and again in long parts (``boundaries``), after what returns
exactly has been cut out.

Contents: content_starts, with_returns, has_chords, has_melody, longest_step.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.analysis.form.bars import FormBar, likeness
from melodex.analysis.form.boundaries import best_division, likenesses
from melodex.analysis.form.letters import SAME_SECTION, as_alike
from melodex.analysis.form.segments import (
    best_segments,
    length_logs,
    regular_starts,
    start_points,
)
from melodex.analysis.form.songs import line_features, mean_along, windows

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = ["content_starts", "has_chords", "has_melody", "longest_step", "with_returns"]

SHORTEST_DIVIDED = 9
"""Bars: up to eight are one section unless a mark says otherwise."""
LONGEST_WHOLE = 16
MOST_JUDGED_BARS = 400
"""Unmarked tunes longer than this are not divided: the time would be unbounded."""
SHORTEST_RETURN, LONGEST_RETURN = 8, 32
VARIED_RETURN = 0.6
"""Likeness from which a strain of a song stands by itself though it returns varied."""
ENTERS, LONG_SILENCE, STOPS = 0.7, 0.6, 0.9
RUNS_ON, RESTS, RESTS_LONG = -0.4, 0.4, 0.5
PASSAGE_BEGINS, PASSAGE_ENDS, PASSAGE_GOES_ON = 0.8, 0.6, -0.2
"""Log odds; our choice, since no songs with melodies were at hand to fit them on."""
PASSAGE_BARS = (4, 8)
REFRAIN = 3.0
"""Log odds that the edges of an opening that comes again after something else have."""
LONGEST_CHORUS = 40
"""Bars up to which chords alone say so; songs begin with an introduction, and whole
verses have the chords of others: on longer charts one such edge in three is a start."""


def content_starts(bars: Sequence[FormBar]) -> list[int]:
    """Return where sections start by content, but for the first; empty for a short piece.

    Parameters
    ----------
    bars : sequence of FormBar
        All bars of a piece, or of a stretch of it.
    """
    if len(bars) < SHORTEST_DIVIDED:
        return []
    if not has_chords(bars):
        return tune_starts(bars)
    points = start_points(line_features(bars)) + melody_points(bars)
    if len(bars) <= (MOST_JUDGED_BARS if has_melody(bars) else LONGEST_CHORUS):
        points[refrain_edges(bars)] += REFRAIN
    starts = best_segments(points, length_logs())
    if has_melody(bars):
        starts = with_returns(bars, starts, least=VARIED_RETURN)
    return regular_starts(bars, starts)


def has_chords(bars: Sequence[FormBar]) -> bool:
    """Whether chords stand in half of the bars, so that a piece is divided as songs are."""
    return 2 * sum(any(root >= 0 for _, root, _ in bar.chords) for bar in bars) >= len(bars)


def has_melody(bars: Sequence[FormBar]) -> bool:
    """Whether notes sound in enough bars to say something of the form."""
    return 4 * sum(bool(bar.notes) for bar in bars) >= len(bars)


# Songs: what the melody says of each line.


def melody_points(bars: Sequence[FormBar]) -> ndarray:
    """Log odds that the melody adds at each line, of shape (n,)."""
    import numpy as np

    if not has_melody(bars):
        return np.zeros(len(bars))
    points = silence_points(bars)
    for first, skipped, stop in windows(len(bars)):
        found = passage_points(bars[first:stop])
        points[first + skipped : stop] += found[skipped:]
    # On the whole the melody does not say that there are more sections or fewer.
    centred: ndarray = points - points.mean()
    return centred


def silence_points(bars: Sequence[FormBar]) -> ndarray:
    """What silence before, after and no silence at all say."""
    import numpy as np

    sounds = np.array([bool(bar.notes) for bar in bars])
    early = np.array([any(2 * note[0] < bar.ticks for note in bar.notes) for bar in bars])
    points = np.zeros(len(bars))
    points[1:] += ENTERS * (early[1:] & ~early[:-1])
    points[2:] += LONG_SILENCE * (early[2:] & ~early[1:-1] & ~sounds[:-2])
    stays = np.append(~sounds[1:], True)
    points[1:] += STOPS * (~sounds[1:] & stays[1:] & early[:-1])
    gaps = np.array([longest_step(a, b) for a, b in pairwise(bars)])
    points[1:] += RUNS_ON * ((gaps > 0) & (gaps < 1 / 3))
    points[1:] += RESTS * (gaps >= 1 / 2) + RESTS_LONG * (gaps >= 1)
    return points


def longest_step(bar: FormBar, after: FormBar) -> float:
    """The longest way from one note to the next from a bar on, in bars; 0 for no notes."""
    onsets = [offset for offset, _, _ in bar.notes]
    if not onsets or not after.notes:
        return 0.0
    edges = [*onsets, bar.ticks + after.notes[0][0]]
    return max(b - a for a, b in pairwise(edges)) / max(bar.ticks, 1)


def passage_points(bars: Sequence[FormBar]) -> ndarray:
    """What passages that are heard elsewhere say, in one window."""
    import numpy as np

    count = len(bars)
    like = likenesses(bars)[:count, :count]
    place = np.arange(count)
    apart = np.abs(place[:, None] - place)
    earlier = np.zeros((count, count))
    earlier[1:, 1:] = like[:-1, :-1]
    points = np.zeros(count)
    for width in PASSAGE_BARS:
        ahead = np.where(apart >= width, mean_along(like, width), 0)
        behind = np.zeros((count, count))
        behind[width:, width:] = ahead[:-width, :-width]
        begins = np.where((earlier < 0.5) & (like >= 0.5), ahead, 0).max(axis=1)
        ends = np.where((earlier >= 0.5) & (like < 0.5), behind, 0).max(axis=1)
        middle = np.zeros(count)
        middle[width // 2 :] = ahead[: count - width // 2].max(axis=1)
        goes_on = np.where(np.maximum(begins, ends) >= middle, 0, middle)
        points += PASSAGE_BEGINS * begins + PASSAGE_ENDS * ends
        points += PASSAGE_GOES_ON * goes_on
    return points


# Tunes.


def tune_starts(bars: Sequence[FormBar]) -> list[int]:
    """What returns is cut out, long parts are divided, and doubled parts halved."""
    if len(bars) > MOST_JUDGED_BARS:
        return []
    found = set(refrain_edges(bars))
    open_parts = list(pairwise([0, *sorted(found), len(bars)]))
    while open_parts:
        first, stop = open_parts.pop()
        if stop - first < SHORTEST_DIVIDED or (found and stop - first <= LONGEST_WHOLE):
            continue
        middle = first + best_division(bars[first:stop])
        found.add(middle)
        open_parts += [(first, middle), (middle, stop)]
    found.update(halves(bars, sorted(found)))
    return with_returns(bars, sorted(found))


def refrain_edges(bars: Sequence[FormBar]) -> list[int]:
    """Edges of what begins a piece and comes again after something else."""
    longest = min(LONGEST_RETURN, len(bars) // 3) // 4 * 4
    for length in range(longest, SHORTEST_RETURN - 1, -4):
        times = [0, *returns_of(bars, length)]
        if times[-1] >= 2 * length and not goes_on(bars, length, times):
            edges = {edge for first in times for edge in (first, first + length)}
            return sorted(edges - {0, len(bars)})
    return []


def goes_on(bars: Sequence[FormBar], length: int, times: Sequence[int]) -> bool:
    """Whether what returns is longer than so many bars, each time."""
    after = [first + length for first in times[1:] if first + length < len(bars)]
    return bool(after) and all(likeness(bars[length], bars[k]) >= 0.5 for k in after)


def returns_of(bars: Sequence[FormBar], length: int) -> Iterator[int]:
    """Where the first so many bars come again, one time after the other."""
    opening = bars[:length]
    first = length
    while first + length <= len(bars):
        if as_alike(opening, bars[first : first + length], SAME_SECTION):
            yield first
            first += length
        else:
            first += 1


def halves(bars: Sequence[FormBar], starts: Sequence[int]) -> Iterator[int]:
    """The middles of parts whose halves are one music."""
    for first, stop in pairwise([0, *starts, len(bars)]):
        half, odd = divmod(stop - first, 2)
        if odd or half < SHORTEST_RETURN:
            continue
        if as_alike(bars[first : first + half], bars[first + half : stop], SAME_SECTION):
            yield first + half


def with_returns(
    bars: Sequence[FormBar],
    starts: Sequence[int],
    named: Collection[int] = (),
    least: float = SAME_SECTION,
) -> list[int]:
    """Cut from each part the shorter part that it ends or begins with.

    Parameters
    ----------
    bars : sequence of FormBar
        All bars.
    starts : sequence of int
        Where parts start, but for the first.
    named : collection of int
        Starts of parts that are left whole, since they have a printed name.
    least : float
        Mean likeness of bars from which the part is taken to return.

    Returns
    -------
    list of int
        The starts given and those that were added.
    """
    found = [0, *starts, len(bars)]
    models = parts_by_length(found)
    place = 0
    while place < len(found) - 1:
        whole = found[place] in named
        part = (found[place], found[place + 1])
        cut = 0 if whole else return_inside(bars, part, models, least)
        if cut:
            found.insert(place + 1, cut)
            models = parts_by_length(found)
            # What was cut off may stand inside a part before it, too.
            place = 0
        else:
            place += 1
    return found[1:-1]


def parts_by_length(edges: Sequence[int]) -> dict[int, int]:
    """Where the first part of each length starts, the longest lengths first."""
    spans = {b - a: a for a, b in reversed(list(pairwise(edges)))}
    return dict(sorted(spans.items(), reverse=True))


def return_inside(
    bars: Sequence[FormBar], part: tuple[int, int], models: Mapping[int, int], least: float
) -> int:
    """Where to cut a part so that another one stands by itself; 0 for nowhere."""
    first, stop = part
    longest = stop - first - SHORTEST_RETURN // 2
    for length, start in models.items():
        if not SHORTEST_RETURN <= length <= longest:
            continue
        model = bars[start : start + length]
        if as_alike(model, bars[stop - length : stop], least):
            return stop - length
        if as_alike(model, bars[first : first + length], least):
            return first + length
    return 0
