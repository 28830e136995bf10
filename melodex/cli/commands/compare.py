"""``melodex compare``: two passages note against note."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from melodex.cli.output import Output, go_on, output_options, present, tempo_option

FORMATS = ("text", "json", "html", "pdf", "svg", "midi", "musicxml", "abc")


@click.command("compare")
@click.argument("a", metavar="X")
@click.argument("b", metavar="Y")
@click.option("--bars", help="Bars of X and of Y: 1-4,9-12; one range serves for X alone.")
@click.option("--notes", help="Notes of X and of Y, counted from 1: 1-8,20-27.")
@click.option(
    "--transpose",
    type=int,
    help="Transpose X by this many semitones instead of the best fit.",
)
@click.option(
    "--whole", is_flag=True, help="Show both in full, also where they do not match."
)
@click.option("--chords", is_flag=True, help="Let the chords be heard too, for midi.")
@tempo_option
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    a: str,
    b: str,
    bars: str | None,
    notes: str | None,
    transpose: int | None,
    whole: bool,
    chords: bool,
    tempo: float | None,
    output: Output,
) -> None:
    """Lay two passages side by side: what they share, and where they part.

    X and Y are tunes of the corpus (id or title) or files (FILE, or FILE#3 for the
    tune numbered 3 of several).

    \b
    Example:
      $ melodex compare corpus_demo/own/own_song.abc corpus_demo/own/own_song_clean.abc
    """
    from melodex.tasks.compare.compare import compare
    from melodex.tasks.compare.shared_passages import shared_passages
    from melodex.tasks.passage import find_passages

    first, second = find_passages(corpus_path, (a, b), bars=bars, notes=notes)
    found = replace(compare(first, second, transposition_semitones=transpose), whole=whole)
    present(found, replace(output, tempo=tempo, chords=chords))
    if shared_passages(found):
        go_on(output, "--whole shows both in full")
