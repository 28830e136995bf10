"""``melodex check``: is everything in the corpus as it was written?"""

from __future__ import annotations

import click

from melodex.cli.output import Output, output_options, write
from melodex.cli.progress import progress_bar


@click.command("check")
@output_options(["text", "json"])
@click.pass_context
def command(ctx: click.Context, output: Output) -> None:
    """Check every part of the corpus, and say which engine searches it.

    Damage is named with the tunes that it touches, and the exit is 1.

    \b
    Examples:
      $ melodex check
    """
    from melodex.presentation import data_corpus, text_corpus
    from melodex.tasks.upkeep import check

    with progress_bar("checking") as bar:
        result = check(ctx.obj, progress=bar)
    forms = {"text": text_corpus.check_text, "json": data_corpus.check_json}
    write(forms[output.form](result), output)
    ctx.exit(1 if result.report.faults else 0)
