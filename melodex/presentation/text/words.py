"""Words and tables that are safe to print: text of strangers tamed, columns lined up.

Conventions: what comes from a file cannot steer the terminal; widths are those of the
signs as a terminal shows them.

Contents: shown, width, clipped, table, many.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["MOST_NAMED", "WIDEST_TITLE", "clipped", "many", "shown", "table", "width"]


MOST_NAMED = 20
"""Tunes or files that a list names; the rest are counted."""

WIDEST_TITLE = 48
"""Columns of a title in a table; what is longer is clipped."""


def shown(text: str) -> str:
    """Return text that is safe and on one line in a terminal.

    Examples
    --------
    >>> shown("Red\\x1b[31m\\tReel")
    'Red?[31m Reel'
    """
    if text.isprintable():
        return text
    return "".join(
        sign if sign.isprintable() else " " if sign.isspace() else "?" for sign in text
    )


def width(text: str) -> int:
    """Columns that a text takes in a terminal."""
    if text.isascii():
        return len(text)
    import unicodedata

    return sum(
        0
        if unicodedata.combining(sign)
        else 2
        if unicodedata.east_asian_width(sign) in "WF"
        else 1
        for sign in text
    )


def clipped(text: str, most: int) -> str:
    """A text cut to a width, with the cut shown."""
    if width(text) <= most:
        return text
    while width(text) >= most:
        text = text[:-1]
    return f"{text}…"


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], right: Iterable[int] = ()
) -> str:
    """Lay rows out in aligned columns under a line of names.

    Parameters
    ----------
    head : sequence of str
        Names of the columns.
    rows : sequence of sequence of str
        One text for each column.
    right : iterable of int
        Which columns are set to the right, as numbers are.
    """
    to_right = set(right)
    lines = [list(head), *([shown(cell) for cell in row] for row in rows)]
    widths = [max(width(line[at]) for line in lines) for at in range(len(head))]
    out = []
    for line in lines:
        cells = []
        for at, cell in enumerate(line):
            space = " " * (widths[at] - width(cell))
            cells.append(space + cell if at in to_right else cell + space)
        out.append("  ".join(cells).rstrip())
    return "\n".join(out) + "\n"


def many(number: int, what: str) -> str:
    """A number and a noun in singular or plural."""
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"
