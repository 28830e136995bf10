"""Progress on standard error, while a person watches; nothing where none does.

Contents: Bar, progress_bar, tell_waiting.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

import click

__all__ = ["Bar", "progress_bar", "tell_waiting"]


class Bar(Protocol):
    """Called with what is done, what there is in all, and a few words beside it."""

    def __call__(self, done: float, total: int, words: str = "") -> None: ...


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
        "{task.fields[words]}",
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        line = bar.add_task(what, total=None, words="")

        def move(done: float, total: int, words: str = "") -> None:
            bar.update(line, completed=done, total=total, words=words)

        yield move


def tell_waiting(seconds: float) -> None:
    """Say that another process holds the corpus."""
    click.echo(f"waiting for another process to finish ({seconds:.0f} s) ...", err=True)
