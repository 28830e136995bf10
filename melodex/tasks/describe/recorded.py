"""The loudness of a recording under the bars of a score.

Conventions: a point says at which second of the recording a bar begins; between two
points time goes evenly through the score, and before the first and after the last
nothing is said. Bars go by their printed numbers, the first of a number counts. Nothing is
claimed beyond that: no note is followed.

Contents: Point, RecordedBar, Recorded, clock, read_points, recorded_under,
recorded_sentences.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.errors import PassageError
from melodex.melody import Melody, bars_text

if TYPE_CHECKING:
    from melodex.reading.recording.loudness import LoudnessCurve

__all__ = [
    "Point",
    "Recorded",
    "RecordedBar",
    "clock",
    "read_points",
    "recorded_sentences",
    "recorded_under",
]

POINT = re.compile(
    r"\s*(?:bar\s+)?(\d{1,6})\s*(?:=|at)\s*(?:(\d{1,3}):)?(\d{1,5}(?:\.\d{1,3})?)\s*"
)
MOST_POINTS = 200
AS_SHOWN = "write them as 1=0:12, 35=1:50"
SILENT = -70.0
"""LUFS below which nothing is said to be heard: the absolute gate of BS.1770."""


@dataclass(frozen=True, slots=True)
class Point:
    """A bar and the second at which it begins in the recording."""

    bar: int
    second: float


@dataclass(frozen=True, slots=True)
class RecordedBar:
    """A bar, where it sounds in the recording, and its loudness.

    ``loudness`` is in LUFS over the whole bar, None where it is silent.
    """

    bar: int
    onset_ticks: int
    end_ticks: int
    start: float
    end: float
    loudness: float | None


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording laid under a score.

    Parameters
    ----------
    name : str
        The file.
    seconds : float
        How long it is.
    integrated : float
        Gated loudness of the whole in LUFS.
    points : tuple of Point
    bars : tuple of RecordedBar
        Those between the first point and the last.
    remarks : tuple of str
        What cannot be said, and why.
    """

    name: str
    seconds: float
    integrated: float
    points: tuple[Point, ...]
    bars: tuple[RecordedBar, ...]
    remarks: tuple[str, ...] = ()


def read_points(text: str) -> tuple[Point, ...]:
    """Read points such as ``1=0:12, 35=1:50``.

    Raises
    ------
    PassageError
        If one cannot be read, or there are fewer than two, or they run backwards.

    Examples
    --------
    >>> read_points("bar 1 at 0:12, bar 35 at 1:50")
    (Point(bar=1, second=12.0), Point(bar=35, second=110.0))
    """
    found = []
    parts = [part for part in re.split(r"[,;\n]", text) if part.strip()]
    for part in parts[: MOST_POINTS + 1]:
        match = POINT.fullmatch(part)
        if not match:
            raise PassageError(
                f"{part.strip()[:40]!r} is no point of a bar and a time", hint=AS_SHOWN
            )
        bar, minutes, seconds = match.groups()
        found.append(Point(int(bar), 60 * int(minutes or 0) + float(seconds)))
    if len(found) > MOST_POINTS:
        raise PassageError(f"more than {MOST_POINTS} points", hint=AS_SHOWN)
    if len(found) < 2:
        raise PassageError("two points at least lay a recording under bars", hint=AS_SHOWN)
    found.sort(key=lambda point: point.bar)
    for one, other in pairwise(found):
        if one.bar == other.bar or one.second >= other.second:
            raise PassageError(
                f"bar {other.bar} at {clock(other.second)} does not come after "
                f"bar {one.bar} at {clock(one.second)}",
                hint=AS_SHOWN,
            )
    return tuple(found)


def clock(seconds: float) -> str:
    """A time as minutes and seconds.

    Examples
    --------
    >>> clock(72.4), clock(110)
    ('1:12.4', '1:50')
    """
    tenths = round(seconds * 10)
    minutes, rest = divmod(tenths, 600)
    shown = f"{rest / 10:04.1f}".removesuffix(".0")
    return f"{minutes}:{shown}"


def recorded_under(
    melody: Melody, name: str, curve: LoudnessCurve, points: Sequence[Point]
) -> Recorded:
    """Lay the loudness of a recording under the bars of a score.

    Parameters
    ----------
    melody : Melody
        With its bars.
    name : str
        The file of the recording.
    curve : LoudnessCurve
        Its loudness.
    points : sequence of Point
        At least two, in order.

    Raises
    ------
    PassageError
        If a point names a bar that the score does not have, or all of them lie beyond
        the end of the recording.
    """
    starts: dict[int, int] = {}
    for bar in melody.bars:
        starts.setdefault(bar.number, bar.onset_ticks)
    for point in points:
        if point.bar not in starts:
            have = bars_text(min(starts), max(starts)) if starts else "no bars"
            raise PassageError(
                f"bar {point.bar} is not in this score", where=melody.title,
                hint=f"it has {have}",
            )  # fmt: skip
    if points[0].second >= curve.seconds:
        raise PassageError(
            f"the recording ends at {clock(curve.seconds)}, before the first point",
            where=name,
        )
    places = [(starts[point.bar], point.second) for point in points]
    bars = tuple(laid_bars(melody, curve, places))
    return Recorded(
        name,
        curve.seconds,
        curve.integrated,
        tuple(points),
        bars,
        (*curve.remarks, *remarks_on(melody, curve, points, bars)),
    )


def laid_bars(
    melody: Melody, curve: LoudnessCurve, places: Sequence[tuple[int, float]]
) -> list[RecordedBar]:
    """The bars between the first point and the last, with their loudness."""
    found = []
    for bar in melody.bars:
        end = bar.onset_ticks + bar.duration_ticks
        if bar.onset_ticks < places[0][0] or end > places[-1][0]:
            continue
        start_second, end_second = (second_at(places, t) for t in (bar.onset_ticks, end))
        if end_second > curve.seconds + 1e-6 or end_second <= start_second:
            continue
        loud = curve.between(start_second, end_second)
        found.append(
            RecordedBar(
                bar.number,
                bar.onset_ticks,
                end,
                start_second,
                end_second,
                loud if loud > SILENT else None,
            )
        )
    return found


def second_at(places: Sequence[tuple[int, float]], ticks: int) -> float:
    """When a place of the score sounds, evenly between the points around it."""
    for (a, begun), (b, ended) in pairwise(places):
        if a <= ticks <= b:
            return begun + (ended - begun) * (ticks - a) / (b - a)
    return math.nan


def remarks_on(
    melody: Melody,
    curve: LoudnessCurve,
    points: Sequence[Point],
    bars: Sequence[RecordedBar],
) -> list[str]:
    """What cannot be said of a recording."""
    said = []
    if points[-1].second > curve.seconds:
        said.append(
            f"The recording ends at {clock(curve.seconds)}, before the point at "
            f"{clock(points[-1].second)}: of the bars after its end nothing is said."
        )
    silent = [bar.bar for bar in bars if bar.loudness is None]
    if silent:
        more = f" and {len(silent) - 6} more" if len(silent) > 6 else ""
        said.append(
            f"Nothing is heard in bar{'s' if len(silent) > 1 else ''} "
            f"{', '.join(map(str, silent[:6]))}{more}."
        )
    numbers = {bar.number for bar in melody.bars if bar.number > 0}
    if len(bars) < len(numbers):
        said.append(
            f"{len(bars)} of {len(numbers)} bars lie between the points that were given."
        )
    return said


def recorded_sentences(recorded: Recorded) -> list[str]:
    """The loudness of a recording in sentences."""
    heard = [bar for bar in recorded.bars if bar.loudness is not None]
    said = [
        f"Recording {recorded.name}: {clock(recorded.seconds)}, "
        f"{recorded.integrated:.1f} LUFS as a whole (ITU-R BS.1770)."
    ]
    if heard:
        loudest = max(heard, key=lambda bar: bar.loudness or SILENT)
        softest = min(heard, key=lambda bar: bar.loudness or SILENT)
        said.append(
            f"Loudest in bar {loudest.bar} ({loudest.loudness:.1f} LUFS), softest in bar "
            f"{softest.bar} ({softest.loudness:.1f})."
        )
    return [*said, *recorded.remarks]
