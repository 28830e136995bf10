"""``melodex audit``: where a tune of one's own comes close to the corpus."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.keeping import into_option, keep_into, to_be_kept
from melodex.cli.output import Output, output_options, present

FORMATS = ("text", "json", "html", "pdf")


@click.command("audit")
@click.argument("tune")
@click.option(
    "--except",
    "exclude",
    multiple=True,
    metavar="TUNE",
    help="Leave out a tune that is known to be related; may be given again.",
)
@click.option(
    "--threshold",
    default=1.0,
    show_default=True,
    type=click.FloatRange(min=0),
    help="Leave out what chance would bring more often than this.",
)
@click.option("--limit", default=20, show_default=True, type=click.IntRange(1, 1000))
@into_option
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    tune: str,
    exclude: tuple[str, ...],
    threshold: float,
    limit: int,
    into: str | None,
    output: Output,
) -> None:
    """Find where a tune of your own comes close to the corpus, and whether by chance.

    TUNE is a file (FILE, or FILE#3 for the tune numbered 3 of several) or a tune of
    the corpus, which is then compared with all the others.

    How common the longest run of shared notes is goes by the other tunes that hold
    it in any key: one in a hundred or more, a stock figure; one in a thousand or
    more, a shared idiom; fewer, distinctive.

    Likeness is not infringement, and no likeness found is not clearance.

    \b
    Example:
      $ melodex audit corpus_demo/own/own_song.abc
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.audit import audit
    from melodex.tasks.passage import find_passage

    with Corpus.open(corpus_path) as corpus:
        own = find_passage(tune, corpus)
        hidden = [corpus.resolve(name) for name in exclude]
        found = audit(corpus, own, exclude=hidden, threshold=threshold, limit=limit)
        present(found, output)
        passages = to_be_kept(corpus, into, found)
    keep_into(corpus_path, into, passages)
