"""``melodex backup``: a consistent copy of the corpus."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli import INTERRUPTED
from melodex.cli.progress import progress_bar


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace an existing file.")
@click.pass_context
def command(ctx: click.Context, file: Path, force: bool) -> None:
    """Write a consistent copy of the corpus to FILE, while it may be in use.

    The copy is a corpus: name it with --corpus, or put it where the corpus was.

    \b
    Examples:
      $ melodex backup corpus-copy.melodex
    """
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.upkeep import backup

    before = identity(file)
    try:
        with progress_bar("copying") as bar:
            result = backup(ctx.obj, file, replace=force, progress=bar)
    except KeyboardInterrupt:
        done = "the copy was completed" if identity(file) != before else "no copy was made"
        click.echo(f"melodex: stopped; {done}, the corpus is as it was", err=True)
        ctx.exit(INTERRUPTED)
    click.echo(text_corpus.backup_text(result), nl=False, err=True)


def identity(file: Path) -> tuple[int, int, int] | None:
    """Which file has a name now; None for none."""
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_mtime_ns
