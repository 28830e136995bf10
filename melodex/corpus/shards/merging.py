"""What several shards say of a statement, put together as one file says it.

Conventions: a statement is put to every shard as it stands, and rows come shard by
shard. All that is told of one tune stands in one shard, so rows about single tunes need
only be put in order, and counts of tunes be added up. Order is SQLite's: nothing comes
before numbers, numbers before texts, texts by their bytes in UTF-8
(https://www.sqlite.org/datatype3.html, 4.1), which is the order of their characters.

Contents: Merge, Row, in_order, summed, each_once, by_place, leading_number.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

__all__ = ["Merge", "Row", "by_place", "each_once", "in_order", "leading_number", "summed"]

Row = tuple[Any, ...]
Rows = list[Row]
Merge = Callable[[Rows], Rows]
"""What makes of the rows of several shards, one after the other, those of the whole."""


def ranked(value: Any) -> tuple[int, Any]:
    """A value as SQLite orders values of different kinds."""
    if value is None:
        return 0, 0
    if isinstance(value, int | float):
        return 1, value
    return (2, value) if isinstance(value, str) else (3, value)


def in_order(
    *columns: int, key: Callable[[Row], Row] | None = None, limit: int = -1
) -> Merge:
    """Rows by some columns, or by what a function makes of each; at most so many.

    Examples
    --------
    >>> in_order(1, limit=2)([("b", 3), ("a", None), ("c", 1)])
    [('a', None), ('c', 1)]
    """

    def merge(rows: Rows) -> Rows:
        def order(row: Row) -> list[tuple[int, Any]]:
            values = key(row) if key else tuple(row[column] for column in columns)
            return [ranked(value) for value in values]

        found = sorted(rows, key=order)
        return found if limit < 0 else found[:limit]

    return merge


def summed(rows: Rows) -> Rows:
    """Counts, which stand in the last column, added up; in order of what is counted.

    Examples
    --------
    >>> summed([("jig", 3), ("reel", 1), ("air", 1), ("reel", 4)])
    [('air', 1), ('jig', 3), ('reel', 5)]
    """
    totals: dict[Row, int] = {}
    for *named, count in rows:
        totals[tuple(named)] = totals.get(tuple(named), 0) + count
    found = [(*named, count) for named, count in totals.items()]
    return sorted(found, key=lambda row: [ranked(value) for value in row[:-1]])


def each_once(rows: Rows) -> Rows:
    """Every row once, in order."""
    return sorted(set(rows), key=lambda row: [ranked(value) for value in row])


def by_place(file: int, number: int, occurrence: int, *others: int) -> Merge:
    """Rows in the order of the places where tunes were read, then by other columns."""

    def key(row: Row) -> Row:
        placed = (row[file], leading_number(row[number]), row[number], row[occurrence])
        return (*placed, *(row[other] for other in others))

    return in_order(key=key)


def leading_number(text: Any) -> int:
    """A text as SQLite casts it to a number (https://www.sqlite.org/lang_expr.html, 19).

    Examples
    --------
    >>> leading_number("12b"), leading_number(" -3"), leading_number("b")
    (12, -3, 0)
    """
    found = re.match(r"(?a)\s*([+-]?\d+)", str(text))
    return int(found[1]) if found else 0
