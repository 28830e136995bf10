"""``melodex check``: is everything in the corpus as it was written?"""

from __future__ import annotations

import click

from melodex.cli.output import Output, output_options, write
from melodex.cli.progress import progress_bar


@click.command("check")
@click.option(
    "--repair",
    is_flag=True,
    help="Write what can be read to a new file, or folder of shards; the damaged one is "
    "kept beside it.",
)
@output_options(["text", "json"])
@click.pass_context
def command(ctx: click.Context, repair: bool, output: Output) -> None:
    """Check every part of the corpus, and say which engine searches it.

    Damage is named with the tunes that it touches, and the exit is 1.

    With --repair, tunes are brought back from their melodies or, where those are
    damaged, from the source text that the corpus keeps.

    \b
    Examples:
      $ melodex check
      $ melodex check --repair
    """
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.upkeep import check

    with progress_bar("checking") as bar:
        result = check(ctx.obj, repair=repair, progress=bar)
    forms = {"text": text_corpus.check_text, "json": data_corpus.check_json}
    write(forms[output.form](result), output)
    done = result.repair
    lost = done is not None and bool(done.lost or done.left_out)
    ctx.exit(1 if result.report.faults or lost else 0)
