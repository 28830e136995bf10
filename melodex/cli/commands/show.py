"""``melodex show``: one tune of the corpus."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write


@click.command("show")
@click.argument("tune")
@output_options(["text", "json"])
@click.pass_obj
def command(corpus_path: Path, tune: str, output: Output) -> None:
    """Show one tune: what is known of it, where it stands, its notes and degrees.

    TUNE is its id, the first four digits or more of it, its title, or a part of
    its title that no other tune has.

    \b
    Examples:
      $ melodex show "The Eel Trap"
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.collection.holdings import show_tune

    with Corpus.open(corpus_path) as corpus:
        detail = show_tune(corpus, tune)
    if output.form == "json":
        from melodex.presentation.data import corpus as data_corpus

        write(data_corpus.detail_json(detail), output)
    else:
        from melodex.presentation.text import corpus as text_corpus

        columns = shutil.get_terminal_size().columns
        write(text_corpus.detail_text(detail, columns), output)
