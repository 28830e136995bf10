"""``melodex resemble``: what a phrase resembles in the corpus."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from melodex.cli.among import among_options, left_out
from melodex.cli.keeping import into_option, keep_into, sought_passage, to_be_kept
from melodex.cli.output import Output, go_on, output_options, present
from melodex.cli.workers import Hands, asking_options, notes_for
from melodex.reading.phrase.reader import NOTATIONS

if TYPE_CHECKING:
    from melodex.tasks.resemble import Resemblance

STEP_CHARACTERS = frozenset("-+0123456789 |")
FORMATS = ("text", "json", "csv", "html", "pdf")


class PhraseCommand(click.Command):
    """A command whose phrase may begin with a minus: a step down, not an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Set a leading step or sign off by a space, so that it is no option."""
        told = [f" {arg}" if is_steps(arg) else arg for arg in args]
        return super().parse_args(ctx, told)


def is_steps(arg: str) -> bool:
    """Whether an argument begins with a step down; two hyphens alone end the options."""
    return arg.startswith("-") and arg != "--" and STEP_CHARACTERS.issuperset(arg)


def is_heard(
    phrase: str | None, origin: str | None, bars: str | None, notes: str | None
) -> bool:
    """Whether a recording is asked for as a whole, in all its readings."""
    if not origin or phrase or bars or notes:
        return False
    from melodex.tasks.tune_file import is_recording

    return is_recording(origin)


@click.command("resemble", cls=PhraseCommand)
@click.argument("phrase", required=False)
@click.option(
    "--from",
    "origin",
    metavar="TUNE",
    help="Take the phrase from a tune, a file or a recording.",
)
@click.option("--bars", help="Which bars of it, by printed number: 5 or 5-8.")
@click.option("--notes", help="Which notes of it, counted from 1: 9-20.")
@click.option("--limit", default=10, show_default=True, type=click.IntRange(1, 10_000))
@click.option(
    "--as",
    "notation",
    type=click.Choice(list(NOTATIONS)),
    help="Notation of the phrase, where it could be read in two ways.",
)
@click.option(
    "--include-self", is_flag=True, help="Include the tune that the phrase comes from."
)
@click.option(
    "--in-piece",
    is_flag=True,
    help="Where the other lines of its own piece answer it: canon and imitation.",
)
@click.option(
    "--order",
    type=click.Choice(["evidence", "alignment"]),
    default="evidence",
    show_default=True,
    help="Rank by all the evidence, or by alignment points alone.",
)
@click.option("--explain", is_flag=True, help="Show the evidence for each match.")
@among_options
@asking_options
@into_option
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    phrase: str | None,
    origin: str | None,
    bars: str | None,
    notes: str | None,
    limit: int,
    notation: str | None,
    include_self: bool,
    in_piece: bool,
    order: str,
    explain: bool,
    within: str,
    without: str,
    workers: int | None,
    scheduler: str,
    into: str | None,
    output: Output,
) -> None:
    """Find what a phrase resembles in the corpus, in any key.

    PHRASE is written as scale degrees ("5 1' 7 b6 5"), note names ("F# A C#5"),
    solfa ("do re mi"), steps in semitones ("+2 +2 -4"), ABC ("K:F c3 d | f2
    e2"), a contour ("u u d s", "+ + - 0") or a rhythm ("q. e h"). Octave marks
    of degrees: 1' above, 7, below; lengths: 5*2 or 5h. A note that you do not
    know: "5 ? 1'", or ?*2 where its length is known. A recording of one line,
    sung, whistled or played, is read in all the ways that its sound allows, and
    each is looked for. With --in-piece a passage of a score is looked for in the
    other lines of its piece alone, note for note: as it is, upside down, in doubled
    or halved lengths.

    \b
    Examples:
      $ melodex resemble "5 1' 7 6 5 3"
      $ melodex resemble "q. e q q h" --limit 3
      $ melodex resemble "1 2 3 5" --within "kind jig" --limit 3
      $ melodex resemble "5 1 2 3" --within "part main" --limit 3
      $ melodex resemble --from corpus_demo/own/own_song.abc --bars 1-4 --limit 3
    """
    if in_piece:
        answer_in_piece(corpus_path, origin, bars, notes, output)
        return
    from melodex.corpus.reader import Corpus
    from melodex.tasks.resemble import resemble, said_phrase

    hands = Hands(workers, scheduler)
    with Corpus.open(corpus_path) as corpus, notes_for(hands, corpus) as held:
        hidden = left_out(corpus, within, without)
        if is_heard(phrase, origin, bars, notes):
            from melodex.tasks.recording.recording import resemble_recording

            heard = resemble_recording(
                corpus, origin or "", limit=limit, outside=hidden, notes=held
            )
            present(heard, output)
            passages = to_be_kept(corpus, into, heard)
        else:
            said = said_phrase(
                corpus,
                phrase,
                origin=origin,
                bars=bars,
                notes=notes,
                notation=notation or "",
            )
            found = resemble(
                corpus,
                said,
                limit=limit,
                outside=hidden,
                include_self=include_self,
                order=order,
                explain=explain,
                notes=held,
            )
            present(found, output)
            sought = sought_passage(corpus, origin, bars, notes) if into else None
            passages = to_be_kept(corpus, into, found, sought=sought)
            say_next(found, limit, output)
    keep_into(corpus_path, into, passages)


def answer_in_piece(
    corpus_path: Path,
    origin: str | None,
    bars: str | None,
    notes: str | None,
    output: Output,
) -> None:
    """Say where the other lines of its piece answer a passage."""
    if not origin or output.form not in {"text", "json"}:
        raise click.UsageError("--in-piece goes with --from TUNE, as text or json.")
    from melodex.tasks.describe.echoes import find_answers

    present(find_answers(corpus_path, origin, bars=bars, notes=notes), output)


def say_next(found: Resemblance, limit: int, output: Output) -> None:
    """Say what can be asked of the matches, and how else the phrase can be read."""
    from melodex.melody.tune_id import leading

    steps = [f"--as {name} reads it otherwise" for name in found.phrase.other_notations]
    if found.matches:
        steps.append(f"'melodex show {leading(found.matches[0].tune_id)}' prints the first")
        steps.append("--explain says why")
        if len(found.matches) == limit:
            steps.append(f"--limit {2 * limit} shows more")
        steps.append("--into SET keeps them")
    if steps:
        go_on(output, "; ".join(steps))
