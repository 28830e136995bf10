"""``melodex add``: read files and folders into the corpus."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from melodex.cli import INTERRUPTED
from melodex.cli.output import Output, output_options, write
from melodex.cli.progress import progress_bar, tell_waiting

if TYPE_CHECKING:
    from melodex.corpus.writing.preparing import AddReport


@click.command("add")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--collection", default="", help="Name of the collection [default: the folder]."
)
@click.option("--part", default="", help="Part of the main line, by name or number from 1.")
@click.option("--voice", default="", help="Voice of the main line, by name or number.")
@click.option(
    "--chord-note",
    type=click.Choice(["top", "bottom"]),
    default="top",
    show_default=True,
    help="Which note of a written chord is the melody.",
)
@click.option(
    "--lines",
    type=click.Choice(["all", "top"]),
    default="all",
    show_default=True,
    help="Whether every line of a score is read, or its main line alone.",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    help="Processes that read at once [default: one for each processor].",
)
@click.option(
    "--shards",
    type=click.IntRange(1, 512),
    help="Make a new corpus as a folder of so many shards.",
)
@output_options(["text", "json"])
@click.pass_context
def command(
    ctx: click.Context,
    paths: tuple[Path, ...],
    collection: str,
    part: str,
    voice: str,
    chord_note: str,
    lines: str,
    workers: int | None,
    shards: int | None,
    output: Output,
) -> None:
    """Read files and folders into the corpus (.abc .xml .musicxml .mxl .mid .krn).

    Adding the same files again changes nothing; a tune that has changed at its
    place replaces the old one. What cannot be read is named, with the reason, and
    the rest goes in. With music21 installed, MEI, MuseData and Volpiano are read too.

    A new corpus is a file, or with --shards a folder of shards. There, a run that was
    stopped goes on with the same command, and reads no file again that it has read.

    A score becomes one piece of several lines: its parts and voices, and what moves
    under the top of chords. Its main line, the part called voice, solo or melody, else
    the first with words, else the top, stands for it in lists.

    \b
    Examples:
      $ melodex add corpus_demo
      $ melodex add --collection "My songs" corpus_demo/own
      $ melodex --corpus new-shards add --shards 4 corpus_demo
    """
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.reading import Choice
    from melodex.tasks.adding.add import AddStep, add_paths
    from melodex.tasks.adding.pool import usual_workers

    with progress_bar("adding") as bar:

        def move(step: AddStep) -> None:
            if bar:
                done = step.files_done + step.share
                bar(done, step.files_total, f"{step.tunes_done:,} tunes")

        result = add_paths(
            ctx.obj,
            paths,
            collection=collection,
            choice=Choice.kept(part, voice, chord_note, lines),
            progress=move,
            waiting=tell_waiting,
            workers=workers or usual_workers(),
            shards=shards or 0,
            most_reports=MOST_REPORTS,
        )
    text = text_corpus.adding_text(result)
    if output.form == "json":
        write(data_corpus.adding_json(result), output)
    else:
        click.echo(text, nl=False, err=True)
        if result.warnings:
            said = warnings_said(ctx.obj, result.reports)
            click.echo(said, nl=False, err=True)
    if result.interrupted:
        ctx.exit(INTERRUPTED)
    ctx.exit(1 if result.refusals else 0)


MOST_REPORTS = 10_000
"""Files of which is kept what became of each; of more it is counted, so that memory does
not grow with them."""

MOST_SAID = 5
"""Tunes whose faults are said at once; the others are a command away."""


def warnings_said(corpus_path: Path, reports: Sequence[AddReport]) -> str:
    """What was not understood in the files that were added, tune by tune."""
    from melodex.corpus.reader import Corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.holdings import warned_tunes

    files = {report.source for report in reports if report.warnings}
    with Corpus.open(corpus_path) as corpus:
        warned = [row for row in warned_tunes(corpus) if row.source in files]
    text = text_corpus.warned_text(warned[:MOST_SAID])
    more = len(warned) - MOST_SAID
    if more > 0:
        text += f"and {more:,} more tunes: 'melodex show --warnings' lists them\n"
    return text
