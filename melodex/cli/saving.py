"""Writing a result to a file that was named on the command line.

What may be replaced, and how, is settled in :mod:`melodex.presentation.saving`; here it
is told which corpus the command works on.

Contents: refuse_place, save.
"""

from __future__ import annotations

from pathlib import Path

import click

from melodex.presentation import saving

__all__ = ["refuse_place", "save"]


def refuse_place(file: Path, *, force: bool = False) -> None:
    """Refuse a file that a result may not replace, before any work is done."""
    saving.refuse_place(file, corpus_in_use(), force=force)


def save(content: str | bytes, file: Path, *, force: bool = False) -> None:
    """Write a file whole or not at all."""
    saving.save(content, file, corpus_in_use(), force=force)


def corpus_in_use() -> Path | None:
    """The corpus of the command that runs."""
    context = click.get_current_context(silent=True)
    return context.find_object(Path) if context else None
