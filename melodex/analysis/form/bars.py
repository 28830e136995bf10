"""Bars as the form sees them: whole, counted once, with what sounds in each.

Conventions: a pickup (bar 0) belongs to the section that it leads into. The halves
of a bar that a repeat sign splits are one bar. Of alternative endings the last is the
one that counts; the earlier ones add no length.

Contents: FormBar, form_bars, likeness.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field
from itertools import pairwise

from melodex.melody import Bar, Melody

__all__ = ["FormBar", "form_bars", "likeness"]


@dataclass(slots=True)
class FormBar:
    """One whole bar.

    Parameters
    ----------
    number : int
        As printed.
    onset_ticks : int
        Where its first half starts.
    notes : list of (int, int, int)
        Offset in the bar in ticks, midi and length of each note that starts in it.
    content : frozenset of (int, int)
        Offsets and pitches, for comparing.
    starts : str
        Why a section starts at this bar, or with a pickup before it; empty if none.
    """

    number: int
    onset_ticks: int
    notes: list[tuple[int, int, int]] = field(default_factory=list)
    content: frozenset[tuple[int, int]] = frozenset()
    starts: str = ""


def form_bars(melody: Melody) -> list[FormBar]:
    """Return the whole bars of one pass through a melody, pickups left out.

    Where a repeat sign, a double line or a part name divides a bar, the section
    starts with the bar after it.
    """
    skipped = earlier_endings(melody.bars)
    marks = {mark.onset_ticks: mark.text for mark in melody.marks}
    found: list[FormBar] = []
    edges: list[tuple[int, FormBar | None]] = []
    why = ""
    for place, bar in enumerate(melody.bars):
        reason = mark_at(marks, bar) or why or ("repeat sign" if bar.repeat_start else "")
        why = "" if place in skipped else closing_reason(bar)
        if place in skipped:
            edges.append((bar.onset_ticks, None))
            continue
        if found and found[-1].number == bar.number:
            edges.append((bar.onset_ticks, found[-1]))
            why = why or reason
            continue
        if bar.number == 0 or is_lead_in(melody, place):
            edges.append((bar.onset_ticks, None))
            why = why or reason
            continue
        found.append(FormBar(bar.number, bar.onset_ticks, starts=reason if found else ""))
        edges.append((bar.onset_ticks, found[-1]))
    fill(melody, edges)
    return found


def is_lead_in(melody: Melody, place: int) -> bool:
    """Whether the first bar is a pickup, though not numbered 0.

    It is short; or it starts with a rest, and a repeat starts right after it.
    """
    bars, metre = melody.bars, melody.metre
    if place or len(bars) < 2 or metre is None:
        return False
    if 2 * bars[0].duration_ticks <= metre.bar_ticks:
        return True
    starts_late = len(melody) > 0 and melody.onset_ticks[0] > bars[0].onset_ticks
    return starts_late and bars[1].repeat_start


def mark_at(marks: dict[int, str], bar: Bar) -> str:
    """The part name that stands at a bar, as a reason."""
    return f"part name {marks[bar.onset_ticks]}" if bar.onset_ticks in marks else ""


def closing_reason(bar: Bar) -> str:
    """Why a section ends with a bar, if it does."""
    if bar.repeat_times:
        return "repeat sign"
    return "double bar line" if bar.line in {"double", "final"} else ""


def earlier_endings(bars: tuple[Bar, ...]) -> set[int]:
    """Places of the bars under an ending that another ending replaces."""
    starts = [place for place, bar in enumerate(bars) if bar.ending]
    skipped: set[int] = set()
    for one, other in pairwise(starts):
        # Endings of one group stand next to one another, a repeat between them.
        inside = bars[one:other]
        if inside[-1].repeat_times and not any(bar.repeat_start for bar in inside):
            skipped.update(range(one, other))
    return skipped


def fill(melody: Melody, edges: list[tuple[int, FormBar | None]]) -> None:
    """Put every note into the bar it starts in."""
    onsets = melody.onset_ticks
    cuts = [bisect_left(onsets, onset) for onset, _ in edges]
    for (first, stop), (_, bar) in zip(pairwise([*cuts, len(onsets)]), edges, strict=True):
        if bar is None:
            continue
        start, inside = bar.onset_ticks, slice(first, stop)
        bar.notes += [
            (onset - start, midi, ticks)
            for onset, midi, ticks in zip(
                onsets[inside],
                melody.midi[inside],
                melody.duration_ticks[inside],
                strict=True,
            )
        ]
    for _, bar in edges:
        if bar is not None and not bar.content:
            bar.content = frozenset([(offset, midi) for offset, midi, _ in bar.notes])


def likeness(one: FormBar, other: FormBar) -> float:
    """Return the share of notes two bars have in common, pitch and place, 0 to 1."""
    if not one.content or not other.content:
        return 0.0
    if one.content == other.content:
        return 1.0
    shared = len(one.content & other.content)
    return shared / max(len(one.content), len(other.content))
