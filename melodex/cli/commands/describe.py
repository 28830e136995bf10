"""``melodex describe``: what is in a piece."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, present

FORMATS = ("text", "json", "html", "pdf", "svg", "png")


@click.command("describe")
@click.argument("tune")
@click.option("--alone", is_flag=True, help="Do not count how rare each finding is.")
@click.option(
    "--recording",
    type=click.Path(path_type=Path),
    help="A sound file whose loudness is laid under the bars.",
)
@click.option(
    "--at",
    default="",
    metavar="POINTS",
    help="Where bars begin in the recording: '1=0:12, 35=1:50'.",
)
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    tune: str,
    alone: bool,
    recording: Path | None,
    at: str,
    output: Output,
) -> None:
    """Say what is in a piece: keys, form, metre, range, chords, devices.

    TUNE is a tune of the corpus (id or title) or a file (FILE, or FILE#3 for the
    tune numbered 3 of several). A page or paper begins with a map of the piece; svg and
    png are the map alone.

    \b
    Examples:
      $ melodex describe corpus_demo/own/own_song.abc
      $ melodex describe "The Eel Trap" --output eel.html

    With --recording song.wav --at "1=0:12, 35=1:50" the loudness of each bar (ITU-R
    BS.1770) is told and drawn, laid against the score by the points of --at and evenly
    between them; nothing is said beyond the first and the last of them.
    """
    from melodex.tasks.describe.describe import described

    if at and recording is None:
        raise click.UsageError("--at says where bars begin in a --recording: name one")
    found = described(tune, corpus_path, alone=alone, recording=recording, at=at)
    present(found, output)
