"""Progress on standard error, while a person watches; nothing where none does.

Contents: Bar, progress_bar, tell_waiting.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

__all__ = ["Bar", "progress_bar", "tell_waiting"]

Bar = Callable[[int, int], None]
"""Called with what is done and what there is in all."""


@contextmanager
def progress_bar(what: str) -> Iterator[Bar | None]:
    """Show a bar while standard error is a terminal; else give None."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    bar = Progress(
        f"{what}",
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        line = bar.add_task(what, total=None)

        def move(done: int, total: int) -> None:
            bar.update(line, completed=done, total=total)

        yield move


def tell_waiting(seconds: float) -> None:
    """Say that another process holds the corpus."""
    click.echo(f"waiting for another process to finish ({seconds:.0f} s) ...", err=True)
