"""``melodex backup``: a consistent copy of the corpus."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.progress import progress_bar


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace a file that is there already.")
@click.pass_obj
def command(corpus_path: Path, file: Path, force: bool) -> None:
    """Write a consistent copy of the corpus to FILE, while it may be in use.

    The copy is a corpus: name it with --corpus, or put it where the corpus was.

    \b
    Examples:
      $ melodex backup corpus-copy.melodex
    """
    from melodex.presentation import text_corpus
    from melodex.tasks.upkeep import backup

    with progress_bar("copying") as bar:
        result = backup(corpus_path, file, replace=force, progress=bar)
    click.echo(text_corpus.backup_text(result), nl=False, err=True)
