"""The passages of a set: kept, noted, moved, dropped, arranged, mended."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write

__all__ = [
    "arrange_command",
    "drop_command",
    "keep_command",
    "mend_command",
    "move_command",
    "note_command",
]


@click.command("keep")
@click.argument("name")
@click.argument("tune")
@click.option("--bars", help="Which bars of it, by printed number: 5 or 5-8.")
@click.option("--notes", help="Which notes of it, counted from 1: 9-20.")
@click.option("--why", default="", help="What it is an example of.")
@click.pass_obj
def keep_command(
    corpus_path: Path,
    name: str,
    tune: str,
    bars: str | None,
    notes: str | None,
    why: str,
) -> None:
    """Keep a passage by hand: tune and bars.

    \b
    Example:
      $ melodex lesson keep "Flat ninth" "Foghorn Samba" --bars 9-12
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson.text import kept_text
    from melodex.tasks.lesson.keeping import found_by_hand, keep

    with Corpus.open(corpus_path) as corpus:
        found = found_by_hand(corpus, tune, bars=bars, notes=notes, reason=why)
    click.echo(kept_text(keep(corpus_path, name, [found])), nl=False, err=True)


@click.command("note")
@click.argument("name")
@click.argument("position", type=int)
@click.argument("words", default="")
@click.pass_obj
def note_command(corpus_path: Path, name: str, position: int, words: str) -> None:
    """Write your own words beside passage POSITION; without words, take them away.

    \b
    Example:
      $ melodex lesson note "Flat ninth" 1 "Sing the bass first."
    """
    from melodex.tasks.lesson.sets import annotate

    lesson = annotate(corpus_path, name, position, words)
    click.echo(f"noted beside {lesson.examples[position - 1].title}", err=True)


@click.command("move")
@click.argument("name")
@click.argument("position", type=int)
@click.argument("to", type=int)
@click.pass_obj
def move_command(corpus_path: Path, name: str, position: int, to: int) -> None:
    """Move passage POSITION to another position.

    \b
    Example:
      $ melodex lesson move "Flat ninth" 3 1
    """
    from melodex.tasks.lesson.sets import move

    lesson = move(corpus_path, name, position, to)
    click.echo(f"{lesson.examples[to - 1].title} is passage {to} now", err=True)


@click.command("drop")
@click.argument("name")
@click.argument("positions", type=int, nargs=-1, required=True)
@click.pass_obj
def drop_command(corpus_path: Path, name: str, positions: tuple[int, ...]) -> None:
    """Take passages out of a set; their tunes stay in the corpus.

    \b
    Example:
      $ melodex lesson drop "Flat ninth" 2
    """
    from melodex.tasks.lesson.sets import drop

    lesson = drop(corpus_path, name, positions)
    click.echo(f"{len(lesson.examples)} passages are left", err=True)


@click.command("arrange")
@click.argument("name")
@click.option("--apply", "is_applied", is_flag=True, help="Save this order.")
@output_options(["text", "json"])
@click.pass_obj
def arrange_command(corpus_path: Path, name: str, is_applied: bool, output: Output) -> None:
    """Suggest an order from easy to hard, and say why.

    Never two of one tune in a row if that can be had; among passages about as hard,
    one in another key or metre goes first; what is nearly the same is pointed out.

    \b
    Examples:
      $ melodex lesson arrange "Flat ninth"
      $ melodex lesson arrange "Flat ninth" --apply
    """
    from melodex.cli.output import terminal_style
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson import data as lesson_data
    from melodex.presentation.lesson import text as lesson_text
    from melodex.tasks.lesson.order import apply_arrangement, arrange
    from melodex.tasks.lesson.sets import open_lesson

    with Corpus.open(corpus_path) as corpus:
        found = arrange(open_lesson(corpus, name))
    if is_applied:
        apply_arrangement(corpus_path, found)
    if output.form == "json":
        write(lesson_data.arrangement_json(found), output)
    else:
        write(lesson_text.arrangement_text(found, terminal_style(output)), output)
    if is_applied:
        click.echo("order saved", err=True)


@click.command("mend")
@click.argument("name")
@click.argument("positions", type=int, nargs=-1)
@click.pass_obj
def mend_command(corpus_path: Path, name: str, positions: tuple[int, ...]) -> None:
    """Take what comes nearest now in place of passages whose tune has changed.

    "melodex lesson show" says what is offered. Without POSITIONS all offers are taken.

    \b
    Example:
      $ melodex lesson mend "Flat ninth" 2
    """
    from melodex.tasks.lesson.keeping import take_nearest

    lesson = take_nearest(corpus_path, name, positions)
    click.echo(f"mended the set {lesson.row.name!r}", err=True)
