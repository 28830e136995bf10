"""``melodex print``: a tune or passage on paper, as a picture, as sound or as notation."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from melodex.cli.output import Output, output_options, present, tempo_option

FORMATS = ("pdf", "svg", "png", "html", "musicxml", "abc", "midi")


@click.command("print")
@click.argument("tune")
@click.option("--bars", help="Bars by their printed numbers, such as 5-8; otherwise all.")
@click.option(
    "--reduction", is_flag=True, help="Two staves: the tune, and its bass with numerals."
)
@click.option(
    "--around",
    type=click.Choice(["sounding", "all"]),
    help="With the other lines of the piece: those that sound in these bars, or all.",
)
@click.option(
    "--written",
    is_flag=True,
    help="As the player of a transposing instrument reads it.",
)
@tempo_option
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    tune: str,
    bars: str | None,
    reduction: bool,
    around: str | None,
    written: bool,
    tempo: float | None,
    output: Output,
) -> None:
    """Print or export one tune or passage: paper, picture, sound or notation.

    TUNE is a tune of the corpus (id or title) or a file (FILE, or FILE#3 for the
    tune numbered 3 of several). The ending of --output names the form, unless
    --format does. With --around the passage stands among the other lines of its
    piece, as a small score: pdf, svg, png, html, musicxml or midi. Pitches are
    those that sound; --written gives those that the player reads.

    \b
    Examples:
      $ melodex print "The Eel Trap" --output eel.pdf
      $ melodex print "The Eel Trap" --bars 1-4 --format abc
      $ melodex print "The Eel Trap" --reduction --output two_staves.pdf

    With --reduction a whole piece stands on two staves, as pdf, svg, png, html or
    musicxml: the tune, and the bass of its chords, printed or worked out, with numerals.
    """
    if reduction:
        if bars or output.form in {"abc", "midi"}:
            raise click.UsageError(
                "--reduction is of a whole piece, as pdf, svg, png, html or musicxml"
            )
        from melodex.tasks.describe.reduction import reduced

        present(reduced(tune, corpus_path), output)
        return
    output = replace(output, tempo=tempo)
    if around:
        from melodex.tasks.describe.surroundings import find_surroundings

        found = find_surroundings(
            corpus_path, tune, bars=bars, lines=around, as_written=written
        )
        present(found, output)
        return
    from melodex.tasks.passage import find_one, written_for_player

    passage = find_one(corpus_path, tune, bars=bars)
    present(written_for_player(passage) if written else passage, output)
