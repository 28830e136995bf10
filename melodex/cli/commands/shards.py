"""``melodex shards``: a corpus split into a folder of shards, and joined again."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write
from melodex.cli.progress import progress_bar


@click.group("shards")
def command() -> None:
    """Split a corpus into a folder of shards, join them again, look at them.

    A folder of shards is a corpus: name it with --corpus. Every question has the same
    answer as over one file.

    \b
    Examples:
      $ melodex shards split corpus-shards --into 3
    """


@command.command("split")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--into", "count", type=click.IntRange(1, 512), required=True, help="How many shards."
)
@click.pass_obj
def split_command(corpus_path: Path, folder: Path, count: int) -> None:
    """Split the corpus into FOLDER; the corpus itself stays as it is.

    Tunes go by their ids, lines of one piece together. A splitting that was stopped is
    gone on with.

    \b
    Examples:
      $ melodex shards split corpus-shards --into 3
    """
    from melodex.presentation.text.corpus import shards_text
    from melodex.tasks.collection.shards import split

    with progress_bar("splitting") as bar:
        made = split(corpus_path, folder, count, progress=bar)
    click.echo(shards_text(made), nl=False, err=True)


@command.command("join")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace an existing file.")
@click.pass_obj
def join_command(corpus_path: Path, file: Path, force: bool) -> None:
    """Join the shards of the corpus into one FILE; the shards stay as they are.

    \b
    Examples:
      $ melodex shards split corpus-shards --into 3
      $ melodex --corpus corpus-shards shards join corpus-whole.melodex
    """
    from melodex.presentation.text.corpus import joined_text
    from melodex.tasks.collection.shards import join

    with progress_bar("joining") as bar:
        made = join(corpus_path, file, replace=force, progress=bar)
    click.echo(joined_text(made), nl=False, err=True)


@command.command("list")
@output_options(["text", "json"])
@click.pass_context
def list_command(ctx: click.Context, output: Output) -> None:
    """List the shards of the corpus, and name each that is missing or another one.

    'melodex check' looks at every byte of them.

    \b
    Examples:
      $ melodex shards split corpus-shards --into 3
      $ melodex --corpus corpus-shards shards list
    """
    from melodex.presentation.data.corpus import shards_json
    from melodex.presentation.text.corpus import shards_text
    from melodex.tasks.collection.shards import list_shards

    found = list_shards(ctx.obj)
    forms = {"text": shards_text, "json": shards_json}
    write(forms[output.form](found), output)
    ctx.exit(1 if found.faults else 0)
