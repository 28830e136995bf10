"""``melodex demo``: build the demo corpus and ask it five questions."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("demo")
@click.argument("folder", default="melodex-demo", type=click.Path(path_type=Path))
@click.pass_context
def command(ctx: click.Context, folder: Path) -> None:
    """Build a corpus of invented tunes in FOLDER and ask it five questions.

    FOLDER [default: melodex-demo] is made where there is none. Each question is
    shown as the command that asks it, so that you can type it again and change it.

    \b
    Example:
      $ melodex demo melodex-demo
    """
    from melodex.cli.questions import questions_of
    from melodex.tasks.demo import OWN, prepare_demo

    demo = prepare_demo(folder)
    total = demo.added.added + demo.added.unchanged + demo.added.replaced
    click.echo(f"{total} invented tunes are in {demo.corpus_path}.")
    group = ctx.find_root().command
    for question in questions_of(demo.corpus_path, demo.folder / OWN):
        click.echo(f"\n{question.words}\n\n$ {question.command}\n")
        code = group.main(
            list(question.arguments), prog_name="melodex", standalone_mode=False
        )
        if code:
            ctx.exit(code)
    click.echo(
        f"\nThe page is {demo.folder / 'pair.html'}. "
        f"The tunes are in {demo.folder / 'tunes'}; ask them something of your own."
    )
