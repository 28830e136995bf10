"""``melodex remove``: remove tunes from the corpus."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command("remove")
@click.argument("tunes", nargs=-1)
@click.option("--source", default="", help="All tunes read from this file or folder.")
@click.option("--collection", default="", help="All tunes of this collection.")
@click.option("--yes", is_flag=True, help="Do not ask, where a name is only a part.")
@click.pass_obj
def command(
    corpus_path: Path, tunes: tuple[str, ...], source: str, collection: str, yes: bool
) -> None:
    """Take tunes out of the corpus; their files are not touched.

    TUNES are ids or titles, as for "show". Where one is only the beginning of an id or a
    part of a title, you are asked first. A tune that was read from several places goes
    with --source or --collection only when its last place goes. "melodex undo" brings
    back what was removed.

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
        removal = remove_tunes(corpus_path, agreed(corpus_path, tunes, yes))
    else:
        removal = remove_from(corpus_path, source=source, collection=collection)
    click.echo(text_corpus.removal_text(removal), nl=False, err=True)
    if removal.can_be_undone and (removal.removed or removal.kept):
        click.echo("'melodex undo last' undoes it", err=True)


def agreed(corpus_path: Path, names: tuple[str, ...], yes: bool) -> list[str]:
    """Ids of the tunes that are to go, once that is sure.

    Raises
    ------
    CorpusError
        If a name is only a part and nobody can be asked.
    """
    from melodex.corpus.reader import Corpus
    from melodex.errors import CorpusError
    from melodex.melody.tune_id import leading
    from melodex.tasks.collection.holdings import tunes_meant

    with Corpus.open(corpus_path) as corpus:
        found = tunes_meant(corpus, names)
    parts = [meant for meant in found if not meant.is_exact]
    if parts and not yes:
        lines = [
            f"{m.name!r} means {leading(m.row.tune_id)} {m.row.title!r}" for m in parts
        ]
        if not sys.stdin.isatty():
            raise CorpusError(
                f"{'; '.join(lines)}: nothing was removed",
                hint="say --yes, or the whole title or id",
            )
        click.echo("\n".join(lines), err=True)
        click.confirm("Remove?", abort=True, err=True)
    return [meant.row.tune_id for meant in found]
