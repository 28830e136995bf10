"""``melodex remove``: remove tunes from the corpus."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("remove")
@click.argument("tunes", nargs=-1)
@click.option("--source", default="", help="All tunes read from this file or folder.")
@click.option("--collection", default="", help="All tunes of this collection.")
@click.pass_obj
def command(
    corpus_path: Path, tunes: tuple[str, ...], source: str, collection: str
) -> None:
    """Take tunes out of the corpus; their files are not touched.

    TUNES are ids or titles, as for "show". A tune that was read from several
    places goes with --source or --collection only when its last place goes.

    \b
    Examples:
      $ melodex remove "The Eel Trap"
      $ melodex remove --collection own
    """
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.holdings import remove_from, remove_tunes

    if sum(map(bool, (tunes, source, collection))) != 1:
        raise click.UsageError(
            "name tunes, or a --source, or a --collection: one of the three"
        )
    if tunes:
        removal = remove_tunes(corpus_path, tunes)
    else:
        removal = remove_from(corpus_path, source=source, collection=collection)
    click.echo(text_corpus.removal_text(removal), nl=False, err=True)
