"""``melodex gather``: pieces and passages that show a feature."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from melodex.cli.keeping import into_option, keep_into, to_be_kept
from melodex.cli.output import Output, go_on, output_options, present
from melodex.cli.workers import Hands, asking_options, shards_for

FORMATS = ("text", "json", "csv", "html", "pdf")


@click.command("gather")
@click.option("--device", default="", help="A harmonic device, or part of its name.")
@click.option(
    "--progression", default="", help="Chords: 'ii V I' or 'Dm7 G7 C', in any key."
)
@click.option(
    "--progression-from", default="", metavar="TUNE", help="The chords of a tune or file."
)
@click.option("--bars", help="Bars of that tune, such as 5-8.")
@click.option("--exact-progression", is_flag=True, help="Match these chords exactly.")
@click.option("--note-on-chord", default="", help="Melody note on a chord: 'b9 on V'.")
@click.option("--phrase", default="", help="A melodic figure, in any key.")
@click.option("--nearly", is_flag=True, help="Allow one note of that figure to differ.")
@click.option(
    "--version-of", default="", metavar="TUNE", help="Other versions of a tune, by music."
)
@click.option("--returning", default="", help="sequence, repetition or inversion.")
@click.option("--mode", default="", help="Mode of the tune: minor, dorian ...")
@click.option("--modal", default="", help="Mode that colours a passage.")
@click.option(
    "--key-centres", type=click.IntRange(1), help="At least this many key centres."
)
@click.option("--key-change", default="", help="How the key changes: 'relative' ...")
@click.option("--mode-change", is_flag=True, help="Major to minor on one tonic ...")
@click.option("--metre", default="", help="Time signature such as 6/8, or compound ...")
@click.option("--kind", default="", help="Kind of dance or song: jig, waltz, chorale ...")
@click.option("--key", default="", help="Key of the tune: G, 'E minor', Bb.")
@click.option("--tonic", default="", help="Its tonic, in whatever mode.")
@click.option("--range", default="", help="All notes within: D4-B5, 'up to A5'.")
@click.option("--highest", default="", help="The highest note: B5.")
@click.option("--lowest", default="", help="The lowest note: D4.")
@click.option("--tempo", default="", help="Quarter notes a minute: 120, 100-120.")
@click.option("--length", default="", help="Bars of the whole tune: 32, 16-32.")
@click.option("--plan", default="", help="Sections by their letters: AABA.")
@click.option("--section-bars", type=click.IntRange(1), help="A section of this many bars.")
@click.option("--odd-sections", is_flag=True, help="A section of an odd length.")
@click.option("--title", default="", help="Words of the title, in any order.")
@click.option("--composer", default="", help="Part of the composer's name.")
@click.option("--maker", default="", help="Composer or lyricist.")
@click.option("--lyrics", default="", help="Words that are sung.")
@click.option("--decade", default="", help="Ten years: 1930s.")
@click.option("--part", default="", help="Lines by part: bass, 'violin 2', top, bottom.")
@click.option("--instrument", default="", help="Lines that an instrument plays.")
@click.option("--sung", is_flag=True, help="Lines with words.")
@click.option("--rights", default="", help="Part of the copyright note.")
@click.option("--collection", default="", help="Only tunes of this collection.")
@click.option("--tag", default="", help="Only tunes with this tag.")
@click.option("--after", type=int, help="From this year on.")
@click.option("--before", type=int, help="Up to this year.")
@click.option("--limit", default=30, show_default=True, type=click.IntRange(1))
@click.option("--count", is_flag=True, help="Count the tunes without listing them.")
@click.option(
    "--thorough",
    is_flag=True,
    help="Search every tune for the progression, however long it takes.",
)
@asking_options
@into_option
@output_options(FORMATS)
@click.pass_obj
def command(
    corpus_path: Path,
    /,
    limit: int,
    count: bool,
    thorough: bool,
    progression_from: str,
    bars: str | None,
    workers: int | None,
    scheduler: str,
    into: str | None,
    output: Output,
    **wishes: Any,
) -> None:
    """Find pieces and passages that show a feature; wishes can be combined freely.

    \b
    Examples:
      $ melodex gather --kind jig --key G --length 16-32
      $ melodex gather --device "borrowed chord" --metre 4/4
      $ melodex gather --note-on-chord "b9 on V"
      $ melodex gather --progression "ii V I" --mode minor --limit 5
      $ melodex gather --version-of "Ladder Song"
      $ melodex gather --progression-from "Fog over the Basin" --bars 3-5 --count
    """
    from melodex.corpus.reader import Corpus
    from melodex.melody.tune_id import leading
    from melodex.tasks.gather.gather import Wish, gather
    from melodex.tasks.gather.music import with_music
    from melodex.tasks.gather.progressions import progression_from_piece

    if bars and not progression_from:
        raise click.UsageError("--bars needs --progression-from, which names the tune")
    if progression_from and wishes["progression"]:
        raise click.UsageError("give --progression or --progression-from, not both")
    hands = Hands(workers, scheduler)
    with Corpus.open(corpus_path) as corpus, shards_for(hands, corpus) as shards:
        if progression_from:
            wishes["progression"] = progression_from_piece(corpus, progression_from, bars)
        found = gather(
            corpus,
            Wish(**wishes),
            limit=0 if count else limit,
            thorough=thorough or count,
            shards=shards,
        )
        present(with_music(corpus, found) if on_page(output) else found, output)
        passages = to_be_kept(corpus, into, found)
    if found.examples:
        more = f"--limit {2 * limit} shows more; " if len(found.examples) == limit else ""
        first = leading(found.examples[0].tune_id)
        go_on(output, f"{more}'melodex describe {first}'; --into SET keeps them")
    keep_into(corpus_path, into, passages)


def on_page(output: Output) -> bool:
    """Whether the result is to be seen as music."""
    return output.form in {"html", "pdf"}
