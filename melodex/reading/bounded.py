"""What every reader of files that nobody vouches for does alike: texts and changes.

Conventions: a text from a file is one line of printable characters, cut to a length
that no title reaches; changes of key and metre are few enough that looking one up for
each note stays quick.

Contents: MOST_CHANGES, MOST_TEXT, one_line, settle.
"""

from __future__ import annotations

from typing import TypeVar

from melodex.errors import HostileInputError
from melodex.melody import KeyChange, MetreChange

__all__ = ["MOST_CHANGES", "MOST_TEXT", "one_line", "settle"]

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
