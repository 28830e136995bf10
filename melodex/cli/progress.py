"""Progress on standard error, while a person watches; nothing where none does.

Contents: Bar, progress_bar, tell_waiting.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Protocol

import click

__all__ = ["Bar", "progress_bar", "tell_waiting"]

BAR_COLUMNS = 30
"""Columns of the bar itself: with its words it then fits a line of eighty."""

PARTS = 1000
"""Of each thing to do, that the bar can move by: one large file is one thing."""

LINE_GONE = "\x1b[1A\x1b[2K"
"""A line up, and that line cleared (ECMA-48: CUU, EL): click ends a bar with a new line."""


class Bar(Protocol):
    """Called with what is done, what there is in all, and a few words beside it."""

    def __call__(self, done: float, total: int, words: str = "") -> None: ...


@contextmanager
def progress_bar(what: str) -> Iterator[Bar | None]:
    """Show a bar while standard error is a terminal; else give None."""
    if not sys.stderr.isatty():
        yield None
        return
    bar = click.progressbar(
        length=1,
        label=what,
        file=sys.stderr,
        show_percent=False,
        width=BAR_COLUMNS,
        item_show_func=lambda words: words,
    )
    with ExitStack() as shown:

        def move(done: float, total: int, words: str = "") -> None:
            bar.length = total * PARTS
            # The last is not done before it is.
            whole = round(done) if done >= total else min(round(done), total - 1)
            beside = f"{whole}/{total}  {words}".rstrip()
            if not bar.entered:
                # What the work came to stands in its place afterwards.
                shown.callback(click.echo, LINE_GONE, nl=False, err=True, color=True)
                shown.enter_context(bar)
            moved = round(done * PARTS) - bar.pos
            bar.update(moved, beside)
            if not moved:
                # click draws the bar when it moves; the words may have changed alone.
                bar.current_item = beside
                bar.render_progress()

        yield move


def tell_waiting(seconds: float) -> None:
    """Say that another process holds the corpus."""
    click.echo(f"waiting for another process to finish ({seconds:.0f} s) ...", err=True)
