"""Addresses that bars and chords of a drawing lead to, where a page has such addresses.

A picture on paper or in a file by itself leads nowhere; the page of the workbench opens
the doors while it has a picture drawn.

Contents: Doors, doors_open, open_doors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

__all__ = ["Doors", "doors_open", "open_doors"]


@dataclass(frozen=True, slots=True)
class Doors:
    """Where a bar of the piece leads to, by its printed number, and a chord by its name."""

    bar: Callable[[int], str]
    chord: Callable[[str], str]


DOORS: ContextVar[Doors | None] = ContextVar("doors", default=None)


@contextmanager
def open_doors(doors: Doors) -> Iterator[None]:
    """Let what is drawn inside lead to these addresses."""
    token = DOORS.set(doors)
    try:
        yield
    finally:
        DOORS.reset(token)


def doors_open() -> Doors | None:
    """The addresses that hold here, None where a picture leads nowhere."""
    return DOORS.get()
