"""``melodex collection``: tags, duplicates, families, what the corpus holds, chance."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, go_on, output_options, present, write
from melodex.cli.progress import progress_bar
from melodex.cli.workers import Hands, exchange_for, workers_options


@click.group("collection")
def command() -> None:
    """Tag tunes, list duplicates and families, say what the corpus holds, try chance.

    \b
    Examples:
      $ melodex collection holdings
    """


@command.command("holdings")
@output_options(["text", "json", "html", "pdf"])
@click.pass_obj
def holdings_command(corpus_path: Path, output: Output) -> None:
    """Count what the corpus holds: collections, modes, metres, kinds, decades, tags.

    A page or paper shows the counts as bars, and the tunes as points that lie by
    likeness, in clusters with names.

    \b
    Examples:
      $ melodex collection holdings
      $ melodex collection holdings --output corpus.html
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.holdings import holdings

    with Corpus.open(corpus_path) as corpus:
        found = holdings(corpus)
        if output.form in {"html", "pdf"}:
            from melodex.presentation.report.holdings import CorpusMap
            from melodex.tasks.collection.likeness import likeness_map

            present(CorpusMap(found, likeness_map(corpus)), output)
            return
    forms = {"text": text_corpus.holdings_text, "json": data_corpus.holdings_json}
    write(forms[output.form](found), output)


@command.command("duplicates")
@click.option(
    "--least",
    type=click.FloatRange(0, 1, min_open=True),
    default=0.6,
    show_default=True,
    help="Share of the figures of two tunes that both must have.",
)
@workers_options
@output_options(["text", "json"])
@click.pass_obj
def duplicates_command(
    corpus_path: Path,
    least: float,
    workers: int | None,
    scheduler: str,
    work: Path | None,
    output: Output,
) -> None:
    """List tunes that are the same or nearly so, in whatever key.

    Tunes are compared by runs of nine notes; rhythm and title play no part.

    \b
    Examples:
      $ melodex collection duplicates --least 0.8
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.duplicates import find_duplicates

    hands = Hands(workers, scheduler, work)
    with Corpus.open(corpus_path) as corpus, exchange_for(hands) as exchange:
        found = find_duplicates(corpus, least=least, exchange=exchange)
    forms = {"text": text_corpus.duplicates_text, "json": data_corpus.duplicates_json}
    write(forms[output.form](found), output)


@command.command("families")
@click.option(
    "--least",
    type=click.FloatRange(0, 1, min_open=True),
    default=0.2,
    show_default=True,
    help="Least likeness of kin: points, of what the shorter tune could reach.",
)
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    default=20,
    show_default=True,
    help="Families shown.",
)
@click.option("--all", "all_", is_flag=True, help="Show all families.")
@workers_options
@output_options(["text", "json", "csv"])
@click.pass_obj
def families_command(
    corpus_path: Path,
    least: float,
    limit: int,
    all_: bool,
    workers: int | None,
    scheduler: str,
    work: Path | None,
    output: Output,
) -> None:
    """List tune families: tunes that are one by their music, whatever they are called.

    Whole tunes are aligned in every key, pitch and rhythm. Of each family the tune with
    most kin comes first; of the others it is said how sure it is that they are the same
    tune, and how they differ in key, mode, metre, notes put in, and parts left out.

    \b
    Examples:
      $ melodex collection families --limit 5
      $ melodex collection families --all --output families.csv
    """
    from melodex.corpus.reader import Corpus
    from melodex.melody.tune_id import leading
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text.families import families_text
    from melodex.tasks.collection.families import find_families

    hands = Hands(workers, scheduler, work)
    with (
        Corpus.open(corpus_path) as corpus,
        exchange_for(hands) as exchange,
        progress_bar("comparing tunes") as bar,
    ):
        found = find_families(
            corpus,
            least=least,
            limit=None if all_ else limit,
            progress=bar,
            exchange=exchange,
        )
    forms = {
        "text": families_text,
        "json": data_corpus.families_json,
        "csv": data_corpus.families_csv,
    }
    write(forms[output.form](found), output)
    if found.families:
        first = found.families[0].members[:2]
        pair = " ".join(leading(member.row.tune_id) for member in first)
        every = "; --all shows all" if found.families_in_all > len(found.families) else ""
        go_on(output, f"'melodex compare {pair}' lays two of them side by side{every}")


@command.command("chance")
@click.option(
    "--phrases",
    type=click.IntRange(1, 10_000),
    default=100,
    show_default=True,
    help="Phrases of each length.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32 - 1),
    default=2026,
    show_default=True,
    help="Another number draws other phrases.",
)
@workers_options
@output_options(["text", "json", "csv"])
@click.pass_obj
def chance_command(
    corpus_path: Path,
    phrases: int,
    seed: int,
    workers: int | None,
    scheduler: str,
    work: Path | None,
    output: Output,
) -> None:
    """Try whether the numbers expected by chance hold in this corpus.

    Phrases of its tunes are read backwards, so that nothing but chance resembles them,
    and looked for: as many matches should be seen as are expected.

    \b
    Examples:
      $ melodex collection chance --phrases 20
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.data import calibration as data
    from melodex.presentation.text.families import calibration_text
    from melodex.tasks.collection.calibration import calibrate_chance

    with (
        Corpus.open(corpus_path) as corpus,
        exchange_for(Hands(workers, scheduler, work)) as exchange,
        progress_bar("asking phrases") as bar,
    ):
        found = calibrate_chance(
            corpus, phrases=phrases, seed=seed, progress=bar, exchange=exchange
        )
    forms = {
        "text": calibration_text,
        "json": data.calibration_json,
        "csv": data.calibration_csv,
    }
    write(forms[output.form](found), output)


@command.command("tag")
@click.argument("word")
@click.argument("tunes", nargs=-1, required=True)
@click.option("--off", is_flag=True, help="Remove the tag instead.")
@click.pass_obj
def tag_command(corpus_path: Path, word: str, tunes: tuple[str, ...], off: bool) -> None:
    """Put a word on tunes, to find them again with "list --tag".

    TUNES are ids or titles, as for "show".

    \b
    Examples:
      $ melodex collection tag "for Tuesday" "Ladder Song" "Snail Post"
    """
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.holdings import tag_tunes

    done = tag_tunes(corpus_path, word, tunes, take_off=off)
    click.echo(text_corpus.tagging_text(done), nl=False, err=True)


@command.command("tags")
@click.pass_obj
def tags_command(corpus_path: Path) -> None:
    """List the tags in use, and how many tunes each is on.

    \b
    Examples:
      $ melodex collection tags
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.text import corpus as text_corpus
    from melodex.tasks.collection.holdings import list_tags

    with Corpus.open(corpus_path) as corpus:
        found = list_tags(corpus)
    click.echo(text_corpus.counts_text("tag", found), nl=False)
