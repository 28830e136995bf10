"""``melodex audit``: where a tune of one's own comes close to the corpus."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from melodex.cli.among import among_options, left_out
from melodex.cli.auditing import audit_each
from melodex.cli.keeping import into_option, keep_into, to_be_kept
from melodex.cli.output import Output, go_on, output_options, present, terminal_style, write
from melodex.cli.progress import progress_bar
from melodex.cli.workers import Hands, exchange_for, notes_for, workers_options

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

FORMATS = ("text", "json", "html", "pdf")


@click.command("audit")
@click.argument("tune", required=False)
@click.option(
    "--whole-corpus",
    is_flag=True,
    help="Compare all tunes of the corpus with one another instead.",
)
@click.option(
    "--except",
    "exclude",
    multiple=True,
    metavar="TUNE",
    help="Leave out a tune known to be related; may be repeated.",
)
@click.option(
    "--threshold",
    default=1.0,
    show_default=True,
    type=click.FloatRange(min=0),
    help="Hide findings that chance would produce more often than this.",
)
@click.option("--limit", default=20, show_default=True, type=click.IntRange(1, 1000))
@click.option(
    "--against",
    default="",
    metavar="WISHES",
    help="With --whole-corpus: compare the tunes within with these alone.",
)
@click.option(
    "--each",
    "results",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Audit every tune of the file or folder TUNE; a file of JSON for each goes here.",
)
@among_options
@workers_options
@into_option
@output_options(FORMATS)
@click.pass_context
def command(
    ctx: click.Context,
    tune: str | None,
    whole_corpus: bool,
    exclude: tuple[str, ...],
    threshold: float,
    limit: int,
    against: str,
    within: str,
    without: str,
    results: Path | None,
    workers: int | None,
    scheduler: str,
    work: Path | None,
    into: str | None,
    output: Output,
) -> None:
    """Find where a tune of your own comes close to the corpus, and whether by chance.

    TUNE is a file (FILE, or FILE#3 for the tune numbered 3 of several) or a tune of
    the corpus, which is then compared with all the others.

    How common the longest run of shared notes is goes by the other tunes that hold
    it in any key: one in a hundred or more, and three at least, a stock figure; one
    in a thousand or more, a shared idiom; fewer, distinctive.

    Findings come in the order of what chance would bring least, weighed by how much
    the shared run tells, how few tunes hold it, and whether notes were left out.

    Likeness is not infringement, and no likeness found is not clearance.

    With --whole-corpus there is no TUNE: near-duplicates are listed, and pairs of
    tunes that share a long passage, the most telling first; --limit counts both.
    What of one book stands in another is asked by --within and --against. Over many tunes
    --workers or --scheduler let others work too; the answer is the same.

    \b
    Examples:
      $ melodex audit corpus_demo/own/own_song.abc
      $ melodex audit corpus_demo/own --each own-audits --workers 2
      $ melodex audit --whole-corpus --limit 5
      $ melodex audit --whole-corpus --within "kind reel" --against "kind hornpipe"
    """
    corpus_path: Path = ctx.obj
    hands = Hands(workers, scheduler, work)
    if results is not None:
        if tune is None or whole_corpus or into or against or work:
            raise click.UsageError("--each takes a file or folder, and no other way of it.")
        among = exclude, within, without
        told = threshold, limit
        ctx.exit(
            0 if audit_each(corpus_path, Path(tune), results, among, told, hands) else 1
        )
    if whole_corpus or tune is None:
        require_whole(tune, whole_corpus, into, output)
        audit_all(corpus_path, (exclude, within, without, against), limit, output, hands)
        return
    if work:
        raise click.UsageError("--work goes with --whole-corpus.")
    if against:
        raise click.UsageError("--against goes with --whole-corpus; use --within.")
    from melodex.corpus.reader import Corpus
    from melodex.melody.tune_id import leading
    from melodex.tasks.audit.audit import audit
    from melodex.tasks.passage import find_passage

    with Corpus.open(corpus_path) as corpus, notes_for(hands, corpus) as notes:
        own = find_passage(tune, corpus)
        hidden = [corpus.resolve(name) for name in exclude]
        found = audit(
            corpus,
            own,
            exclude=hidden,
            outside=left_out(corpus, within, without),
            threshold=threshold,
            limit=limit,
            notes=notes,
        )
        present(found, output)
        passages = to_be_kept(corpus, into, found)
    if found.findings:
        near = leading(found.findings[0].tune.tune_id)
        go_on(
            output, f"'melodex compare {shlex.quote(tune)} {near}'; --into SET keeps them"
        )
    keep_into(corpus_path, into, passages)


def require_whole(
    tune: str | None, whole_corpus: bool, into: str | None, output: Output
) -> None:
    """Refuse what does not go together."""
    if not whole_corpus:
        raise click.UsageError("Name a tune or a file, or give --whole-corpus.")
    if tune is not None:
        raise click.UsageError("Give a tune or --whole-corpus, not both.")
    if into:
        raise click.UsageError("--into keeps what is found of one tune.")


def audit_all(
    corpus_path: Path,
    among: tuple[tuple[str, ...], str, str, str],
    limit: int,
    output: Output,
    hands: Hands,
) -> None:
    """Compare the tunes of a corpus with each other and write what is found."""
    from melodex.corpus.reader import Corpus
    from melodex.tasks.audit.whole import audit_whole

    with (
        Corpus.open(corpus_path) as corpus,
        exchange_for(hands) as exchange,
        progress_bar("comparing tunes") as bar,
    ):
        exclude, within, without, against = among
        outside = left_out(corpus, "" if against else within, without)
        sides = None
        if against:
            sides = one_side(corpus, within), one_side(corpus, against)
        found = audit_whole(
            corpus,
            exclude=[corpus.resolve(name) for name in exclude],
            outside=outside,
            limit=limit,
            sides=sides,
            progress=bar,
            exchange=exchange,
        )
    if output.form == "json":
        from melodex.presentation.data.corpus import whole_audit_json

        write(whole_audit_json(found), output)
        return
    if output.form in {"html", "pdf"}:
        present(found, output)
        return
    from melodex.presentation.text.audit_whole import whole_audit_text

    write(whole_audit_text(found, terminal_style(output)), output)


def one_side(corpus: Corpus, wishes: str) -> frozenset[str]:
    """The ids of the tunes of one side of a comparison."""
    if not wishes:
        raise click.UsageError("--against needs --within, which names the other side.")
    from melodex.tasks.gather.counts import tunes_said

    return tunes_said(corpus, wishes)
