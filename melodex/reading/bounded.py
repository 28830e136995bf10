"""What every reader of files that nobody vouches for does alike: texts and changes.

Conventions: a text from a file is one line of printable characters, cut to a length
that no title reaches; changes of key and metre are few enough that looking one up for
each note stays quick. A piece is so long at most, and has so many bars: a few letters may
say that a note lasts for hours, and whatever goes through its time takes that long.

Contents: MOST_BARS, MOST_CHANGES, MOST_QUARTERS, MOST_TEXT, one_line, refuse_longer,
refuse_more_bars, settle.
"""

from __future__ import annotations

from typing import TypeVar

from melodex.errors import HostileInputError
from melodex.melody import TICKS_PER_QUARTER, KeyChange, MetreChange

__all__ = [
    "MOST_BARS",
    "MOST_CHANGES",
    "MOST_QUARTERS",
    "MOST_TEXT",
    "one_line",
    "refuse_longer",
    "refuse_more_bars",
    "settle",
]

MOST_QUARTERS = 100_000
"""Of a piece: more than a day of music at 60 quarters a minute."""

MOST_BARS = 20_000
"""Of a piece: ten hours of common time."""

WHERE_MEANT = "a piece that is meant to be so long is read in several files"

MOST_CHANGES = 2000
"""Of key, or of metre: more than one in every bar of a long movement."""

MOST_TEXT = 500
"""Characters of a title, a name or another line about a tune that are kept."""

Change = TypeVar("Change", KeyChange, MetreChange)


def one_line(text: str | None) -> str:
    """Return a text on one line, without control characters, cut short.

    Examples
    --------
    >>> one_line("  Low\\tTide\\n(slow) ")
    'Low Tide (slow)'
    """
    start = (text or "")[: 2 * MOST_TEXT]
    words = "".join(c if c.isprintable() else " " for c in start).split()
    return " ".join(words)[:MOST_TEXT]


def settle(changes: list[Change], change: Change) -> None:
    """Add a change; one at the same place replaces what stood there.

    Raises
    ------
    HostileInputError
        If there are more changes than :data:`MOST_CHANGES`.
    """
    if changes and changes[-1].onset_ticks == change.onset_ticks:
        changes.pop()
    if len(changes) >= MOST_CHANGES:
        raise HostileInputError(
            f"more than {MOST_CHANGES} changes of key or metre", limit=MOST_CHANGES
        )
    changes.append(change)


def refuse_more_bars(count: int) -> None:
    """Refuse a piece that has more bars than any has.

    Raises
    ------
    HostileInputError
        If there are more than :data:`MOST_BARS`.
    """
    if count > MOST_BARS:
        raise HostileInputError(
            f"more than {MOST_BARS} bars", limit=MOST_BARS, hint=WHERE_MEANT
        )


def refuse_longer(end_ticks: float) -> None:
    """Refuse a piece that has come to a place that no piece comes to.

    Parameters
    ----------
    end_ticks : float
        Where it has come to, in ticks from its start; a fraction of a tick counts.

    Raises
    ------
    HostileInputError
        If that is more than :data:`MOST_QUARTERS`.
    """
    if end_ticks > MOST_QUARTERS * TICKS_PER_QUARTER:
        raise HostileInputError(
            f"it lasts more than {MOST_QUARTERS} quarters",
            limit=MOST_QUARTERS,
            hint=WHERE_MEANT,
        )
