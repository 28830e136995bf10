"""``melodex compare``: two passages note against note."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from melodex.cli.output import Output, go_on, output_options, present, tempo_option
from melodex.reading.phrase.reader import NOTATIONS

FORMATS = ("text", "json", "html", "pdf", "svg", "midi", "musicxml", "abc")


@click.command("compare")
@click.argument("a", metavar="X")
@click.argument("b", metavar="Y")
@click.option(
    "--phrase", is_flag=True, help="X is a phrase as it is typed; bars and notes are of Y."
)
@click.option(
    "--as",
    "notation",
    type=click.Choice(list(NOTATIONS)),
    help="Notation of that phrase, where it could be read in two ways.",
)
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
    phrase: bool,
    notation: str | None,
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
      $ melodex compare --phrase "3 5 3 1 3 1 4 6 4" "Marl Pit Hornpipe" --bars 1-2
    """
    from melodex.settings import FEWEST_NOTES
    from melodex.tasks.compare.compare import compare
    from melodex.tasks.compare.shared_passages import shared_passages
    from melodex.tasks.passage import find_one, find_passages, typed_passage

    if phrase:
        first = typed_passage(a, notation or "")
        second = find_one(corpus_path, b, bars=bars, notes=notes, fewest=FEWEST_NOTES)
    else:
        first, second = find_passages(corpus_path, (a, b), bars=bars, notes=notes)
    found = replace(compare(first, second, transposition_semitones=transpose), whole=whole)
    present(found, replace(output, tempo=tempo, chords=chords))
    if shared_passages(found):
        go_on(output, "--whole shows both in full")
