"""The option ``--into``: what a search found goes straight into a teaching set.

Contents: into_option, to_be_kept, keep_into, sought_passage.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.tasks.audit.audit import Audit
    from melodex.tasks.gather.gather import Gathering
    from melodex.tasks.lesson.keeping import Found
    from melodex.tasks.passage import Passage
    from melodex.tasks.resemble import Resemblance

__all__ = ["into_option", "keep_into", "sought_passage", "to_be_kept"]

into_option = click.option(
    "--into",
    metavar="SET",
    help="Keep the results in this teaching set; it is created if new.",
)


def to_be_kept(
    corpus: Corpus,
    into: str | None,
    result: Gathering | Resemblance | Audit,
    *,
    sought: Passage | None = None,
) -> list[Found]:
    """The passages of a result, if they are wanted; keep them once the corpus is closed."""
    if not into:
        return []
    from melodex.tasks.lesson.keeping import finds_of

    return finds_of(corpus, result, sought=sought)


def keep_into(corpus_path: Path, into: str | None, passages: Sequence[Found]) -> None:
    """Keep passages in a set, and say so on standard error."""
    if not into:
        return
    if not passages:
        click.echo("nothing was found, so nothing was kept", err=True)
        return
    from melodex.presentation.lesson.text import kept_text
    from melodex.tasks.lesson.keeping import keep

    report = keep(corpus_path, into, passages, create=True)
    click.echo(kept_text(report), nl=False, err=True)


def sought_passage(
    corpus: Corpus, origin: str | None, bars: str | None, notes: str | None
) -> Passage | None:
    """The passage that was looked for, None where a phrase was typed."""
    if not origin:
        return None
    from melodex.tasks.passage import find_passage, read_span

    return find_passage(
        origin,
        corpus,
        bars=read_span(bars) if bars else None,
        notes=read_span(notes, "notes") if notes else None,
    )
