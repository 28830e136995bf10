"""``melodex describe``: what is in a piece."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, present

FORMATS = ("text", "json", "html", "pdf", "svg", "png")


@click.command("describe")
@click.argument("tune")
@click.option("--alone", is_flag=True, help="Do not count how rare each finding is.")
@output_options(FORMATS)
@click.pass_obj
def command(corpus_path: Path, tune: str, alone: bool, output: Output) -> None:
    """Say what is in a piece: keys, form, metre, range, chords, devices.

    TUNE is a tune of the corpus (id or title) or a file (FILE, or FILE#3 for the
    tune numbered 3 of several). A page or paper begins with a map of the piece; svg and
    png are the map alone.

    \b
    Examples:
      $ melodex describe corpus_demo/own/own_song.abc
      $ melodex describe "The Eel Trap" --output eel.html
    """
    from melodex.tasks.describe.describe import described

    present(described(tune, corpus_path, alone=alone), output)
