"""Note values, and the beams that group them by the metre.

Conventions: ticks as in :mod:`melodex.melody`. ``value`` is the denominator of a
note value (1 whole, 2 half, 4 quarter ... 128; 0 for a breve). Splitting at beats
and beaming by metre follow common practice, no source.

Contents: SMALLEST_TICKS, UNVALUED, DOTTED, Written, valued, largest_values, bar_shift,
beamed.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise

from melodex.melody import TICKS_PER_QUARTER, Bar, Metre
from melodex.melody.metre import group_starts

__all__ = [
    "DOTTED",
    "SMALLEST_TICKS",
    "UNVALUED",
    "Written",
    "bar_shift",
    "beamed",
    "largest_values",
    "valued",
]

SMALLEST_TICKS = TICKS_PER_QUARTER // 32
"""A 128th note, the finest value that is written outside a tuplet."""

UNVALUED = -1
"""Stands for the value of a length that no note value and no tuplet gives."""

VALUES = {0: 8, 1: 4, 2: 2, 4: 1}
"""Quarters in a breve, whole, half and quarter; shorter values follow by halving."""

PLAIN_TICKS = {value: quarters * TICKS_PER_QUARTER for value, quarters in VALUES.items()}
PLAIN_TICKS |= {2**n: TICKS_PER_QUARTER * 4 // 2**n for n in range(3, 8)}
DOTTED = {
    (ticks * (2 ** (dots + 1) - 1)) // 2**dots: (value, dots)
    for value, ticks in PLAIN_TICKS.items()
    for dots in (2, 1, 0)
    if ticks % 2**dots == 0
}
"""Length in ticks -> (value, dots), up to two dots."""

LONGEST_FIRST = sorted(DOTTED, reverse=True)


@dataclass(frozen=True, slots=True)
class Written:
    """One note, rest or blank as it is written.

    Parameters
    ----------
    note : int or None
        Index of the sounding note; None for a rest.
    onset_ticks, duration_ticks : int
        Sounding time.
    value, dots : int
        Written value; inside a tuplet that is the value before it is shrunk.
    tied_from, tied_to : bool
        Whether a tie arrives from the piece before, or leaves for the next one.
    tuplet, beam : int or None
        Index of its tuplet and of its beam within the bar.
    blank : bool
        Space in place of a rest, where an excerpt does not know what stood there.
    """

    note: int | None
    onset_ticks: int
    duration_ticks: int
    value: int
    dots: int = 0
    tied_from: bool = False
    tied_to: bool = False
    tuplet: int | None = None
    beam: int | None = None
    blank: bool = False


def largest_values(ticks: int) -> list[int]:
    """A length as note values, the longest first."""
    out = []
    while ticks >= SMALLEST_TICKS:
        longest = next(value for value in LONGEST_FIRST if value <= ticks)
        out.append(longest)
        ticks -= longest
    return out


def valued(
    note: int | None, start: int, end: int, bar: Bar, metre: Metre | None
) -> list[Written]:
    """A stretch as note values that show the beats."""
    out = []
    for length in beat_lengths(
        start - bar.onset_ticks, end - start, bar_shift(bar, metre), metre
    ):
        value, dots = DOTTED[length]
        out.append(Written(note, start, length, value, dots))
        start += length
    return out


def bar_shift(bar: Bar, metre: Metre | None) -> int:
    """Ticks missing before a pickup: its beats are counted from the end of the bar."""
    if metre is None or bar.duration_ticks >= metre.bar_ticks or bar.number != 0:
        return 0
    return metre.bar_ticks - bar.duration_ticks


def beat_lengths(start: int, length: int, missing: int, metre: Metre | None) -> list[int]:
    """Cut a length at beats until every part is one note value that shows them."""
    out: list[int] = []
    while length > 0:
        piece = next(
            (
                value
                for value in LONGEST_FIRST
                if value <= length and shows_beats(start + missing, value, metre)
            ),
            None,
        )
        if piece is None:
            piece = next(v for v in LONGEST_FIRST if v <= length)
        elif piece < length and metre is not None:
            to_beat = -(start + missing) % metre.beat_ticks
            if 0 < to_beat < length and to_beat in DOTTED:
                piece = to_beat
        out.append(piece)
        start, length = start + piece, length - piece
    return out


def shows_beats(place: int, length: int, metre: Metre | None) -> bool:
    """Whether a value at a place leaves the beats of the metre readable."""
    if metre is None or DOTTED[length][1] > 1:
        return metre is None
    beat = metre.beat_ticks
    within = place % beat + length <= beat
    if metre.kind == "compound":
        return within or (place % beat == 0 and length % beat == 0)
    if within:
        return True
    dotted = DOTTED[length][1]
    step = length // 3 if dotted else length // 2
    if place % beat and length > 2 * beat:
        return False
    return place % step == 0


# Beams


def beamed(events: list[Written], bar: Bar, metre: Metre | None) -> tuple[Written, ...]:
    """Number the beams: flagged notes that touch, within one group of the metre."""
    starts = beam_groups(events, bar, metre)
    out: list[Written] = []
    beam = -1
    for index, event in enumerate(events):
        if event.note is None or event.value < 8:
            out.append(event)
            continue
        before = events[index - 1] if index else None
        joined = (
            before is not None
            and before.note is not None
            and before.value >= 8
            and before.tuplet == event.tuplet
            and (event.tuplet is not None or same_group(before, event, starts))
        )
        beam += not joined
        out.append(replace(event, beam=beam))
    sizes = Counter(event.beam for event in out)
    return tuple(
        replace(event, beam=None)
        if event.beam is not None and sizes[event.beam] == 1
        else event
        for event in out
    )


def same_group(one: Written, other: Written, starts: list[int]) -> bool:
    """Whether no beam starts anew between two events."""
    return bisect_right(starts, one.onset_ticks) == bisect_right(starts, other.onset_ticks)


def beam_groups(events: list[Written], bar: Bar, metre: Metre | None) -> list[int]:
    """Where beams begin anew."""
    start, end = bar.onset_ticks, bar.onset_ticks + bar.duration_ticks
    if metre is None:
        return list(range(start, end, TICKS_PER_QUARTER))
    origin = start - bar_shift(bar, metre)
    if metre.kind == "irregular":
        groups = sorted(origin + place for place in group_starts(metre))
        beat = max(TICKS_PER_QUARTER, metre.unit_ticks)
        # A group of more than four units is none to the eye.
        return [
            place
            for a, b in pairwise([*groups, max(end, groups[-1])])
            for place in (range(a, b, beat) if b - a > 4 * metre.unit_ticks else (a,))
        ]
    beat = metre.beat_ticks
    if metre.denominator >= 8 and not metre.is_compound:
        beat = min(
            metre.bar_ticks, 3 * metre.unit_ticks if metre.numerator == 3 else 2 * beat
        )
    starts = set(range(origin, end, beat))
    half = 2 * TICKS_PER_QUARTER
    if metre.denominator == 4 and metre.numerator in {2, 4}:
        # Four plain eighths in a half bar share a beam; anything finer shows the beat.
        plain: dict[int, bool] = {}
        for e in events:
            low = origin + (e.onset_ticks - origin) // half * half
            is_plain = e.value == 8 and not e.dots and e.tuplet is None
            plain[low] = plain.get(low, True) and is_plain
        for low, is_plain in plain.items():
            if is_plain and origin <= low < end:
                starts.discard(low + TICKS_PER_QUARTER)
    return sorted(starts)
