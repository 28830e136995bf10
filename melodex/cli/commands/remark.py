"""``melodex remark``: the musician's own notes, sources and citations on a tune."""

from __future__ import annotations

from pathlib import Path

import click

KINDS = ("note", "source", "citation")


@click.command("remark")
@click.argument("tune", required=False)
@click.argument("text", required=False)
@click.option(
    "--kind",
    type=click.Choice(KINDS),
    default="note",
    show_default=True,
    help="What it is.",
)
@click.option("--bars", default="", help="The bars it is about, by printed number: 5-8.")
@click.option("--off", type=click.IntRange(1), help="Take off the remark of this number.")
@click.pass_obj
def command(
    corpus_path: Path,
    tune: str | None,
    text: str | None,
    kind: str,
    bars: str,
    off: int | None,
) -> None:
    """Write a note, a source or a citation on a tune, or show what is written there.

    "show" prints them with the tune, and "list --words" finds tunes by them.

    \b
    Examples:
      $ melodex remark "The Eel Trap" "The minor twin of Marl Pit Hornpipe" --bars 1-4
      $ melodex remark "The Eel Trap"
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.remarks import remarks_on, take_off, write_remark

    if off is not None:
        click.echo(f"taken off: {take_off(corpus_path, off)}", err=True)
        return
    if not tune:
        raise click.UsageError("Name a tune, or --off and the number of a remark.")
    if text is None:
        with Corpus.open(corpus_path) as corpus:
            click.echo(text_corpus.remarked_text(remarks_on(corpus, tune)), nl=False)
        return
    found = write_remark(corpus_path, tune, text, kind=kind, bars=bars)
    click.echo(text_corpus.remarked_text(found), nl=False)
