"""``melodex refresh``: read the folders of the corpus again."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli import INTERRUPTED
from melodex.cli.output import Output, output_options, write
from melodex.cli.progress import progress_bar


@click.command("refresh")
@click.option("--dry-run", is_flag=True, help="Say what has changed, and change nothing.")
@click.option(
    "--remove-gone", is_flag=True, help="Take out what is gone from the folders too."
)
@click.argument("folders", nargs=-1, type=click.Path(file_okay=False, path_type=Path))
@output_options(["text", "json"])
@click.pass_context
def command(
    ctx: click.Context,
    folders: tuple[Path, ...],
    dry_run: bool,
    remove_gone: bool,
    output: Output,
) -> None:
    """Read again the folders that the corpus was made from.

    New and changed files are read in as "add" would; files that moved keep their tags.
    What is gone from the folders is left in the corpus, unless --remove-gone is said.
    A folder is known from when it was added, or named here once; "remove --source
    FOLDER" forgets it.

    \b
    Examples:
      $ melodex refresh --dry-run
      $ melodex refresh
    """
    from melodex.presentation.data.corpus import refresh_json
    from melodex.presentation.text.refresh import differences_text, refreshed_text
    from melodex.tasks.adding.pool import usual_workers
    from melodex.tasks.adding.refresh import differences, refresh

    corpus_path: Path = ctx.obj
    with progress_bar("comparing") as bar:
        found = differences(corpus_path, bar, named=folders)
    click.echo(differences_text(found), nl=False, err=True)
    if dry_run or found.is_in_step:
        if output.form == "json":
            write(refresh_json(found, None), output)
        return
    done = refresh(corpus_path, found, remove_gone=remove_gone, workers=usual_workers())
    if output.form == "json":
        write(refresh_json(found, done), output)
    click.echo(refreshed_text(done, remove_gone=remove_gone), nl=False, err=True)
    if done.differences.gone_places and not remove_gone:
        click.echo("--remove-gone takes it out", err=True)
    if done.removed and done.can_be_undone:
        click.echo("'melodex undo' lists what can be brought back", err=True)
    if any(result.interrupted for result in done.added):
        ctx.exit(INTERRUPTED)
