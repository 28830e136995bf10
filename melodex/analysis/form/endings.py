"""Alternative endings: which bars are played in place of others.

Conventions: of the endings of one passage the last one counts, and none is a section.
Books leave brackets out: a second ending without its first, or a first without its
second, is known by where it stands. Places count the bars of a melody from 0.

Contents: earlier_endings, late_endings, closing_reasons.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise

from melodex.melody import Bar

__all__ = ["closing_reasons", "earlier_endings", "late_endings"]

MOST_ENDING_BARS = 4
"""A longer stretch after a first ending is taken for music of its own."""
FEWEST_AFTER_ENDING = 4
"""Bars that must follow a last ending before a sign, for a section to start there."""


def earlier_endings(bars: tuple[Bar, ...]) -> set[int]:
    """Places of the bars under an ending that another ending replaces."""
    starts = [place for place, bar in enumerate(bars) if bar.ending]
    skipped: set[int] = set()
    for one, other in pairwise(starts):
        # Endings of one group stand next to one another, a repeat between them.
        inside = bars[one:other]
        if inside[-1].repeat_times and not any(bar.repeat_start for bar in inside):
            skipped.update(range(one, other))
    for one in starts:
        if one not in skipped and is_first(bars[one]):
            skipped.update(unanswered(bars, one))
    return skipped


def is_first(bar: Bar) -> bool:
    """Whether an ending is for the first time round."""
    return bar.ending.startswith("1")


def unanswered(bars: tuple[Bar, ...], one: int) -> Iterable[int]:
    """The bars of a first ending whose second has no bracket; none if it has none."""
    stop = next((k + 1 for k in range(one, len(bars)) if closes(bars[k])), len(bars))
    length = stop - one
    if not 0 < length <= MOST_ENDING_BARS or stop + length > len(bars):
        return ()
    after = bars[stop : stop + length]
    opened = any(bar.repeat_start or bar.ending for bar in after)
    early = any(closes(bar) for bar in after[:-1])
    ended = closes(after[-1]) or stop + length == len(bars)
    followed = stop + length < len(bars) and bars[stop + length].repeat_start
    if opened or early or not (ended or followed) or after[-1].repeat_times:
        return ()
    return range(one, stop)


def closes(bar: Bar) -> bool:
    """Whether a passage ends with a bar."""
    return bool(bar.repeat_times) or bar.line in {"double", "final"}


def late_endings(bars: tuple[Bar, ...]) -> set[int]:
    """Places of the bars under a later ending whose first has no bracket.

    It stands right after a repeat sign, and the bars before that are the first.
    """
    found: set[int] = set()
    skipped = earlier_endings(bars)
    for place, bar in enumerate(bars):
        alone = place and bars[place - 1].repeat_times and place - 1 not in skipped
        if not (bar.ending and alone and re.match(r"[2-9]", bar.ending)):
            continue
        for k in range(place, min(place + MOST_ENDING_BARS, len(bars))):
            if k > place and bars[k].repeat_start:
                break
            found.add(k)
            if closes(bars[k]) or bars[k].ending_end:
                break
        else:
            # No sign ends it: one bar is all that is sure.
            found.difference_update(range(place + 1, place + MOST_ENDING_BARS))
    return found


def closing_reasons(bars: tuple[Bar, ...], skipped: set[int]) -> list[str]:
    """Why a section ends with each bar; empty where none does.

    Nothing ends between two endings of one passage; with the last of them it does, also
    where no line says so.
    """
    reasons = []
    for place, bar in enumerate(bars):
        reason = "repeat sign" if bar.repeat_times else "double bar line" * closes(bar)
        reasons.append("" if place in skipped else reason)
    for place in range(1, len(bars)):
        if bars[place].ending and place - 1 in skipped and place not in skipped:
            stop = end_of_last(bars, place, skipped)
            if stop:
                reasons[stop - 1] = reasons[stop - 1] or "last ending"
    return reasons


def end_of_last(bars: tuple[Bar, ...], place: int, skipped: set[int]) -> int:
    """Where a last ending that no line closes stops: as printed, or as the one before it.

    0 where a sign follows soon, which then closes it.
    """
    first = place
    while first - 1 in skipped and not bars[first - 1].ending:
        first -= 1
    stop = place + place - (first - 1)
    longest = bars[place : place + MOST_ENDING_BARS]
    printed = [k for k, bar in enumerate(longest, place + 1) if bar.ending_end]
    stop = printed[0] if printed else stop
    soon = min(stop + FEWEST_AFTER_ENDING, len(bars))
    signs = any(closes(bar) for bar in bars[place : soon - 1])
    opened = any(bar.repeat_start for bar in bars[place + 1 : soon])
    return 0 if signs or opened or stop + FEWEST_AFTER_ENDING > len(bars) else stop
