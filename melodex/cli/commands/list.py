"""``melodex list``: the tunes of the corpus."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write


@click.command("list")
@click.option("--collection", default="", help="Only tunes in this collection.")
@click.option("--title", default="", help="Only tunes whose title holds this.")
@click.option(
    "--words", default="", help="Only tunes whose title, makers or lyrics hold these words."
)
@click.option("--tag", default="", help="Only tunes with this tag.")
@click.option("--source", default="", help="Only tunes read from this file or folder.")
@click.option("--limit", type=click.IntRange(1), help="List at most this many.")
@output_options(["text", "json", "csv"])
@click.pass_obj
def command(
    corpus_path: Path,
    collection: str,
    title: str,
    words: str,
    tag: str,
    source: str,
    limit: int | None,
    output: Output,
) -> None:
    """List the tunes of the corpus, by collection, source and number.

    Capitals and accents make no difference to --title and --words; --words may stand
    anywhere, in whatever order, and may be parts of words.

    \b
    Examples:
      $ melodex list --limit 10
      $ melodex list --title waltz --format csv
      $ melodex list --words "saltwhistle reel"
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.collection.holdings import list_tunes

    with Corpus.open(corpus_path) as corpus:
        found = list_tunes(
            corpus,
            collection=collection,
            title=title,
            tag=tag,
            source=source,
            words=words,
            limit=limit,
        )
    from melodex.presentation.text import corpus as text_corpus

    if found.journal_bytes:
        click.echo(text_corpus.beside_text(found.journal_bytes), err=True)
    if output.form == "text":
        write(text_corpus.listing_text(found), output)
        return
    from melodex.presentation.data import corpus as data_corpus

    forms = {"json": data_corpus.listing_json, "csv": data_corpus.listing_csv}
    write(forms[output.form](found), output)
