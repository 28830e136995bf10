"""``melodex show``: one tune of the corpus."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write


@click.command("show")
@click.argument("tune", required=False)
@click.option(
    "--warnings",
    is_flag=True,
    help="List what was not understood, tune by tune; of all tunes if none is named.",
)
@output_options(["text", "json"])
@click.pass_obj
def command(corpus_path: Path, tune: str | None, warnings: bool, output: Output) -> None:
    """Show one tune: what is known of it, where it stands, its notes and degrees.

    TUNE is its id, the first four digits or more of it, its title, or a part of
    its title that no other tune has; without title it goes by the name of its file.
    Of several that go by a name one is chosen by number: "jig #2".

    \b
    Examples:
      $ melodex show "The Eel Trap"
      $ melodex show --warnings
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.collection.holdings import show_tune, warned_tunes

    if warnings:
        with Corpus.open(corpus_path) as corpus:
            warned = warned_tunes(corpus, tune)
        if output.form == "json":
            from melodex.presentation.data import corpus as data_corpus

            write(data_corpus.warned_json(warned), output)
        else:
            from melodex.presentation.text import corpus as text_corpus

            write(text_corpus.warned_text(warned), output)
        return
    if not tune:
        raise click.UsageError("Name a tune, or give --warnings.")
    with Corpus.open(corpus_path) as corpus:
        detail = show_tune(corpus, tune)
    if output.form == "json":
        from melodex.presentation.data import corpus as data_corpus

        write(data_corpus.detail_json(detail), output)
    else:
        from melodex.presentation.text import corpus as text_corpus

        columns = shutil.get_terminal_size().columns
        write(text_corpus.detail_text(detail, columns), output)
